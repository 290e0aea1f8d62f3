"""Samples in time: what a caller must hand in, how long each one holds, and one series seen at another's times."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]

MICROSECONDS = 1_000_000  # in a second


class HeldValues(NamedTuple):
    """Values carried forward to other times, and the sample each came from.

    ``value`` is NaN and ``position`` is -1 where no sample was near enough.
    """

    value: Floats
    position: NDArray[np.intp]


def samples(time_us: ArrayLike, value: ArrayLike) -> tuple[Times, Floats]:
    """Return times and values as arrays, after checking that they belong together.

    Raises
    ------
    ValueError
        If they are not one-dimensional and of one length, or the times are not whole numbers in strictly
        ascending order.
    """
    times, values = np.asarray(time_us), np.asarray(value, dtype=float)
    if times.ndim != 1 or times.shape != values.shape:
        raise ValueError(
            f"time_us has shape {times.shape} and the values {values.shape}: give two one-dimensional arrays "
            "of one length"
        )
    if times.size and times.dtype.kind not in "iu":
        raise ValueError(f"time_us holds {times.dtype}: give whole microseconds since 1970 UTC, as int64")
    times = times.astype(np.int64, copy=False)
    if (times[1:] <= times[:-1]).any():
        first = int(np.argmax(times[1:] <= times[:-1]))
        raise ValueError(
            f"time_us must ascend, but {times[first + 1]} follows {times[first]} at position {first + 1}: "
            "sort the samples by time and drop repeated times"
        )
    return times, values


def instants_of_any(several: Sequence[Times]) -> Times:
    """Return all instants of some series, each once and ascending.

    Parameters
    ----------
    several : sequence of numpy.ndarray of int64
        Times of each series' samples, each strictly ascending; at least one series. [µs since 1970 UTC]

    Returns
    -------
    instants : numpy.ndarray of int64
        The instants. [µs since 1970 UTC]

    Raises
    ------
    ValueError
        If there is no series.

    Examples
    --------
    >>> instants_of_any([np.array([0, 60]), np.array([30, 60])]).tolist()
    [0, 30, 60]
    """
    if not several:
        raise ValueError("there is no series whose instants could be joined: give one at least")
    if all(np.array_equal(one, several[0]) for one in several[1:]):  # devices in step, as most are
        return several[0]
    instants: Times = np.unique(np.concatenate(several))
    return instants


def check_window(start_us: int, end_us: int, max_gap_us: int) -> None:
    """Raise ValueError unless a window runs forward and the longest bridged gap is positive."""
    if end_us < start_us:
        raise ValueError(f"the window ends at {end_us}, before it starts at {start_us}: swap the two")
    if max_gap_us <= 0:
        raise ValueError(f"max_gap_us is {max_gap_us}: give the longest gap to bridge, above 0")


def held_us(time_us: Times, start_us: int, end_us: int, max_gap_us: int) -> Times:
    """Return for how long each sample holds inside ``[start_us, end_us)``.

    A sample holds until the next one, but no longer than ``max_gap_us``. ``time_us`` as from ``samples``.
    """
    until: Times = time_us + max_gap_us
    np.minimum(until[:-1], time_us[1:], out=until[:-1])
    np.minimum(until, end_us, out=until)
    until -= np.maximum(time_us, start_us)
    return np.maximum(until, 0, out=until)


def hold_as_of(time_us: ArrayLike, value: ArrayLike, at_us: ArrayLike, max_age_us: int) -> HeldValues:
    """Return, for each instant, the newest sample at or before it.

    This is how one series is read at another's times without looking into the future.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN is a sample too: it is not looked behind.
    at_us : array_like of int
        Instants to look from, in any order. [µs since 1970 UTC]
    max_age_us : int
        A sample older than this says nothing, 0 or more. [µs]

    Returns
    -------
    held : HeldValues
        Value and position of the sample for each instant; NaN and -1 where there is none young enough. The
        position lets a caller carry flags along.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``max_age_us`` is negative.

    Examples
    --------
    >>> hold_as_of([0, 60], [21.0, 22.0], [-1, 59, 60, 200], max_age_us=90).value.tolist()
    [nan, 21.0, 22.0, nan]
    """
    times, values = samples(time_us, value)
    if max_age_us < 0:
        raise ValueError(f"max_age_us is {max_age_us}: give the greatest age that still counts, 0 or more")
    at = np.asarray(at_us, dtype=np.int64)
    index = np.searchsorted(times, at, side="right") - 1
    found = index >= 0
    found[found] = at[found] - times[index[found]] <= max_age_us
    held = np.full(at.shape, np.nan)
    held[found] = values[index[found]]
    return HeldValues(held, np.where(found, index, -1))
