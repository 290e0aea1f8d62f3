"""Photoperiod from readings: when the lights came on and went off, how long it was lit, and how far from the plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Times, samples
from analytics.light import ON, lit_seconds

DAY_S = 86_400.0
SAME_TIME = 1e-9  # a mean vector shorter than this points nowhere


@dataclass(frozen=True, slots=True)
class Photoperiod:
    """When the lights first came on and last went off in a window, and for how long it was lit.

    ``on_us`` and ``off_us`` are the first sample after each change; None where nobody saw it: samples are
    missing just before, or the window holds no change. The change itself lies up to ``on_within_s`` or
    ``off_within_s`` earlier, where the sample before it stands. [µs since 1970 UTC], [s].
    """

    on_us: int | None
    on_within_s: float
    off_us: int | None
    off_within_s: float
    lit_s: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


@dataclass(frozen=True, slots=True)
class MeanTimeOfDay:
    """The mean of times of day, around the clock.

    ``mean_s`` seconds after midnight, NaN where there is none (no times, or they cancel out); ``spread_s``
    their circular standard deviation; ``count`` how many there were. [s], [s], [1].
    """

    mean_s: float
    spread_s: float
    count: int


def photoperiod(
    time_us: ArrayLike, level: ArrayLike, start_us: int, end_us: int, max_gap_us: int, threshold: float = ON
) -> Photoperiod:
    """Return when the lights came on and went off within a window, and for how long it was lit.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; hand in those just before the window too. [µs since 1970 UTC]
    level : array_like
        A switch (0 or 1), or PPFD together with a threshold of its own. NaN counts as never came.
    start_us, end_us : int
        The window, half-open: a light day. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold. [µs]
    threshold : float
        At or above this it is lit. [the unit of ``level``]

    Returns
    -------
    photoperiod : Photoperiod
        [µs], [s]

    Raises
    ------
    ValueError
        As for ``time_in_band``.

    Notes
    -----
    Where the lights go off and on again within the window, ``lit_s`` is less than the time from first on to
    last off. The lit time is that of ``lit_seconds``: each sample holds until the next.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> day = photoperiod([5 * hour, 6 * hour, 22 * hour], [0, 1, 0], 0, 24 * hour, max_gap_us=16 * hour)
    >>> day.on_us // hour, day.off_us // hour, day.lit_s / 3600
    (6, 22, 16.0)
    """
    lit = lit_seconds(time_us, level, start_us, end_us, max_gap_us, threshold)
    times, values = samples(time_us, level)
    came = ~np.isnan(values)
    times, on = times[came], values[came] >= threshold
    passed = np.diff(times)
    seen = (passed <= max_gap_us) & (times[1:] >= start_us) & (times[1:] < end_us)
    rises = np.flatnonzero(seen & on[1:] & ~on[:-1])
    falls = np.flatnonzero(seen & ~on[1:] & on[:-1])
    on_us, on_within_s = _change(times, rises[:1])
    off_us, off_within_s = _change(times, falls[-1:])
    return Photoperiod(on_us, on_within_s, off_us, off_within_s, lit.lit_s, lit.covered_s, lit.span_s)


def _change(times: Times, place: NDArray[np.intp]) -> tuple[int | None, float]:
    """Return the sample after a change, and how long before it the change may have been."""
    if not place.size:
        return None, math.nan
    before, after = int(times[place[0]]), int(times[place[0] + 1])
    return after, (after - before) / MICROSECONDS


def mean_time_of_day(second_of_day: ArrayLike) -> MeanTimeOfDay:
    """Return the mean of times of day, counted around the clock: 23:50 and 00:10 make midnight, not noon.

    Parameters
    ----------
    second_of_day : array_like
        Seconds after midnight by the local clock, one a day; NaN is no data. With local clock times a change
        of the clocks moves nothing for lamps that follow the clock. [s]

    Returns
    -------
    mean : MeanTimeOfDay
        [s]

    Notes
    -----
    Direction of the sum of unit vectors; spread ``sqrt(-2 ln R)`` with R the length of the mean vector.

    References
    ----------
    .. [1] K. V. Mardia and P. E. Jupp, "Directional statistics," 2000, sections 2.2 and 2.3.

    Examples
    --------
    >>> mean_time_of_day([86_400 - 600, 600]).mean_s
    0.0
    """
    times = np.asarray(second_of_day, dtype=float).ravel()
    times = times[~np.isnan(times)]
    if not times.size:
        return MeanTimeOfDay(math.nan, math.nan, 0)
    angle = times * (2.0 * math.pi / DAY_S)
    east, north = float(np.sin(angle).mean()), float(np.cos(angle).mean())
    length = min(math.hypot(east, north), 1.0)
    if length < SAME_TIME:
        return MeanTimeOfDay(math.nan, math.nan, times.size)
    mean = round(math.atan2(east, north) / (2.0 * math.pi) * DAY_S, 6) % DAY_S
    return MeanTimeOfDay(mean, math.sqrt(-2.0 * math.log(length)) / (2.0 * math.pi) * DAY_S, times.size)


def shift_from_plan(at_us: int, planned_us: ArrayLike) -> float:
    """Return how much later than planned something happened; negative is early.

    Parameters
    ----------
    at_us : int
        When it happened. [µs since 1970 UTC]
    planned_us : array_like of int
        The instants at which the plan has it, of the days around; the nearest counts. [µs since 1970 UTC]

    Returns
    -------
    shift : float
        NaN without a plan. [s]

    Raises
    ------
    ValueError
        If ``planned_us`` is not one-dimensional.

    Examples
    --------
    >>> shift_from_plan(23 * 3_600_000_000, [0, 24 * 3_600_000_000])
    -3600.0
    """
    planned = np.asarray(planned_us, dtype=np.int64)
    if planned.ndim != 1:
        raise ValueError(f"planned_us has shape {planned.shape}: give a one-dimensional array of instants")
    if not planned.size:
        return math.nan
    shifts = at_us - planned
    return int(shifts[np.argmin(np.abs(shifts))]) / MICROSECONDS
