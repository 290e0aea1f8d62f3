"""Decays of CO2 that are in the record by themselves: while nothing doses, purges, opens or lights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.air_change import SHORTEST_US, Doubt, background_of, doubts_in_order, smallest_difference
from analytics.alignment import MICROSECONDS, Floats, Times, hold_as_of, samples
from analytics.light import ON

LONGEST_US = 12 * 3600 * MICROSECONDS  # of a decay only its last hours count; our choice, no source
SETTLING_US = 600 * MICROSECONDS  # mixing after a disturbance; our choice, no source


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
    at, difference = times[came], (values - background_of(background, values))[came]
    found = []
    for start, end in _quiet_stretches(at, difference, switches, max_gap_us, offset_accuracy):
        first = int(np.searchsorted(at, max(at[start] + SETTLING_US, at[end] - LONGEST_US)))
        if first < end and at[end - 1] - at[first] >= SHORTEST_US:
            doubts = {
                switch.when_unknown
                for switch in switches
                if np.isnan(hold_as_of(switch.time_us, switch.on, at[first:end], switch.max_age_us).value).any()
            }
            found.append(Decay(int(came[first]), int(came[end - 1]), int(at[end]), doubts_in_order(doubts)))
    return found


def _quiet_stretches(
    at: Times, difference: Floats, switches: Sequence[Switch], max_gap_us: int, offset_accuracy: float
) -> list[tuple[int, int]]:
    """Return the stretches of samples that nothing disturbed, each by its first sample and the one that ended it."""
    disturbed = difference < smallest_difference(offset_accuracy)
    for switch in switches:
        disturbed |= hold_as_of(switch.time_us, switch.on, at, switch.max_age_us).value >= ON
        disturbed |= _on_between(switch, at, max_gap_us)
    begins = (np.diff(at, prepend=at[:1]) > max_gap_us) | np.roll(disturbed, 1)
    begins[:1] = True
    starts = np.flatnonzero(begins & ~disturbed)
    ends = np.append(np.flatnonzero(begins | disturbed), len(at))
    after = ends[np.searchsorted(ends, starts, side="right")]
    return [(start, end) for start, end in zip(starts.tolist(), after.tolist(), strict=True) if end < len(at)]


def may_have_ended(
    time_us: ArrayLike, co2_mole_fraction: ArrayLike, background: ArrayLike, switches: Sequence[Switch],
    max_gap_us: int, offset_accuracy: float, start_us: int,
) -> bool:  # fmt: skip
    """Return whether ``decays`` could tell of one whose end was seen at or after ``start_us``.

    Takes what ``decays`` takes, but only since ``max_gap_us`` and the longest hold before ``start_us``: a look at a
    few readings that spares reading half a day of them.
    """
    times, values = samples(time_us, co2_mole_fraction)
    came = ~np.isnan(values)
    at, difference = times[came], (values - background_of(background, values))[came]
    stretches = _quiet_stretches(at, difference, switches, max_gap_us, offset_accuracy)
    after_gap = at.size > 0 and at[0] >= start_us  # what it ended is further back
    return bool(after_gap or any(at[end] >= start_us for _, end in stretches))


def _on_between(switch: Switch, at: Times, max_gap_us: int) -> NDArray[np.bool_]:
    """Return whether a switch was on at a sample of its own since the CO2 sample before."""
    on_us = np.asarray(switch.time_us)[np.asarray(switch.on) >= ON]
    before = np.maximum(np.concatenate((at[:1] - max_gap_us, at[:-1])), at - max_gap_us)
    return np.searchsorted(on_us, at, side="right") > np.searchsorted(on_us, before, side="right")
