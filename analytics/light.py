"""Light by the light day: when each day began, how much light fell in it, and for how long it was lit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, Times, check_window, held_us, samples
from analytics.integrals import time_integral
from analytics.time_in_band import time_in_band

DAY_US = 86_400 * MICROSECONDS
LONGEST_DAY_US = DAY_US * 3 // 2  # past this without lights-on, midnights cut; our choice, no source
SHORTEST_DAY_US = DAY_US // 2  # a midnight nearer to the next lights-on does not cut; our choice, no source
UMOL_PER_MOL = 1e6
ON = 0.5  # a switch series reads 0 or 1


@dataclass(frozen=True, slots=True)
class LightIntegral:
    """Light that fell on a square metre in the covered part of a window.

    ``mol`` is NaN where nothing was covered: no data is not darkness. [mol m-2], [s], [s].
    """

    mol: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


@dataclass(frozen=True, slots=True)
class LitTime:
    """For how long it was lit in the covered part of a window. [s]."""

    lit_s: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def light_integral(time_us: ArrayLike, ppfd: ArrayLike, start_us: int, end_us: int, max_gap_us: int) -> LightIntegral:
    """Return the photons that fell on a square metre within a window.

    Over a light day of 24 h this is the daily light integral. For a lamp that is only known to be on or
    off, multiply ``lit_seconds`` by its PPFD instead: a switch does not move in straight lines.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. Hand in the neighbours just outside the window too: light
        at its edges comes from interpolation. [µs since 1970 UTC]
    ppfd : array_like
        Photosynthetic photon flux density. A NaN counts as a sample that never came. [umol m-2 s-1]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        Between samples further apart than this nothing is integrated and nothing is covered. [µs]

    Returns
    -------
    light_integral : LightIntegral
        [mol m-2]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, or
        ``max_gap_us`` is not positive.

    Notes
    -----
    By the definition of the daily light integral: 1e-6 times the integral of PPFD over seconds
    (``time_integral``: trapezoids, cut at the window's edges by linear interpolation).

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> light_integral([0, 8 * hour, 16 * hour], [200.0, 200.0, 200.0], 0, 16 * hour, max_gap_us=8 * hour).mol
    11.52
    """
    found = time_integral(time_us, ppfd, start_us, end_us, max_gap_us)
    return LightIntegral(found.total / UMOL_PER_MOL, found.covered_s, found.span_s)


def held_light_integral(
    time_us: ArrayLike, ppfd: ArrayLike, start_us: int, end_us: int, max_gap_us: int
) -> LightIntegral:
    """Return the photons of light that moves in steps: each sample holds until the next one.

    For PPFD that follows a switch, and so for an estimate of lamp state times commissioning PPFD.

    Parameters
    ----------
    time_us, ppfd, start_us, end_us, max_gap_us
        As for ``light_integral``; ``max_gap_us`` is the longest time a sample may hold.

    Returns
    -------
    light_integral : LightIntegral
        [mol m-2]

    Raises
    ------
    ValueError
        As for ``light_integral``.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> held_light_integral([0, 16 * hour], [200.0, 0.0], 0, 24 * hour, max_gap_us=16 * hour).mol
    11.52
    """
    times, values = samples(time_us, ppfd)
    check_window(start_us, end_us, max_gap_us)
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    held = held_us(times, start_us, end_us, max_gap_us)
    covered_us = int(held.sum())
    return LightIntegral(
        mol=float(np.sum(values * held)) / MICROSECONDS / UMOL_PER_MOL if covered_us else math.nan,
        covered_s=covered_us / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )


def lit_seconds(
    time_us: ArrayLike, level: ArrayLike, start_us: int, end_us: int, max_gap_us: int, threshold: float = ON
) -> LitTime:
    """Return for how long it was lit within a window: over a light day, the photoperiod.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    level : array_like
        A switch (0 or 1), or PPFD together with a threshold of its own. NaN counts as never came.
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold. [µs]
    threshold : float
        At or above this it is lit. [the unit of ``level``]

    Returns
    -------
    lit_time : LitTime
        [s]

    Raises
    ------
    ValueError
        As for ``time_in_band``.

    Examples
    --------
    >>> lit_seconds([0, 3_000_000], [1, 0], 0, 5_000_000, max_gap_us=10_000_000)
    LitTime(lit_s=3.0, covered_s=5.0, span_s=5.0)
    """
    split = time_in_band(time_us, level, threshold, math.inf, start_us, end_us, max_gap_us)
    return LitTime(split.inside_s, split.covered_s, split.span_s)


def light_day_starts(time_us: ArrayLike, on: ArrayLike, min_dark_us: int, max_gap_us: int) -> Times:
    """Return the instants at which the lights came on after the dark.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    on : array_like
        The lights' switch: 1 on, 0 off. A NaN counts as a sample that never came. [1]
    min_dark_us : int
        Darkness that must have been seen since the lights were last on, above 0: a lamp that flickers or
        is off for a short inspection does not begin a new day. [µs]
    max_gap_us : int
        The longest time a sample may hold. Missing samples are not darkness. [µs]

    Returns
    -------
    starts : numpy.ndarray of int64
        Ascending: the first sample that was on. Where samples are missing just before it, the lights may
        have come on earlier. [µs since 1970 UTC]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a duration is not positive.

    Notes
    -----
    A record that begins with lights on has no start there: nobody saw them come on. Light in the night
    that follows enough darkness begins a light day, because plants see it too.

    Examples
    --------
    >>> light_day_starts([0, 60, 120, 130, 140], [0, 0, 1, 0, 1], min_dark_us=100, max_gap_us=60).tolist()
    [120]
    """
    times, switch = samples(time_us, on)
    check_window(0, 0, max_gap_us)
    if min_dark_us <= 0:
        raise ValueError(f"min_dark_us is {min_dark_us}: give the darkness between two light days, above 0")
    came = ~np.isnan(switch)
    times, lit = times[came], switch[came] >= ON
    if not times.size:
        return times
    dark = np.where(lit, 0, held_us(times, int(times[0]), int(times[-1]), max_gap_us))
    seen_dark = np.concatenate(([0], np.cumsum(dark)[:-1]))[lit]  # since the record began, at each lit sample
    since_lit = np.diff(seen_dark, prepend=0)
    return times[lit][since_lit >= min_dark_us]


def light_days(
    switch_time_us: ArrayLike,
    switch_on: ArrayLike,
    until_us: int,
    min_dark_us: int,
    max_gap_us: int,
    boundaries_us: ArrayLike = (),
) -> Times:
    """Return the instants at which light days begin, up to now.

    A light day runs from one of them to the next; the last one is still running. It begins when the
    lights come on, and where they do not (or no switch tells), at the caller's local midnights.

    Parameters
    ----------
    switch_time_us, switch_on, min_dark_us, max_gap_us
        The lights' switch as for ``light_day_starts``; empty where there is none.
    until_us : int
        Now, or the end of what is looked at. [µs since 1970 UTC]
    boundaries_us : array_like of int
        Local midnights, ascending. [µs since 1970 UTC]

    Returns
    -------
    starts : numpy.ndarray of int64
        Ascending, all at or before ``until_us``. [µs since 1970 UTC]

    Raises
    ------
    ValueError
        As for ``light_day_starts``, or if the boundaries do not ascend.

    Notes
    -----
    Midnights count before the first lights-on, and where two of them (or the last and now) are more than
    36 h apart: then those from 24 h after the one to 12 h before the other. So a day that lights began
    holds its whole photoperiod, and no day is shorter than 12 h (our choice, no source). Everything is in
    UTC, so a clock change cuts no day.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> days = light_days([0, 6 * hour, 22 * hour, 30 * hour], [0, 1, 0, 1], 40 * hour, 5 * hour, 16 * hour)
    >>> (days // hour).tolist()
    [6, 30]
    """
    midnights, _ = samples(boundaries_us, np.zeros(np.shape(boundaries_us)))
    midnights = midnights[midnights <= until_us]
    starts = light_day_starts(switch_time_us, switch_on, min_dark_us, max_gap_us)
    starts = starts[starts <= until_us]
    if not starts.size:
        return midnights
    place = np.searchsorted(starts, midnights, side="right")  # how many lights-on came before each midnight
    before, after = starts[np.maximum(place - 1, 0)], np.append(starts, until_us)[place]
    far_from_before = (place == 0) | ((midnights - before >= DAY_US) & (after - before > LONGEST_DAY_US))
    far_from_after = (place == starts.size) | (after - midnights >= SHORTEST_DAY_US)
    return np.sort(np.concatenate((starts, midnights[far_from_before & far_from_after])))
