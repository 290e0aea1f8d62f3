"""Evenness: how alike the places of one crop are, by two measures of the trade."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True)
class Evenness:
    """How even values of several places are; NaN where there is too little to tell.

    ``uniformity`` is the lowest over the mean (1 is perfectly even), ``coefficient_of_variation`` the sample
    standard deviation over the mean (0 is perfectly even), ``count`` the places that had a value.
    [the values' unit], [1], [1], [1].
    """

    mean: float
    uniformity: float
    coefficient_of_variation: float
    count: int


def evenness(value: ArrayLike) -> Evenness:
    """Return the evenness of one value a place: of rows' light integrals, or of their PPFD while lit.

    Parameters
    ----------
    value : array_like
        One value a place, 0 or more; NaN is no data. [its own]

    Returns
    -------
    evenness : Evenness
        Uniformity needs one value, the coefficient of variation two; both need a mean above 0.

    Notes
    -----
    Uniformity is lighting engineering's U0 = Emin / Emean (EN 12665, from memory). The coefficient of
    variation divides by n - 1: a handful of rows is a sample of the places where plants stand.

    Examples
    --------
    >>> evenness([240.0, 250.0, 260.0])
    Evenness(mean=250.0, uniformity=0.96, coefficient_of_variation=0.04, count=3)
    """
    values = np.asarray(value, dtype=float).ravel()
    values = values[~np.isnan(values)]
    if not values.size:
        return Evenness(math.nan, math.nan, math.nan, 0)
    mean = float(values.mean())
    if not mean > 0.0:
        return Evenness(mean, math.nan, math.nan, values.size)
    spread = float(values.std(ddof=1)) / mean if values.size > 1 else math.nan
    return Evenness(mean, float(values.min()) / mean, spread, values.size)
