"""How long a surface was wet: surely, or only within the margin's give or take."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, held_us, samples


@dataclass(frozen=True, slots=True)
class WetTime:
    """How long a surface was wet in a window of ``span_s``, of which ``covered_s`` is known. [s].

    ``wet_s`` goes by the margin as it reads. ``surely_s`` is the part in which it stayed at or below 0 even at the
    upper end of its give or take, ``perhaps_s`` the time in which it was at or below 0 at the lower end, which
    holds the other two.
    """

    wet_s: float
    surely_s: float
    perhaps_s: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def wet_time(
    time_us: ArrayLike,
    margin: ArrayLike,
    margin_uncertainty: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
) -> WetTime:
    """Return how long a condensation margin was at or below 0 within a window.

    Each sample holds until the next one, but no longer than ``max_gap_us``: after that nothing is known.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; samples before the window hold into it. [µs since 1970 UTC]
    margin : array_like
        The condensation margin. A NaN counts as a sample that never came. [K]
    margin_uncertainty : array_like
        Its give or take, one for all or one a sample, 0 or more. Where it is NaN or infinite the surface is
        never surely wet, and perhaps always. [K]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    wet_time : WetTime
        [s]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, or ``max_gap_us`` is
        not positive.

    Notes
    -----
    A sensor's error is much the same all day: "surely" and "perhaps" are the two ends of what the day may have
    been, not shares of it to be averaged. Water that stays on the surface after the margin has risen
    again is not seen.

    Examples
    --------
    >>> minute = 60_000_000
    >>> wet_time([0, minute, 2 * minute], [-1.0, 0.2, 2.0], 0.5, 0, 3 * minute, max_gap_us=2 * minute)
    WetTime(wet_s=60.0, surely_s=60.0, perhaps_s=120.0, covered_s=180.0, span_s=180.0)
    """
    times, margins = samples(time_us, margin)
    check_window(start_us, end_us, max_gap_us)
    try:
        give = np.broadcast_to(np.asarray(margin_uncertainty, dtype=float), margins.shape)
    except ValueError as error:
        raise ValueError(
            f"margin_uncertainty has shape {np.shape(margin_uncertainty)}, the margins {margins.shape}: "
            "give one for all, or one for each sample"
        ) from error
    came = ~np.isnan(margins)
    times, margins = times[came], margins[came]
    give = np.where(np.isfinite(give[came]), np.abs(give[came]), np.inf)
    held = held_us(times, start_us, end_us, max_gap_us)
    return WetTime(
        wet_s=int(held[margins <= 0.0].sum()) / MICROSECONDS,
        surely_s=int(held[margins + give <= 0.0].sum()) / MICROSECONDS,
        perhaps_s=int(held[margins - give <= 0.0].sum()) / MICROSECONDS,
        covered_s=int(held.sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )
