"""The night to come: how cold it may get outdoors, and what that leaves of a surface's margin."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, check_window, held_us, hold_as_of, samples

DAY_US = 86_400_000_000
NIGHTS = 7  # whose falls, and whose errors, are looked at; our choice, from a hindcast: see docs/science.md
FEWEST_NIGHTS = 4  # fewer say too little; our choice, no source
ENOUGH_COVERAGE = 0.9  # of a past night's hours; our choice, no source
DEVIATIONS = 2.0  # of past errors that a give or take spans: about nine nights of ten in the hindcast
LOOK_BACK_US = (2 * NIGHTS + 1) * DAY_US  # so much of the past is used


class NightAhead(NamedTuple):
    """What is expected of a night, plus or minus; NaN where too few nights are known. ``nights`` is how many were."""

    value: float
    give_or_take: float
    nights: int


def coldest_of_night(
    time_us: ArrayLike,
    outside_temperature: ArrayLike,
    now_us: int,
    start_us: int,
    end_us: int,
    max_gap_us: int,
) -> NightAhead:
    """Return how cold it may get outdoors in a night to come, from the last two weeks alone.

    A stand-in where no weather forecast reaches the farm. It knows nothing of fronts: its give or take says so.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; those from ``now_us`` on are not looked at. [µs since 1970 UTC]
    outside_temperature : array_like
        Outdoor air; NaN counts as a sample that never came. [degC]
    now_us : int
        The instant to look ahead from. [µs since 1970 UTC]
    start_us, end_us : int
        The night, half-open, from ``now_us`` at the earliest. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    coldest : NightAhead
        The lowest temperature of the night. NaN without a fresh sample, or with fewer than four of the last
        nights, or with fewer than four nights by which its own error can be judged. [degC], [K]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the night runs backward or begins before
        ``now_us``, or ``max_gap_us`` is not positive.

    Notes
    -----
    Our own method, no source. Two guesses: the air falls from now on as it did from this hour in the last
    seven nights (the median fall), and tonight is as cold as the last night that is over. Each is weighted by the
    inverse of its mean square error over the last seven nights, so that the first counts more as the night comes on;
    where last night is not known, the first guess stands alone. Give or take:
    twice the root mean square of the weighted guess's errors in those nights. A hindcast over open weather data is in
    docs/science.md.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> at = np.arange(15 * 24) * hour
    >>> day = 5.0 - 5.0 * np.cos(np.arange(15 * 24) * np.pi / 12)  # 0 degC at midnight
    >>> coldest_of_night(at, day, 350 * hour, 354 * hour, 369 * hour, hour).value
    0.0
    """
    times, values = samples(time_us, outside_temperature)
    check_window(start_us, end_us, max_gap_us)
    if start_us < now_us:
        raise ValueError(f"the night begins at {start_us}, before now_us at {now_us}: give its part to come")
    came = ~np.isnan(values) & (times < now_us)
    times, values = times[came], values[came]
    ago = range(1, 2 * NIGHTS + 1)  # nights back, the latest first
    starts_from = hold_as_of(times, values, [now_us - 1 - n * DAY_US for n in (0, *ago)], max_gap_us).value
    low = np.array([_lowest(times, values, start_us - n * DAY_US, end_us - n * DAY_US, max_gap_us) for n in ago])
    lag = int(end_us - DAY_US > now_us)  # last night may not be over: its window then reaches beyond now
    low[:lag] = np.nan
    fall = low - starts_from[1:]
    past = range(NIGHTS)
    by_fall = starts_from[0] + _median(fall[:NIGHTS])
    fall_errors = np.array([fall[n] - _median(fall[n + 1 : n + 1 + NIGHTS]) for n in past])
    last_errors = low[:NIGHTS] - low[1 + lag : 1 + lag + NIGHTS]
    if np.isnan(low[lag]):
        judged, share, by_last = ~np.isnan(fall_errors), 1.0, 0.0
        last_errors = np.zeros(NIGHTS)
    else:
        judged, by_last = ~np.isnan(fall_errors) & ~np.isnan(last_errors), float(low[lag])
        share = _share_of_first(fall_errors[judged], last_errors[judged]) if judged.any() else 0.0
    nights = int(judged.sum())
    if nights < FEWEST_NIGHTS or np.isnan(by_fall):
        return NightAhead(float("nan"), float("nan"), nights)
    errors = share * fall_errors[judged] + (1.0 - share) * last_errors[judged]
    value = share * by_fall + (1.0 - share) * by_last
    return NightAhead(float(value), DEVIATIONS * _root_mean_square(errors), nights)


def margin_of_night(
    coldest: NightAhead,
    temperature_factor: float,
    inside_margins_at_coldest: ArrayLike,
    margin_uncertainty: float = 0.0,
) -> NightAhead:
    """Return the lowest condensation margin to expect of a surface in a night to come.

    Parameters
    ----------
    coldest : NightAhead
        How cold it may get outdoors. [degC], [K]
    temperature_factor : float
        Of the surface. [1]
    inside_margins_at_coldest : array_like
        One a past night: the lowest margin that its indoor air would have had against ``coldest`` outdoors; see
        ``lowest_margin_against``. NaN for a night of which too little is known. [K]
    margin_uncertainty : float
        The give or take of a margin from its sensors; the expected margin carries it too. [K]

    Returns
    -------
    margin : NightAhead
        The median of the nights. NaN where ``coldest`` is, or with fewer than four nights. [K]

    Notes
    -----
    Our own method, no source. Give or take, from three independent parts: (1 - f) times that of the outdoor low,
    twice the root mean square of the nights about their median, and the sensors'.

    Examples
    --------
    >>> margin_of_night(NightAhead(-10.0, 4.0, 7), 0.75, [2.0, 2.0, 2.0, 2.0, 2.0])
    NightAhead(value=2.0, give_or_take=1.0, nights=5)
    """
    margins = np.asarray(inside_margins_at_coldest, dtype=float)
    margins = margins[~np.isnan(margins)]
    if len(margins) < FEWEST_NIGHTS or np.isnan(coldest.value):
        return NightAhead(float("nan"), float("nan"), len(margins))
    middle = float(np.median(margins))
    from_outdoors = (1.0 - temperature_factor) * coldest.give_or_take
    from_indoors = DEVIATIONS * _root_mean_square(margins - middle)
    spread = float(np.sqrt(from_outdoors**2 + from_indoors**2 + margin_uncertainty**2))
    return NightAhead(middle, spread, len(margins))


def lowest_margin_against(
    time_us: ArrayLike,
    inside_temperature: ArrayLike,
    dew_point_temperature: ArrayLike,
    outside_temperature: float,
    temperature_factor: float,
    start_us: int,
    end_us: int,
    max_gap_us: int,
) -> float:
    """Return the lowest margin that a night's indoor air would have had, had it been so cold outdoors.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    inside_temperature, dew_point_temperature : array_like
        Of the indoor air, at the same times; where one is NaN the sample counts as one that never came. [degC]
    outside_temperature : float
        How cold it is taken to be outdoors all night. [degC]
    temperature_factor : float
        Of the surface. [1]
    start_us, end_us : int
        The night, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    lowest_margin : float
        NaN where less than nine tenths of the night are known. [K]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the night runs backward, or ``max_gap_us`` is
        not positive.

    Notes
    -----
    ``Te + f (Ti - Te) - Td``, ISO 13788, at its lowest.

    Examples
    --------
    >>> minute = 60_000_000
    >>> lowest_margin_against([0, minute], [20.0, 18.0], [9.0, 8.5], -10.0, 0.75, 0, 2 * minute, minute)
    2.5
    """
    times, inside = samples(time_us, inside_temperature)
    _, dew_point = samples(time_us, dew_point_temperature)
    check_window(start_us, end_us, max_gap_us)
    margin = outside_temperature + temperature_factor * (inside - outside_temperature) - dew_point
    came = ~np.isnan(margin)
    return _lowest(times[came], margin[came], start_us, end_us, max_gap_us)


def _lowest(times: ArrayLike, values: Floats, start_us: int, end_us: int, max_gap_us: int) -> float:
    """Return the lowest sample that held inside a window; NaN where too little of it is covered."""
    held = held_us(np.asarray(times), start_us, end_us, max_gap_us)
    if end_us == start_us or held.sum() < ENOUGH_COVERAGE * (end_us - start_us):
        return float("nan")
    return float(values[held > 0].min())


def _median(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) >= FEWEST_NIGHTS else float("nan")


def _root_mean_square(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _share_of_first(first_errors: Floats, second_errors: Floats) -> float:
    """Return the first guess's weight, by the inverse of the mean squares; half where neither ever erred."""
    first, second = float(np.mean(first_errors**2)), float(np.mean(second_errors**2))
    return second / (first + second) if first + second > 0.0 else 0.5
