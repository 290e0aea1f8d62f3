"""Time in band: for how long a quantity was below, inside and above its limits, and for how long nobody knows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, held_us, samples


@dataclass(frozen=True, slots=True)
class TimeInBand:
    """How a window of ``span_s`` divides; what is left over was not covered by samples. [s]."""

    below_s: float
    inside_s: float
    above_s: float
    span_s: float

    @property
    def covered_s(self) -> float:
        """The time something is known about. [s]."""
        return self.below_s + self.inside_s + self.above_s

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def time_in_band(
    time_us: ArrayLike,
    value: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
) -> TimeInBand:
    """Return how long a quantity was below, inside and above a band within a window.

    Each sample holds until the next one, but no longer than ``max_gap_us``: after that nothing is known.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; samples before the window hold into it.
        [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came.
    low, high : array_like
        Limits, both inside the band, one for all or one a sample; -inf or inf for an open side. Time under
        a NaN limit (no band holds) is not covered. [the quantity's unit]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    time_in_band : TimeInBand
        [s]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a low limit is above its high one, the
        window runs backward, or ``max_gap_us`` is not positive.

    Examples
    --------
    >>> minute = 60_000_000
    >>> time_in_band([0, minute], [24.0, 31.0], 18.0, 28.0, 0, 5 * minute, max_gap_us=2 * minute)
    TimeInBand(below_s=0.0, inside_s=60.0, above_s=120.0, span_s=300.0)
    """
    times, values = samples(time_us, value)
    check_window(start_us, end_us, max_gap_us)
    try:
        lows = np.broadcast_to(np.asarray(low, dtype=float), values.shape)
        highs = np.broadcast_to(np.asarray(high, dtype=float), values.shape)
    except ValueError as error:
        raise ValueError(
            f"the limits have shapes {np.shape(low)} and {np.shape(high)}, the values {values.shape}: "
            "give one limit for all, or one for each sample"
        ) from error
    if (lows > highs).any():
        worst = int(np.argmax(lows > highs))
        raise ValueError(f"the low limit {lows[worst]:g} is above the high limit {highs[worst]:g}: swap them")
    came = ~np.isnan(values)
    times, values, lows, highs = times[came], values[came], lows[came], highs[came]
    held = held_us(times, start_us, end_us, max_gap_us)
    known = ~(np.isnan(lows) | np.isnan(highs))
    below, above = known & (values < lows), known & (values > highs)
    return TimeInBand(
        below_s=int(held[below].sum()) / MICROSECONDS,
        inside_s=int(held[known & ~below & ~above].sum()) / MICROSECONDS,
        above_s=int(held[above].sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )
