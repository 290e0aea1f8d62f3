"""Electrical demand: the highest averages of power, against what a service may carry for hours.

Mains voltage kills. The figures advise; sizing and work are a licensed electrician's, by the local code.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, samples
from analytics.rolling import rolling_average

FIFTEEN_MINUTES_US = 15 * 60 * MICROSECONDS  # the usual window of a demand tariff; common practice, no source
THREE_HOURS_US = 3 * 3600 * MICROSECONDS  # a load that lasts this long is continuous: NEC article 100 (from memory)
NEC_CONTINUOUS_SHARE = 0.8  # 1 / 125 %: NEC 210.20, 215.3 (conductors 210.19, 215.2); North America only
HIGHEST_POWER_W = 1e7  # W; what a farm's service surely stays below; our choice, no source
ENOUGH_COVERAGE = 0.9  # of a window, for its average to count as a demand; our choice, no source


@dataclass(frozen=True, slots=True)
class Demand:
    """The highest average over a window and the instant it ended; NaN and None where no window was covered. [W]."""

    power_w: float
    end_us: int | None


def peak_demand(
    time_us: ArrayLike, power_w: ArrayLike, start_us: int, end_us: int, window_us: int, max_gap_us: int
) -> Demand:
    """Return the highest average power over any window that ended within a stretch of time.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; hand in those of a window before the stretch too.
        [µs since 1970 UTC]
    power_w : array_like
        NaN counts as a sample that never came. [W]
    start_us, end_us : int
        The stretch in which windows end, half-open. [µs since 1970 UTC]
    window_us, max_gap_us : int
        Length of the window, and the longest time a sample holds, above 0. [µs]

    Returns
    -------
    demand : Demand
        [W]

    Raises
    ------
    ValueError
        As for ``rolling_average``, or if the stretch runs backward.

    Notes
    -----
    Windows that begin or end at a sample: one of them is the highest, since each sample holds until the next. They
    count with 90 % coverage (our choice, no source). A supplier's meter averages over fixed windows of its own
    clock, so its peak is at most this one, but for what rises and falls between two samples.

    Examples
    --------
    >>> minute = 60_000_000
    >>> power = [500.0, 2000.0, 2000.0, 1000.0, 1000.0]
    >>> peak_demand([n * minute for n in range(5)], power, 0, 9 * minute, 2 * minute, 3 * minute)
    Demand(power_w=2000.0, end_us=180000000)
    """
    check_window(start_us, end_us, max_gap_us)
    times, power = samples(time_us, power_w)
    ends = np.setdiff1d(times + window_us, times)
    ends = ends[ends < times[-1]] if times.size else ends
    order = np.argsort(np.concatenate((times, ends)))
    times, power = (np.concatenate(both)[order] for both in ((times, ends), (power, np.full(ends.shape, np.nan))))
    average = rolling_average(times, power, window_us, max_gap_us, HIGHEST_POWER_W)
    counts = (times >= start_us) & (times < end_us) & (average.coverage >= ENOUGH_COVERAGE)
    if not counts.any():
        return Demand(math.nan, None)
    highest = int(np.argmax(np.where(counts, average.value, -np.inf)))
    return Demand(float(average.value[highest]), int(times[highest]))


def service_rating(voltage_v: float, breaker_a: float, phases: int = 1, power_factor: float = 1.0) -> float:
    """Return the power at which a main breaker carries its rated current.

    Parameters
    ----------
    voltage_v : float
        Of a single-phase service, between the legs of a split-phase one; of a three-phase one between two of its
        phases. [V]
    breaker_a : float
        The main breaker's rating, in each phase. [A]
    phases : {1, 3}
    power_factor : float
        Of the load, above 0 and at most 1. [W/VA]

    Returns
    -------
    rating : float
        [W]

    Raises
    ------
    ValueError
        If ``phases`` is neither 1 nor 3, or the power factor is not above 0 and at most 1.

    Notes
    -----
    ``V I cos(phi)`` or ``sqrt(3) V I cos(phi)``, for phases (or legs) loaded alike. A breaker goes by current: a lower
    power factor draws more of it for the same power, and one phase may carry more than its part: the true margin is
    then smaller.

    Examples
    --------
    >>> service_rating(230.0, 40.0), round(service_rating(400.0, 32.0, phases=3))
    (9200.0, 22170)
    """
    if not 0.0 < power_factor <= 1.0:
        raise ValueError(f"power_factor is {power_factor}: give watts for each volt-ampere, above 0 and at most 1")
    if phases not in (1, 3):
        raise ValueError(f"phases is {phases}: give 1 or 3")
    return voltage_v * breaker_a * power_factor * (1.0 if phases == 1 else math.sqrt(3.0))


def continuous_rating(
    voltage_v: float,
    breaker_a: float,
    phases: int = 1,
    continuous_share: float = NEC_CONTINUOUS_SHARE,
    power_factor: float = 1.0,
) -> float:
    """Return the power that a service may carry for three hours or more.

    Parameters
    ----------
    voltage_v, breaker_a, phases
        As for ``service_rating``. [V], [A]
    continuous_share : float
        Share of the breaker's rating for a continuous load, above 0 and at most 1. [1]
    power_factor : float
        As for ``service_rating``. [W/VA]

    Returns
    -------
    rating : float
        [W]

    Raises
    ------
    ValueError
        If ``phases`` is neither 1 nor 3, or the share or the power factor is not above 0 and at most 1.

    Notes
    -----
    North America: a load expected for 3 h or more is continuous, and its breaker must be rated for 125 % of it:
    80 % (NEC 210.20, 215.3; its conductors alike, 210.19, 215.2; secondary copies). Other regions have other
    rules; a licensed electrician knows them.

    Examples
    --------
    >>> continuous_rating(120.0, 20.0), continuous_rating(240.0, 30.0)
    (1920.0, 5760.0)
    """
    _check_share(continuous_share)
    return service_rating(voltage_v, breaker_a, phases, power_factor) * continuous_share


def breaker_for_continuous_current(current_a: float, continuous_share: float = NEC_CONTINUOUS_SHARE) -> float:
    """Return the least rating of a breaker for a current that flows for three hours or more.

    Parameters
    ----------
    current_a : float
        [A]
    continuous_share : float
        As for ``continuous_rating``. [1]

    Returns
    -------
    rating : float
        Take the next size made; an electrician decides. [A]

    Raises
    ------
    ValueError
        If the share is not above 0 and at most 1.

    Examples
    --------
    >>> breaker_for_continuous_current(24.0)
    30.0
    """
    _check_share(continuous_share)
    return current_a / continuous_share


def _check_share(continuous_share: float) -> None:
    if not 0.0 < continuous_share <= 1.0:
        raise ValueError(f"continuous_share is {continuous_share}: give a share above 0 and at most 1, e.g. 0.8")
