"""Dissolved oxygen: how much the solution could hold, and how full it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.saturation import ZERO_CELSIUS_K, Floats, broadcast

KPA_PER_ATMOSPHERE = 101.325  # exact, by definition
STANDARD_PRESSURE = KPA_PER_ATMOSPHERE

# Benson and Krause's equation for fresh water at 1 atm, ln of mg/L in powers of 1/T: APHA Standard Methods 4500-O.
OXYGEN = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)


def saturated_dissolved_oxygen(temperature: ArrayLike, air_pressure: ArrayLike = STANDARD_PRESSURE) -> Floats:
    """Return the dissolved oxygen of fresh water in balance with moist air.

    Parameters
    ----------
    temperature : array_like
        Temperature of the water, 0-40. [degC]
    air_pressure : array_like
        Pressure of the air above it, 50-110. [kPa]

    Returns
    -------
    dissolved_oxygen : numpy.ndarray
        NaN where an input is NaN or out of range. [mg/L]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    At 1 atm the five-term equation of Benson and Krause. At another pressure P (atm) times
    ``P (1 - e/P)(1 - theta P) / ((1 - e)(1 - theta))``, with the vapour pressure
    ``ln e = 11.8571 - 3840.70/T - 216961/T^2`` and ``theta = 0.000975 - 1.426e-5 t + 6.436e-8 t^2`` (the
    pressure term from secondary copies). For water without salt: with as much sea salt as gives 2 mS/cm at 25 degC it
    holds 0.6 % less at 20 degC (0.7 % at 0 degC), with 3 mS/cm 0.9 % (1.1 %); nutrient salts are taken to be alike (our
    estimate).

    References
    ----------
    .. [1] B. B. Benson and D. Krause, Limnol. Oceanogr. 29, 1984; as in APHA Standard Methods 4500-O.

    Examples
    --------
    >>> float(saturated_dissolved_oxygen(20.0).round(2))
    9.09
    """
    celsius, pressure = broadcast(temperature, air_pressure)
    celsius = np.where((celsius >= 0.0) & (celsius <= 40.0), celsius, np.nan)
    atmospheres = np.where((pressure >= 50.0) & (pressure <= 110.0), pressure, np.nan) / KPA_PER_ATMOSPHERE
    inverse = 1.0 / (celsius + ZERO_CELSIUS_K)
    at_one_atmosphere = np.exp(np.polynomial.polynomial.polyval(inverse, OXYGEN))
    vapour = np.exp(11.8571 - 3840.70 * inverse - 216_961.0 * inverse**2)
    theta = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    by_pressure = (atmospheres - vapour) * (1.0 - theta * atmospheres) / ((1.0 - vapour) * (1.0 - theta))
    dissolved: Floats = at_one_atmosphere * by_pressure
    return dissolved


def dissolved_oxygen_saturation(
    dissolved_oxygen: ArrayLike, temperature: ArrayLike, air_pressure: ArrayLike = STANDARD_PRESSURE
) -> Floats:
    """Return dissolved oxygen as a share of what the water would hold in balance with air.

    Parameters
    ----------
    dissolved_oxygen : array_like
        [mg/L]
    temperature, air_pressure : array_like
        As for ``saturated_dissolved_oxygen``. [degC], [kPa]

    Returns
    -------
    saturation : numpy.ndarray
        Over 100 where the water holds more than air would give it; NaN where an input is NaN or out of range,
        or the oxygen is negative. [%]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Examples
    --------
    >>> float(dissolved_oxygen_saturation(7.0, 22.0).round(0))
    80.0
    """
    oxygen, celsius, pressure = broadcast(dissolved_oxygen, temperature, air_pressure)
    share: Floats = 100.0 * np.where(oxygen >= 0.0, oxygen, np.nan) / saturated_dissolved_oxygen(celsius, pressure)
    return share
