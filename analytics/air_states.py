"""Air as sensors see it: its two readings with their give or take, its dry mass, and what follows from their errors."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import MASS_RATIO, ratio_from_vapour_pressure, share_of_saturation
from analytics.psychrometrics import DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY, volume_from_humidity_ratio
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


class MoistAir:
    """Air at a pressure with what follows from its readings, each worked out once; arrays of one shape."""

    def __init__(self, state: AirState, air_pressure: ArrayLike) -> None:
        self.temperature, self.humidity, self.pressure = broadcast(
            state.temperature, state.relative_humidity, air_pressure
        )
        self.state = state

    @cached_property
    def saturation(self) -> Floats:
        """Saturation vapour pressure. [kPa]."""
        return saturation_vapour_pressure(self.temperature)

    @cached_property
    def water(self) -> Floats:
        """Vapour pressure. [kPa]."""
        return self.saturation * share_of_saturation(self.humidity)

    @cached_property
    def ratio(self) -> Floats:
        """Humidity ratio. [kg/kg]."""
        return ratio_from_vapour_pressure(self.water, self.pressure)

    def dry_mass(self, volume_m3: ArrayLike) -> Floats:
        """Return the dry air in a volume, NaN where that is negative. [kg]."""
        volume, each = broadcast(volume_m3, volume_from_humidity_ratio(self.temperature, self.ratio, self.pressure))
        return np.where(volume >= 0.0, volume, np.nan) / each

    @cached_property
    def ratio_errors(self) -> tuple[Floats, Floats]:
        """What the errors of temperature and of humidity make in the humidity ratio. [kg/kg]."""
        slope = log_saturation_slope(self.temperature)
        accuracies = (self.state.temperature_accuracy, self.state.relative_humidity_accuracy)
        water, pressure, saturation, slope, of_air, of_humidity = broadcast(
            self.water, self.pressure, self.saturation, slope, *accuracies
        )
        per_kpa = MASS_RATIO * pressure / np.where(pressure > water, pressure - water, np.nan) ** 2
        return per_kpa * water * slope * of_air, per_kpa * saturation * of_humidity / 100.0

    @property
    def ratio_uncertainty(self) -> Floats:
        """Give or take of the humidity ratio. [kg/kg]."""
        return np.hypot(*self.ratio_errors)

    @property
    def enthalpy_uncertainty(self) -> Floats:
        """Give or take of the enthalpy. [kJ/kg of dry air]."""
        by_air, by_humidity = self.ratio_errors
        vapour_heat = ENTHALPY_OF_VAPOUR_AT_ZERO + VAPOUR_HEAT_CAPACITY * self.temperature
        of_air = np.asarray(self.state.temperature_accuracy, dtype=float)
        sensible = (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * self.ratio) * of_air
        uncertainty: Floats = np.hypot(sensible + vapour_heat * by_air, vapour_heat * by_humidity)
        return uncertainty


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
    return MoistAir(AirState(air_temperature, relative_humidity), air_pressure).dry_mass(air_volume_m3)


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
    state = AirState(air_temperature, relative_humidity, air_temperature_accuracy, relative_humidity_accuracy)
    return MoistAir(state, air_pressure).ratio_uncertainty


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
    state = AirState(air_temperature, relative_humidity, air_temperature_accuracy, relative_humidity_accuracy)
    return MoistAir(state, air_pressure).enthalpy_uncertainty
