"""Days until something is due: by the calendar, by a figure that moves toward a limit, by a stock's use."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS
from analytics.lines import SECONDS_PER_DAY, lines_between
from analytics.student import CONFIDENCE, student_quantile
from analytics.wear import Wear

DAY_US = SECONDS_PER_DAY * MICROSECONDS


class DaysLeft(NamedTuple):
    """Days from now, with the interval's ends; infinite where nothing brings it nearer, NaN where unknown."""

    days: float
    soonest: float
    latest: float


def days_until_due(last_us: int, now_us: int, interval_days: float) -> float:
    """Return the days until something is due that is to be done at an interval; negative when overdue.

    Parameters
    ----------
    last_us, now_us : int
        When it was last done, and now. [µs since 1970 UTC]
    interval_days : float
        Above 0. [days]

    Returns
    -------
    days : float
        [days]

    Raises
    ------
    ValueError
        If the interval is not above 0.

    Examples
    --------
    >>> days_until_due(0, 10 * 86_400_000_000, 14.0)
    4.0
    """
    if not interval_days > 0.0:
        raise ValueError(f"interval_days is {interval_days}: give the days between two times, above 0")
    return interval_days - (now_us - last_us) / DAY_US


def days_until_limit(
    at_us: ArrayLike, value: ArrayLike, limit: float, now_us: int, confidence: float = CONFIDENCE
) -> DaysLeft:
    """Return the days until a falling figure reaches a limit, by the straight line through its past.

    Parameters
    ----------
    at_us : array_like of int
        When it was found, strictly ascending: calibrations. [µs since 1970 UTC]
    value : array_like
        The figure, such as an electrode's slope. [its unit]
    limit : float
        Where it is due. [its unit]
    now_us : int
        [µs since 1970 UTC]
    confidence : float
        Of the interval. [1]

    Returns
    -------
    days_left : DaysLeft
        NaN with fewer than three figures; ``days`` infinite where the line does not fall. [days]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``confidence`` is out of range.

    Notes
    -----
    Least squares; ``soonest`` and ``latest`` with the slope at the ends of its interval, from the mean of the
    figures (so that both errors are in it where the past is short). Three points make wide intervals.

    Examples
    --------
    >>> day = 86_400_000_000
    >>> left = days_until_limit([0, 30 * day, 60 * day, 90 * day], [99.0, 97.0, 95.0, 93.0], 90.0, 90 * day)
    >>> round(left.days)
    45
    """
    found = lines_between(at_us, value, [], 0, 2**62, least_samples=3)
    quantile = student_quantile(found[0].degrees if found else 1.0, confidence)
    if not found:
        return DaysLeft(math.nan, math.nan, math.nan)
    [line] = found
    passed_days = (now_us - line.mid_us) / DAY_US
    slopes = (line.per_s + sign * quantile * line.per_s_error for sign in (0.0, -1.0, 1.0))
    days, soonest, latest = (_days_to(line.mean, slope * SECONDS_PER_DAY, limit) - passed_days for slope in slopes)
    return DaysLeft(days, soonest, latest)


def days_until_worn(worn: Wear, limit: float, rising: bool) -> DaysLeft:
    """Return in how many days after its newest point a figure that wears reaches a limit.

    Parameters
    ----------
    worn : Wear
        As ``wear`` returns it.
    limit : float
        [the figure's unit]
    rising : bool
        True if the limit is one from below (a filter's pressure drop), False if from above (output).

    Returns
    -------
    days_left : DaysLeft
        If it goes on as it did over the points; ``soonest`` and ``latest`` from the interval of the slope. 0 if
        it has been reached. [days]

    Examples
    --------
    >>> days_until_worn(Wear(per_day=2.0, per_day_low=1.0, per_day_high=4.0, latest=12.0, count=9), 20.0, rising=True)
    DaysLeft(days=4.0, soonest=2.0, latest=8.0)
    """
    sign = -1.0 if rising else 1.0  # a rise to a limit is a fall of the negative figure
    value, end = sign * worn.latest, sign * limit
    if value <= end:
        return DaysLeft(0.0, 0.0, 0.0)
    days, low, high = (_days_to(value, sign * one, end) for one in (worn.per_day, worn.per_day_low, worn.per_day_high))
    return DaysLeft(days, high, low) if rising else DaysLeft(days, low, high)


def days_left(remaining: float, used_per_day: ArrayLike, confidence: float = CONFIDENCE) -> DaysLeft:
    """Return for how many days a stock lasts at the pace of the past days.

    Parameters
    ----------
    remaining : float
        What is left. [any unit]
    used_per_day : array_like
        What whole past days used, shape (n,); NaN is a day not known. [the same]
    confidence : float
        Of the interval. [1]

    Returns
    -------
    days_left : DaysLeft
        ``soonest`` and ``latest`` from the interval of the mean use, NaN with fewer than two days; infinite
        where nothing is used. [days]

    Raises
    ------
    ValueError
        If ``confidence`` is out of range.

    Notes
    -----
    Mean use and its interval by Student's t: the past days' spread is taken for that of the days to come.

    Examples
    --------
    >>> left = days_left(6.0, [0.5, 0.6, 0.55, 0.55])
    >>> round(left.days, 1), round(left.soonest, 1), round(left.latest, 1)
    (10.9, 9.8, 12.4)
    """
    used = np.asarray(used_per_day, dtype=float)
    used = used[~np.isnan(used)]
    quantile = student_quantile(max(len(used) - 1.0, 1.0), confidence)
    if len(used) == 0 or math.isnan(remaining):
        return DaysLeft(math.nan, math.nan, math.nan)
    mean = float(used.mean())
    reach = quantile * float(used.std(ddof=1)) / math.sqrt(len(used)) if len(used) > 1 else math.nan
    return DaysLeft(*(_days_to(remaining, -one, 0.0) for one in (mean, mean + reach, mean - reach)))


def _days_to(value: float, per_day: float, limit: float) -> float:
    """Return the days in which a value reaches a limit below it; infinite if it does not fall."""
    if math.isnan(per_day):
        return math.nan
    return (value - limit) / -per_day if per_day < 0.0 else math.inf
