"""Air-change rate from the decay of CO2: how fast a room leaks, and when a decay does not tell."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, Floats, Times, samples

MICROSECONDS_PER_HOUR = 3600 * MICROSECONDS
FEWEST_SAMPLES = 10  # our choice, no source
SHORTEST_US = MICROSECONDS_PER_HOUR // 2  # our choice, no source
SMALLEST_DIFFERENCE = 100.0  # umol mol-1 above the background; our choice, no source
DIFFERENCE_PER_ACCURACY = 4.0  # and at least so often its give or take; our choice, no source
LEAST_R_SQUARED = 0.95  # our choice, no source
HALVES_DIFFER = 0.25  # rates of the two halves, as a share of the whole; our choice, no source
LARGEST_GIVE_OR_TAKE = 0.25  # as a share of the rate; our choice, no source

_TRIED_RATES = tuple(float(rate) for rate in np.geomspace(0.01, 50.0, 60))  # 1/h
_GAUSS_NEWTON_STEPS = 50
_CLOSE_ENOUGH = 1e-10  # of the rate
_MOST_SHARED = 0.99


class Doubt(StrEnum):
    """Why a decay must not be taken for the air-change rate."""

    DOSING = "CO2 was dosed"
    PURGE = "the purge fan ran"
    DOOR = "a door was open"
    LIT = "lights were on: plants take up CO2"
    DOSING_UNKNOWN = "not known whether CO2 was dosed"
    PURGE_UNKNOWN = "not known whether the purge fan ran"
    DOOR_UNKNOWN = "not known whether a door was open"
    LIT_UNKNOWN = "not known whether lights were on"
    BACKGROUND_UNKNOWN = "the outdoor level is not known"
    SMALL_DIFFERENCE = "too little above the outdoor level"
    TOO_SHORT = "too short"
    TOO_FEW = "too few readings"
    NOT_FALLING = "the level did not fall"
    NOT_LINEAR = "no even decay: the air is not well mixed, or something else acts"
    UNCERTAIN = "the rate is too uncertain"


@dataclass(frozen=True, slots=True)
class AirChangeRate:
    """An air-change rate with its fit and what speaks against it; usable only without ``doubts``.

    ``standard_error_per_h`` is the fit's (one sigma, as if errors were independent); ``give_or_take_per_h`` is two
    of them, widened by what neighbouring errors share, and by what an error of the background or of the sensor's
    zero does. ``tends_to`` is the level at which the decay would end. NaN where it cannot be told. [1/h], [1], [s],
    [umol mol-1].
    """

    per_h: float
    standard_error_per_h: float
    give_or_take_per_h: float
    r_squared: float
    tends_to: float
    samples: int
    duration_s: float
    doubts: tuple[Doubt, ...]

    @property
    def usable(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.doubts


def air_change_rate(
    time_us: ArrayLike,
    co2_mole_fraction: ArrayLike,
    background: ArrayLike,
    offset_accuracy: float = 0.0,
    doubts: Collection[Doubt] = (),
) -> AirChangeRate:
    """Return the air-change rate that a decay of CO2 shows, with its fit and what speaks against it.

    Parameters
    ----------
    time_us : array_like of int
        Times of the decay's samples, strictly ascending. [µs since 1970 UTC]
    co2_mole_fraction : array_like
        NaN counts as a sample that never came. [umol mol-1]
    background : array_like
        Outdoors: one value, or one a sample; NaN where unknown. [umol mol-1]
    offset_accuracy : float
        Plus or minus of the difference to the background: the sensor's zero and the background's own. [umol mol-1]
    doubts : collection of Doubt
        What else speaks against it: see ``decays``.

    Returns
    -------
    air_change_rate : AirChangeRate
        Computed wherever two samples lie above the background; look at ``doubts`` before using it. [1/h]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``offset_accuracy`` is negative.

    Notes
    -----
    Concentration decay after the idea of ASTM E741: least squares of ``ln(C - Cb)`` on time; minus the slope is
    the rate. The standard error supposes errors that are independent from sample to sample. A sensor's gain
    cancels; its zero does not: the give or take adds to two standard errors the change of the rate when the
    background is moved by ``offset_accuracy``. Plants in the dark give off CO2: the
    rate is then too low, see ``air_change_rate_with_source``.

    See Also
    --------
    air_change_rate_with_source : Where plants stand in the dark.

    References
    ----------
    .. [1] ASTM E741, "Standard test method for determining air change in a single zone by means of a tracer gas
       dilution," concentration decay.

    Examples
    --------
    >>> found = air_change_rate([0, 3_600_000_000], [2000.0, 1000.0], 420.0)
    >>> round(found.per_h, 4), [doubt.name for doubt in found.doubts]
    (1.0022, ['TOO_FEW'])
    """
    times, values = samples(time_us, co2_mole_fraction)
    if not offset_accuracy >= 0.0:
        raise ValueError(f"offset_accuracy is {offset_accuracy}: give the plus or minus, 0 or more")
    outside = background_of(background, values)
    came = ~np.isnan(values)
    found: list[Doubt] = list(doubts)
    if not came.any() or np.isnan(outside[came]).any():
        found.append(Doubt.BACKGROUND_UNKNOWN if came.any() else Doubt.TOO_FEW)
        return AirChangeRate(*(math.nan,) * 5, int(came.sum()), _seconds(times[came]), doubts_in_order(found))
    hours = (times[came] - times[came][:1]) / MICROSECONDS_PER_HOUR
    difference = values[came] - outside[came]
    rate, error, r_squared, left = _log_fit(hours, difference)
    lower, *_ = _log_fit(hours, difference + offset_accuracy)
    higher, *_ = _log_fit(hours, difference - offset_accuracy)
    give_or_take = math.hypot(2.0 * error * _widening(left), (higher - lower) / 2.0)
    duration_s = _seconds(times[came])
    if np.any(difference < smallest_difference(offset_accuracy)):
        found.append(Doubt.SMALL_DIFFERENCE)
    if rate > 0.0 and len(hours) >= FEWEST_SAMPLES and not _is_even(hours, difference, rate, r_squared):
        found.append(Doubt.NOT_LINEAR)
    found += _common_doubts(rate, give_or_take, len(hours), duration_s)
    level = float(outside[came].mean())
    return AirChangeRate(rate, error, give_or_take, r_squared, level, len(hours), duration_s, doubts_in_order(found))


def air_change_rate_with_source(
    time_us: ArrayLike, co2_mole_fraction: ArrayLike, doubts: Collection[Doubt] = ()
) -> AirChangeRate:
    """Return the air-change rate that a decay of CO2 shows while something gives off CO2 evenly.

    Plants in the dark do, and people. Then CO2 does not fall towards the outdoor level but towards a higher one,
    and ``air_change_rate`` comes out too low, by half or more. Here that level is found together with the rate, from
    the decay's curvature alone: the outdoor level need not be known.

    Parameters
    ----------
    time_us : array_like of int
        Times of the decay's samples, strictly ascending. [µs since 1970 UTC]
    co2_mole_fraction : array_like
        NaN counts as a sample that never came. [umol mol-1]
    doubts : collection of Doubt
        What else speaks against it: see ``decays``.

    Returns
    -------
    air_change_rate : AirChangeRate
        ``tends_to`` less the background, times the rate and the air's volume, is the source. [1/h]

    Raises
    ------
    ValueError
        If the arrays do not fit together or times do not ascend.

    Notes
    -----
    Least squares of ``C = L + D exp(-A t)``: the balance of a well-mixed room with a constant source. It takes a
    curve that can be seen: of a decay much shorter than 1/A only a straight piece is left, and the give or take
    grows beyond use. A source that changes during the decay is taken for another rate. Errors that neighbours
    share widen the give or take by ``sqrt((1 + r)/(1 - r))``, r their correlation.

    See Also
    --------
    air_change_rate : With the background known and no source.

    Examples
    --------
    >>> hours = np.arange(0, 6, 0.1)
    >>> found = air_change_rate_with_source((hours * 3.6e9).astype(int), 560 + 310 * np.exp(-0.25 * hours))
    >>> round(found.per_h, 3), round(found.tends_to), found.usable
    (0.25, 560, True)
    """
    times, values = samples(time_us, co2_mole_fraction)
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    found: list[Doubt] = list(doubts)
    hours = (times - times[:1]) / MICROSECONDS_PER_HOUR
    duration_s = _seconds(times)
    fitted = _curve_fit(hours, values) if len(hours) >= FEWEST_SAMPLES else None
    if fitted is None:
        found += _common_doubts(math.nan, math.nan, len(hours), duration_s)
        return AirChangeRate(*(math.nan,) * 5, len(hours), duration_s, doubts_in_order(found))
    (level, fall, rate), error, left = fitted
    r_squared = 1.0 - float(left @ left) / float(np.sum((values - values.mean()) ** 2))
    give_or_take = 2.0 * error * _widening(left)
    if not fall > 0.0:
        found.append(Doubt.NOT_FALLING)
    if not r_squared >= LEAST_R_SQUARED:
        found.append(Doubt.NOT_LINEAR)
    found += _common_doubts(rate, give_or_take, len(hours), duration_s)
    return AirChangeRate(rate, error, give_or_take, r_squared, level, len(hours), duration_s, doubts_in_order(found))


def _common_doubts(rate: float, give_or_take: float, count: int, duration_s: float) -> list[Doubt]:
    found = []
    if count < FEWEST_SAMPLES:
        found.append(Doubt.TOO_FEW)
    if duration_s * MICROSECONDS < SHORTEST_US:
        found.append(Doubt.TOO_SHORT)
    if not rate > 0.0:
        found.append(Doubt.NOT_FALLING)
    elif count >= FEWEST_SAMPLES and not give_or_take <= LARGEST_GIVE_OR_TAKE * rate:
        found.append(Doubt.UNCERTAIN)
    return found


def smallest_difference(offset_accuracy: float) -> float:
    """Return how far above the background a decay is worth following. [umol mol-1].

    100 ppm, and at least four times the plus or minus of that difference (our choice, no source).
    """
    return max(SMALLEST_DIFFERENCE, DIFFERENCE_PER_ACCURACY * offset_accuracy)


def background_of(background: ArrayLike, co2_mole_fraction: Floats) -> Floats:
    """Return a background as one value a sample, or raise ValueError where it does not fit."""
    try:
        return np.broadcast_to(np.asarray(background, dtype=float), co2_mole_fraction.shape)
    except ValueError as error:
        raise ValueError(
            f"the background has shape {np.shape(background)}, the samples {co2_mole_fraction.shape}: "
            "give one value, or one a sample"
        ) from error


def _log_fit(hours: Floats, difference: Floats) -> tuple[float, float, float, Floats]:
    """Return minus the slope of ln(difference) on time, its standard error, r squared, and what is left."""
    if len(hours) < 2 or np.any(difference <= 0.0):
        return math.nan, math.nan, math.nan, np.empty(0)
    level = np.log(difference)
    from_mean, level = hours - hours.mean(), level - level.mean()
    spread = float(from_mean @ from_mean)
    slope = float(from_mean @ level) / spread
    left = level - slope * from_mean
    whole, rest = float(level @ level), float(left @ left)
    error = math.sqrt(rest / (len(hours) - 2) / spread) if len(hours) > 2 else math.nan
    return -slope, error, 1.0 - rest / whole if whole > 0.0 else math.nan, left


def _curve_fit(hours: Floats, values: Floats) -> tuple[tuple[float, float, float], float, Floats] | None:
    """Return (L, D, A) of ``L + D exp(-A t)``, the standard error of A, and what is left; None without an answer.

    The best of a list of rates first, each with its best L and D; then Gauss and Newton's steps from there.
    """
    if np.ptp(values) == 0.0:
        return None
    rate = min(_TRIED_RATES, key=lambda tried: _rest(hours, values, tried))
    level, fall = _linear(hours, values, rate)
    for _ in range(_GAUSS_NEWTON_STEPS):
        left = values - level - fall * np.exp(-rate * hours)
        step, *_ = np.linalg.lstsq(_slopes(hours, fall, rate), left, rcond=None)
        level, fall, rate = level + float(step[0]), fall + float(step[1]), rate + float(step[2])
        if not 0.0 < rate < _TRIED_RATES[-1]:
            return None
        if abs(step[2]) < _CLOSE_ENOUGH * rate:
            break
    else:
        return None
    left = values - level - fall * np.exp(-rate * hours)
    slopes = _slopes(hours, fall, rate)
    variance = float(left @ left) / (len(hours) - 3)
    try:
        of_rate = float(np.linalg.inv(slopes.T @ slopes)[2, 2])
    except np.linalg.LinAlgError:
        return None
    return ((level, fall, rate), math.sqrt(variance * of_rate), left) if of_rate >= 0.0 else None


def _slopes(hours: Floats, fall: float, rate: float) -> Floats:
    """Return the derivatives of ``L + D exp(-A t)`` by L, D and A, one column each."""
    decay = np.exp(-rate * hours)
    return np.stack([np.ones_like(hours), decay, -fall * hours * decay], axis=1)


def _linear(hours: Floats, values: Floats, rate: float) -> tuple[float, float]:
    """Return the best L and D for one rate."""
    (level, fall), *_ = np.linalg.lstsq(_slopes(hours, 1.0, rate)[:, :2], values, rcond=None)
    return float(level), float(fall)


def _rest(hours: Floats, values: Floats, rate: float) -> float:
    """Return the sum of squares that is left at best for one rate."""
    level, fall = _linear(hours, values, rate)
    return float(np.sum((values - level - fall * np.exp(-rate * hours)) ** 2))


def _widening(left: Floats) -> float:
    """Return by how much errors that neighbours share widen a standard error; 1 where they share none."""
    rest = float(left @ left)
    if len(left) < FEWEST_SAMPLES or rest == 0.0:
        return 1.0
    shared = min(max(float(left[1:] @ left[:-1]) / rest, 0.0), _MOST_SHARED)
    return math.sqrt((1.0 + shared) / (1.0 - shared))


def _is_even(hours: Floats, difference: Floats, rate: float, r_squared: float) -> bool:
    """Return whether a straight line tells the decay: enough of its variance, and both halves alike."""
    middle = int(np.searchsorted(hours, hours[-1] / 2.0))
    first, first_error, *_ = _log_fit(hours[:middle], difference[:middle])
    second, second_error, *_ = _log_fit(hours[middle:], difference[middle:])
    apart = abs(first - second) - 2.0 * math.hypot(first_error, second_error)
    return r_squared >= LEAST_R_SQUARED and not apart > HALVES_DIFFER * rate


def _seconds(times: Times) -> float:
    return int(times[-1] - times[0]) / MICROSECONDS if times.size else 0.0


def doubts_in_order(doubts: Collection[Doubt]) -> tuple[Doubt, ...]:
    """Return doubts, each once, in the order of their list."""
    return tuple(doubt for doubt in Doubt if doubt in doubts)
