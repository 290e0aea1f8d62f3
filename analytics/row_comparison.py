"""Rows side by side: one that differs from its siblings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats
from analytics.outliers import NORMAL_PER_MAD

FEWEST = 3  # of two, nobody can say which one differs
DIFFERS_BY = 0.15  # of the median; our choice, no source
DIFFERS_BY_SIGMA = 3.0  # the usual cut of Hampel's rule


@dataclass(frozen=True, slots=True, eq=False)
class Siblings:
    """Each one's ratio to the median of all, and whether it differs from its siblings. [1]."""

    ratio: Floats
    differs: NDArray[np.bool_]


def sibling_ratios(value: ArrayLike) -> Siblings:
    """Return how each of several like things compares with the rest.

    Parameters
    ----------
    value : array_like
        One figure each, shape (n,): litres per plant site, mean flow. NaN is no data.

    Returns
    -------
    siblings : Siblings
        Shape (n,); NaN and False for all where fewer than three have data or their median is not above 0.

    Notes
    -----
    One differs if it is 15 % or more off the median (our choice, no source) and also further off than 3 robust
    standard deviations, 1.4826 times the median absolute deviation (Hampel's rule). If the siblings fall into two
    equal groups, none is called out: nobody can say which group is right.

    Examples
    --------
    >>> sibling_ratios([10.0, 10.2, 9.9, 5.0]).differs.tolist()
    [False, False, False, True]
    """
    values = np.asarray(value, dtype=float)
    known = ~np.isnan(values)
    middle = float(np.median(values[known])) if known.sum() >= FEWEST else np.nan
    if not middle > 0:
        return Siblings(np.full(values.shape, np.nan), np.zeros(values.shape, bool))
    off = np.abs(values - middle)
    spread = NORMAL_PER_MAD * float(np.median(off[known]))
    return Siblings(values / middle, known & (off >= DIFFERS_BY * middle) & (off > DIFFERS_BY_SIGMA * spread))
