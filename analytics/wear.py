"""Wear: how fast a figure moves over days, give or take."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, samples

DAY_US = 86_400 * MICROSECONDS
FEWEST = 4  # with fewer points Sen's interval at 95 % is wider than the points themselves


@dataclass(frozen=True, slots=True)
class Wear:
    """A robust straight line through ``count`` points, with an interval for its slope; NaN where there is none.

    ``latest`` is the line's height at the newest point. [unit/day], [unit/day], [unit/day], [unit].
    """

    per_day: float
    per_day_low: float
    per_day_high: float
    latest: float
    count: int


def wear(time_us: ArrayLike, value: ArrayLike, confidence: float = 0.95) -> Wear:
    """Return how fast a figure moves: the median slope between all pairs of points.

    Parameters
    ----------
    time_us : array_like of int
        Strictly ascending. [µs since 1970 UTC]
    value : array_like
        A NaN counts as a point that never came.
    confidence : float
        Of the interval, above 0 and below 1. [1]

    Returns
    -------
    wear : Wear
        All NaN with fewer than four points.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``confidence`` is out of range.

    Notes
    -----
    Theil's slope with Sen's interval, from the normal approximation of Kendall's statistic with ties in the
    values allowed for. Up to 29 % of wild points do not move it beyond bounds. The points' errors are taken as
    independent; errors that hang together make the true interval wider.

    References
    ----------
    .. [1] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau," J. Am. Stat. Assoc. 63,
       1968, doi:10.1080/01621459.1968.10480934.

    Examples
    --------
    >>> day = 86_400_000_000
    >>> wear([0, day, 2 * day, 3 * day, 4 * day], [8.0, 9.0, 10.0, 11.0, 12.0]).per_day
    1.0
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence}: give a share above 0 and below 1, for example 0.95")
    times, values = samples(time_us, value)
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    n = len(values)
    if n < FEWEST:
        return Wear(math.nan, math.nan, math.nan, math.nan, n)
    days = (times - times[-1]) / DAY_US
    later, earlier = np.triu_indices(n, 1)
    slopes = np.sort((values[earlier] - values[later]) / (days[earlier] - days[later]))
    slope = float(np.median(slopes))
    _, ties = np.unique(values, return_counts=True)
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1) * (2 * ties + 5)))) / 18
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(variance)
    low = max(round((len(slopes) - reach) / 2) - 1, 0)
    high = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return Wear(slope, float(slopes[low]), float(slopes[high]), float(np.median(values - slope * days)), n)
