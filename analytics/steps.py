"""Steps in a reservoir's readings that nothing counted: top-ups and drains in its level, doses in its EC."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, Times, samples
from analytics.events import Event

NORMAL_SPREAD = 1.349  # distance between the quartiles of a normal distribution, in standard deviations


def scatter(value: ArrayLike) -> float:
    """Return the standard deviation of readings about their own course, from one to the next.

    Parameters
    ----------
    value : array_like
        Readings in order of time, shape (n,); NaN is left out. [its unit]

    Returns
    -------
    scatter : float
        NaN with fewer than three readings. [its unit]

    Notes
    -----
    From the quartiles of the differences between neighbours, divided by the square root of 2: steps and
    spikes, which are few, do not count. Of readings that seldom differ it is 0.

    Examples
    --------
    >>> scatter([1.0, 1.0, 1.0, 5.0, 5.0, 5.0])
    0.0
    """
    readings = np.asarray(value, dtype=float)
    differences = np.diff(readings[~np.isnan(readings)])
    if len(differences) < 2:
        return math.nan
    low, high = np.percentile(differences, [25.0, 75.0])
    return float(high - low) / NORMAL_SPREAD / math.sqrt(2.0)


def steps_found(time_us: ArrayLike, value: ArrayLike, window_us: int, least: float, max_gap_us: int) -> list[Event]:
    """Return the steps up and down that readings show by themselves.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings; a NaN counts as one that never came. [its unit]
    window_us : int
        The time before and after an instant whose means are compared; a step must be over in about this
        time, and lie further than this from its neighbours, to be seen as one. [µs]
    least : float
        Smaller steps are not looked for, above 0: well above drift times ``window_us``, and above five times
        the scatter of such a mean. [its unit]
    max_gap_us : int
        No step is looked for across readings further apart than this. [µs]

    Returns
    -------
    events : list of Event
        Ascending in time; ``amount`` is the rough size, drift of about half a window included, negative for a
        fall. With scatter its edges are known to a few readings. [its unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a limit is not above 0.

    See Also
    --------
    step_size : How large a step was, with its give or take.

    Examples
    --------
    >>> minutes = [minute * 60_000_000 for minute in range(8)]
    >>> [step] = steps_found(minutes, [5.0, 5.0, 5.0, 5.0, 9.0, 9.0, 9.0, 9.0], 180_000_000, 2.0, 120_000_000)
    >>> step.start_us // 60_000_000, step.end_us // 60_000_000, step.amount
    (3, 4, 4.0)
    """
    times, values = samples(time_us, value)
    if window_us <= 0 or not least > 0.0 or max_gap_us <= 0:
        raise ValueError(f"window_us is {window_us}, least {least}, max_gap_us {max_gap_us}: give all above 0")
    times, values = times[~np.isnan(values)], values[~np.isnan(values)]
    difference = _difference_of_means(times, values, window_us, max_gap_us)
    sign = np.where(difference >= least, 1, np.where(difference <= -least, -1, 0))
    changes = np.flatnonzero(np.diff(np.concatenate([[0], sign, [0]])))
    found = []
    for first, last in zip(changes[:-1].tolist(), changes[1:].tolist(), strict=True):
        if sign[first] != 0:
            found.append(_step(times, values, difference, first, last, window_us))
    return found


def _difference_of_means(times: Times, values: Floats, window_us: int, max_gap_us: int) -> Floats:
    """Return at each reading the mean from it on less the mean before it; NaN where readings are too few or gap."""
    if len(times) == 0:
        return values
    here = np.arange(len(times))
    first = np.searchsorted(times, times - window_us)
    last = np.searchsorted(times, times + window_us)
    sums = np.concatenate([[0.0], np.cumsum(values - values.mean())])
    gaps = np.concatenate([[0], np.cumsum(np.diff(times) > max_gap_us)])
    few = (here - first < 2) | (last - here < 2) | (gaps[last - 1] > gaps[first])
    short = (times - times[first] < window_us / 2) | (times[last - 1] - times < window_us / 2)
    counts: NDArray[np.float64] = np.stack([here - first, last - here]).astype(float)
    counts[:, few] = np.nan
    difference: Floats = (sums[last] - sums[here]) / counts[1] - (sums[here] - sums[first]) / counts[0]
    return np.where(short, np.nan, difference)


def _step(times: Times, values: Floats, difference: Floats, first: int, last: int, window_us: int) -> Event:
    """Return the step within a run of readings at which the means differ: where it left and reached its levels."""
    peak = first + int(np.argmax(np.abs(difference[first:last])))
    before = values[np.searchsorted(times, times[first] - window_us) : first + 1]
    after = values[last - 1 : np.searchsorted(times, times[last - 1] + window_us)]
    low, high = float(np.median(before)), float(np.median(after))
    share = (values[first:last] - low) / (high - low) if high != low else np.zeros(last - first)
    at = peak - first
    earlier, later = np.flatnonzero(share[: at + 1] < 0.1), np.flatnonzero(share[at:] > 0.9)
    start = first + int(earlier[-1]) if len(earlier) else first
    end = peak + int(later[0]) if len(later) else last - 1
    start = min(start, peak - 1) if peak > 0 else start
    return Event(int(times[start]), int(times[end]), _rise(times, values, start, end, window_us // 2))


def _rise(times: Times, values: Floats, start: int, end: int, window_us: int) -> float:
    before = values[np.searchsorted(times, times[start] - window_us) : start + 1]
    after = values[end : np.searchsorted(times, times[end] + window_us, side="right")]
    return float(np.median(after) - np.median(before))
