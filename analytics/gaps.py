"""Silences within a window: how many, how long, and how much of it they take."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, samples
from analytics.flagging import seconds_as_us


class Gaps(NamedTuple):
    """Silences longer than the longest gap, each as far as it lies in the window. [1], [s], [s]."""

    number: int
    longest_s: float
    total_s: float


def gaps(time_us: ArrayLike, start_us: int, end_us: int, gap_s: float) -> Gaps:
    """Return the silences of a record within a window.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. Hand in the neighbours just outside the window too.
        [µs since 1970 UTC]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    gap_s : float
        A silence longer than this is a gap. [s]

    Returns
    -------
    gaps : Gaps
        A silence that sticks out of the window counts with its part inside. Before the first sample and after
        the last one nothing is known beyond the window's edges: they stand for a sample.

    Raises
    ------
    ValueError
        If times do not ascend, the window runs backward, or ``gap_s`` is not above 0.

    Examples
    --------
    >>> minute = 60_000_000
    >>> gaps([0, 1 * minute, 8 * minute], 0, 10 * minute, gap_s=180)
    Gaps(number=1, longest_s=420.0, total_s=420.0)
    """
    times, _ = samples(time_us, np.zeros(np.shape(time_us)))
    gap_us = seconds_as_us("gap_s", gap_s)
    check_window(start_us, end_us, gap_us)
    edges = [[start_us]] if not len(times) or times[0] > start_us else []
    ends = [[end_us]] if not len(times) or times[-1] < end_us else []
    points = np.concatenate([*edges, times, *ends]).astype(np.int64)
    silent = np.diff(points) > gap_us
    inside = np.minimum(points[1:], end_us) - np.maximum(points[:-1], start_us)
    lengths = inside[silent & (inside > 0)]
    return Gaps(len(lengths), int(lengths.max(initial=0)) / MICROSECONDS, int(lengths.sum()) / MICROSECONDS)
