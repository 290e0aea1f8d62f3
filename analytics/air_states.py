"""Air as sensors see it: its two readings with their give or take, its dry mass, and what follows from their errors."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import MASS_RATIO, humidity_ratio, vapour_pressure
from analytics.psychrometrics import DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY, specific_volume
from analytics.saturation import Floats, broadcast, log_saturation_slope, saturation_vapour_pressure

ENTHALPY_OF_VAPOUR_AT_ZERO = 2501.0  # kJ/kg; ASHRAE Fundamentals (2017) ch. 1 eq. 30


class AirState(NamedTuple):
    """Air at one place as a temperature and a humidity sensor see it, with plus or minus of each.

    [degC], [%], [K], [% RH].
    """

    temperature: ArrayLike
    relative_humidity: ArrayLike
    temperature_accuracy: ArrayLike = 0.0
    relative_humidity_accuracy: ArrayLike = 0.0


def dry_air_mass(
    air_volume_m3: ArrayLike, air_temperature: ArrayLike, relative_humidity: ArrayLike, air_pressure: ArrayLike
) -> Floats:
    """Return the dry air in a volume of moist air; where the volume is one per hour, so is the mass.

    Parameters
    ----------
    air_volume_m3 : array_like
        Volume, 0 or more. [m3], or [m3/h]
    air_temperature, relative_humidity, air_pressure : array_like
        The air in it, as for ``humidity_ratio``. [degC], [%], [kPa]

    Returns
    -------
    dry_air_mass : numpy.ndarray
        NaN where an input is NaN or out of range, or the volume is negative. [kg], or [kg/h]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``V / v``, with ``specific_volume``.

    Examples
    --------
    >>> float(dry_air_mass(500.0, 24.0, 65.0, 101.325).round(1))
    582.6
    """
    volume, air, humidity, pressure = broadcast(air_volume_m3, air_temperature, relative_humidity, air_pressure)
    return np.where(volume >= 0.0, volume, np.nan) / specific_volume(air, humidity, pressure)


def humidity_ratio_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    air_pressure: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
) -> Floats:
    """Return the give or take of a humidity ratio from the accuracies of its two sensors.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure : array_like
        As for ``humidity_ratio``. [degC], [%], [kPa]
    air_temperature_accuracy, relative_humidity_accuracy : array_like
        Plus or minus, at the same confidence. [K], [% RH]

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where an input is NaN or out of range. [kg/kg]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    First-order propagation for independent errors, JCGM 100:2008 (GUM), 5.1.2. From ``W = 0.621945 e / (p - e)``:
    ``dW/de = 0.621945 p / (p - e)^2``; and ``de/dT = e s(T)``, ``de/dRH = es / 100`` with s = d(ln es)/dT.

    Examples
    --------
    >>> float(humidity_ratio_uncertainty(24.0, 65.0, 101.325, 0.3, 2.0).round(5))
    0.00044
    """
    air, humidity, pressure, of_air, of_humidity = broadcast(
        air_temperature, relative_humidity, air_pressure, air_temperature_accuracy, relative_humidity_accuracy
    )
    by_air, by_humidity = _errors(air, humidity, pressure, of_air, of_humidity)
    return np.hypot(by_air, by_humidity)


def enthalpy_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    air_pressure: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
) -> Floats:
    """Return the give or take of moist air's heat content from the accuracies of its two sensors.

    Parameters
    ----------
    air_temperature, relative_humidity, air_pressure, air_temperature_accuracy, relative_humidity_accuracy : array_like
        As for ``humidity_ratio_uncertainty``. [degC], [%], [kPa], [K], [% RH]

    Returns
    -------
    uncertainty : numpy.ndarray
        NaN as for ``humidity_ratio_uncertainty``. [kJ/kg of dry air]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    First-order propagation, JCGM 100:2008 (GUM), 5.1.2, through ``h = 1.006 T + W (2501 + 1.86 T)``. An error in
    temperature acts twice, by itself and through W, in the same direction.

    Examples
    --------
    >>> float(enthalpy_uncertainty(24.0, 65.0, 101.325, 0.3, 2.0).round(1))
    1.3
    """
    air, humidity, pressure, of_air, of_humidity = broadcast(
        air_temperature, relative_humidity, air_pressure, air_temperature_accuracy, relative_humidity_accuracy
    )
    by_air, by_humidity = _errors(air, humidity, pressure, of_air, of_humidity)
    vapour_heat = ENTHALPY_OF_VAPOUR_AT_ZERO + VAPOUR_HEAT_CAPACITY * air
    sensible = (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * humidity_ratio(air, humidity, pressure)) * of_air
    return np.hypot(sensible + vapour_heat * by_air, vapour_heat * by_humidity)


def _errors(
    air: Floats, humidity: Floats, pressure: Floats, of_air: Floats, of_humidity: Floats
) -> tuple[Floats, Floats]:
    """Return what the errors of temperature and of humidity make in the humidity ratio. [kg/kg]."""
    water = vapour_pressure(air, humidity)
    per_kpa = MASS_RATIO * pressure / np.where(pressure > water, pressure - water, np.nan) ** 2
    by_air = per_kpa * water * log_saturation_slope(air) * of_air
    return by_air, per_kpa * saturation_vapour_pressure(air) * of_humidity / 100.0
