"""Air-change rate from the decay of CO2: how fast a room leaks, and when a decay does not tell."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Floats, Times, hold_as_of, samples
from analytics.light import ON

MICROSECONDS_PER_HOUR = 3600 * MICROSECONDS
FEWEST_SAMPLES = 10  # our choice, no source
SHORTEST_US = MICROSECONDS_PER_HOUR // 2  # our choice, no source
LONGEST_US = 12 * MICROSECONDS_PER_HOUR  # of a decay only its last hours count; our choice, no source
SETTLING_US = MICROSECONDS_PER_HOUR // 6  # mixing after a disturbance; our choice, no source
SMALLEST_DIFFERENCE = 100.0  # umol mol-1 above the background; our choice, no source
DIFFERENCE_PER_ACCURACY = 4.0  # and at least so often its give or take; our choice, no source
LEAST_R_SQUARED = 0.95  # our choice, no source
HALVES_DIFFER = 0.25  # rates of the two halves, as a share of the whole; our choice, no source
LARGEST_GIVE_OR_TAKE = 0.25  # as a share of the rate; our choice, no source


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

    ``standard_error_per_h`` is the regression's (one sigma); ``give_or_take_per_h`` adds what an error of the
    background or of the sensor's zero does. NaN where it cannot be told. [1/h], [1], [s].
    """

    per_h: float
    standard_error_per_h: float
    give_or_take_per_h: float
    r_squared: float
    samples: int
    duration_s: float
    doubts: tuple[Doubt, ...]

    @property
    def usable(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.doubts


@dataclass(frozen=True, slots=True)
class Switch:
    """A switch that disturbs a decay while it is on: its samples and the doubts it raises when on or unknown."""

    time_us: Times
    on: Floats
    max_age_us: int
    when_on: Doubt
    when_unknown: Doubt


@dataclass(frozen=True, slots=True)
class Decay:
    """A stretch in which nothing known disturbed the CO2, by position ``[first, last]`` of its samples.

    ``seen_us`` is the time of the sample that ended it. ``doubts``: switches about which nothing was known.
    """

    first: int
    last: int
    seen_us: int
    doubts: tuple[Doubt, ...]


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
    background is moved by ``offset_accuracy``. Plants in the dark give off CO2: the rate is then too low.

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
    outside = _one_a_sample(background, values)
    came = ~np.isnan(values)
    found: list[Doubt] = list(doubts)
    if not came.any() or np.isnan(outside[came]).any():
        found.append(Doubt.BACKGROUND_UNKNOWN if came.any() else Doubt.TOO_FEW)
        return AirChangeRate(*(math.nan,) * 4, int(came.sum()), _seconds(times[came]), _in_order(found))
    hours = (times[came] - times[came][:1]) / MICROSECONDS_PER_HOUR
    difference = values[came] - outside[came]
    rate, error, r_squared = _decay_fit(hours, difference)
    lower, _, _ = _decay_fit(hours, difference + offset_accuracy)
    higher, _, _ = _decay_fit(hours, difference - offset_accuracy)
    give_or_take = math.hypot(2.0 * error, (higher - lower) / 2.0)
    duration_s = _seconds(times[came])
    if len(hours) < FEWEST_SAMPLES:
        found.append(Doubt.TOO_FEW)
    if duration_s * MICROSECONDS < SHORTEST_US:
        found.append(Doubt.TOO_SHORT)
    if np.any(difference < smallest_difference(offset_accuracy)):
        found.append(Doubt.SMALL_DIFFERENCE)
    if not rate > 0.0:
        found.append(Doubt.NOT_FALLING)
    elif len(hours) >= FEWEST_SAMPLES:
        if not _is_even(hours, difference, rate, r_squared):
            found.append(Doubt.NOT_LINEAR)
        if not give_or_take <= LARGEST_GIVE_OR_TAKE * rate:
            found.append(Doubt.UNCERTAIN)
    return AirChangeRate(rate, error, give_or_take, r_squared, len(hours), duration_s, _in_order(found))


def smallest_difference(offset_accuracy: float) -> float:
    """Return how far above the background a decay is worth following. [umol mol-1].

    100 ppm, and at least four times the plus or minus of that difference (our choice, no source).
    """
    return max(SMALLEST_DIFFERENCE, DIFFERENCE_PER_ACCURACY * offset_accuracy)


def decays(
    time_us: ArrayLike,
    co2_mole_fraction: ArrayLike,
    background: ArrayLike,
    switches: Sequence[Switch],
    max_gap_us: int,
    offset_accuracy: float = 0.0,
) -> list[Decay]:
    """Return the decays that are in the data by themselves: nothing doses, purges, opens or lights.

    Parameters
    ----------
    time_us, co2_mole_fraction, background, offset_accuracy
        As for ``air_change_rate``.
    switches : sequence of Switch
        What disturbs a decay. One that is unknown does not end a decay, but leaves its doubt on it.
    max_gap_us : int
        A longer gap between samples ends a decay, above 0. [µs]

    Returns
    -------
    decays : list of Decay
        In order of time. Only ended ones: the newest stretch is not told before something ends it.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``max_gap_us`` is not positive.

    Notes
    -----
    A stretch begins 10 min after the last disturbance, ends where CO2 comes within ``smallest_difference`` of the
    background, and counts only its last 12 h before the sample that ended it; one of less than half an hour is
    left out (all four our choice, no source). So each decay rests on no reading older than that, plus what is
    held into it.

    Examples
    --------
    >>> minute = 60_000_000
    >>> seen = (np.array([0, 60]) * minute, np.array([0.0, 1.0]))
    >>> valve = Switch(*seen, 90 * minute, Doubt.DOSING, Doubt.DOSING_UNKNOWN)
    >>> times = np.arange(0, 65, 5) * minute
    >>> [one] = decays(times, 420 + 900 * np.exp(-0.01 * times / minute), 420.0, [valve], 10 * minute)
    >>> one.first, one.last, one.seen_us // minute
    (2, 11, 60)
    """
    times, values = samples(time_us, co2_mole_fraction)
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest gap between samples, above 0")
    came = np.flatnonzero(~np.isnan(values))
    at, difference = times[came], (values - _one_a_sample(background, values))[came]
    disturbed = difference < smallest_difference(offset_accuracy)
    unknown = []
    for switch in switches:
        held = hold_as_of(switch.time_us, switch.on, at, switch.max_age_us).value
        disturbed |= held >= ON
        disturbed |= _on_between(switch, at, max_gap_us)
        unknown.append(np.isnan(held))
    after_gap = np.diff(at, prepend=at[:1]) > max_gap_us
    begins = after_gap | np.roll(disturbed, 1)
    begins[:1] = True
    starts = np.flatnonzero(begins & ~disturbed)
    ends = np.append(np.flatnonzero(begins | disturbed), len(at))
    found = []
    for start in starts.tolist():
        end = int(ends[np.searchsorted(ends, start, side="right")])  # the sample after the stretch
        if end == len(at):
            continue
        first = int(np.searchsorted(at, max(at[start] + SETTLING_US, at[end] - LONGEST_US)))
        if first < end and at[end - 1] - at[first] >= SHORTEST_US:
            doubts = {
                switch.when_unknown
                for switch, nothing in zip(switches, unknown, strict=True)
                if nothing[first:end].any()
            }
            found.append(Decay(int(came[first]), int(came[end - 1]), int(at[end]), _in_order(doubts)))
    return found


def _one_a_sample(background: ArrayLike, values: Floats) -> Floats:
    try:
        return np.broadcast_to(np.asarray(background, dtype=float), values.shape)
    except ValueError as error:
        raise ValueError(
            f"the background has shape {np.shape(background)}, the samples {values.shape}: "
            "give one value, or one a sample"
        ) from error


def _on_between(switch: Switch, at: Times, max_gap_us: int) -> NDArray[np.bool_]:
    """Return whether a switch was on at a sample of its own since the CO2 sample before."""
    on_us = np.asarray(switch.time_us)[np.asarray(switch.on) >= ON]
    before = np.maximum(np.concatenate((at[:1] - max_gap_us, at[:-1])), at - max_gap_us)
    return np.searchsorted(on_us, at, side="right") > np.searchsorted(on_us, before, side="right")


def _decay_fit(hours: Floats, difference: Floats) -> tuple[float, float, float]:
    """Return minus the slope of ln(difference) on time, its standard error, and r squared."""
    if len(hours) < 2 or np.any(difference <= 0.0):
        return math.nan, math.nan, math.nan
    level = np.log(difference)
    from_mean, level = hours - hours.mean(), level - level.mean()
    spread = float(from_mean @ from_mean)
    slope = float(from_mean @ level) / spread
    left = level - slope * from_mean
    whole, rest = float(level @ level), float(left @ left)
    error = math.sqrt(rest / (len(hours) - 2) / spread) if len(hours) > 2 else math.nan
    return -slope, error, 1.0 - rest / whole if whole > 0.0 else math.nan


def _is_even(hours: Floats, difference: Floats, rate: float, r_squared: float) -> bool:
    """Return whether a straight line tells the decay: enough of its variance, and both halves alike."""
    middle = int(np.searchsorted(hours, hours[-1] / 2.0))
    first, first_error, _ = _decay_fit(hours[:middle], difference[:middle])
    second, second_error, _ = _decay_fit(hours[middle:], difference[middle:])
    apart = abs(first - second) - 2.0 * math.hypot(first_error, second_error)
    return r_squared >= LEAST_R_SQUARED and not apart > HALVES_DIFFER * rate


def _seconds(times: Times) -> float:
    return int(times[-1] - times[0]) / MICROSECONDS if times.size else 0.0


def _in_order(doubts: Collection[Doubt]) -> tuple[Doubt, ...]:
    return tuple(doubt for doubt in Doubt if doubt in doubts)
