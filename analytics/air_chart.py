"""The lines of a psychrometric chart: temperature across, humidity ratio up, at one air pressure."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import ratio_from_vapour_pressure
from analytics.saturation import Floats, broadcast, saturation_vapour_pressure

OUTLINE_STEPS = 61  # temperatures along each side of an outline; our choice, no source


def humidity_ratio_at_deficit(
    air_temperature: ArrayLike, vapour_pressure_deficit: ArrayLike, air_pressure: ArrayLike
) -> Floats:
    """Return the humidity ratio of air that has a given vapour pressure deficit.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature. [degC]
    vapour_pressure_deficit : array_like
        Of the air, 0 or more. [kPa]
    air_pressure : array_like
        Total pressure of the air. [kPa]

    Returns
    -------
    humidity_ratio : numpy.ndarray
        NaN where an input is NaN or out of range, or even dry air has a smaller deficit. [kg/kg]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``e = es(T) - VPD``, then ``W = 0.621945 e / (p - e)``, ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 20.

    See Also
    --------
    analytics.vapour_pressure_deficit.air_vapour_pressure_deficit : Its inverse.

    Examples
    --------
    >>> float(humidity_ratio_at_deficit(24.0, 1.0445, 101.325).round(4))
    0.0121
    """
    air, deficit, pressure = broadcast(air_temperature, vapour_pressure_deficit, air_pressure)
    water = saturation_vapour_pressure(air) - np.where(deficit >= 0.0, deficit, np.nan)
    return ratio_from_vapour_pressure(np.where(water >= 0.0, water, np.nan), pressure)


def air_outline(
    air_temperature: tuple[float, float],
    relative_humidity: tuple[float, float],
    vapour_pressure_deficit: tuple[float, float],
    air_pressure: float,
) -> tuple[Floats, Floats]:
    """Return the outline of all air that lies within limits of temperature, humidity and deficit at once.

    Parameters
    ----------
    air_temperature : (float, float)
        Low and high, both finite. [degC]
    relative_humidity, vapour_pressure_deficit : (float, float)
        Low and high; infinite where a side is open. [%], [kPa]
    air_pressure : float
        Total pressure of the air. [kPa]

    Returns
    -------
    air_temperature, humidity_ratio : numpy.ndarray
        The corners of a closed outline, without the first again at its end; empty where no air lies within all
        limits, or one of them is NaN. [degC], [kg/kg]

    Raises
    ------
    ValueError
        If a limit of temperature is not finite.

    Notes
    -----
    At a temperature T the vapour pressure lies between the greater of ``RH_low es(T)`` and ``es(T) - VPD_high`` and
    the smaller of ``RH_high es(T)`` and ``es(T) - VPD_low``. Both differences grow or fall with es(T) alone, so the
    temperatures at which air is left are one range.
    """
    if not all(map(math.isfinite, air_temperature)):
        raise ValueError(f"air_temperature is {air_temperature}: an outline needs both limits of temperature")
    air = np.linspace(*air_temperature, OUTLINE_STEPS)
    saturation = saturation_vapour_pressure(air)
    low_share, high_share = np.clip(relative_humidity, 0.0, 100.0) / 100.0
    lowest = np.maximum(low_share * saturation, saturation - vapour_pressure_deficit[1])
    highest = np.minimum(high_share * saturation, saturation - max(vapour_pressure_deficit[0], 0.0))
    lowest = np.maximum(lowest, 0.0)
    inside = highest >= lowest
    if not inside.any():
        return np.empty(0), np.empty(0)
    around = np.concatenate([highest[inside], lowest[inside][::-1]])
    pressure = np.full(len(around), air_pressure)
    return np.concatenate([air[inside], air[inside][::-1]]), ratio_from_vapour_pressure(around, pressure)
