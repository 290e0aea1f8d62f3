"""Carbon dioxide: a sensor's pressure correction, the gas in grams, and what a leak costs."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.saturation import PA_PER_KPA, ZERO_CELSIUS_K, Floats, broadcast

HIGHEST_MOLE_FRACTION = 1e6  # umol mol-1; nothing but CO2

GAS_CONSTANT = 8.314462618  # J/(mol K); CODATA 2018
CO2_MOLAR_MASS = 44.0095  # g/mol; IUPAC standard atomic weights
SEA_LEVEL_PRESSURE = 101.325  # kPa; standard atmosphere
CALIBRATION_TEMPERATURE = 25.0  # degC; common practice, no source


def pressure_corrected_mole_fraction(
    co2_mole_fraction: ArrayLike,
    air_pressure: ArrayLike,
    air_temperature: ArrayLike = CALIBRATION_TEMPERATURE,
    calibration_pressure: float = SEA_LEVEL_PRESSURE,
) -> Floats:
    """Return the mole fraction from the reading of an infrared sensor that knows no pressure.

    Such a sensor counts molecules in its light path. High up there are fewer in the same air: it reads low.

    Parameters
    ----------
    co2_mole_fraction : array_like
        As read. [umol mol-1]
    air_pressure : array_like
        Where the sensor is. [kPa]
    air_temperature : array_like
        Where the sensor is; leave it out for a sensor that corrects for temperature itself. [degC]
    calibration_pressure : float
        At which it was calibrated, above 0. [kPa]

    Returns
    -------
    co2_mole_fraction : numpy.ndarray
        NaN where an input is NaN, or a pressure or absolute temperature is not above 0. [umol mol-1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``calibration_pressure`` is not above 0.

    Notes
    -----
    Ideal gas law: ``C = C_read (p_cal / p) (T / 298.15 K)``. Real sensors depart from it, since lines widen with
    pressure; weather alone moves the pressure by about 3 %. Never correct a sensor that corrects itself.

    Examples
    --------
    >>> float(pressure_corrected_mole_fraction(332.6, 84.26).round())
    400.0
    """
    if not calibration_pressure > 0.0:
        raise ValueError(f"calibration_pressure is {calibration_pressure} kPa: give the pressure then, above 0")
    read, pressure, celsius = broadcast(co2_mole_fraction, air_pressure, air_temperature)
    kelvin = celsius + ZERO_CELSIUS_K
    sound = (pressure > 0.0) & (kelvin > 0.0)
    by_pressure = calibration_pressure / np.where(sound, pressure, np.nan)
    return read * by_pressure * kelvin / (CALIBRATION_TEMPERATURE + ZERO_CELSIUS_K)


def carbon_dioxide_mass(
    mole_fraction_difference: ArrayLike, air_volume_m3: ArrayLike, air_temperature: ArrayLike, air_pressure: ArrayLike
) -> Floats:
    """Return the mass of CO2 that a mole fraction, or a difference of two, is in a volume of air.

    Parameters
    ----------
    mole_fraction_difference : array_like
        Negative for less. [umol mol-1]
    air_volume_m3 : array_like
        The room's air, without what stands in it. [m3]
    air_temperature, air_pressure : array_like
        [degC], [kPa]

    Returns
    -------
    mass : numpy.ndarray
        NaN where an input is NaN, or the volume, pressure or absolute temperature is not above 0. [g]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``m = x p V M / (R T)``, ideal gas. At a mole fraction of thousandths that is exact to 0.01 %; pure CO2 at
    1 atm is 0.5 % denser.

    Examples
    --------
    >>> float(carbon_dioxide_mass(580.0, 30.0, 25.0, 101.325).round(1))
    31.3
    """
    fraction, volume, celsius, pressure = broadcast(
        mole_fraction_difference, air_volume_m3, air_temperature, air_pressure
    )
    kelvin = celsius + ZERO_CELSIUS_K
    sound = (volume > 0.0) & (kelvin > 0.0) & (pressure > 0.0)
    moles = pressure * PA_PER_KPA * volume / (GAS_CONSTANT * np.where(sound, kelvin, np.nan))
    return fraction * 1e-6 * moles * CO2_MOLAR_MASS


def leak_rate(
    co2_mole_fraction: ArrayLike,
    background: ArrayLike,
    air_changes_per_h: ArrayLike,
    air_volume_m3: ArrayLike,
    air_temperature: ArrayLike,
    air_pressure: ArrayLike,
) -> Floats:
    """Return how much CO2 leaves a room with the air that outdoor air replaces.

    Parameters
    ----------
    co2_mole_fraction, background : array_like
        Indoors and outdoors. [umol mol-1]
    air_changes_per_h : array_like
        As from ``air_change_rate``, 0 or more. [1/h]
    air_volume_m3, air_temperature, air_pressure : array_like
        As for ``carbon_dioxide_mass``. [m3], [degC], [kPa]

    Returns
    -------
    leak_rate : numpy.ndarray
        Negative where there is less CO2 indoors than outdoors. NaN where an input is NaN or out of its range.
        [g/h]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``A m(C - Cb)``: well-mixed room, balanced flows.

    Examples
    --------
    >>> float(leak_rate(1000.0, 420.0, 0.5, 30.0, 25.0, 101.325).round(2))
    15.65
    """
    inside, outside, changes = broadcast(co2_mole_fraction, background, air_changes_per_h)
    mass = carbon_dioxide_mass(inside - outside, air_volume_m3, air_temperature, air_pressure)
    changes, mass = broadcast(changes, mass)
    return np.where(changes >= 0.0, changes, np.nan) * mass


def steady_mole_fraction(
    background: ArrayLike, source_g_h: ArrayLike, air_changes_per_h: ArrayLike, air_volume_m3: ArrayLike,
    air_temperature: ArrayLike, air_pressure: ArrayLike,
) -> Floats:  # fmt: skip
    """Return the mole fraction a room tends to while a source of CO2 stays on, e.g. a valve that sticks open.

    Parameters
    ----------
    background : array_like
        Outdoors. [umol mol-1]
    source_g_h : array_like
        What the source gives, less what the crop takes. [g/h]
    air_changes_per_h, air_volume_m3, air_temperature, air_pressure : array_like
        As for ``leak_rate``. [1/h], [m3], [degC], [kPa]

    Returns
    -------
    mole_fraction : numpy.ndarray
        At most 1e6; NaN where an input is NaN or out of its range. Infinite time without air change gives
        1e6 for a source above 0. [umol mol-1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``Cb + G / (A V)``, with the source G as a volume at the room's conditions; the balance of a well-mixed room.
    Reached to 95 % after three air changes. Good for mole fractions well below 1e6.

    Examples
    --------
    >>> float(steady_mole_fraction(420.0, 179.89, 1.0, 30.0, 25.0, 101.325).round())
    3753.0
    """
    outside, source, changes = broadcast(background, source_g_h, air_changes_per_h)
    per_ppm = carbon_dioxide_mass(1.0, air_volume_m3, air_temperature, air_pressure)
    outside, source, changes, per_ppm = broadcast(outside, source, changes, per_ppm)
    changes = np.where(changes >= 0.0, changes, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        added = np.where(source == 0.0, 0.0 * changes * per_ppm, source / (changes * per_ppm))
    return np.minimum(outside + added, HIGHEST_MOLE_FRACTION)
