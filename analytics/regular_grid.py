"""Samples laid on a grid of cells: one value a cell, and what share of its time samples speak for."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, Times, samples


class Aggregation(StrEnum):
    """How the samples of a cell become one value."""

    MEAN = "mean"  # of the samples in the cell, each counting the same
    TIME_MEAN = "time_mean"  # each sample holds until the next one: of an on/off state, the share of time it was on
    MEDIAN = "median"
    LOW = "low"
    HIGH = "high"
    FIRST = "first"
    LAST = "last"


class Cells(NamedTuple):
    """One entry a cell: value (NaN where none is told), samples in the cell, covered share of its time 0..1."""

    value: Floats
    samples: NDArray[np.int64]
    coverage: Floats


def regular_grid(
    time_us: ArrayLike,
    value: ArrayLike,
    edges_us: ArrayLike,
    max_gap_us: int,
    aggregation: Aggregation = Aggregation.MEAN,
    least_coverage: float = 0.0,
) -> Cells:
    """Return samples laid on a grid of adjoining cells ``[edge, next edge)``.

    A cell's value rests on nothing but the samples in the cell and, for the covered time and ``time_mean``, on the
    last one before it: it is the same to the bit whatever range it is worked out in. Nothing is filled in.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; hand in those of ``max_gap_us`` before the grid too: the last of
        them holds into it. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN counts as a sample that never came. [any unit]
    edges_us : array_like of int
        Where cells begin and end, strictly ascending, at least two; cells may differ in length. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample speaks for, above 0. [µs]
    aggregation : Aggregation
        How a cell's samples become one value.
    least_coverage : float
        A cell whose covered share of time is less has no value, 0..1. [1]

    Returns
    -------
    cells : Cells
        A cell without a sample has a value only by ``time_mean``, where one before it holds into it.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times or edges do not ascend, ``max_gap_us`` is not positive, or
        ``least_coverage`` is not a share.

    Examples
    --------
    >>> minute = 60_000_000
    >>> regular_grid([0, 1 * minute, 5 * minute], [20.0, 22.0, 30.0], [0, 4 * minute, 8 * minute], 3 * minute)
    Cells(value=array([21., 30.]), samples=array([2, 1]), coverage=array([1.  , 0.75]))
    """
    times, values = samples(time_us, value)
    edges = np.asarray(edges_us, dtype=np.int64)
    if edges.ndim != 1 or len(edges) < 2 or np.any(edges[1:] <= edges[:-1]):
        raise ValueError("edges_us must ascend and hold at least two edges: those of one cell")
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest time that a sample speaks for, above 0")
    if not 0.0 <= least_coverage <= 1.0:
        raise ValueError(f"least_coverage is {least_coverage}: give a share between 0 and 1")
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    coverage = _covered_us(times, edges, max_gap_us) / np.diff(edges)
    first = np.searchsorted(times, edges)
    found = (
        _time_mean(times, values, edges, max_gap_us)
        if aggregation is Aggregation.TIME_MEAN
        else _of_samples(values, first, aggregation)
    )
    found[coverage < least_coverage] = np.nan
    return Cells(found, np.diff(first).astype(np.int64), coverage)


def _held_us(times: Times, max_gap_us: int) -> Times:
    """Return for how long each sample holds: until the next one, but not for too long."""
    held = np.full(len(times), max_gap_us, np.int64)
    held[:-1] = np.minimum(np.diff(times), max_gap_us)
    return held


def _covered_us(times: Times, edges: Times, max_gap_us: int) -> Times:
    """Return for how long samples speak within each cell; whole microseconds, so exact."""
    if not len(times):
        return np.zeros(len(edges) - 1, np.int64)
    held = _held_us(times, max_gap_us)
    before = np.concatenate([[0], np.cumsum(held)])
    at = np.searchsorted(times, edges, side="right") - 1
    inside = np.clip(edges - times[at], 0, held[at])
    until: Times = np.where(at >= 0, before[at] + inside, 0)
    return np.diff(until)


def _time_mean(times: Times, values: Floats, edges: Times, max_gap_us: int) -> Floats:
    """Return the mean over the covered time of each cell, every sample holding until the next one."""
    cells = len(edges) - 1
    if not len(times):
        return np.full(cells, np.nan)
    points = np.unique(np.concatenate([times, times + _held_us(times, max_gap_us), edges]))
    points = points[(points >= edges[0]) & (points <= edges[-1])]
    lasts, begins = np.diff(points), points[:-1]
    at = np.searchsorted(times, begins, side="right") - 1
    held = (at >= 0) & (begins - times[at] < max_gap_us)
    lasts, at = lasts[held], at[held]
    cell = np.searchsorted(edges, begins[held], side="right") - 1
    covered = np.bincount(cell, lasts, minlength=cells)
    total = np.bincount(cell, lasts * values[at], minlength=cells)
    return total / np.where(covered > 0.0, covered, np.nan)


def _of_samples(values: Floats, first: NDArray[np.intp], aggregation: Aggregation) -> Floats:
    """Return one value of the samples of each cell; sample ``first[k]`` begins cell ``k``."""
    found = np.full(len(first) - 1, np.nan)
    some = first[1:] > first[:-1]
    begin, end = first[:-1][some], first[1:][some]
    if not len(begin):
        return found
    inside = values[: first[-1]]
    match aggregation:
        case Aggregation.MEAN:
            found[some] = np.add.reduceat(inside, begin) / (end - begin)
        case Aggregation.LOW:
            found[some] = np.minimum.reduceat(inside, begin)
        case Aggregation.HIGH:
            found[some] = np.maximum.reduceat(inside, begin)
        case Aggregation.FIRST:
            found[some] = inside[begin]
        case Aggregation.LAST:
            found[some] = inside[end - 1]
        case _:
            found[some] = _medians(inside[begin[0] :], begin - begin[0], end - begin)
    return found


def _medians(values: Floats, begin: NDArray[np.intp], count: NDArray[np.intp]) -> Floats:
    """Return the median of each run of ``count`` values."""
    cell = np.repeat(np.arange(len(begin)), count)
    ordered = values[np.lexsort((values, cell))]
    low, high = ordered[begin + (count - 1) // 2], ordered[begin + count // 2]
    middle: Floats = (low + high) / 2.0
    return middle
