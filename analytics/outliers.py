"""Robust spread, outliers in a moving window, and how noisy a record is."""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, samples
from analytics.flagging import seconds_as_us

NORMAL_PER_MAD = 1.482602  # standard deviation of a normal distribution per median absolute deviation: 1/0.674490
MEDIAN_ERROR = math.sqrt(math.pi / 2.0)  # standard error of a median over that of a mean, many normal values
BLOCK = 65_536  # windows at once, so that memory stays small


def median_absolute_deviation(value: ArrayLike) -> float:
    """Return the median distance of samples from their median; NaN without samples.

    Parameters
    ----------
    value : array_like
        Samples in any order; NaN is no sample. [any unit]

    Returns
    -------
    spread : float
        Times 1.4826 it estimates a normal distribution's standard deviation. [that unit]

    Examples
    --------
    >>> median_absolute_deviation([1, 1, 2, 2, 4, 6, 9])
    1.0
    """
    values = np.asarray(value, dtype=float).ravel()[np.newaxis]
    return float(_row_medians(np.abs(values - _row_medians(values)[:, np.newaxis]))[0])


def hampel_outliers(value: ArrayLike, half_width: int, sigmas: float = 3.0) -> NDArray[np.bool_]:
    """Return which samples lie far from the median of those around them.

    It finds outliers of several samples in a row, up to ``half_width``, that a spike test passes over.

    Parameters
    ----------
    value : array_like
        Samples in order, shape (n,), evenly spaced or nearly so; NaN is no sample. [any unit]
    half_width : int
        Samples on each side that make the window; fewer at the ends of the record.
    sigmas : float
        How many robust standard deviations are far, above 0.

    Returns
    -------
    outlier : numpy.ndarray of bool
        False where the sample is NaN.

    Raises
    ------
    ValueError
        If ``value`` is not one-dimensional, or a parameter is not above 0.

    Notes
    -----
    ``|x - median| > sigmas 1.4826 MAD`` within the window. Where more than half of a window is one and the same
    value, MAD is 0 and everything else is an outlier: of no use for a switch or a coarse sensor.

    References
    ----------
    .. [1] F. R. Hampel, "The influence curve and its role in robust estimation," J. Am. Stat. Assoc. 69, 1974.

    Examples
    --------
    >>> hampel_outliers([1.0, 1.1, 0.9, 9.0, 8.0, 1.0, 1.1, 0.95], half_width=3).nonzero()[0].tolist()
    [3, 4]
    """
    values = np.asarray(value, dtype=float)
    if values.ndim != 1:
        raise ValueError(f"value has shape {values.shape}: give a one-dimensional array")
    if half_width < 1 or not sigmas > 0.0:
        raise ValueError(f"half_width is {half_width} and sigmas {sigmas:g}: give numbers above 0")
    outlier = np.zeros(values.shape, bool)
    if not len(values):
        return outlier
    edge = np.full(half_width, np.nan)
    windows = sliding_window_view(np.concatenate((edge, values, edge)), 2 * half_width + 1)
    for begin in range(0, len(values), BLOCK):
        block = windows[begin : begin + BLOCK]
        middle = _row_medians(block)
        spread = NORMAL_PER_MAD * _row_medians(np.abs(block - middle[:, np.newaxis]))
        outlier[begin : begin + BLOCK] = np.abs(values[begin : begin + BLOCK] - middle) > sigmas * spread
    return outlier


def noise_level(time_us: ArrayLike, value: ArrayLike, gap_s: float) -> float:
    """Return the standard deviation of what jitters from sample to sample, whatever the slow course.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending and evenly spaced or nearly so. [µs since 1970 UTC]
    value : array_like
        The samples; NaN is missing. [any unit]
    gap_s : float
        Samples further apart than this are no neighbours. [s]

    Returns
    -------
    noise : float
        NaN where no sample has both neighbours; 0 where the sensor's steps hide it. [that unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``gap_s`` is not above 0.

    Notes
    -----
    Independent noise gives ``x2 - (x1 + x3)/2`` 1.5 times its variance; a straight course adds nothing, and the
    median absolute deviation keeps steps and spikes out.

    Examples
    --------
    >>> noise_level([0, 1, 2, 3, 4], [1.0, 2.0, 3.0, 4.0, 5.0], gap_s=1.0)
    0.0
    """
    times, values = samples(time_us, value)
    near = np.diff(times) <= seconds_as_us("gap_s", gap_s)
    if len(values) < 3:
        return float("nan")
    jitter = values[1:-1] - (values[:-2] + values[2:]) / 2.0
    jitter = jitter[near[:-1] & near[1:]]
    return NORMAL_PER_MAD * float(_row_medians(np.abs(jitter)[np.newaxis])[0]) / math.sqrt(1.5)


def _row_medians(rows: Floats) -> Floats:
    """Return each row's median over its numbers; NaN where it has none."""
    ordered = np.sort(rows, axis=1)  # NaN last
    count = np.sum(~np.isnan(rows), axis=1)
    if rows.shape[1] == 0:
        return np.full(len(rows), np.nan)
    row = np.arange(len(rows))
    low, high = ordered[row, np.maximum(count - 1, 0) // 2], ordered[row, np.minimum(count // 2, rows.shape[1] - 1)]
    return np.where(count > 0, (low + high) / 2.0, np.nan)
