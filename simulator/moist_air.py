"""Moist air for the simulated room, by Magnus' formula: deliberately not the one the analytics use."""

from __future__ import annotations

from math import exp

from simulator.compiled import compiled

AIR_HEAT_J_KG_K = 1006.0  # specific heat of dry air, 0..40 degC; handbook value, from memory
VAPOUR_HEAT_J_KG_K = 1860.0  # specific heat of water vapour; handbook value, from memory
WATER_HEAT_J_KG_K = 4186.0  # specific heat of liquid water; handbook value, from memory
EVAPORATION_HEAT_J_KG = 2_501_000.0  # latent heat of evaporation at 0 degC; handbook value, from memory
DRY_AIR_GAS_CONSTANT = 287.05  # [J kg-1 K-1]
VAPOUR_GAS_CONSTANT = 461.5  # [J kg-1 K-1]
MOLAR_MASS_RATIO = 0.622  # water to dry air
DRY_AIR_MOLAR_MASS = 0.028966  # [kg/mol]
CELSIUS_ZERO_K = 273.15

MAGNUS_PRESSURE_PA = 611.2  # Magnus over water, -45..60 degC (WMO Guide No. 8, annex 4.B), from memory
MAGNUS_SLOPE = 17.62
MAGNUS_OFFSET_C = 243.12


@compiled
def saturation_pressure(temperature: float) -> float:
    """Return the saturation vapour pressure over water [Pa] at an air temperature [degC]."""
    return MAGNUS_PRESSURE_PA * exp(MAGNUS_SLOPE * temperature / (MAGNUS_OFFSET_C + temperature))


@compiled
def humidity_ratio(vapour_pressure: float, air_pressure: float) -> float:
    """Return the humidity ratio [kg/kg] of air with a vapour pressure [Pa] at an air pressure [Pa]."""
    return MOLAR_MASS_RATIO * vapour_pressure / (air_pressure - vapour_pressure)


@compiled
def vapour_pressure(humidity_ratio: float, air_pressure: float) -> float:
    """Return the vapour pressure [Pa] of air with a humidity ratio [kg/kg]; inverse of humidity_ratio."""
    return air_pressure * humidity_ratio / (MOLAR_MASS_RATIO + humidity_ratio)


@compiled
def enthalpy(temperature: float, humidity_ratio: float) -> float:
    """Return the enthalpy of moist air [J per kg dry air]; liquid water and dry air at 0 degC are zero."""
    return AIR_HEAT_J_KG_K * temperature + humidity_ratio * (EVAPORATION_HEAT_J_KG + VAPOUR_HEAT_J_KG_K * temperature)


@compiled
def temperature_from_enthalpy(enthalpy: float, humidity_ratio: float) -> float:
    """Return the temperature [degC] of moist air; inverse of enthalpy."""
    return (enthalpy - humidity_ratio * EVAPORATION_HEAT_J_KG) / (AIR_HEAT_J_KG_K + humidity_ratio * VAPOUR_HEAT_J_KG_K)


def standard_pressure(elevation: float) -> float:
    """Return the air pressure [Pa] of the standard atmosphere (ISO 2533, below 11 km) at an elevation [m]."""
    return float(101_325.0 * (1.0 - 2.25577e-5 * elevation) ** 5.25588)
