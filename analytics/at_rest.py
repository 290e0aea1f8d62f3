"""A reservoir's level at rest: readings away from pumps that have part of its water under way in rows and sump."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, Times, samples
from analytics.outliers import MEDIAN_ERROR
from analytics.steps import scatter

FEWEST_PAUSES = 8  # before they tell how long the return takes; our choice, no source
SETTLED_WITHIN = 0.5  # of the scatter of one reading; our choice, no source
ERRORS = 3.0  # standard errors that chance is left; our choice, no source


def settling_time(
    time_us: ArrayLike, value: ArrayLike, run_start_us: ArrayLike, run_end_us: ArrayLike, step_us: int, longest_us: int
) -> int | None:
    """Return how long after a pump's runs a level still rises, because the last of the water is on its way back.

    Parameters
    ----------
    time_us : array_like of int
        Times of the level's readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings; a NaN counts as one that never came. [its unit]
    run_start_us, run_end_us : array_like of int
        The runs, ascending and apart from each other. [µs since 1970 UTC]
    step_us : int
        Time after a run is looked at in steps of this; no finer than the readings come. [µs]
    longest_us : int
        Looked at is so long after a run, and compared with what follows until the next run. [µs]

    Returns
    -------
    settling : int or None
        The first step in which the level is on its later course; ``longest_us`` where it is so in none. None where
        fewer than eight pauses between runs tell. [µs]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a step or time is not above 0.

    Notes
    -----
    The reading of each step of each pause is set against the median of what follows ``longest_us`` in that pause, and
    the median of these over all n pauses taken. It is on course within half the scatter s of one reading, or within
    what such a median scatters by itself: three times 1.25 s √(2/n), if few pauses tell.

    Examples
    --------
    >>> at = list(range(180))
    >>> level = [(5, 5, 7, 8, 9, 9, 9, 9, 9, 9)[one % 10] + (one % 3 - 1) * 0.1 for one in at]
    >>> runs = list(range(0, 180, 10))
    >>> settling_time(at, level, runs, [one + 2 for one in runs], step_us=1, longest_us=5)
    2
    """
    times, values = samples(time_us, value)
    if step_us <= 0 or longest_us <= 0:
        raise ValueError(f"step_us is {step_us} and longest_us {longest_us}: give both above 0")
    starts, ends = _runs(run_start_us, run_end_us)
    known = ~np.isnan(values)
    times, values = times[known], values[known]
    steps = range(0, longest_us, step_us)
    off = np.full((max(len(ends) - 1, 0), len(steps)), np.nan)
    for place, (end_us, next_us) in enumerate(zip(ends[:-1].tolist(), starts[1:].tolist(), strict=True)):
        later = slice(*np.searchsorted(times, [end_us + longest_us, next_us]))
        if later.stop - later.start < 2:
            continue
        course = float(np.median(values[later]))
        for at, step in enumerate(steps):
            here = slice(*np.searchsorted(times, [end_us + step, min(end_us + step + step_us, end_us + longest_us)]))
            if here.stop > here.start:
                off[place, at] = float(np.mean(values[here])) - course
    told = np.isfinite(off).any(axis=1)
    if int(told.sum()) < FEWEST_PAUSES:
        return None
    seen = np.isfinite(off).sum(axis=0) >= FEWEST_PAUSES
    usual = np.zeros(len(steps))
    usual[seen] = np.nanmedian(off[:, seen], axis=0)
    by_chance = ERRORS * MEDIAN_ERROR * math.sqrt(2.0 / int(told.sum()))
    settled = np.flatnonzero(np.abs(usual) <= max(SETTLED_WITHIN, by_chance) * scatter(values))
    return int(settled[0]) * step_us if len(settled) else longest_us


def at_rest(
    time_us: ArrayLike, run_start_us: ArrayLike, run_end_us: ArrayLike, seen_before_us: int, settle_us: int
) -> NDArray[np.bool_]:
    """Return which instants lie outside all runs of a pump and the time that its water takes to come back.

    Parameters
    ----------
    time_us : array_like of int
        The instants, ascending. [µs since 1970 UTC]
    run_start_us, run_end_us : array_like of int
        The runs, from the first sample that shows one to the first after it, in any order; they may overlap.
        [µs since 1970 UTC]
    seen_before_us : int
        How much earlier than its first sample a run may have begun, 0 or more. [µs]
    settle_us : int
        How long the water takes to come back, 0 or more. [µs]

    Returns
    -------
    at_rest : numpy.ndarray of bool

    Raises
    ------
    ValueError
        If there is not one end a start, a run ends before it starts, or a time is negative.

    Examples
    --------
    >>> at_rest([0, 60, 120, 180, 240], [120], [180], 60, 60).tolist()
    [True, True, False, False, True]
    """
    starts, ends = np.asarray(run_start_us, np.int64), np.asarray(run_end_us, np.int64)
    if starts.shape != ends.shape or np.any(ends < starts) or seen_before_us < 0 or settle_us < 0:
        raise ValueError(
            f"{starts.size} starts and {ends.size} ends of runs, {seen_before_us} before and {settle_us} after: give "
            "one end, no earlier, for each start, and times of 0 or more"
        )
    times = np.asarray(time_us, np.int64)
    order = np.argsort(starts, kind="stable")
    reached = np.maximum.accumulate(ends[order]) + settle_us if starts.size else ends
    last = np.searchsorted(starts[order] - seen_before_us, times) - 1  # the last run that had begun before
    rests: NDArray[np.bool_] = np.ones(len(times), bool)
    begun = last >= 0
    rests[begun] = times[begun] >= reached[last[begun]]
    return rests


def means_of_pauses(
    time_us: ArrayLike, value: ArrayLike, of_pause: ArrayLike, longest_us: int, fewest: int
) -> tuple[Times, Floats]:
    """Return one reading a pause of a pump, or several evenly spread in a long one: means, at their mean times.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings; a NaN counts as one that never came. [its unit]
    of_pause : array_like of int
        The pause that each reading lies in, ascending.
    longest_us : int
        A pause longer than this gives more than one mean, above 0. [µs]
    fewest : int
        A part with fewer readings gives none, 1 or more.

    Returns
    -------
    time_us, mean : numpy.ndarray
        [µs since 1970 UTC], [its unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times or pauses do not ascend, or a limit is out of range.

    Notes
    -----
    Rows take from the reservoir what their plants drank only when the pump next runs: the level falls in stairs, a
    pause long each. Readings on one stair tell nothing of the slope; their means do.

    Examples
    --------
    >>> means_of_pauses([0, 10, 20, 60, 70, 80], [9.0, 9.2, 9.1, 8.5, 8.6, 8.4], [0, 0, 0, 1, 1, 1], 100, 2)
    (array([10, 70]), array([9.1, 8.5]))
    """
    times, values = samples(time_us, value)
    pauses = np.asarray(of_pause, np.int64)
    if pauses.shape != times.shape or np.any(np.diff(pauses) < 0) or longest_us <= 0 or fewest < 1:
        raise ValueError(
            f"{times.size} readings in {pauses.size} pauses, longest_us {longest_us}, fewest {fewest}: give one pause, "
            "in order, for each reading, a time above 0, and 1 or more"
        )
    known = ~np.isnan(values)
    times, values, pauses = times[known], values[known], pauses[known]
    if not times.size:
        return times, values
    of = np.concatenate([[0], np.cumsum(np.diff(pauses) > 0)])
    first = np.flatnonzero(np.concatenate([[True], np.diff(of) > 0]))
    start, end = times[first], times[np.append(first[1:], len(times)) - 1] + 1
    parts = -(-(end - start) // longest_us)
    part = (times - start[of]) * parts[of] // (end - start)[of]
    block = np.cumsum(np.concatenate([[0], (np.diff(of) > 0) | (np.diff(part) > 0)]))
    count = np.bincount(block)
    since = np.bincount(block, weights=(times - times[0]).astype(float)) / count
    mean = np.bincount(block, weights=values) / count
    kept = count >= fewest
    return times[0] + np.rint(since[kept]).astype(np.int64), mean[kept]


def _runs(start_us: ArrayLike, end_us: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    starts, ends = np.asarray(start_us, np.int64), np.asarray(end_us, np.int64)
    if starts.shape != ends.shape or np.any(ends < starts) or np.any(starts[1:] < ends[:-1]):
        raise ValueError(
            f"{starts.size} starts and {ends.size} ends of runs: give one end for each start, in order of time and "
            "apart"
        )
    return starts, ends
