"""Moist air at the farm's own air pressure; with analytics.humidity's measures, all in one place."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import (
    MASS_RATIO,
    absolute_humidity,
    dew_point_temperature,
    humidity_ratio,
    vapour_pressure,
)
from analytics.saturation import (
    ICE,
    PA_PER_KPA,
    WATER,
    ZERO_CELSIUS_K,
    Curve,
    Floats,
    broadcast,
    by_blocks,
    curve_log_pressure,
    curve_log_slope,
    saturation_temperature,
    saturation_vapour_pressure,
)

__all__ = [
    "absolute_humidity",
    "air_density",
    "air_pressure_at",
    "dew_point_temperature",
    "enthalpy",
    "humidity_ratio",
    "saturation_temperature",
    "saturation_vapour_pressure",
    "specific_volume",
    "vapour_pressure",
    "wet_bulb_temperature",
]

DRY_AIR_GAS_CONSTANT = 287.042  # J/(kg K); ASHRAE Fundamentals (2017) ch. 1 eq. 1
DRY_AIR_HEAT_CAPACITY = 1.006  # kJ/(kg K); ASHRAE Fundamentals (2017) ch. 1 eq. 28
VAPOUR_HEAT_CAPACITY = 1.86  # kJ/(kg K); ASHRAE Fundamentals (2017) ch. 1 eq. 30

_NEWTON_STEPS = 30
_CLOSE_ENOUGH_K = 1e-5  # Newton's error falls with its square: a step this small leaves under 1e-9 K


class _Wick(NamedTuple):
    """What covers the wet bulb: ``(latent + a Tw) Ws - 1.006 (T - Tw) = W (latent + 1.86 T - b Tw)``."""

    curve: Curve
    latent: float
    a: float
    b: float


_WET = _Wick(WATER, 2501.0, -2.326, 4.186)  # ASHRAE Fundamentals (2017) ch. 1 eq. 33
_FROZEN = _Wick(ICE, 2830.0, -0.24, 2.1)  # ASHRAE Fundamentals (2017) ch. 1 eq. 35


def air_pressure_at(elevation_m: ArrayLike) -> Floats:
    """Return the standard atmosphere's pressure at an elevation above sea level.

    For a farm without a pressure sensor. Weather moves the true pressure by about 3 % around it.

    Parameters
    ----------
    elevation_m : array_like
        Elevation above sea level, -5000..11000. [m]

    Returns
    -------
    air_pressure : numpy.ndarray
        NaN where the elevation is NaN or outside the range. [kPa]

    Notes
    -----
    ``101.325 (1 - 2.25577e-5 z)^5.2559``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 3.

    Examples
    --------
    >>> float(air_pressure_at(1500.0).round(3))
    84.556
    """
    elevation = np.asarray(elevation_m, dtype=float)
    inside = (elevation >= -5000.0) & (elevation <= 11000.0)
    base = np.where(inside, 1.0 - 2.25577e-5 * elevation, np.nan)
    return np.asarray(101.325 * base**5.2559)


def _settle(wick: _Wick, start: Floats, air: Floats, ratio: Floats, pressure: Floats) -> Floats:
    """Return the wet-bulb temperature by Newton's method; the balance is convex, so it falls from ``start``."""
    bulb = start
    for _ in range(_NEWTON_STEPS):
        vapour = np.exp(curve_log_pressure(wick.curve, bulb)) / PA_PER_KPA
        dry = np.where(pressure > vapour, pressure - vapour, np.nan)
        saturated = MASS_RATIO * vapour / dry
        rise = saturated * curve_log_slope(wick.curve, bulb) * pressure / dry
        heat = wick.latent + wick.a * bulb
        excess = heat * saturated - DRY_AIR_HEAT_CAPACITY * (air - bulb)
        excess -= ratio * (wick.latent + VAPOUR_HEAT_CAPACITY * air - wick.b * bulb)
        step = excess / (wick.a * saturated + heat * rise + DRY_AIR_HEAT_CAPACITY + wick.b * ratio)
        bulb = bulb - step
        if not np.any(np.abs(step) > _CLOSE_ENOUGH_K):
            break
    return bulb


def wet_bulb_temperature(air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike) -> Floats:
    """Return the temperature that evaporating water takes in a stream of air.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure : array_like
        As for ``humidity_ratio``. [degC], [%], [kPa]

    Returns
    -------
    wet_bulb_temperature : numpy.ndarray
        Thermodynamic wet bulb. NaN where an input is NaN or out of range, or the air is hot enough to
        boil water at this pressure. [degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 33 (liquid water on the bulb) and eq. 35 (ice), solved
    by Newton's method to 1e-9 K. In dry air a little above freezing both equations have a solution, one
    at or above 0 degC with liquid water and one below with ice. The rule here: the bulb is liquid wherever
    the liquid equation has a solution at or above 0 degC, else frozen.

    Examples
    --------
    >>> float(wet_bulb_temperature(24.0, 65.0, 101.325).round(1))
    19.3
    """
    air, humidity, pressure = broadcast(air_temperature, relative_humidity, air_pressure)
    ratio = humidity_ratio(air, humidity, pressure)

    def of_block(air: Floats, ratio: Floats, pressure: Floats) -> Floats:
        liquid = _settle(_WET, air, air, ratio, pressure)
        if np.all(liquid >= 0.0):
            return liquid
        frozen = _settle(_FROZEN, np.minimum(air, 0.0), air, ratio, pressure)
        return np.where(liquid >= 0.0, liquid, frozen)

    return by_blocks(of_block, air, ratio, pressure)


def enthalpy(air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike) -> Floats:
    """Return the heat content of moist air for each kilogram of dry air, zero for dry air at 0 degC.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure : array_like
        As for ``humidity_ratio``. [degC], [%], [kPa]

    Returns
    -------
    enthalpy : numpy.ndarray
        NaN as for ``humidity_ratio``. [kJ/kg of dry air]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``h = 1.006 T + W (2501 + 1.86 T)``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 30.

    Examples
    --------
    >>> float(enthalpy(24.0, 65.0, 101.325).round(1))
    55.1
    """
    air, humidity, pressure = broadcast(air_temperature, relative_humidity, air_pressure)
    ratio = humidity_ratio(air, humidity, pressure)
    return DRY_AIR_HEAT_CAPACITY * air + ratio * (2501.0 + VAPOUR_HEAT_CAPACITY * air)


def specific_volume(air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike) -> Floats:
    """Return the volume of moist air that holds one kilogram of dry air.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure : array_like
        As for ``humidity_ratio``. [degC], [%], [kPa]

    Returns
    -------
    specific_volume : numpy.ndarray
        NaN as for ``humidity_ratio``. [m3/kg of dry air]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``v = 287.042 T (1 + 1.607858 W) / p``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 26.

    Examples
    --------
    >>> float(specific_volume(24.0, 65.0, 101.325).round(3))
    0.858
    """
    air, humidity, pressure = broadcast(air_temperature, relative_humidity, air_pressure)
    return volume_from_humidity_ratio(air, humidity_ratio(air, humidity, pressure), pressure)


def volume_from_humidity_ratio(air_temperature: Floats, humidity_ratio: Floats, air_pressure: Floats) -> Floats:
    """Return ``specific_volume`` where the humidity ratio is known; arrays of one shape. [m3/kg of dry air]."""
    moist = 1.0 + 1.607858 * humidity_ratio
    return DRY_AIR_GAS_CONSTANT * (air_temperature + ZERO_CELSIUS_K) * moist / (air_pressure * PA_PER_KPA)


def air_density(air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike) -> Floats:
    """Return the mass of a cubic metre of moist air.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure : array_like
        As for ``humidity_ratio``. [degC], [%], [kPa]

    Returns
    -------
    air_density : numpy.ndarray
        NaN as for ``humidity_ratio``. [kg/m3]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``(1 + W) / v``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 11.

    Examples
    --------
    >>> float(air_density(20.0, 0.0, 101.325).round(3))
    1.204
    """
    ratio = humidity_ratio(air_temperature, relative_humidity, air_pressure)
    return (1.0 + ratio) / specific_volume(air_temperature, relative_humidity, air_pressure)
