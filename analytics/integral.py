"""The integral of a rate over time, with the time it covers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, samples

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class HourlyIntegral:
    """A rate per hour, summed up over the covered part of a window.

    ``total`` is NaN where nothing was covered. [the rate's unit times h], [s], [s].
    """

    total: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def hourly_integral(
    time_us: ArrayLike, value: ArrayLike, start_us: int, end_us: int, max_gap_us: int
) -> HourlyIntegral:
    """Return what a rate per hour adds up to within a window: kg from kg/h, kWh from kW.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. Hand in the neighbours just outside the window too: values at
        its edges come from interpolation. [µs since 1970 UTC]
    value : array_like
        The rate. A NaN ends what is known: nothing is bridged across it. [any unit per h]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        Between samples further apart than this nothing is summed and nothing is covered. [µs]

    Returns
    -------
    integral : HourlyIntegral

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
    >>> hour = 3_600_000_000
    >>> hourly_integral([0, hour, 2 * hour], [1.0, 2.0, 2.0], 0, 3 * hour, max_gap_us=hour)
    HourlyIntegral(total=3.5, covered_s=7200.0, span_s=10800.0)
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, max_gap_us)
    gap = np.diff(times)
    left, right = np.maximum(times[:-1], start_us), np.minimum(times[1:], end_us)
    used = (right > left) & (gap <= max_gap_us) & ~np.isnan(values[1:]) & ~np.isnan(values[:-1])
    gap, left, right, before = gap[used], left[used], right[used], times[:-1][used]
    first, last = values[:-1][used], values[1:][used]
    middle = ((left - before) + (right - before)) / (2.0 * gap)
    width = right - left
    total = float(np.sum((first + (last - first) * middle) * width)) / MICROSECONDS / SECONDS_PER_HOUR
    return HourlyIntegral(
        total=total if width.size else math.nan,
        covered_s=int(width.sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )
