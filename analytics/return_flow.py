"""Return flow: how long the solution takes from the pump back to the sump."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, hold_as_of, samples

FEWEST = 10  # instants at which both flows are known; our choice, no source


@dataclass(frozen=True, slots=True)
class ReturnLag:
    """By how much the return follows the supply, and how alike the two then are; NaN where nothing is known.

    ``resolution_s`` is the step that was tried: the lag is right to within half of it. [s], [1], [s].
    """

    lag_s: float
    correlation: float
    resolution_s: float


def return_lag(
    supply_time_us: ArrayLike,
    supply: ArrayLike,
    return_time_us: ArrayLike,
    returned: ArrayLike,
    step_us: int,
    longest_lag_us: int,
    max_gap_us: int,
) -> ReturnLag:
    """Return by how much a return flow follows the flow out, by cross-correlation.

    Parameters
    ----------
    supply_time_us, return_time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    supply, returned : array_like
        Flow out of and back into the sump (or states, or powers: only their course counts).
    step_us : int
        Lags are tried in steps of this; no finer than the samples come. [µs]
    longest_lag_us : int
        The longest lag tried; shorter than the pause between cycles, or one cycle's return is taken for the
        next one's. [µs]
    max_gap_us : int
        The longest time a sample may hold. [µs]

    Returns
    -------
    lag : ReturnLag
        The lag with the highest correlation. All NaN where fewer than ten instants know both flows, or one of
        them does not move.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a step or lag is out of range.

    Notes
    -----
    Both flows are seen on one grid of instants, each sample held until the next; at each lag Pearson's
    correlation is taken over the instants at which both are known, so that gaps are left out and not bridged.
    The first of equally good lags counts.

    Examples
    --------
    >>> pump, back = [0, 1, 1, 0, 0, 0] * 4, [0, 0, 0, 1, 1, 0] * 4
    >>> return_lag(range(24), pump, range(24), back, step_us=1, longest_lag_us=4, max_gap_us=2).correlation
    1.0
    """
    if step_us <= 0 or longest_lag_us < 0:
        raise ValueError(f"step_us is {step_us} and longest_lag_us {longest_lag_us}: give a step above 0, a lag from 0")
    outward, sent = samples(supply_time_us, supply)
    back, came = samples(return_time_us, returned)
    best = ReturnLag(np.nan, np.nan, step_us / MICROSECONDS)
    if not outward.size or not back.size:
        return best
    grid = np.arange(max(outward[0], back[0]), min(outward[-1], back[-1]) + 1, step_us)
    sent = hold_as_of(outward, sent, grid, max_gap_us).value
    came = hold_as_of(back, came, grid, max_gap_us).value
    for lag in range(min(longest_lag_us // step_us, max(len(grid) - 1, 0)) + 1):
        one, other = sent[: len(grid) - lag], came[lag:]
        known = ~np.isnan(one) & ~np.isnan(other)
        one, other = one[known], other[known]
        if len(one) < FEWEST or np.ptp(one) == 0 or np.ptp(other) == 0:
            continue
        likeness = round(float(np.corrcoef(one, other)[0, 1]), 12)  # so that rounding decides between no two lags
        if np.isnan(best.correlation) or likeness > best.correlation:
            best = ReturnLag(lag * step_us / MICROSECONDS, likeness, step_us / MICROSECONDS)
    return best
