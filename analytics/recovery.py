"""Recovery: how long the air takes to come back after the lights came on or something else upset it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, held_us, samples

SETTLED_SHARE = 1 / 3  # the last part of a window, from which the settled value is taken; our choice, no source


@dataclass(frozen=True, slots=True)
class Recovery:
    """Time from the start of a window to lasting inside a band, and the share of the window that samples tell about.

    ``seconds`` is None where it did not last inside, or nothing tells. Where ``coverage`` is below 1 the value may
    have come back earlier, or have left the band once more unseen. [s], [1].
    """

    seconds: float | None
    coverage: float


def recovery_time(
    time_us: ArrayLike,
    value: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
    stay_s: float,
) -> Recovery:
    """Return how long after the start of a window a quantity was back inside its band for good.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came.
    low, high : array_like
        The band, both inside it, one for all or one a sample; or the settled value plus and minus some. A NaN limit
        makes its sample one that never came. [the quantity's unit]
    start_us, end_us : int
        From the upset to the end of what is looked at, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold. [µs]
    stay_s : float
        For at least so long it must have been inside at the end of the window, above 0. [s]

    Returns
    -------
    recovery : Recovery
        0 where it never left the band. While samples are missing it is not back: the time runs to the next one.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a low limit is above its high one, the window
        runs backward, or ``max_gap_us`` or ``stay_s`` is not positive.

    Notes
    -----
    Control engineering's settling time: the first sample from which the quantity stays inside until the end of the
    window. Whatever upsets it once more in the window (a door) puts that off: choose a window no longer than needed.

    Examples
    --------
    >>> minute = 60_000_000
    >>> times = [n * minute for n in range(6)]
    >>> recovery_time(times, [20, 26, 25, 23, 23, 23], 18.0, 24.0, 0, 6 * minute, 2 * minute, stay_s=120.0)
    Recovery(seconds=180.0, coverage=1.0)
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, max_gap_us)
    if not stay_s > 0.0:
        raise ValueError(f"stay_s is {stay_s}: give how long it must stay inside, above 0")
    try:
        lows, highs = (np.broadcast_to(np.asarray(limit, dtype=float), values.shape) for limit in (low, high))
    except ValueError as error:
        raise ValueError(
            f"the limits have shapes {np.shape(low)} and {np.shape(high)}, the values {values.shape}: "
            "give one limit for all, or one for each sample"
        ) from error
    if np.any(lows > highs):
        worst = int(np.argmax(lows > highs))
        raise ValueError(f"the low limit {lows[worst]:g} is above the high limit {highs[worst]:g}: swap them")
    came = ~(np.isnan(values) | np.isnan(lows) | np.isnan(highs))
    inside = ((values >= lows) & (values <= highs))[came]
    times = times[came]
    held = held_us(times, start_us, end_us, max_gap_us)
    seen = held > 0
    times, inside, held = times[seen], inside[seen], held[seen]
    coverage = int(held.sum()) / (end_us - start_us) if end_us > start_us else math.nan
    outside = np.flatnonzero(~inside)
    first = int(outside[-1]) + 1 if outside.size else 0
    if int(held[first:].sum()) < stay_s * MICROSECONDS:
        return Recovery(None, coverage)
    return Recovery((max(int(times[first]), start_us) - start_us) / MICROSECONDS, coverage)


def settled_value(time_us: ArrayLike, value: ArrayLike, start_us: int, end_us: int) -> float:
    """Return the value on which a quantity settles: its median in the last third of a window.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came.
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]

    Returns
    -------
    settled : float
        NaN where no sample came in that third. [the quantity's unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or the window runs backward.

    Notes
    -----
    A median, so that the swing of a thermostat and a single bad sample do not matter. The third is our choice.

    Examples
    --------
    >>> settled_value([0, 10, 20, 25, 29], [18.0, 21.0, 22.0, 23.0, 22.5], 0, 30)
    22.5
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, 1)
    from_us = end_us - (end_us - start_us) * SETTLED_SHARE
    late = values[(times >= from_us) & (times < end_us) & ~np.isnan(values)]
    return float(np.median(late)) if late.size else math.nan
