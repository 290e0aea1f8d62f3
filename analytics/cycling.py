"""Cycling of a machine that is on or off: how often it starts, for how long it runs and rests."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, Floats, check_window, held_us, samples

ON = 0.5  # a switch reads 0 or 1
SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Cycling:
    """Starts and runs within a window.

    ``mean_on_s``, ``mean_off_s``, ``shortest_on_s`` and ``shortest_off_s`` are of the runs and rests that ended in the
    window and were seen whole; NaN where there were none. ``short_offs`` counts those rests that were shorter
    than allowed. [1], [s], [s], [s], [s], [s], [s], [s], [1].
    """

    starts: int
    on_s: float
    covered_s: float
    span_s: float
    mean_on_s: float
    mean_off_s: float
    shortest_on_s: float
    shortest_off_s: float
    short_offs: int

    @property
    def duty(self) -> float:
        """The share of the covered time that it was on, 0..1; NaN where nothing is covered. [1]."""
        return self.on_s / self.covered_s if self.covered_s else math.nan

    @property
    def starts_per_hour(self) -> float:
        """Starts over the covered time; NaN where nothing is covered. [1/h]."""
        return self.starts * SECONDS_PER_HOUR / self.covered_s if self.covered_s else math.nan

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def cycling(
    time_us: ArrayLike,
    level: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
    min_off_s: float = 0.0,
    threshold: float = ON,
) -> Cycling:
    """Return how a machine cycled within a window.

    Short cycling wears a compressor and dries badly: the coil is wet and cold only towards the end of a run.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. Hand in the time before the window too, as long as a run or a
        rest may last: one whose beginning is not seen has no length. [µs since 1970 UTC]
    level : array_like
        A switch (0 or 1), or electrical power together with a threshold of its own. A NaN counts as a sample
        that never came.
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        The longest time a sample may hold, above 0. What happens behind that is not known. [µs]
    min_off_s : float
        A rest shorter than this is counted in ``short_offs``, 0 or more. [s]
    threshold : float
        At or above this it is on. [the unit of ``level``]

    Returns
    -------
    cycling : Cycling

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, ``max_gap_us`` is not
        positive, or ``min_off_s`` is negative or NaN.

    Notes
    -----
    A start is a sample that is on after one that is off and still held. A machine that came on while samples
    were missing is not counted, nor is the length of a run or a rest that borders on missing samples: hence rates
    are over the covered time. Lengths are from sample to sample, so each is known to one interval between samples.

    Examples
    --------
    >>> minute = 60_000_000
    >>> found = cycling([0, 2 * minute, 8 * minute], [0, 1, 0], 0, 10 * minute, max_gap_us=10 * minute)
    >>> found.starts, found.duty, found.mean_on_s
    (1, 0.6, 360.0)
    """
    times, values = samples(time_us, level)
    check_window(start_us, end_us, max_gap_us)
    if not min_off_s >= 0.0:
        raise ValueError(f"min_off_s is {min_off_s}: give the shortest rest that is allowed, 0 or more")
    came = ~np.isnan(values)
    times, on = times[came], values[came] >= threshold
    held = held_us(times, start_us, end_us, max_gap_us)
    changed = np.flatnonzero((on[1:] != on[:-1]) & (np.diff(times) <= max_gap_us)) + 1
    at, turned_on = times[changed], on[changed]
    inside = (at >= start_us) & (at < end_us)
    # Between two changes that follow each other without a gap lies one whole run or rest.
    gaps_before = np.concatenate(([0], np.cumsum(np.diff(times) > max_gap_us)))[changed] if times.size else changed
    whole = inside[1:] & (gaps_before[1:] == gaps_before[:-1])
    length_s = np.diff(at)[whole] / MICROSECONDS
    runs, rests = length_s[turned_on[:-1][whole]], length_s[~turned_on[:-1][whole]]
    return Cycling(
        starts=int((turned_on & inside).sum()),
        on_s=int(held[on].sum()) / MICROSECONDS,
        covered_s=int(held.sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
        mean_on_s=_mean(runs),
        mean_off_s=_mean(rests),
        shortest_on_s=float(runs.min()) if runs.size else math.nan,
        shortest_off_s=float(rests.min()) if rests.size else math.nan,
        short_offs=int((rests < min_off_s).sum()),
    )


def _mean(lengths_s: Floats) -> float:
    return float(lengths_s.mean()) if lengths_s.size else math.nan
