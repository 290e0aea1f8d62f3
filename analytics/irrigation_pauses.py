"""How long a line has been dry, against the longest pause that is usual on it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import Floats, Times

MINUTE_US = 60_000_000
# Our choices, no source:
LOOK_BACK_US = 72 * 60 * MINUTE_US  # pauses of so long before a run are the usual ones
FEWEST_PAUSES = 4  # without which nothing is usual, nor without ...
WHOLE_DAY_US = 24 * 60 * MINUTE_US  # ... a day that has its night in it
TIMES_LONGEST = 1.5  # the longest of them, and ...
ALLOWANCE_US = 10 * MINUTE_US  # ... this on top, may be dry


def dry_share(time_us: Times, value: Floats, threshold: float, gap_us: int) -> Floats:
    """Return for how long a line has been dry, as a share of how long it may be.

    Parameters
    ----------
    time_us : numpy.ndarray
        Times of the samples, ascending, shape (n,). [µs since 1970 UTC]
    value : numpy.ndarray
        Flow, pressure or a pump's state, shape (n,); NaN is no data. [its unit]
    threshold : float
        From which on water runs. [the same]
    gap_us : int
        Two samples further apart say nothing of the time between them: water may have run. [µs]

    Returns
    -------
    share : numpy.ndarray
        Shape (n,); above 1 it has been dry for longer than one and a half times the longest pause of the three days
        before the last run, and ten minutes. NaN where less than a day, or fewer than four pauses, tell what is
        usual. [1]

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> flow = np.array([1.0, 0.0] * 13 + [0.0] * 4)
    >>> dry_share(np.arange(30) * hour, flow, 0.5, 2 * hour)[-1].round(2).item()
    1.58
    """
    share = np.full(len(time_us), np.nan)
    if len(time_us) == 0:
        return share
    runs = np.nan_to_num(value, nan=np.inf) >= threshold  # where nothing is known it may have run
    after_gap = np.append(True, np.diff(time_us) > gap_us)
    anchor = np.where(runs | after_gap, time_us, np.iinfo(np.int64).min)
    since = np.maximum.accumulate(anchor)
    begins = np.flatnonzero(runs[1:] & ~runs[:-1] & ~after_gap[1:]) + 1
    ends_us, lengths = time_us[begins], time_us[begins] - since[begins - 1]
    for start_us in np.unique(since).tolist():
        first, last = np.searchsorted(ends_us, [start_us - LOOK_BACK_US, start_us], side="right")
        if last - first >= FEWEST_PAUSES and start_us - time_us[0] >= WHOLE_DAY_US:
            here = slice(*np.searchsorted(since, [start_us, start_us + 1]))
            share[here] = (time_us[here] - start_us) / (TIMES_LONGEST * lengths[first:last].max() + ALLOWANCE_US)
    return share


def last_run_us(time_us: Times, value: Floats, threshold: float) -> int | None:
    """Return when water last ran.

    Parameters
    ----------
    time_us, value : numpy.ndarray
        As `dry_share` takes them.
    threshold : float
        From which on water runs. [the value's unit]

    Returns
    -------
    time_us : int or None
        The last sample at or above the threshold; None where there is none. [µs since 1970 UTC]
    """
    places: NDArray[np.intp] = np.flatnonzero(value >= threshold)
    return int(time_us[places[-1]]) if len(places) else None
