"""The water in air: vapour pressure, dew point and the humidity ratios, from temperature and RH."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.saturation import (
    PA_PER_KPA,
    ZERO_CELSIUS_K,
    Floats,
    Phase,
    broadcast,
    by_blocks,
    check_phase,
    log_saturation,
    log_saturation_inverse,
)
from farm.quantities import QUANTITIES

MASS_RATIO = 0.621945  # water to dry air, molar masses; ASHRAE Fundamentals (2017) ch. 1 eq. 20
VAPOUR_GAS_CONSTANT = 8.314462618 / 0.018015268  # J/(kg K): CODATA 2018 gas constant over water's molar mass
HIGHEST_RELATIVE_HUMIDITY = QUANTITIES["relative_humidity"].high  # %; up to here an excess is sensor error


def share_of_saturation(relative_humidity: Floats) -> Floats:
    """Return relative humidity as a share of 1: 100..105 % counts as 1; NaN outside 0..105 %. [1]."""
    believable = (relative_humidity >= 0.0) & (relative_humidity <= HIGHEST_RELATIVE_HUMIDITY)
    return np.where(believable, np.minimum(relative_humidity, 100.0) / 100.0, np.nan)


def vapour_pressure(air_temperature: ArrayLike, relative_humidity: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the partial pressure of water vapour in air.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature. [degC]
    relative_humidity : array_like
        Relative humidity. A humidity sensor near saturation may read above 100: up to 105 counts as
        100, beyond that (and below 0) nothing is known. [%]
    phase : {"auto", "water", "ice"}
        What 100 % means below 0 degC: saturation over ice ("auto", "ice") or over supercooled water
        ("water": weather services and most sensors). Above 0.01 degC "auto" and "water" are the same.

    Returns
    -------
    vapour_pressure : numpy.ndarray
        In the broadcast shape; NaN where an input is NaN or out of range. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    ``RH/100 * saturation_vapour_pressure(T)``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 22 (from
    memory for the number). The enhancement factor of moist air (about 0.45 % at sea level) is left out,
    as in that chapter's ideal-gas treatment.

    Examples
    --------
    >>> float(vapour_pressure(25.0, 50.0).round(4))
    1.5846
    """
    check_phase(phase)
    return by_blocks(
        lambda air, humidity: np.exp(log_saturation(air, phase)) / PA_PER_KPA * share_of_saturation(humidity),
        air_temperature,
        relative_humidity,
    )


def dew_point_temperature(air_temperature: ArrayLike, relative_humidity: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the temperature to which air must cool before water condenses from it.

    With ``phase="auto"`` a result below 0.01 degC is a frost point: hoar forms there. With "water" it is
    the dew point over supercooled water, which weather services report; it lies lower, by 0.4 K at
    -20 degC and 70 % RH.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature. [degC]
    relative_humidity : array_like
        Relative humidity; 100..105 counts as 100 (see ``vapour_pressure``). [%]
    phase : {"auto", "water", "ice"}
        Used both for what 100 % means and for the dew point itself. For a frost point from a sensor that
        counts RH over water: ``saturation_temperature(vapour_pressure(t, rh, "water"))``.

    Returns
    -------
    dew_point_temperature : numpy.ndarray
        In the broadcast shape, never above the air temperature. NaN where an input is NaN or out of
        range, or the humidity is 0. [degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    The exact inverse of ``saturation_vapour_pressure``; see ``saturation_temperature``.

    Examples
    --------
    >>> float(dew_point_temperature(24.0, 65.0).round(2))
    17.02
    """
    check_phase(phase)

    def of_block(air: Floats, humidity: Floats) -> Floats:
        log_vapour_pressure = np.log(share_of_saturation(humidity))
        log_vapour_pressure += log_saturation(air, phase)
        return np.minimum(log_saturation_inverse(log_vapour_pressure, phase), air)

    return by_blocks(of_block, air_temperature, relative_humidity)


def humidity_ratio(
    air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike, phase: Phase = "auto"
) -> Floats:
    """Return the mass of water vapour carried by each kilogram of dry air.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature. [degC]
    relative_humidity : array_like
        Relative humidity; see ``vapour_pressure``. [%]
    air_pressure : array_like
        Total pressure of the air. [kPa]
    phase : {"auto", "water", "ice"}
        What 100 % means below 0 degC; see ``vapour_pressure``.

    Returns
    -------
    humidity_ratio : numpy.ndarray
        NaN where an input is NaN or out of range, or the vapour pressure reaches the air pressure.
        [kg/kg]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    ``W = 0.621945 e / (p - e)``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 20. Real-gas libraries
    give about 0.45 % more at sea level: their enhancement factor.

    Examples
    --------
    >>> float(humidity_ratio(24.0, 65.0, 101.325).round(5))
    0.01214
    """
    air, humidity, pressure = broadcast(air_temperature, relative_humidity, air_pressure)
    return ratio_from_vapour_pressure(vapour_pressure(air, humidity, phase), pressure)


def ratio_from_vapour_pressure(vapour_pressure: Floats, air_pressure: Floats) -> Floats:
    """Return ``humidity_ratio`` where the vapour pressure is known; arrays of one shape. [kg/kg]."""
    dry = np.where(air_pressure > vapour_pressure, air_pressure - vapour_pressure, np.nan)
    return MASS_RATIO * vapour_pressure / dry


def absolute_humidity(air_temperature: ArrayLike, relative_humidity: ArrayLike) -> Floats:
    """Return the mass of water vapour in a cubic metre of air.

    Parameters
    ----------
    air_temperature, relative_humidity : array_like
        As for ``humidity_ratio``. [degC], [%]

    Returns
    -------
    absolute_humidity : numpy.ndarray
        NaN where an input is NaN or out of range. [g/m3]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    Ideal gas law: ``1000 e M / (R T)`` with e in Pa, T in K, M = 0.018015268 kg/mol.

    Examples
    --------
    >>> float(absolute_humidity(20.0, 50.0).round(2))
    8.64
    """
    air, humidity = broadcast(air_temperature, relative_humidity)
    pascals = vapour_pressure(air, humidity) * PA_PER_KPA
    return 1000.0 * pascals / (VAPOUR_GAS_CONSTANT * (air + ZERO_CELSIUS_K))
