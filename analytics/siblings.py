"""Series that should agree: one against the median of all."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats


def median_over_series(values: ArrayLike) -> Floats:
    """Return the median of several series at each time.

    Parameters
    ----------
    values : array_like
        Shape (series, times), aligned in time; NaN is missing. [any unit]

    Returns
    -------
    median : numpy.ndarray
        Shape (times,); over those that are there, NaN where none is. [that unit]

    Raises
    ------
    ValueError
        If ``values`` is not two-dimensional.

    Examples
    --------
    >>> median_over_series([[20.0, 20.0], [20.5, float("nan")], [29.0, 29.0]]).tolist()
    [20.5, 24.5]
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2:
        raise ValueError(f"values has shape {table.shape}: give two dimensions, series by times")
    ordered = np.sort(table, axis=0)  # NaN last
    count = np.sum(~np.isnan(table), axis=0)
    at = np.flatnonzero(count)
    median = np.full(table.shape[1], np.nan)
    median[at] = (ordered[(count[at] - 1) // 2, at] + ordered[count[at] // 2, at]) / 2.0
    return median


def difference_from_siblings(values: ArrayLike) -> Floats:
    """Return each series less the median of all, or of two each less the other.

    Parameters
    ----------
    values : array_like
        Shape (series, times): the same quantity in places that share their air or their light, aligned in time.
        NaN is missing. [any unit]

    Returns
    -------
    difference : numpy.ndarray
        The same shape; NaN where the series or all its siblings are missing. [that unit]

    Raises
    ------
    ValueError
        If ``values`` is not two-dimensional.

    Notes
    -----
    With three or more, one bad series moves the median by no more than to the next good one. Of two that
    disagree nobody can say which is wrong: both differ.

    Examples
    --------
    >>> difference_from_siblings([[20.0], [20.2], [23.0]]).round(1).ravel().tolist()
    [-0.2, 0.0, 2.8]
    """
    table = np.asarray(values, dtype=float)
    difference: Floats = table - median_over_series(table)
    count = np.sum(~np.isnan(table), axis=0)
    difference[:, count == 2] *= 2.0  # from the mean of the two to the other one
    difference[:, count == 1] = np.nan
    return difference


def disagreement_limits(accuracy: ArrayLike, spread: float) -> Floats:
    """Return how far each series may honestly be from the median of its siblings.

    Parameters
    ----------
    accuracy : array_like
        Plus or minus of each series' sensor, shape (series,). [the quantity's unit]
    spread : float
        How far the places themselves may differ, 0 or more. [the quantity's unit]

    Returns
    -------
    limit : numpy.ndarray
        Shape (series,); NaN where the series' own accuracy is. [the quantity's unit]

    Raises
    ------
    ValueError
        If ``accuracy`` is not one-dimensional or ``spread`` is negative.

    Notes
    -----
    ``spread + sqrt(a² + b²)`` with b the median of all the accuracies (independent errors, JCGM 100:2008
    eq. 10). The median of several sensors is better than b: the limit is on the generous side.

    Examples
    --------
    >>> disagreement_limits([0.3, 0.4, 0.4], spread=1.0).round(2).tolist()
    [1.5, 1.57, 1.57]
    """
    own = np.asarray(accuracy, dtype=float)
    if own.ndim != 1:
        raise ValueError(f"accuracy has shape {own.shape}: give one number a series")
    if not spread >= 0.0:
        raise ValueError(f"spread is {spread:g}: give 0 or more")
    limit: Floats = spread + np.hypot(own, median_over_series(own[:, np.newaxis]))
    return limit
