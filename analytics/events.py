"""Events of a reservoir that something counted or switched: doses, top-ups by meter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import add

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import samples
from analytics.counters import increments

ON = 0.5  # a switch series reads 0 or 1


@dataclass(frozen=True, slots=True)
class Event:
    """Something done to the reservoir, from the last moment before it to the first after it.

    ``amount`` is what was added (negative: let out), NaN where nothing tells. [unit of what counted it]
    """

    start_us: int
    end_us: int
    amount: float = math.nan


def counted_events(
    time_us: ArrayLike, value: ArrayLike, join_us: int, rolls_over_at: float | None = None
) -> list[Event]:
    """Return when a counter counted and how much: the doses that a pump's counter or a water meter tells of.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The counter's readings; a NaN counts as one that never came. [the counter's unit]
    join_us : int
        Counts no further apart than this are one event: a dose given in pulses, with mixing between. [µs]
    rolls_over_at : float, optional
        Where the counter begins again at 0; see ``increments``. [the counter's unit]

    Returns
    -------
    events : list of Event
        Ascending in time. [the counter's unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``join_us`` is negative.

    Examples
    --------
    >>> counted_events([0, 60, 120, 180], [5.0, 25.0, 45.0, 45.0], join_us=0)
    [Event(start_us=0, end_us=120, amount=40.0)]
    """
    times, values = samples(time_us, value)
    _check_join(join_us)
    known = np.flatnonzero(~np.isnan(values))
    counted = increments(values[known], rolls_over_at)
    places = np.flatnonzero(counted > 0.0)
    if not len(places):
        return []
    starts, ends, amounts = times[known[places - 1]], times[known[places]], counted[places].tolist()
    firsts = np.append(0, np.flatnonzero(starts[1:] - ends[:-1] > join_us) + 1)
    lasts = np.append(firsts[1:], len(places)) - 1
    return [
        Event(start_us, end_us, reduce(add, amounts[first : last + 1]))
        for first, last, start_us, end_us in zip(
            firsts.tolist(), lasts.tolist(), starts[firsts].tolist(), ends[lasts].tolist(), strict=True
        )
    ]


def switched_events(time_us: ArrayLike, on: ArrayLike, join_us: int) -> list[Event]:
    """Return when a switch was on: the doses of a doser whose volume nothing counts.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    on : array_like
        1 on, 0 off; a NaN counts as one that never came. [1]
    join_us : int
        Runs no further apart than this are one event. [µs]

    Returns
    -------
    events : list of Event
        From the last reading off to the next reading off; without an amount.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``join_us`` is negative.

    Examples
    --------
    >>> switched_events([0, 60, 120, 180], [0, 1, 1, 0], join_us=0)
    [Event(start_us=0, end_us=180, amount=nan)]
    """
    times, values = samples(time_us, on)
    _check_join(join_us)
    times, values = times[~np.isnan(values)], values[~np.isnan(values)]
    state = np.concatenate([[False], values >= ON, [False]])
    begins, ends = np.flatnonzero(~state[:-1] & state[1:]), np.flatnonzero(state[:-1] & ~state[1:])
    last = len(times) - 1
    found = [
        Event(int(times[max(begin - 1, 0)]), int(times[min(end, last)]))
        for begin, end in zip(begins.tolist(), ends.tolist(), strict=True)
    ]
    return joined(found, join_us)


def joined(events: Sequence[Event], join_us: int) -> list[Event]:
    """Return events in order of time, those no further apart than ``join_us`` as one; amounts add up."""
    made: list[Event] = []
    for one in sorted(events, key=lambda one: one.start_us):
        if made and one.start_us - made[-1].end_us <= join_us:
            last = made[-1]
            made[-1] = Event(last.start_us, max(last.end_us, one.end_us), last.amount + one.amount)
        else:
            made.append(one)
    return made


def _check_join(join_us: int) -> None:
    if join_us < 0:
        raise ValueError(f"join_us is {join_us}: give the longest pause within one event, 0 or more")
