"""The root zone's books: what doses did against what they should, what plants drank and took, what is left over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from analytics.lines import NOTHING, Estimate

ML_PER_L = 1000.0


class Account(NamedTuple):
    """The books of one day: ``error`` is what came in and was there less what went out and is left."""

    gained: Estimate
    lost: Estimate
    error: Estimate


def expected_ec(solution_ec: float, volume_l: float, dosed_ml: float, ec_per_ml_l: float) -> float:
    """Return the EC that a reservoir should have after a dose.

    Parameters
    ----------
    solution_ec : float
        Before it. [mS/cm at 25 degC]
    volume_l : float
        Solution in the reservoir before it, above 0. [L]
    dosed_ml : float
        Stock that was given. [mL]
    ec_per_ml_l : float
        The stock's strength: by how much 1 mL raises the EC of 1 L, its own volume left out. [mS/cm per mL/L]

    Returns
    -------
    solution_ec : float
        NaN where an input is NaN or the volume not above 0. [mS/cm at 25 degC]

    Notes
    -----
    Salt is conserved, and EC taken as proportional to it: ``(C V + k v) / (V + v/1000)``. That proportion
    holds within about 5 % from 1 to 3 mS/cm.

    Examples
    --------
    >>> round(expected_ec(1.2, 200.0, 1222.0, 0.1), 3)
    1.8
    """
    if not volume_l > 0.0:
        return math.nan
    return (solution_ec * volume_l + ec_per_ml_l * dosed_ml) / (volume_l + dosed_ml / ML_PER_L)


def response_ratio(measured: Sequence[Estimate], expected: Sequence[float], relative_accuracy: float = 0.0) -> Estimate:
    """Return what doses did as a share of what they should have done.

    Near 1 the stock has its strength and the pump its volume; near 0 the bottle is empty or the line is shut.

    Parameters
    ----------
    measured : sequence of Estimate
        The step of each dose with its give or take, as from ``step_size``. [any one unit]
    expected : sequence of float
        What each should have made, in the same order. [the same]
    relative_accuracy : float
        The give or take of a sensor's scale, which all steps share, as a share of the value. [1]

    Returns
    -------
    ratio : Estimate
        Of the sums over the doses for which both are known; NaN where there is none or nothing was expected. [1]

    Raises
    ------
    ValueError
        If there is not one expectation a step.

    Examples
    --------
    >>> ratio = response_ratio([Estimate(0.12, 0.006), Estimate(0.11, 0.008)], [0.12, 0.12])
    >>> round(ratio.value, 3), round(ratio.plus_or_minus, 3)
    (0.958, 0.042)
    """
    if len(measured) != len(expected):
        raise ValueError(f"{len(measured)} steps and {len(expected)} expectations: give one expectation a step")
    both = [
        (one, wanted)
        for one, wanted in zip(measured, expected, strict=True)
        if math.isfinite(one.value) and math.isfinite(wanted)
    ]
    whole = sum(wanted for _, wanted in both)
    if not whole > 0.0:
        return NOTHING
    ratio = sum(one.value for one, _ in both) / whole
    by_scatter = math.hypot(*(one.plus_or_minus for one, _ in both)) / whole
    return Estimate(ratio, math.hypot(by_scatter, ratio * relative_accuracy))


def uptake_concentration(salt: Estimate, water: Estimate, relative_accuracy: float = 0.0) -> Estimate:
    """Return the EC of what plants drank: the salt they took for each litre of water.

    Above the reservoir's EC they empty it of salt and its EC falls; below, it rises.

    Parameters
    ----------
    salt : Estimate
        Salt taken, as EC times volume. [mS/cm L]
    water : Estimate
        Water drunk. [L]
    relative_accuracy : float
        The give or take of the EC probe's scale. That of the volume cancels. [1]

    Returns
    -------
    concentration : Estimate
        NaN where nothing was clearly drunk: less than its own give or take. [mS/cm at 25 degC]

    Notes
    -----
    Errors of salt and water taken as independent (JCGM 100:2008, 5.1.2).

    Examples
    --------
    >>> found = uptake_concentration(Estimate(69.0, 1.5), Estimate(48.0, 0.9))
    >>> round(found.value, 2), round(found.plus_or_minus, 2)
    (1.44, 0.04)
    """
    if not water.value > water.plus_or_minus:
        return NOTHING
    concentration = salt.value / water.value
    by_water = concentration * water.plus_or_minus / water.value
    shares = (salt.plus_or_minus / water.value, by_water, concentration * relative_accuracy)
    return Estimate(concentration, math.hypot(*shares))


def ec_change_per_litre(solution_ec: float, concentration: float, volume_l: float) -> float:
    """Return by how much a reservoir's EC moves for each litre drunk, before anything is added.

    Parameters
    ----------
    solution_ec, concentration : float
        EC of the reservoir, and of what is drunk. [mS/cm at 25 degC]
    volume_l : float
        Solution in the reservoir. [L]

    Returns
    -------
    change : float
        NaN where an input is NaN or the volume not above 0. [mS/cm per L]

    Notes
    -----
    ``dC/dv = (C - Cu)/V`` by conservation of salt.

    Examples
    --------
    >>> round(ec_change_per_litre(1.8, 1.44, 216.0), 5)
    0.00167
    """
    return (solution_ec - concentration) / volume_l if volume_l > 0.0 else math.nan


def account(start: Estimate, end: Estimate, gained: Sequence[Estimate], lost: Sequence[Estimate]) -> Account:
    """Return whether a day's books close: start + gained = lost + end.

    Parameters
    ----------
    start, end : Estimate
        What was there. [any one unit]
    gained, lost : sequence of Estimate
        What came in and went out, each zero or more. [the same]

    Returns
    -------
    account : Account
        Sums, and the closing error: positive where something went that is not in the books, negative
        where something came; NaN where an entry is. [the same]

    Notes
    -----
    Give or takes as independent errors. One within its give or take says that nothing is known to be amiss,
    not that nothing is: what a leak took and what plants drank look alike to a level sensor.

    Examples
    --------
    >>> books = account(Estimate(216.0, 0.4), Estimate(217.0, 0.4), [Estimate(48.0, 0.9)], [Estimate(47.5, 0.8)])
    >>> round(books.error.value, 1), round(books.error.plus_or_minus, 1)
    (-0.5, 1.3)
    """
    came, went = _sum(gained), _sum(lost)
    error = start.value + came.value - went.value - end.value
    each = (start.plus_or_minus, end.plus_or_minus, came.plus_or_minus, went.plus_or_minus)
    return Account(came, went, Estimate(error, math.hypot(*each)))


def _sum(several: Sequence[Estimate]) -> Estimate:
    return Estimate(sum(one.value for one in several), math.hypot(*(one.plus_or_minus for one in several)))
