"""Integrals over time: what a quantity that moves in straight lines between its samples adds up to."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, samples


@dataclass(frozen=True, slots=True)
class TimeIntegral:
    """What a quantity added up to in the covered part of a window.

    ``total`` is NaN where nothing was covered: no data is not zero. [the quantity's unit times s], [s], [s].
    """

    total: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def time_integral(time_us: ArrayLike, value: ArrayLike, start_us: int, end_us: int, max_gap_us: int) -> TimeIntegral:
    """Return the integral of a quantity over a window of time, in its unit times seconds.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; hand in the neighbours just outside the window too.
        [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came. [any unit]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        Between samples further apart than this nothing is integrated and nothing is covered. [µs]

    Returns
    -------
    time_integral : TimeIntegral
        [the quantity's unit times s]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, or
        ``max_gap_us`` is not positive.

    Notes
    -----
    Trapezoids. One that sticks out of the window is cut by linear interpolation, so the integrals of two
    adjoining windows sum to that of both.

    Examples
    --------
    >>> second = 1_000_000
    >>> time_integral([0, 2 * second, 4 * second], [1.0, 3.0, 3.0], 0, 4 * second, max_gap_us=2 * second).total
    10.0
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, max_gap_us)
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    gap = np.diff(times)
    left, right = np.maximum(times[:-1], start_us), np.minimum(times[1:], end_us)
    used = (right > left) & (gap <= max_gap_us)
    gap, left, right, before, after = gap[used], left[used], right[used], times[:-1][used], values[1:][used]
    first = values[:-1][used]
    middle = ((left - before) + (right - before)) / (2.0 * gap)
    width = right - left
    total = float(np.sum((first + (after - first) * middle) * width)) / MICROSECONDS
    return TimeIntegral(
        total=total if width.size else math.nan,
        covered_s=int(width.sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )
