"""Degree-hours: warmth above a base temperature, summed over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, held_us, samples
from analytics.time_in_band import TimeInBand, time_in_band

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class DegreeHours:
    """Warmth above a base in the covered part of a window, and the time below, between base and cap, and above.

    ``degree_hours`` is NaN where nothing was covered. [K h], [s].
    """

    degree_hours: float
    time: TimeInBand


def degree_hours(
    time_us: ArrayLike,
    temperature: ArrayLike,
    base: float,
    start_us: int,
    end_us: int,
    max_gap_us: int,
    cap: float = np.inf,
) -> DegreeHours:
    """Return the warmth above a base temperature that a window brought: how far plants got on.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; samples before the window hold into it. [µs since 1970 UTC]
    temperature : array_like
        Of air or leaf. A NaN counts as a sample that never came. [degC]
    base : float
        At or below this nothing counts. [degC]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]
    cap : float
        What is above counts as this: growth does not quicken any more. [degC]

    Returns
    -------
    degree_hours : DegreeHours
        [K h]. Time that nothing covers adds nothing: at 70 % coverage the sum is a lower bound.

    Raises
    ------
    ValueError
        As for ``time_in_band``, or if the cap is not above the base.

    Notes
    -----
    Sum of ``min(T, cap) - base`` where positive, times hours: the thermal time of McMaster and Wilhelm, their
    second method (limits applied before subtracting), by the sample instead of the day. Degree-days are
    this over 24. Base and cap belong to the crop and the source; neither has a default.

    References
    ----------
    .. [1] G. S. McMaster and W. W. Wilhelm, "Growing degree-days: one equation, two interpretations,"
       Agric. For. Meteorol. 87, 1997, doi:10.1016/S0168-1923(97)00027-0.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> degree_hours([0, hour, 2 * hour], [14.0, 2.0, 34.0], 4.0, 0, 3 * hour, hour, cap=30.0).degree_hours
    36.0
    """
    if not cap > base:
        raise ValueError(f"the cap {cap:g} is not above the base {base:g}: give the higher temperature as cap")
    split = time_in_band(time_us, temperature, base, cap, start_us, end_us, max_gap_us)
    times, values = samples(time_us, temperature)
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    held = held_us(times, start_us, end_us, max_gap_us)
    warmth = np.maximum(np.minimum(values, cap) - base, 0.0)
    total = float(np.sum(warmth * held)) / MICROSECONDS / SECONDS_PER_HOUR
    return DegreeHours(total if split.covered_s else np.nan, split)
