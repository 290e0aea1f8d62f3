"""A lamp group that lost output against its siblings: ratio to them, and the steps in that ratio."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike

from analytics.alignment import Floats, samples
from analytics.outliers import MEDIAN_ERROR, NORMAL_PER_MAD
from analytics.zone_spread import COVERAGE_FACTOR

FEWEST_SIBLINGS = 3  # of groups lit at once, the one in question included: of two, nobody can say which one changed
WINDOW = 12  # samples on each side of a step; our choice, no source
LEAST_STEP = 0.05  # share; our choice, no source
SURE = 0.99  # confidence, our choice, no source


@dataclass(frozen=True, slots=True)
class OutputStep:
    """A sudden change between two samples that follow one another.

    ``change`` is what was lost (negative) or gained as a share of the higher level: a loss of a half is -0.5
    and its repair 0.5. ``plus_or_minus`` is its give or take at 95 %, of noise and the sensor's accuracy together,
    ``confidence`` one less the chance that noise alone shows such a step anywhere in the record.
    [µs since 1970 UTC], [1].
    """

    before_us: int
    after_us: int
    change: float
    plus_or_minus: float
    confidence: float


def block_medians(time_us: ArrayLike, value: ArrayLike, start_us: int, end_us: int, every_us: int) -> Floats:
    """Return the median of the samples in each of a window's equal blocks; NaN where there is none.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        NaN is no data.
    start_us, end_us : int
        The window, half-open; a block that does not fit whole is left out. [µs since 1970 UTC]
    every_us : int
        Length of a block, above 0. [µs]

    Returns
    -------
    medians : numpy.ndarray
        One a block. [the values' unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``every_us`` is not positive.

    Examples
    --------
    >>> block_medians([0, 1, 2, 3, 9], [1.0, 5.0, 3.0, 7.0, 8.0], 0, 12, every_us=3).tolist()
    [3.0, 7.0, nan, 8.0]
    """
    times, values = samples(time_us, value)
    if every_us <= 0:
        raise ValueError(f"every_us is {every_us}: give the length of a block, above 0")
    count = max(end_us - start_us, 0) // every_us
    came = ~np.isnan(values)
    block, values = (times[came] - start_us) // every_us, values[came]
    inside = (block >= 0) & (block < count)
    block, values = block[inside], values[inside]
    values = values[np.lexsort((values, block))]  # in order within each block; the blocks already are
    first = np.searchsorted(block, np.arange(count + 1))
    size = np.diff(first)
    filled = size > 0
    lower, upper = first[:-1][filled] + (size[filled] - 1) // 2, first[:-1][filled] + size[filled] // 2
    medians = np.full(count, np.nan)
    medians[filled] = (values[lower] + values[upper]) / 2.0
    return medians


def ratio_to_siblings(level: ArrayLike) -> Floats:
    """Return each group's light over the median of all, at each time at which enough of them are lit.

    What all share (dimming, a supply that sags) cancels; what befalls one stands out, and moves no other.

    Parameters
    ----------
    level : array_like
        PPFD of each group at common times, shape (groups, times): NaN while a group is switched off, ramps
        or has no data, but 0 while it is switched on and dark. [umol m-2 s-1]

    Returns
    -------
    ratio : numpy.ndarray
        Of that shape; each group's level is taken relative to its own median over all times, so groups of
        different strength compare. NaN where the group is, where fewer than three groups are lit, or where
        its siblings' median is 0. [1]

    Raises
    ------
    ValueError
        If ``level`` is not two-dimensional.

    Notes
    -----
    The median takes in the group itself: so of three groups, any one may fail without moving it.

    Examples
    --------
    >>> ratio_to_siblings([[200.0, 200.0, 100.0], [250.0, 250.0, 250.0], [150.0, 150.0, 150.0]])[0].tolist()
    [1.0, 1.0, 0.5]
    """
    levels = np.asarray(level, dtype=float)
    if levels.ndim != 2:
        raise ValueError(f"level has shape {levels.shape}: give a row for each group and a column for each time")
    own = np.array([_median(row) for row in levels])
    relative = levels / np.where(own > 0.0, own, np.nan)[:, None]
    enough = np.count_nonzero(~np.isnan(relative), axis=0) >= FEWEST_SIBLINGS
    ratio = np.full(levels.shape, np.nan)
    if enough.any():
        middle = np.nanmedian(relative[:, enough], axis=0)
        ratio[:, enough] = relative[:, enough] / np.where(middle > 0.0, middle, np.nan)
    return ratio


def _median(values: Floats) -> float:
    values = values[~np.isnan(values)]
    return float(np.median(values)) if values.size else math.nan


def output_steps(
    time_us: ArrayLike,
    ratio: ArrayLike,
    window: int = WINDOW,
    least: float = LEAST_STEP,
    confidence: float = SURE,
    accuracy: float = 0.0,
) -> list[OutputStep]:
    """Return the sudden changes in a ratio to siblings, oldest first: a loss, and the repair that ends it.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    ratio : array_like
        From ``ratio_to_siblings``. NaN is no data: the samples around a gap follow one another. [1]
    window : int
        Samples compared on each side, 5 or more: what lasts for fewer than half of them is passed over.
    least : float
        Smaller changes do not count, above 0. [1]
    confidence : float
        Steps less certain than this are left out, above 0 and below 1. [1]
    accuracy : float
        Give or take of the group's own sensor as a share of its usual level; NaN where not known. [1]

    Returns
    -------
    steps : list of OutputStep
        No two closer than ``window`` samples; ``plus_or_minus`` is NaN where the accuracy is not known.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or an option is outside its range.

    Notes
    -----
    At every place the samples before and after are compared by the rank-sum test (Mann and Whitney 1947,
    exact distribution, two-sided), and its probability multiplied by the number of places looked at
    (Bonferroni). It makes no assumption on the noise but that samples are independent: use medians of
    blocks that are longer than the noise's memory. A slow fade changes little within the windows and is no step.

    A sensor's accuracy does not say whether its error is one of scale, which cancels in the ratio of two of its
    own readings, or one of zero, which does not: a zero off by a share ``a`` of the level makes a change ``c``
    seem larger or smaller by ``a |c|``. The give or take holds the latter: a group gone dark is lost by 100 %,
    give or take what the sensor may show in the dark.

    Examples
    --------
    >>> ratio = [1.00, 1.01, 0.99, 1.0, 1.02, 0.98, 1.01, 1.0, 0.70, 0.71, 0.69, 0.7, 0.72, 0.68, 0.7, 0.71]
    >>> [step] = output_steps(range(16), ratio, window=8)
    >>> step.after_us, round(step.change, 2)
    (8, -0.3)
    """
    times, values = samples(time_us, ratio)
    if accuracy < 0.0:
        raise ValueError(f"accuracy is {accuracy}: give the sensor's plus or minus as a share of its level, 0 or more")
    if window < 5:
        raise ValueError(f"window is {window}: give 5 or more samples, or ranks can prove nothing")
    if not least > 0.0:
        raise ValueError(f"least is {least}: give the smallest share that counts as a step, above 0")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}: give a share above 0 and below 1, e.g. 0.99")
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    places = values.size - 2 * window + 1
    if places < 1:
        return []
    windows = sliding_window_view(values, window)
    before, after = windows[:places], windows[window:]
    level_before, level_after = np.median(before, axis=1), np.median(after, axis=1)
    most = np.maximum(level_before, level_after)
    change = (level_after - level_before) / np.where(most > 0.0, most, np.nan)
    higher = np.sum(after[:, :, None] > before[:, None, :], axis=(1, 2))
    lower = np.sum(after[:, :, None] < before[:, None, :], axis=(1, 2))
    chance = np.minimum(2.0 * _rank_sum_tail(window)[np.maximum(higher, lower)] * places, 1.0)
    error = _relative_error(before, after, level_before, level_after)
    is_step = (np.abs(change) >= least) & (np.abs(change) > error) & (1.0 - chance >= confidence)
    error = np.hypot(error, accuracy * np.abs(change))
    taken: list[int] = []
    for place in sorted(np.flatnonzero(is_step).tolist(), key=lambda one: (chance[one], -abs(change[one]), one)):
        if all(abs(place - other) >= window for other in taken):
            taken.append(place)
    return [
        OutputStep(
            before_us=int(times[place + window - 1]),
            after_us=int(times[place + window]),
            change=float(change[place]),
            plus_or_minus=float(error[place]),
            confidence=float(1.0 - chance[place]),
        )
        for place in sorted(taken)
    ]


def _relative_error(before: Floats, after: Floats, level_before: Floats, level_after: Floats) -> Floats:
    """Return the give or take (95 %) of the lower of two medians as a share of the higher."""
    size = before.shape[1]
    error_before, error_after = (
        NORMAL_PER_MAD * np.median(np.abs(part - level[:, None]), axis=1) * MEDIAN_ERROR / math.sqrt(size)
        for part, level in ((before, level_before), (after, level_after))
    )
    falls = level_after < level_before
    higher, lower = np.where(falls, level_before, level_after), np.where(falls, level_after, level_before)
    of_higher, of_lower = np.where(falls, error_before, error_after), np.where(falls, error_after, error_before)
    base = np.where(higher > 0.0, higher, np.nan)
    error: Floats = COVERAGE_FACTOR * np.hypot(of_lower / base, of_higher * lower / base**2)
    return error


@lru_cache(maxsize=8)
def _rank_sum_tail(size: int) -> Floats:
    """Return the chance that at least u of size x size pairs rise, for each u, where nothing differs."""
    ways = np.zeros(size * size + 1)
    ways[0] = 1.0
    for n in range(1, size + 1):  # times (1 - x^(size+n)) / (1 - x^n): the Gaussian binomial coefficients
        ways[size + n :] -= ways[: ways.size - size - n].copy()
        for place in range(n, ways.size):
            ways[place] += ways[place - n]
    tail: Floats = np.cumsum(ways[::-1])[::-1] / ways.sum()
    return tail
