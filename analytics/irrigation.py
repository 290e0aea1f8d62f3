"""Irrigation: the cycles of a line, and whether each came, ran as long and as strong as that line's usually do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Floats, Times, samples

MINUTES_PER_HOUR = 60.0
SHORT_BELOW = 0.7  # of the usual time; our choice, no source
WEAK_BELOW = 0.8  # of the usual flow or pressure; our choice, no source
STUCK_ABOVE = 2.0  # times the usual time; our choice, no source


@dataclass(frozen=True, slots=True, eq=False)
class Cycles:
    """Stretches during which a line ran, in order of time; arrays of one length.

    ``start_seen`` is False where no sample told that the line stood still just before (a gap, or the record
    began with it running), ``end_seen`` likewise after; such a cycle ran at least from ``start_us`` to ``end_us``.
    ``mean`` is the mean of what the cycles were found from, over their time.
    """

    start_us: Times
    end_us: Times
    start_seen: NDArray[np.bool_]
    end_seen: NDArray[np.bool_]
    mean: Floats

    def __len__(self) -> int:
        return len(self.start_us)

    @property
    def duration_s(self) -> Floats:
        """How long each ran. [s]."""
        return (self.end_us - self.start_us) / MICROSECONDS

    def begun_in(self, start_us: int, end_us: int) -> Cycles:
        """Return the cycles that began in ``[start_us, end_us)``."""
        here = slice(*np.searchsorted(self.start_us, [start_us, end_us]))
        return Cycles(
            self.start_us[here], self.end_us[here], self.start_seen[here], self.end_seen[here], self.mean[here]
        )


def irrigation_cycles(time_us: ArrayLike, level: ArrayLike, threshold: float, until_us: int, max_gap_us: int) -> Cycles:
    """Return the cycles of a line from its flow, its pressure, its pump's power or its pump's state.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    level : array_like
        Flow, pressure, power, or 1 and 0. A NaN counts as a sample that never came.
    threshold : float
        At or above this the line runs. [the unit of ``level``]
    until_us : int
        Now, or the end of what is looked at; later samples are left out. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    cycles : Cycles

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``max_gap_us`` is not positive.

    Notes
    -----
    Each sample holds until the next one, at most ``max_gap_us``. So a cycle's start and end are right to within
    the time between two samples. A longer gap cuts a cycle in two, and neither part claims to have seen that
    edge: whether the line ran on or stood still in between, nobody knows.

    See Also
    --------
    cycle_faults : Which of them were short, weak or stuck.

    Examples
    --------
    >>> cycles = irrigation_cycles([0, 60, 120, 180], [0.0, 8.0, 10.0, 0.0], 2.0, until_us=240, max_gap_us=180)
    >>> cycles.start_us.tolist(), cycles.end_us.tolist(), cycles.mean.tolist()
    ([60], [180], [9.0])
    """
    times, values = samples(time_us, level)
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest time that a sample holds, above 0")
    came = ~np.isnan(values) & (times < until_us)
    times, values = times[came], values[came]
    until = np.minimum(np.append(times[1:], until_us), times + max_gap_us) if times.size else times
    running = values >= threshold
    joined = np.diff(times) <= max_gap_us
    follows = np.concatenate(([False], running[:-1] & joined))[: times.size]
    goes_on = np.concatenate((running[1:] & joined, [False]))[: times.size]
    first, last = np.flatnonzero(running & ~follows), np.flatnonzero(running & ~goes_on)
    held = (until - times)[running].astype(float)
    of_cycle = np.searchsorted(first, np.flatnonzero(running), side="right") - 1
    sums = np.bincount(of_cycle, weights=values[running] * held, minlength=len(first))
    totals = np.bincount(of_cycle, weights=held, minlength=len(first))
    edges = np.concatenate(([False], joined, [False]))  # before the first sample and after the last nothing is known
    return Cycles(times[first], until[last], edges[first], edges[last + 1], sums / totals)


def rated_flow(emitters: ArrayLike, emitter_flow_l_h: ArrayLike) -> Floats:
    """Return what emitters should pass together.

    Parameters
    ----------
    emitters : array_like
        How many. [1]
    emitter_flow_l_h : array_like
        Rating of one. [L/h]

    Returns
    -------
    rated_flow : numpy.ndarray
        [L/min]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    At the pressure that the rating is stated for. Emitters that do not compensate for pressure pass roughly the
    square root of it; compare them with their own usual flow rather than with the rating.

    Examples
    --------
    >>> float(rated_flow(40, 4.0).round(2))
    2.67
    """
    found: Floats = np.multiply(emitters, emitter_flow_l_h, dtype=float) / MINUTES_PER_HOUR
    return found


@dataclass(frozen=True, slots=True)
class UsualCycle:
    """What a line did on earlier days: medians over ``days`` days; NaN where no day tells.

    [cycles a day], [s], [the unit the cycles were found from].
    """

    cycles_per_day: float
    duration_s: float
    mean: float
    days: int


def usual_cycle(days: Sequence[Cycles]) -> UsualCycle:
    """Return what is usual for a line from its cycles on earlier days.

    Parameters
    ----------
    days : sequence of Cycles
        One day's cycles each, of days that samples cover well enough; a day without a cycle counts.

    Returns
    -------
    usual : UsualCycle

    Notes
    -----
    The median of each day, then the median of the days: faulty days change it little while they are fewer than
    half. Lengths come from cycles whose start and end were both seen. Wear that is slower than the stretch of
    days looked at is not seen: the usual wears with it. The rating does not.

    Examples
    --------
    >>> day = irrigation_cycles([0, 60, 120, 180], [0, 10, 10, 0], 2.0, until_us=240, max_gap_us=60)
    >>> usual_cycle([day, day]).cycles_per_day
    1.0
    """
    whole = [day.duration_s[day.start_seen & day.end_seen] for day in days]
    return UsualCycle(
        cycles_per_day=_median([float(len(day)) for day in days]),
        duration_s=_median([float(np.median(one)) for one in whole if len(one)]),
        mean=_median([float(np.median(day.mean)) for day in days if len(day)]),
        days=len(days),
    )


def _median(values: list[float]) -> float:
    return float(np.median(values)) if values else float("nan")


class CycleFault(StrEnum):
    """What can be wrong with a cycle that came."""

    SHORT = "short"
    WEAK = "weak"
    STUCK = "stuck"


@dataclass(frozen=True, slots=True)
class FaultyCycle:
    """A cycle at a ``position`` that is not as usual: what was found, and the limit that it broke.

    In seconds for ``SHORT`` and ``STUCK``, in the unit the cycles were found from for ``WEAK``.
    """

    position: int
    fault: CycleFault
    found: float
    limit: float


def cycle_faults(
    cycles: Cycles,
    usual_duration_s: float,
    usual_mean: float,
    resolution_s: float = 0.0,
    level_accuracy: float = 0.0,
    longest_s: float = np.inf,
) -> list[FaultyCycle]:
    """Return which cycles were short, weak, or stuck (far longer than usual, or than a limit).

    Parameters
    ----------
    cycles : Cycles
        As found by ``irrigation_cycles``.
    usual_duration_s, usual_mean : float
        What is usual or planned; NaN where nothing is known, and then nothing is said. [s], [as ``cycles.mean``]
    resolution_s : float
        Time between samples: a difference no larger than that is none. [s]
    level_accuracy : float
        Plus or minus of the sensor: likewise. [as ``cycles.mean``]
    longest_s : float
        Longer than this is stuck, whatever is usual. [s]

    Returns
    -------
    faults : list of FaultyCycle
        In order of time.

    Notes
    -----
    Short: below 0.7 of the usual time, both ends seen. Weak: mean below 0.8 of the usual. Stuck: more than twice
    the usual time, also while it still runs. These shares are our choice, no source.

    Examples
    --------
    >>> cycles = irrigation_cycles([0, 60, 120, 180], [0, 5, 5, 0], 2.0, until_us=240, max_gap_us=60)
    >>> [(one.fault.value, one.found, one.limit) for one in cycle_faults(cycles, 0.00012, 10.0)]
    [('weak', 5.0, 8.0)]
    """
    found = []
    for position, (duration, mean) in enumerate(zip(cycles.duration_s.tolist(), cycles.mean.tolist(), strict=True)):
        seen = bool(cycles.start_seen[position] and cycles.end_seen[position])
        short = SHORT_BELOW * usual_duration_s
        if seen and duration < short and usual_duration_s - duration > resolution_s:
            found.append(FaultyCycle(position, CycleFault.SHORT, duration, short))
        weak = WEAK_BELOW * usual_mean
        if mean < weak and usual_mean - mean > level_accuracy:
            found.append(FaultyCycle(position, CycleFault.WEAK, mean, weak))
        by_usual = max(STUCK_ABOVE * usual_duration_s, usual_duration_s + resolution_s)
        stuck = float(np.fmin(by_usual, longest_s))
        if duration > stuck:
            found.append(FaultyCycle(position, CycleFault.STUCK, duration, stuck))
    return found
