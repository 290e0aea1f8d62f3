"""Lamp output: the PPFD of full light in a light day, and the hours burnt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Floats, Times, check_window, held_us, samples
from analytics.light import DAY_US, LONGEST_DAY_US, ON

PLATEAU = 0.9  # full light is the level that a tenth of the lit time reaches; our choice, no source
DIMMED_BELOW = 0.9  # of full light; our choice, no source


@dataclass(frozen=True, slots=True)
class LitOutput:
    """The PPFD at full light in a window, and how the lit time divides.

    ``ppfd`` is the median while neither ramping nor dimmed, NaN where there was no such time. ``full_s`` is
    the time it rests on, ``dimmed_s`` lit below 90 % of full light, ``ramp_s`` too close to a switch.
    [umol m-2 s-1], [s].
    """

    ppfd: float
    full_s: float
    dimmed_s: float
    ramp_s: float

    @property
    def lit_s(self) -> float:
        """All the lit time that samples tell about. [s]."""
        return self.full_s + self.dimmed_s + self.ramp_s


def lit_output(
    time_us: ArrayLike,
    ppfd: ArrayLike,
    on: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
    settle_us: int,
) -> LitOutput:
    """Return the PPFD of full light within a window: what lamps give when nothing holds them back.

    Divided by the PPFD at commissioning it is the lamps' output.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    ppfd : array_like
        At those times; NaN counts as never came. [umol m-2 s-1]
    on : array_like
        The lamps' switch at those times: 1 on, 0 off; NaN where nothing tells, which counts as off. [1]
    start_us, end_us : int
        The window, half-open: a light day. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold. [µs]
    settle_us : int
        So long after lights-on and before lights-off light is a ramp, and so around a gap, where nobody saw
        whether they had just been switched; 0 or more. [µs]

    Returns
    -------
    lit_output : LitOutput
        [umol m-2 s-1], [s]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, or a duration is
        negative.

    Notes
    -----
    Full light is the level that a tenth of the settled lit time reaches or exceeds; below 90 % of it light
    counts as dimmed (both our choice, no source). The median weighs each sample by the time it holds.
    A day that is dimmed throughout cannot be told from weak lamps here; the lamps' siblings may tell.

    Examples
    --------
    >>> minute = 60_000_000
    >>> ppfd = [0.0, 100.0, 240.0, 240.0, 240.0, 120.0, 240.0, 0.0]
    >>> on = [0, 1, 1, 1, 1, 1, 1, 0]
    >>> lit_output([n * minute for n in range(8)], ppfd, on, 0, 8 * minute, 3 * minute, settle_us=minute)
    LitOutput(ppfd=240.0, full_s=180.0, dimmed_s=60.0, ramp_s=120.0)
    """
    times, values = samples(time_us, ppfd)
    _, switch = samples(time_us, on)
    check_window(start_us, end_us, max_gap_us)
    if settle_us < 0:
        raise ValueError(f"settle_us is {settle_us}: give the time after switching that is left out, 0 or more")
    came = ~np.isnan(values)
    times, values, lit = times[came], values[came], switch[came] >= ON
    held = np.where(lit, held_us(times, start_us, end_us, max_gap_us), 0)
    steady = _settled(times, lit, max_gap_us, settle_us)
    settled = (held > 0) & steady
    level = _weighted_quantile(values[settled], held[settled], PLATEAU)
    full = settled & (values >= DIMMED_BELOW * level)
    return LitOutput(
        ppfd=_weighted_quantile(values[full], held[full], 0.5),
        full_s=int(held[full].sum()) / MICROSECONDS,
        dimmed_s=int(held[settled & ~full].sum()) / MICROSECONDS,
        ramp_s=int(held[~steady].sum()) / MICROSECONDS,
    )


def settled_light(time_us: ArrayLike, ppfd: ArrayLike, on: ArrayLike, max_gap_us: int, settle_us: int) -> Floats:
    """Return PPFD where the lights have been on for a while and stay on for a while; NaN elsewhere.

    Parameters
    ----------
    time_us, ppfd, on, max_gap_us, settle_us
        As for ``lit_output``.

    Returns
    -------
    ppfd : numpy.ndarray
        One value a sample. [umol m-2 s-1]

    Raises
    ------
    ValueError
        As for ``lit_output``.

    Examples
    --------
    >>> settled_light([0, 1, 2, 3, 4], [0.0, 9.0, 20.0, 9.0, 0.0], [0, 1, 1, 1, 0], 1, 1).tolist()
    [nan, nan, 20.0, nan, nan]
    """
    times, values = samples(time_us, ppfd)
    _, switch = samples(time_us, on)
    check_window(0, 0, max_gap_us)
    steady = np.zeros(times.shape, bool)
    came = ~np.isnan(values)
    lit = switch[came] >= ON
    steady[came] = lit & _settled(times[came], lit, max_gap_us, settle_us)
    return np.where(steady, values, np.nan)


def _settled(times: Times, lit: NDArray[np.bool_], max_gap_us: int, settle_us: int) -> NDArray[np.bool_]:
    """Return which samples lie at least ``settle_us`` inside a stretch of lit samples without a gap."""
    if not times.size:
        return lit
    cut = np.flatnonzero((np.diff(times) > max_gap_us) | (lit[1:] != lit[:-1])) + 1
    first, last = np.concatenate(([0], cut)), np.concatenate((cut - 1, [len(times) - 1]))
    begin, end = (np.repeat(times[place], last - first + 1) for place in (first, last))
    settled: NDArray[np.bool_] = (times - begin >= settle_us) & (end - times >= settle_us)
    return settled


def _weighted_quantile(values: Floats, weight: Times, share: float) -> float:
    """Return the lowest value at or below which at least ``share`` of the weight lies; NaN without weight."""
    if not values.size:
        return math.nan
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, share * int(reached[-1]))])


def lamp_hours(start_us: ArrayLike, photoperiod_h: ArrayLike) -> Floats:
    """Return the hours that lamps have burnt by the start of each light day, from the first one on.

    Parameters
    ----------
    start_us : array_like of int
        Starts of light days, strictly ascending. [µs since 1970 UTC]
    photoperiod_h : array_like
        Lit hours of each; NaN where they are not known. [h]

    Returns
    -------
    hours : numpy.ndarray
        0 at the first; NaN throughout where no photoperiod is known. [h]

    Raises
    ------
    ValueError
        If the arrays do not fit together or times do not ascend.

    Notes
    -----
    A day counts with its own photoperiod. Days that are missing (starts more than 36 h apart) or unknown
    count with the median of those known, by the time that passed: an assumption, not a measurement.

    Examples
    --------
    >>> day = 86_400_000_000
    >>> lamp_hours([0, day, 4 * day], [16.0, 16.0, 16.0]).tolist()
    [0.0, 16.0, 64.0]
    """
    times, hours = samples(start_us, photoperiod_h)
    known = hours[~np.isnan(hours)]
    usual = float(np.median(known)) if known.size else math.nan
    passed = np.diff(times)
    own = (passed <= LONGEST_DAY_US) & ~np.isnan(hours[:-1])
    burnt = np.where(own, hours[:-1], usual * passed / DAY_US)
    return np.concatenate(([0.0], np.cumsum(burnt))) if known.size else np.full(times.shape, np.nan)
