"""Irrigation by the clock: when a line's cycles usually begin, and which of them did not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats

DAY_S = 86_400.0
USUAL_IN = 0.6  # of the earlier days a start must recur; our choice, no source
FEWEST_DAYS = 3  # two days make no habit; our choice, no source


def usual_starts(days: Sequence[ArrayLike], tolerance_s: float) -> Floats:
    """Return the times of day at which a line's cycles usually begin.

    Parameters
    ----------
    days : sequence of array_like
        For each earlier day, when cycles began, by the local clock; a little before 0 and after 86400 for the
        neighbouring days' cycles close to midnight. [s]
    tolerance_s : float
        Starts no further apart than this are the same; less than half the pause between cycles. [s]

    Returns
    -------
    starts_s : numpy.ndarray
        Ascending, 0 up to 86400: the median of each start that recurs on at least 0.6 of the days (our choice, no
        source). Empty where a line runs on demand and not by the clock, or with fewer than three days. [s]

    Raises
    ------
    ValueError
        If ``tolerance_s`` is not positive.

    Examples
    --------
    >>> usual_starts([[21600, 43200], [21610, 43190], [21600, 50000]], tolerance_s=60).tolist()
    [21600.0, 43195.0]
    """
    if not tolerance_s > 0:
        raise ValueError(f"tolerance_s is {tolerance_s}: give how far apart the same start may lie, above 0")
    by_day = [np.sort(np.asarray(day, dtype=float)) for day in days]
    if len(by_day) < FEWEST_DAYS:
        return np.empty(0)
    pooled = np.sort(np.concatenate(by_day))
    middles: list[float] = []
    for start in pooled[(pooled >= 0) & (pooled < DAY_S)].tolist():
        if middles and start - middles[-1] <= tolerance_s:
            continue
        near = [day[np.abs(day - start) <= tolerance_s] for day in by_day]
        if sum(len(one) > 0 for one in near) >= USUAL_IN * len(by_day):
            middles.append(float(np.median(np.concatenate(near))))
    found = sorted(middle % DAY_S for middle in middles)
    if len(found) > 1 and found[0] + DAY_S - found[-1] <= tolerance_s:
        found.pop()  # the same one on both sides of midnight
    return np.array(found)


def missed_starts(usual_starts_s: ArrayLike, starts_s: ArrayLike, tolerance_s: float) -> Floats:
    """Return the usual starts at which no cycle began.

    Parameters
    ----------
    usual_starts_s : array_like
        As ``usual_starts`` returns them; leave out those about which no data tells. [s]
    starts_s : array_like
        When the day's cycles began, by the same clock. [s]
    tolerance_s : float
        A cycle this much earlier or later still counts. [s]

    Returns
    -------
    missed_s : numpy.ndarray
        [s]

    Examples
    --------
    >>> missed_starts([21600.0, 43200.0], [21650.0], tolerance_s=60).tolist()
    [43200.0]
    """
    usual, starts = np.asarray(usual_starts_s, dtype=float), np.asarray(starts_s, dtype=float)
    came = np.abs(usual[:, None] - starts[None, :]) <= tolerance_s
    missed: Floats = usual[~came.any(axis=1)]
    return missed
