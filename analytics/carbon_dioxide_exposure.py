"""Exposure to carbon dioxide: rolling averages over 8 h and 15 min against occupational limits.

Nothing here protects people: a certified gas detector does.
"""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS
from analytics.carbon_dioxide import HIGHEST_MOLE_FRACTION
from analytics.rolling import RollingAverage, rolling_average

EIGHT_HOURS_US = 8 * 3600 * MICROSECONDS
FIFTEEN_MINUTES_US = 15 * 60 * MICROSECONDS

ENOUGH_COVERAGE = 0.9  # of a window, to say that an average lies below a limit; our choice, no source


class LimitStanding(StrEnum):
    """How an average stands against a limit, its give or take and its gaps considered."""

    BELOW = "below"
    NEAR = "near"  # the limit lies within the give or take
    ABOVE = "above"
    UNKNOWN = "unknown"  # too much of the window is not known


def eight_hour_average(time_us: ArrayLike, co2_mole_fraction: ArrayLike, max_gap_us: int) -> RollingAverage:
    """Return the time-weighted average over the 8 h before each reading.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    co2_mole_fraction : array_like
        NaN, or what is no mole fraction, counts as a reading that never came. [umol mol-1]
    max_gap_us : int
        The longest time a reading may hold, above 0. [µs]

    Returns
    -------
    rolling_average : RollingAverage
        Average of the time that readings cover, and its share of the 8 h. [umol mol-1], [1]

    Raises
    ------
    ValueError
        As for ``rolling_average``.

    Notes
    -----
    29 CFR 1910.1000(d)(1)(i): ``E = (Ca Ta + Cb Tb + ... Cn Tn) / 8``. There the shift's hours are known; here
    time that no reading covers is left out of the average and told as coverage. ``at_least`` counts it as 0,
    which is what the formula gives for hours without exposure. It is the average at the sensor's place: people
    elsewhere, and at other heights, breathe other air.

    References
    ----------
    .. [1] 29 CFR 1910.1000, paragraph (d), and table Z-1.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> found = eight_hour_average([0, 2 * hour, 6 * hour, 8 * hour], [1200.0, 5000.0, 8000.0, 400.0], 4 * hour)
    >>> float(found.value[-1])
    4800.0
    """
    return _average(time_us, co2_mole_fraction, EIGHT_HOURS_US, max_gap_us)


def fifteen_minute_average(time_us: ArrayLike, co2_mole_fraction: ArrayLike, max_gap_us: int) -> RollingAverage:
    """Return the average over the 15 min before each reading: what a short-term limit is for.

    Parameters
    ----------
    time_us, co2_mole_fraction, max_gap_us
        As for ``eight_hour_average``.

    Returns
    -------
    rolling_average : RollingAverage
        [umol mol-1], [1]

    Raises
    ------
    ValueError
        As for ``rolling_average``.

    Notes
    -----
    A short-term exposure limit is a 15-minute time-weighted average (NIOSH Pocket Guide). Readings further
    apart than a few minutes may miss a short peak.

    Examples
    --------
    >>> minute = 60_000_000
    >>> found = fifteen_minute_average([0, 5 * minute, 15 * minute], [20_000.0, 35_000.0, 400.0], 10 * minute)
    >>> float(found.value[-1])
    30000.0
    """
    return _average(time_us, co2_mole_fraction, FIFTEEN_MINUTES_US, max_gap_us)


def _average(time_us: ArrayLike, co2_mole_fraction: ArrayLike, window_us: int, max_gap_us: int) -> RollingAverage:
    value = np.asarray(co2_mole_fraction, dtype=float)
    possible = np.where(value >= 0.0, value, np.nan)
    return rolling_average(time_us, possible, window_us, max_gap_us, HIGHEST_MOLE_FRACTION)


def limit_standing(average: float, coverage: float, limit: float, give_or_take: float) -> LimitStanding:
    """Return how an average stands against a limit.

    Parameters
    ----------
    average : float
        Of the covered part of the window; NaN where nothing was covered. [the quantity's unit]
    coverage : float
        The covered share of the window, 0..1. [1]
    limit, give_or_take : float
        The limit, and the average's plus or minus. [the quantity's unit]

    Returns
    -------
    limit_standing : LimitStanding
        ABOVE where the average exceeds the limit by more than its give or take; with gaps, only where it
        would do so had there been nothing in them. NEAR where the limit is within reach. BELOW only with at
        least 90 % of the window covered, else UNKNOWN.

    Notes
    -----
    A sensor's error is mostly the same in every reading: it does not shrink in an average, so the average's
    give or take is the sensor's own.

    Examples
    --------
    >>> limit_standing(4970.0, 1.0, 5000.0, 50.0), limit_standing(900.0, 0.2, 5000.0, 50.0)
    (<LimitStanding.NEAR: 'near'>, <LimitStanding.UNKNOWN: 'unknown'>)
    """
    if math.isnan(average):
        return LimitStanding.UNKNOWN
    covered = coverage >= ENOUGH_COVERAGE
    sure = average if covered else average * coverage
    if sure - give_or_take > limit:
        return LimitStanding.ABOVE
    if average + give_or_take >= limit:
        return LimitStanding.NEAR
    return LimitStanding.BELOW if covered else LimitStanding.UNKNOWN
