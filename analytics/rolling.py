"""Rolling averages: what a quantity was on average over the hours or minutes before each sample."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, Times, samples

_ROOM = 2**62  # the largest sum that a signed 64-bit integer surely holds


class RollingAverage(NamedTuple):
    """The average of the covered part of the window before each sample, and that part's share of it.

    ``value`` is NaN and ``coverage`` 0 where nothing was covered.
    """

    value: Floats
    coverage: Floats

    @property
    def at_least(self) -> Floats:
        """The average over the whole window if the quantity was 0 while nothing was known; 0 where nothing was."""
        return np.where(self.coverage > 0.0, self.value * self.coverage, 0.0)


def rolling_average(
    time_us: ArrayLike, value: ArrayLike, window_us: int, max_gap_us: int, highest: float
) -> RollingAverage:
    """Return, at each sample, the time-weighted average over the window that ends there.

    Each sample holds until the next one, but no longer than ``max_gap_us``: after that nothing is known.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. Hand in those of a window and of ``max_gap_us`` before the
        first that matters. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN, or what is beyond ``highest`` either way, counts as a sample that never came.
    window_us : int
        Length of the window, above 0. [µs]
    max_gap_us : int
        The longest time a sample may hold, above 0. [µs]
    highest : float
        The largest magnitude that can occur, above 0. [the quantity's unit]

    Returns
    -------
    rolling_average : RollingAverage
        Two arrays of the samples' shape. [the quantity's unit], [1]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a length is not positive, or a window of that
        length leaves less than the whole unit to tell values of ``highest`` apart.

    Notes
    -----
    ``sum(C_i T_i) / sum(T_i)`` over the samples' times T_i within the window. The sum is taken in integers, of
    values rounded to the finest power of two with which the sum over a window fits 64 bits (0.008 ppm for CO2
    over 8 h): so it is exact, and the same readings give the same bits wherever the series handed in begins.

    Examples
    --------
    >>> minute = 60_000_000
    >>> found = rolling_average([0, minute, 2 * minute], [10.0, 20.0, 30.0], 2 * minute, minute, highest=100.0)
    >>> found.value.tolist(), found.coverage.tolist()
    ([nan, 10.0, 15.0], [0.0, 0.5, 1.0])
    """
    times, values = samples(time_us, value)
    for name, length in (("window_us", window_us), ("max_gap_us", max_gap_us), ("highest", highest)):
        if not length > 0:
            raise ValueError(f"{name} is {length}: give one above 0")
    steps = _steps_per_unit(window_us, highest)
    came = np.abs(values) <= highest
    known, counts = times[came], np.rint(values[came] * steps).astype(np.int64)
    if not known.size:
        return RollingAverage(np.full(times.shape, np.nan), np.zeros(times.shape))
    held = np.minimum(np.append(np.diff(known), max_gap_us), max_gap_us)
    ends, begins = (_until(known, counts, held, at) for at in (times, times - window_us))
    exposure, covered = ends[0] - begins[0], ends[1] - begins[1]
    average = exposure / np.where(covered > 0, covered, np.nan) / steps
    return RollingAverage(average, covered / window_us)


def _steps_per_unit(window_us: int, highest: float) -> float:
    """Return the power of two in whose parts values are counted."""
    steps = 2.0 ** np.floor(np.log2(_ROOM / (window_us * highest)))
    if steps < 1.0:
        raise ValueError(
            f"a window of {window_us} µs with values up to {highest:g} has no room for steps of one unit: "
            "take a shorter window, or a larger unit"
        )
    return float(steps)


def _until(times: Times, counts: Times, held: Times, at: Times) -> tuple[Times, Times]:
    """Return the sums of counts times held time, and of held time, up to each instant.

    The former may wrap around; differences do not.
    """
    place = np.searchsorted(times, at, side="right") - 1
    inside = np.maximum(place, 0)
    part = np.where(place >= 0, np.minimum(at - times[inside], held[inside]), 0)
    exposure = np.concatenate(([0], np.cumsum(counts * held)))[inside] + counts[inside] * part
    covered = np.concatenate(([0], np.cumsum(held)))[inside] + part
    return exposure, covered
