"""Dose arithmetic for a person with a bottle in the hand: how much stock or water, by mass balance."""

from __future__ import annotations

import math
from dataclasses import dataclass

STRONGEST_MS_CM = 500.0  # of anything called a stock; our choice, no source
LINEARITY = 0.05  # EC is proportional to concentration only within about 5 % from 1 to 3 mS/cm
ML_PER_L = 1000.0
FIRST_SHARE = 0.5  # of the whole, before the first measurement; our choice, no source

ADVICE = (
    "Add half of it first, let the solution mix, measure, and work out the rest from what you then read. "
    "EC follows concentration only roughly, and a label's strength may be off."
)
APART = (
    " Give one bottle after the other and let each mix: concentrates that meet undiluted precipitate (calcium with "
    "sulphate or phosphate), and what falls out feeds nobody."
)  # common practice, no source
PH_REFUSED = (
    "pH cannot be worked out by dilution: it is logarithmic, and the buffering of the water and the salts decides. "
    "Add a small measured part of acid or base, let it mix, measure, and repeat; note what each part did."
)


@dataclass(frozen=True, slots=True)
class Dose:
    """What to add to a reservoir. ``each_l`` is the share of each bottle where several are given alike. [L]."""

    added_l: float
    plus_or_minus_l: float
    each_l: float
    first_l: float
    final_volume_l: float
    advice: str = ADVICE


def stock_strength(ec_per_ml_l: float) -> float:
    """Return a stock's own strength as an EC from what it does to a litre.

    Parameters
    ----------
    ec_per_ml_l : float
        By how much 1 mL raises the EC of 1 L, its own volume left out. [mS/cm per mL/L]

    Returns
    -------
    strength : float
        The EC it would have if EC stayed proportional to concentration. [mS/cm]

    Examples
    --------
    >>> stock_strength(0.1)
    100.0
    """
    return ec_per_ml_l * ML_PER_L


def stock_dose(from_ms_cm: float, to_ms_cm: float, volume_l: float, stock_ms_cm: float, bottles: int = 1) -> Dose:
    """Return how much stock raises a reservoir's EC to a target.

    Parameters
    ----------
    from_ms_cm, to_ms_cm : float
        EC now and wanted, 0 or more. [mS/cm at 25 degC]
    volume_l : float
        Solution in the reservoir now, above 0. [L]
    stock_ms_cm : float
        Strength of the stock (see ``stock_strength``). [mS/cm]
    bottles : int
        How many bottles of that strength are given in equal volumes (two-part stocks), 1 or more.

    Returns
    -------
    dose : Dose
        [L]

    Raises
    ------
    ValueError
        If the target is below what is there, the stock no stronger than the target, or a figure out of range.

    Notes
    -----
    Mass balance, with the volume of the dose: ``V1 = (C2 - C0) V0 / (Cs - C2)``. Give or take 5 % for EC
    that is not quite proportional to concentration; what the meter and the volume are off comes on top.

    Examples
    --------
    >>> round(stock_dose(1.2, 1.8, 200.0, 100.0).added_l, 4)
    1.222
    """
    _check(from_ms_cm=from_ms_cm, to_ms_cm=to_ms_cm, stock_ms_cm=stock_ms_cm)
    _check_volume(volume_l)
    if bottles < 1:
        raise ValueError(f"bottles is {bottles}: give how many are used in equal volumes, 1 or more")
    if to_ms_cm < from_ms_cm:
        raise ValueError(
            f"the target {to_ms_cm:g} mS/cm is below the {from_ms_cm:g} mS/cm that is there: stock only raises EC. "
            "Work out a dilution with water instead"
        )
    if stock_ms_cm <= to_ms_cm:
        raise ValueError(
            f"a stock of {stock_ms_cm:g} mS/cm cannot raise a reservoir to {to_ms_cm:g} mS/cm: give a stronger one, or "
            "check the figure (mS/cm of the stock itself, not of the solution)"
        )
    return _dose((to_ms_cm - from_ms_cm) * volume_l / (stock_ms_cm - to_ms_cm), volume_l, bottles)


def dilution(from_ms_cm: float, to_ms_cm: float, volume_l: float, water_ms_cm: float = 0.0) -> Dose:
    """Return how much water lowers a reservoir's EC to a target.

    Parameters
    ----------
    from_ms_cm, to_ms_cm : float
        EC now and wanted, 0 or more. [mS/cm at 25 degC]
    volume_l : float
        Solution in the reservoir now, above 0. [L]
    water_ms_cm : float
        EC of the water, 0 or more. [mS/cm at 25 degC]

    Returns
    -------
    dose : Dose
        [L]

    Raises
    ------
    ValueError
        If the target is above what is there, the water no weaker than the target, or a figure out of range.

    Notes
    -----
    ``V = V0 (C0 - C2) / (C2 - Cw)``. See that the reservoir can hold it: ``final_volume_l``.

    Examples
    --------
    >>> round(dilution(2.4, 1.8, 200.0).added_l, 2)
    66.67
    """
    _check(from_ms_cm=from_ms_cm, to_ms_cm=to_ms_cm, water_ms_cm=water_ms_cm)
    _check_volume(volume_l)
    if to_ms_cm > from_ms_cm:
        raise ValueError(
            f"the target {to_ms_cm:g} mS/cm is above the {from_ms_cm:g} mS/cm that is there: water only lowers EC. "
            "Work out a dose of stock instead"
        )
    if water_ms_cm >= to_ms_cm:
        raise ValueError(
            f"water of {water_ms_cm:g} mS/cm cannot lower a reservoir to {to_ms_cm:g} mS/cm: take purer water, or "
            "replace the solution"
        )
    return _dose((from_ms_cm - to_ms_cm) * volume_l / (to_ms_cm - water_ms_cm), volume_l, 1)


def ec_dose(
    from_ms_cm: float,
    to_ms_cm: float,
    volume_l: float,
    *,
    stock_ms_cm: float | None = None,
    ec_per_ml_l: float | None = None,
    water_ms_cm: float | None = None,
    bottles: int = 1,
) -> Dose:
    """Return how much of what is at hand brings a reservoir's EC to a target.

    Parameters
    ----------
    from_ms_cm, to_ms_cm, volume_l : float
        As for ``stock_dose`` and ``dilution``. [mS/cm at 25 degC], [L]
    stock_ms_cm, ec_per_ml_l, water_ms_cm : float, optional
        What is added, exactly one: a stock by its own strength or by what it does to a litre, or water.
        [mS/cm], [mS/cm per mL/L], [mS/cm at 25 degC]
    bottles : int
        As for ``stock_dose``.

    Returns
    -------
    dose : Dose
        [L]

    Raises
    ------
    ValueError
        If not exactly one thing to add is given, it cannot do it, or a figure is out of range.

    Examples
    --------
    >>> round(ec_dose(1.2, 1.8, 200.0, ec_per_ml_l=0.1).added_l, 3)
    1.222
    """
    given = {"stock_ms_cm": stock_ms_cm, "ec_per_ml_l": ec_per_ml_l, "water_ms_cm": water_ms_cm}
    named = [name for name, one in given.items() if one is not None]
    if len(named) != 1:
        raise ValueError(
            f"given is {' and '.join(named) or 'nothing to add'}: give exactly one of stock_ms_cm (a stock by its own "
            "EC), ec_per_ml_l (a stock by what 1 mL does to 1 L) and water_ms_cm (water that dilutes)"
        )
    if water_ms_cm is not None:
        return dilution(from_ms_cm, to_ms_cm, volume_l, water_ms_cm)
    strength = stock_ms_cm if stock_ms_cm is not None else stock_strength(ec_per_ml_l or 0.0)
    return stock_dose(from_ms_cm, to_ms_cm, volume_l, strength, bottles)


def concentrate_volume(final_volume_l: float, parts: float) -> float:
    """Return how much of a "1 to N" concentrate makes a volume of solution from plain water.

    Parameters
    ----------
    final_volume_l : float
        Solution to be had, concentrate included. [L]
    parts : float
        N: one part in N parts of finished solution, 1 or more. [1]

    Returns
    -------
    concentrate_l : float
        [L]

    Raises
    ------
    ValueError
        If a figure is out of range.

    Examples
    --------
    >>> concentrate_volume(200.0, 100)
    2.0
    """
    _check_volume(final_volume_l)
    if not parts >= 1.0:
        raise ValueError(f"parts is {parts}: give N of '1 to N', 1 or more")
    return final_volume_l / parts


def check_dosable(quantity: str) -> None:
    """Raise ValueError unless a dose for a quantity can be worked out by mass balance.

    Parameters
    ----------
    quantity : str
        ``solution_ec`` can; ``solution_ph`` cannot, and the message says what to do instead.

    Raises
    ------
    ValueError
        For every quantity but ``solution_ec``.

    Examples
    --------
    >>> check_dosable("solution_ec")
    """
    if quantity == "solution_ph":
        raise ValueError(PH_REFUSED)
    if quantity != "solution_ec":
        raise ValueError(f"no dose can be worked out for {quantity!r}: only for solution_ec")


def _dose(added_l: float, volume_l: float, bottles: int) -> Dose:
    advice = ADVICE + APART if bottles > 1 else ADVICE
    return Dose(added_l, LINEARITY * added_l, added_l / bottles, FIRST_SHARE * added_l, volume_l + added_l, advice)


def _check(**figures: float) -> None:
    for name, figure in figures.items():
        if not (math.isfinite(figure) and 0.0 <= figure <= STRONGEST_MS_CM):
            raise ValueError(f"{name} is {figure}: give an EC in mS/cm, 0 to {STRONGEST_MS_CM:g}")


def _check_volume(volume_l: float) -> None:
    if not (math.isfinite(volume_l) and volume_l > 0.0):
        raise ValueError(f"the volume is {volume_l} L: give a volume above 0")
