"""Stretches outside a band: onset, extreme, dose and end, by a state machine over event time.

The machine knows no clock. Given the same readings in time order it always gives the same
excursions, and it can go on from any state it was left in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, Times

MICROSECONDS_PER_HOUR = 3_600_000_000
_SIDES = {"low": -1, "high": 1, "": 0}
_LONG_RUN = 16  # readings outside in a row that are quicker taken at once


class Stage(Enum):
    """Where a watched quantity stands against its band."""

    INSIDE = "inside"
    PENDING = "pending"  # outside, for less than the on-delay so far
    OUTSIDE = "outside"  # an excursion is under way
    RETURNING = "returning"  # back inside by the deadband, for less than the off-delay so far


@dataclass(frozen=True, slots=True)
class Rule:
    """When a stretch outside a band counts and when it is over.

    Parameters
    ----------
    on_delay_us, off_delay_us : int
        How long the quantity must be outside before it counts, and back inside before it is over. [µs]
    deadband : float
        How far inside the limit it must come to be back. [the quantity's unit]
    max_gap_us : int
        Two readings further apart than this say nothing about the time between them: it confirms
        neither an onset nor a return, and adds no dose. [µs]
    """

    on_delay_us: int
    off_delay_us: int
    deadband: float
    max_gap_us: int

    def __post_init__(self) -> None:
        if min(self.on_delay_us, self.off_delay_us, self.deadband) < 0 or self.max_gap_us <= 0:
            raise ValueError(f"{self}: delays and deadband must not be negative, and max_gap_us must be above 0")


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch outside a band; ``end_us`` is None while it lasts.

    ``side`` is "low" or "high"; ``dose`` the integral of the deviation over time, in the quantity's
    unit times hours; ``limit`` the limit that held at the extreme, ``onset_limit`` the one that the first
    reading outside passed; ``last_us`` the newest reading that took part.
    """

    side: str
    onset_us: int
    end_us: int | None
    last_us: int
    extreme: float
    extreme_us: int
    limit: float
    dose: float
    onset_limit: float


@dataclass(frozen=True, slots=True)
class State:
    """What the machine remembers between two readings.

    ``stretch`` is the stretch outside so far (in every stage but INSIDE), ``deviation`` how far
    outside its newest reading was, ``returned_us`` the first reading of a return not yet confirmed.
    """

    stage: Stage = Stage.INSIDE
    stretch: Excursion | None = None
    deviation: float = 0.0
    returned_us: int = 0

    @property
    def open_excursion(self) -> Excursion | None:
        """The excursion under way; None where there is none or it does not count yet."""
        return self.stretch if self.stage in (Stage.OUTSIDE, Stage.RETURNING) else None


INSIDE = State()


def step(
    state: State, time_us: int, value: float, low: float, high: float, rule: Rule
) -> tuple[State, Excursion | None]:
    """Return the state after one more reading, and the excursion that it ends, if it ends one.

    Parameters
    ----------
    state : State
        The state after the reading before; ``INSIDE`` at the beginning.
    time_us : int
        Time of the reading, after the one before. [µs since 1970 UTC]
    value : float
        The reading. NaN is no data: it changes nothing, least of all does it end an excursion.
    low, high : float
        The limits that hold at this time; infinite where a side is open. [the quantity's unit]
    rule : Rule
        Delays, deadband and gap.

    Returns
    -------
    state : State
        The new state.
    ended : Excursion or None
        The excursion that is over, with its ``end_us``.
    """
    if math.isnan(value):
        return state, None
    side = "low" if value < low else "high" if value > high else None
    stretch = state.stretch
    if stretch is None:
        return _outside_begins(time_us, value, low, high, side, rule), None

    gap = time_us - stretch.last_us > rule.max_gap_us
    if side is not None and side != stretch.side:  # straight through to the other side
        ended = replace(stretch, end_us=time_us) if state.open_excursion else None
        return _outside_begins(time_us, value, low, high, side, rule), ended
    if state.stage is Stage.PENDING and (side is None or gap):
        return _outside_begins(time_us, value, low, high, side, rule), None

    limit = low if stretch.side == "low" else high
    inward = value - limit if stretch.side == "low" else limit - value  # above 0: inside this limit
    deviation = max(0.0, -inward)
    hours = 0.0 if gap else (time_us - stretch.last_us) / MICROSECONDS_PER_HOUR
    dose = stretch.dose + 0.5 * (state.deviation + deviation) * hours
    worst = stretch.extreme, stretch.extreme_us, stretch.limit
    if deviation > abs(stretch.extreme - stretch.limit):
        worst = value, time_us, limit
    # Written out, as replace() of a dataclass takes thrice as long.
    stretch = Excursion(stretch.side, stretch.onset_us, stretch.end_us, time_us, *worst, dose, stretch.onset_limit)

    if state.stage is Stage.PENDING:
        counts = time_us - stretch.onset_us >= rule.on_delay_us
        return State(Stage.OUTSIDE if counts else Stage.PENDING, stretch, deviation), None
    if inward < rule.deadband or side is not None:
        return State(Stage.OUTSIDE, stretch, deviation), None
    returned_us = state.returned_us if state.stage is Stage.RETURNING and not gap else time_us
    if time_us - returned_us >= rule.off_delay_us:
        return INSIDE, replace(stretch, end_us=returned_us)
    return State(Stage.RETURNING, stretch, deviation, returned_us), None


def _outside_begins(time_us: int, value: float, low: float, high: float, side: str | None, rule: Rule) -> State:
    """Return the state in which a reading begins a stretch outside; INSIDE if it is not outside."""
    if side is None:
        return INSIDE
    limit = low if side == "low" else high
    stretch = Excursion(side, time_us, None, time_us, value, time_us, limit, 0.0, limit)
    return State(Stage.PENDING if rule.on_delay_us else Stage.OUTSIDE, stretch, abs(value - limit))


def excursions(
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
    low: ArrayLike,
    high: ArrayLike,
    rule: Rule,
    state: State = INSIDE,
) -> tuple[list[Excursion], State]:
    """Return the excursions that end within a run of readings, and the state at its end.

    The one still under way, if any, is ``state.open_excursion`` of the state returned.

    Parameters
    ----------
    time_us : numpy.ndarray
        Times in strictly ascending order, shape (n,). [µs since 1970 UTC]
    value : numpy.ndarray
        Readings, shape (n,); NaN is no data. [the quantity's unit]
    low, high : array_like
        Limits, one for all or one a reading. [the quantity's unit]
    rule : Rule
        Delays, deadband and gap.
    state : State
        Where an earlier run of readings, all before these, left off.

    Raises
    ------
    ValueError
        If shapes differ or times do not ascend.

    Examples
    --------
    >>> minute = 60_000_000
    >>> rule = Rule(on_delay_us=2 * minute, off_delay_us=0, deadband=0.0, max_gap_us=3 * minute)
    >>> ended, _ = excursions(np.arange(6) * minute, np.array([70, 80, 82, 80, 80, 70.0]), 50, 75, rule)
    >>> [(e.side, e.onset_us // minute, e.end_us // minute, e.extreme) for e in ended]
    [('high', 1, 5, 82.0)]
    """
    if time_us.shape != value.shape or time_us.ndim != 1:
        raise ValueError(f"time_us has shape {time_us.shape} and value {value.shape}: give one time a reading")
    if np.any(np.diff(time_us) <= 0):
        raise ValueError("time_us must ascend strictly: sort the readings and drop double times")
    low = np.broadcast_to(np.asarray(low, float), value.shape)
    high = np.broadcast_to(np.asarray(high, float), value.shape)
    side = np.where(value < low, -1, np.where(value > high, 1, 0)).astype(np.int8)
    outside = np.flatnonzero(side)
    changes = np.flatnonzero(np.diff(side)) + 1  # where a run of readings on one side of the band ends
    ended: list[Excursion] = []
    index = 0
    while index < len(value):
        if state is INSIDE:  # nothing happens until the next reading outside
            place = np.searchsorted(outside, index)
            if place == len(outside):
                break
            index = int(outside[place])
        elif state.stage is Stage.OUTSIDE and side[index] == _SIDES[state.stretch.side if state.stretch else ""]:
            place = np.searchsorted(changes, index, side="right")
            end = int(changes[place]) if place < len(changes) else len(value)
            if end - index >= _LONG_RUN:
                here = slice(index, end)
                state = _outside_stays(state, time_us[here], value[here], low[here], high[here], rule)
                index = end
                continue
        state, excursion = step(
            state, int(time_us[index]), float(value[index]), float(low[index]), float(high[index]), rule
        )
        if excursion is not None:
            ended.append(excursion)
        index += 1
    return ended, state


def _outside_stays(state: State, time_us: Times, value: Floats, low: Floats, high: Floats, rule: Rule) -> State:
    """Return what ``step`` makes, to the same bits, of readings that all lie outside on the stretch's side."""
    stretch = state.stretch
    if stretch is None:
        return state
    limit = low if stretch.side == "low" else high
    deviation = limit - value if stretch.side == "low" else value - limit
    passed = np.diff(time_us, prepend=stretch.last_us)
    with np.errstate(all="ignore"):
        hours = np.where(passed > rule.max_gap_us, 0.0, passed / MICROSECONDS_PER_HOUR)
        doses = 0.5 * (np.concatenate(([state.deviation], deviation[:-1])) + deviation) * hours
    dose = float(np.cumsum(np.concatenate(([stretch.dose], doses)))[-1])  # one after the other, unlike np.sum
    place = int(np.argmax(deviation))
    worst = stretch.extreme, stretch.extreme_us, stretch.limit
    if deviation[place] > abs(stretch.extreme - stretch.limit):
        worst = float(value[place]), int(time_us[place]), float(limit[place])
    last_us = int(time_us[-1])
    stretch = Excursion(stretch.side, stretch.onset_us, stretch.end_us, last_us, *worst, dose, stretch.onset_limit)
    return State(Stage.OUTSIDE, stretch, float(deviation[-1]))
