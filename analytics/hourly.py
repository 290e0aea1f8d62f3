"""Means of whole hours, each from its own samples alone."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, check_window, samples

HOUR_US = 3_600_000_000


class HourlyMeans(NamedTuple):
    """One value an hour: the mean over the time that samples tell about, NaN where none does, and that share."""

    mean: Floats
    coverage: Floats


def hourly_means(time_us: ArrayLike, value: ArrayLike, start_us: int, end_us: int, max_gap_us: int) -> HourlyMeans:
    """Return the time-weighted mean of each hour of a window.

    A sample holds until the next one, but no longer than ``max_gap_us`` and never into the next hour: an hour's
    mean depends on nothing outside it, so it is the same to the bit whatever window it is worked out in.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came. [any unit]
    start_us, end_us : int
        The window, a whole number of hours. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    hours : HourlyMeans
        Mean in the samples' unit, coverage 0..1, of each hour in order.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window is no whole number of hours, or
        ``max_gap_us`` is not positive.

    Examples
    --------
    >>> minute = 60_000_000
    >>> hourly_means([0, 30 * minute], [10.0, 20.0], 0, 60 * minute, max_gap_us=30 * minute)
    HourlyMeans(mean=array([15.]), coverage=array([1.]))
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, max_gap_us)
    hours, rest = divmod(end_us - start_us, HOUR_US)
    if rest:
        raise ValueError(f"the window lasts {end_us - start_us} us: give a whole number of hours of {HOUR_US} us")
    came = ~np.isnan(values) & (times >= start_us) & (times < end_us)
    times, values = times[came], values[came]
    hour = (times - start_us) // HOUR_US
    until = np.minimum(np.append(times[1:], end_us), times + max_gap_us)
    held = np.minimum(until, start_us + (hour + 1) * HOUR_US) - times
    covered = np.bincount(hour, held, minlength=hours)
    total = np.bincount(hour, held * values, minlength=hours)
    return HourlyMeans(total / np.where(covered > 0.0, covered, np.nan), covered / HOUR_US)
