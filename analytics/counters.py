"""Running totals: what was counted between readings of a counter that may be reset."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def counted(value: ArrayLike) -> float:
    """Return how much a counter counted over its readings, in order.

    A reading below the one before means that the counter was reset to zero in between: what it
    shows after the reset was counted since. What it counted unseen before the reset is lost.

    Parameters
    ----------
    value : array_like
        The counter's readings in time order, shape (n,); NaN is no data. [the counter's unit]

    Returns
    -------
    total : float
        What was counted from the first to the last reading; NaN with fewer than two. [the counter's unit]

    Examples
    --------
    >>> counted([10.0, 12.5, 1.0, 2.0])
    4.5
    """
    readings = np.asarray(value, dtype=float)
    readings = readings[~np.isnan(readings)]
    if len(readings) < 2:
        return float("nan")
    steps = np.diff(readings)
    return float(np.where(steps < 0, readings[1:], steps).sum())
