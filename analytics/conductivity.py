"""Electrical conductivity of nutrient solution: at 25 degC, as measured, and as the ppm of hand meters."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.saturation import Floats, broadcast

REFERENCE_C = 25.0
COEFFICIENT = 1.91  # % of the value at 25 degC for each K; instrument practice, which runs from 1.9 to 2.2
LOWEST_C, HIGHEST_C = 0.0, 50.0  # the range of the potassium chloride table that it is held to


def ec_at_25(conductivity: ArrayLike, temperature: ArrayLike, coefficient: float = COEFFICIENT) -> Floats:
    """Return the EC that a solution would have at 25 degC from its conductivity as it is.

    Parameters
    ----------
    conductivity : array_like
        Conductivity at ``temperature``, not compensated. [mS/cm]
    temperature : array_like
        Temperature of the solution, 0-50. [degC]
    coefficient : float
        Rise for each kelvin, as a share of the value at 25 degC, 0 to below 4. [%/K]

    Returns
    -------
    solution_ec : numpy.ndarray
        NaN where an input is NaN, or the temperature is out of range. [mS/cm at 25 degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``coefficient`` is out of range.

    Notes
    -----
    ``K25 = K / (1 + a (T - 25) / 100)``: linear compensation. With 1.91 %/K it gives potassium chloride
    of 0.01 mol/kg back within 0.5 % from 15 to 30 degC, 1 % from 10 to 35, 2.5 % from 5, 5.5 % at
    0 and 2.5 % up to 50. The non-linear function for natural waters (ISO 7888) is for 0.06-1 mS/cm: nutrient
    solution lies above.

    See Also
    --------
    ec_from_25 : The inverse.

    Examples
    --------
    >>> float(ec_at_25(1.273, 20.0).round(3))
    1.407
    """
    value, celsius = broadcast(conductivity, temperature)
    return value / _share_of_25(celsius, coefficient)


def ec_from_25(solution_ec: ArrayLike, temperature: ArrayLike, coefficient: float = COEFFICIENT) -> Floats:
    """Return a solution's conductivity as it is from its EC at 25 degC: what an uncompensated meter shows.

    Parameters
    ----------
    solution_ec : array_like
        [mS/cm at 25 degC]
    temperature : array_like
        Temperature of the solution, 0-50. [degC]
    coefficient : float
        As for ``ec_at_25``. [%/K]

    Returns
    -------
    conductivity : numpy.ndarray
        At ``temperature``; NaN where an input is NaN, or the temperature is out of range. [mS/cm]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``coefficient`` is out of range.

    See Also
    --------
    ec_at_25 : The inverse, with the formula.

    Examples
    --------
    >>> float(ec_from_25(1.413, 20.0).round(3))
    1.278
    """
    value, celsius = broadcast(solution_ec, temperature)
    return value * _share_of_25(celsius, coefficient)


def ppm_from_ec(solution_ec: ArrayLike, ppm_per_ms_cm: float) -> Floats:
    """Return the "ppm" that a hand meter shows for an EC.

    Parameters
    ----------
    solution_ec : array_like
        [mS/cm at 25 degC]
    ppm_per_ms_cm : float
        The meter's scale: 500, 640 and 700 are in use. A ppm without its scale means nothing. [ppm per mS/cm]

    Returns
    -------
    ppm : numpy.ndarray
        [ppm on that scale]

    Raises
    ------
    ValueError
        If the scale is not between 400 and 1000.

    Notes
    -----
    Potassium chloride weighs 535, soil extracts about 650 mg/L per mS/cm; none of the scales is the true
    weight of the salts in a nutrient solution.

    Examples
    --------
    >>> float(ppm_from_ec(2.0, 700))
    1400.0
    """
    if not 400.0 <= ppm_per_ms_cm <= 1000.0:
        raise ValueError(f"ppm_per_ms_cm is {ppm_per_ms_cm}: give the meter's scale, such as 500, 640 or 700")
    return np.asarray(solution_ec, dtype=float) * ppm_per_ms_cm


def _share_of_25(celsius: Floats, coefficient: float) -> Floats:
    if not 0.0 <= coefficient < 4.0:
        raise ValueError(f"coefficient is {coefficient} %/K: give 0 to below 4, such as {COEFFICIENT}")
    inside = (celsius >= LOWEST_C) & (celsius <= HIGHEST_C)
    share: Floats = 1.0 + coefficient / 100.0 * (np.where(inside, celsius, np.nan) - REFERENCE_C)
    return share
