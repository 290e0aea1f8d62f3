"""Litres through a line within windows of time, from its flow or from its meter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Floats, Times, samples
from analytics.counters import increments

SECONDS_PER_MINUTE = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Litres:
    """Litres within windows, one element each. NaN where nothing was covered: no data is not a dry line.

    ``covered_s`` is the time something is known about, ``span_s`` the whole window. [L], [s], [s].
    """

    litres: Floats
    covered_s: Floats
    span_s: Floats


def litres_from_flow(
    time_us: ArrayLike, flow_rate: ArrayLike, start_us: ArrayLike, end_us: ArrayLike, max_gap_us: int
) -> Litres:
    """Return the litres that a flow amounts to within each of some windows.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending; hand in the neighbours just outside the windows too.
        [µs since 1970 UTC]
    flow_rate : array_like
        A NaN counts as a sample that never came. [L/min]
    start_us, end_us : array_like of int
        The windows, half-open, shape (n,); they may overlap. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]

    Returns
    -------
    litres : Litres
        Shape (n,).

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a window runs backward, or ``max_gap_us`` is
        not positive.

    Notes
    -----
    Each sample holds until the next one, at most ``max_gap_us``: a line that a valve opens does not move in
    straight lines between samples. Adjoining windows sum exactly.

    See Also
    --------
    litres_from_meter : The same from a running total, which loses nothing between its readings.

    Examples
    --------
    >>> minute = 60_000_000
    >>> litres_from_flow([0, minute, 2 * minute], [6.0, 6.0, 0.0], [0, minute], [minute, 5 * minute], minute).litres
    array([6., 6.])
    """
    times, flow = samples(time_us, flow_rate)
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest time that a sample holds, above 0")
    came = ~np.isnan(flow)
    times, flow = times[came], flow[came]
    until = np.minimum(np.append(times[1:], np.iinfo(np.int64).max), times + max_gap_us)
    per_us = flow / SECONDS_PER_MINUTE / MICROSECONDS
    return _within(times, until, per_us * (until - times), np.ones(times.shape, bool), start_us, end_us)


def litres_from_meter(
    time_us: ArrayLike,
    value: ArrayLike,
    start_us: ArrayLike,
    end_us: ArrayLike,
    max_gap_us: int,
    rolls_over_at: float | None = None,
) -> Litres:
    """Return the litres that a meter counted within each of some windows.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending; hand in the neighbours just outside the windows too.
        [µs since 1970 UTC]
    value : array_like
        The running total; a NaN counts as a reading that never came. [L]
    start_us, end_us : array_like of int
        The windows, half-open, shape (n,). [µs since 1970 UTC]
    max_gap_us : int
        Time between readings further apart than this is not covered. [µs]
    rolls_over_at : float, optional
        As for ``increments``. [L]

    Returns
    -------
    litres : Litres
        Shape (n,).

    Raises
    ------
    ValueError
        As for ``litres_from_flow`` and ``increments``.

    Notes
    -----
    What was counted between two readings is spread evenly over the time between them. That holds across a
    gap too, since the meter counted on: windows that hold the gap whole are right, windows that begin or end
    in it are a guess, and ``covered_s`` tells. Adjoining windows sum to what the meter counted.

    Examples
    --------
    >>> minute = 60_000_000
    >>> litres_from_meter([0, minute, 2 * minute], [90.0, 96.0, 97.0], [0], [2 * minute], minute).litres
    array([7.])
    """
    times, total = samples(time_us, value)
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest time between two readings, above 0")
    came = ~np.isnan(total)
    times, total = times[came], total[came]
    counted = increments(total, rolls_over_at)[1:]
    return _within(times[:-1], times[1:], counted, np.diff(times) <= max_gap_us, start_us, end_us)


def _within(
    left: Times, right: Times, amount: Floats, known: NDArray[np.bool_], start_us: ArrayLike, end_us: ArrayLike
) -> Litres:
    """Return what pieces [left, right), which do not overlap, bring within windows, each spread evenly."""
    starts, ends = np.atleast_1d(np.asarray(start_us, np.int64)), np.atleast_1d(np.asarray(end_us, np.int64))
    if starts.shape != ends.shape:
        raise ValueError(f"{starts.shape} starts and {ends.shape} ends of windows: give one end for each start")
    if np.any(ends < starts):
        first = int(np.argmax(ends < starts))
        raise ValueError(f"window {first} ends at {ends[first]}, before it starts at {starts[first]}: swap the two")
    span = (ends - starts) / MICROSECONDS
    if not left.size:
        return Litres(np.full(span.shape, np.nan), np.zeros(span.shape), span)
    origin = left[0]  # so that microseconds since 1970 keep their digits as floating point
    knots = np.stack([left, right], axis=1).ravel() - origin

    def summed(amounts: Floats) -> Floats:
        reached = np.cumsum(amounts)
        heights = np.stack([np.concatenate(([0.0], reached[:-1])), reached], axis=1).ravel()
        found: Floats = np.interp(ends - origin, knots, heights) - np.interp(starts - origin, knots, heights)
        return found

    covered = summed(np.where(known, right - left, 0).astype(float)) / MICROSECONDS
    touched = summed((right - left).astype(float)) > 0
    return Litres(np.where(touched, summed(amount), np.nan), covered, span)
