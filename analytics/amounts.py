"""Amounts with their give or take: summed, compared, and set in proportion."""

from __future__ import annotations

import math
from typing import NamedTuple


class Amount(NamedTuple):
    """What was measured, plus or minus what, and over which share of the time.

    ``give_or_take`` is NaN where nobody knows it.
    """

    value: float
    give_or_take: float = math.nan
    coverage: float = 1.0


class Agreement(NamedTuple):
    """How far two measurements of one thing lie apart, and how far they may.

    ``agrees`` is None where that cannot be said: one of the two is missing, or no give or take is known.
    """

    difference: float
    give_or_take: float
    agrees: bool | None


def sum_of_amounts(*amounts: Amount) -> Amount:
    """Return the sum of independent amounts.

    Parameters
    ----------
    *amounts : Amount
        In one unit. Errors of one sensor that is in several of them do not cancel and are not added here:
        take their difference first.

    Returns
    -------
    total : Amount
        NaN where a value is; its coverage is the least of all.

    Notes
    -----
    Independent errors add up as the root of their squares: JCGM 100:2008 (GUM), 5.1.2.

    Examples
    --------
    >>> sum_of_amounts(Amount(20.0, 3.0), Amount(2.0, 4.0, coverage=0.5))
    Amount(value=22.0, give_or_take=5.0, coverage=0.5)
    """
    return Amount(
        math.fsum(one.value for one in amounts),
        math.hypot(*(one.give_or_take for one in amounts)),
        min((one.coverage for one in amounts), default=math.nan),
    )


def ratio_of_amounts(one: Amount, other: Amount) -> Amount:
    """Return one independent amount over another.

    Parameters
    ----------
    one, other : Amount
        What is divided, and by what.

    Returns
    -------
    ratio : Amount
        NaN where a value is NaN or ``other`` is not positive: nothing ran, so there is no ratio.

    Notes
    -----
    Relative errors add up as the root of their squares: JCGM 100:2008 (GUM), 5.1.2, first order.

    Examples
    --------
    >>> ratio_of_amounts(Amount(6.0, 0.6), Amount(2.0, 0.0)).value
    3.0
    """
    coverage = min(one.coverage, other.coverage)
    if not other.value > 0.0:
        return Amount(math.nan, math.nan, coverage)
    ratio = one.value / other.value
    give_or_take = math.hypot(one.give_or_take / other.value, ratio * other.give_or_take / other.value)
    return Amount(ratio, give_or_take, coverage)


def agreement(one: Amount, other: Amount) -> Agreement:
    """Return whether two independent measurements of one thing agree within their give or take.

    Parameters
    ----------
    one, other : Amount
        In one unit, of the same stretch of time.

    Returns
    -------
    agreement : Agreement

    Notes
    -----
    They agree where their difference is at most the root of the sum of the squares of the two: the normalised
    error En of ISO 13528 is 1 or less (from memory).

    Examples
    --------
    >>> agreement(Amount(20.0, 3.0), Amount(24.0, 4.0))
    Agreement(difference=-4.0, give_or_take=5.0, agrees=True)
    """
    difference = one.value - other.value
    give_or_take = math.hypot(one.give_or_take, other.give_or_take)
    known = math.isfinite(difference) and math.isfinite(give_or_take)
    return Agreement(difference, give_or_take, abs(difference) <= give_or_take if known else None)
