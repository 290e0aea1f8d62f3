"""Series that should agree: one against the median of its siblings."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats


def difference_from_siblings(values: ArrayLike) -> Floats:
    """Return each series less the median of the others at the same time.

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
    The median of the *others*: one bad series out of four or more moves no other's difference by more than to
    their next neighbour. Of two that disagree nobody can say which is wrong: both differ.

    Examples
    --------
    >>> difference_from_siblings([[20.0], [20.2], [23.0], [20.1]]).round(1).ravel().tolist()
    [-0.2, 0.1, 2.9, -0.1]
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2:
        raise ValueError(f"values has shape {table.shape}: give two dimensions, series by times")
    difference = np.full(table.shape, np.nan)
    for one in range(len(table)):
        others = np.sort(np.delete(table, one, axis=0), axis=0)  # NaN last
        count = np.sum(~np.isnan(others), axis=0)
        at = np.flatnonzero(count)
        low, high = others[(count[at] - 1) // 2, at], others[count[at] // 2, at]
        difference[one, at] = table[one, at] - (low + high) / 2.0
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
        Shape (series,); NaN where the series' or all its siblings' accuracy is. [the quantity's unit]

    Raises
    ------
    ValueError
        If ``accuracy`` is not one-dimensional or ``spread`` is negative.

    Notes
    -----
    ``spread + sqrt(a² + b²)`` with b the median of the siblings' accuracies (independent errors, JCGM 100:2008
    eq. 10). The median of several is better than b: the limit is on the generous side.

    Examples
    --------
    >>> disagreement_limits([0.3, 0.4, 0.4], spread=1.0).round(2).tolist()
    [1.5, 1.53, 1.53]
    """
    own = np.asarray(accuracy, dtype=float)
    if own.ndim != 1:
        raise ValueError(f"accuracy has shape {own.shape}: give one number a series")
    if not spread >= 0.0:
        raise ValueError(f"spread is {spread:g}: give 0 or more")
    others = own - difference_from_siblings(own[:, np.newaxis])[:, 0]
    limit: Floats = spread + np.hypot(own, others)
    return limit
