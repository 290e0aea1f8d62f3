"""Combinations of readings that cannot be, or hardly can: which sensor to doubt when physics says no."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.flagging import Flags
from analytics.humidity import dew_point_temperature
from analytics.persistence import held_flags
from analytics.saturation import Floats, broadcast, saturation_vapour_pressure

SECONDS_PER_HOUR = 3600.0
UMOL_PER_MOL = 1e6


def dew_point_above_dry_bulb(air_temperature: ArrayLike, dew_point: ArrayLike, allowance: ArrayLike) -> Floats:
    """Return by how much a dew point lies above the temperature of the air that is said to have it.

    Parameters
    ----------
    air_temperature, dew_point : array_like
        Dry bulb, and dew point from another instrument or another place with the same air. [degC]
    allowance : array_like
        What the instruments' give or take explains, 0 or more. [K]

    Returns
    -------
    excess : numpy.ndarray
        Above 0 the two cannot both be right; NaN where an input is. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    Air holds no more than saturation: a higher dew point would be fog. A dew point worked out from the same
    sensor's RH of 100 % at most never shows this.

    Examples
    --------
    >>> float(dew_point_above_dry_bulb(20.0, 21.5, 0.5))
    1.0
    """
    air, dew, allowed = broadcast(air_temperature, dew_point, allowance)
    return dew - air - allowed


def dew_point_inconsistency(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    dew_point: ArrayLike,
    allowance: ArrayLike,
) -> Floats:
    """Return by how much a dew point that was read departs from the one that temperature and RH make.

    Parameters
    ----------
    air_temperature, relative_humidity : array_like
        Of the same air. [degC], [%]
    dew_point : array_like
        Dew point from an instrument or a device that reports all three. [degC]
    allowance : array_like
        What the instruments' give or take explains, 0 or more. [K]

    Returns
    -------
    excess : numpy.ndarray
        Above 0 the three do not belong together; NaN where an input is, or no dew point is defined. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    See Also
    --------
    condensation_margin_uncertainty : The dew point's own share of the allowance, with a surface accuracy of 0.

    Examples
    --------
    >>> float(dew_point_inconsistency(22.0, 60.0, 16.0, 0.6).round(1))
    1.5
    """
    air, humidity, read, allowed = broadcast(air_temperature, relative_humidity, dew_point, allowance)
    return np.abs(read - dew_point_temperature(air, humidity)) - allowed


def supply_above_room_dew_point(
    supply_dew_point: ArrayLike, room_dew_point: ArrayLike, compressor_on: ArrayLike, allowance: ArrayLike
) -> Floats:
    """Return by how much the air behind a running coil is moister than the room's air it was made from.

    A cold coil takes water out of air. If what leaves it has the higher dew point, a humidity sensor lies, or
    water on the coil or in its pan evaporates: a blocked drain.

    Parameters
    ----------
    supply_dew_point, room_dew_point : array_like
        Dew points before and behind the coil. [degC]
    compressor_on : array_like
        1 running, 0 not. [1]
    allowance : array_like
        What the instruments' give or take explains, 0 or more. [K]

    Returns
    -------
    excess : numpy.ndarray
        Above 0 is impossible with a dry coil; NaN while the compressor stands, or an input is NaN. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    Vapour balance across the coil, which no source adds to. For some minutes after its start a coil is still
    warm and wet: let the excess last before it counts (``held_flags``).

    Examples
    --------
    >>> supply_above_room_dew_point([14.0, 14.0], 13.0, [1, 0], 0.5).tolist()
    [0.5, nan]
    """
    supply, room, running, allowed = broadcast(supply_dew_point, room_dew_point, compressor_on, allowance)
    return np.where(running >= 0.5, supply - room - allowed, np.nan)


def light_integral_above_lamps(
    daily_light_integral: ArrayLike, lamp_ppfd: ArrayLike, hours: ArrayLike, share: float
) -> Floats:
    """Return by how much a day's light exceeds what the lamps can have given.

    Parameters
    ----------
    daily_light_integral : array_like
        Light of a day, in a room without daylight. [mol m-2 d-1]
    lamp_ppfd : array_like
        What the lamps gave when new. [umol m-2 s-1]
    hours : array_like
        For how long they were lit; 24 where nobody knows. [h]
    share : float
        By what share the sensor, its place and the lamps may be better than that, 0 or more. [1]

    Returns
    -------
    excess : numpy.ndarray
        Above 0 is impossible; NaN where an input is NaN or negative. [mol m-2 d-1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``share`` is negative.

    Notes
    -----
    ``DLI - (1 + share) PPFD hours 3600e-6``, by the definition of the integral.

    Examples
    --------
    >>> float(light_integral_above_lamps(20.0, 250.0, 16.0, 0.1).round(2))
    4.16
    """
    if not share >= 0.0:
        raise ValueError(f"share is {share:g}: give 0 or more")
    integral, lamps, lit = broadcast(daily_light_integral, lamp_ppfd, hours)
    sound = (integral >= 0.0) & (lamps >= 0.0) & (lit >= 0.0)
    most = (1.0 + share) * lamps * lit * SECONDS_PER_HOUR / UMOL_PER_MOL
    return np.where(sound, integral - most, np.nan)


def humidity_of_the_same_vapour(air_temperature: ArrayLike, vapour_pressure: ArrayLike) -> Floats:
    """Return the relative humidity that air of some vapour pressure has at another temperature.

    With the vapour pressure of the room's other places it is what a humidity sensor should read; with its own of
    earlier, what it should have fallen to as the air warmed.

    Parameters
    ----------
    air_temperature : array_like
        Temperature beside the sensor. [degC]
    vapour_pressure : array_like
        Vapour pressure elsewhere in the same air. [kPa]

    Returns
    -------
    relative_humidity : numpy.ndarray
        100 where the air would be saturated; NaN where an input is NaN or out of range. [%]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Examples
    --------
    >>> float(humidity_of_the_same_vapour(24.0, 1.587).round(0))
    53.0
    """
    air, vapour = broadcast(air_temperature, vapour_pressure)
    share = 100.0 * vapour / saturation_vapour_pressure(air)
    return np.where(vapour >= 0.0, np.minimum(share, 100.0), np.nan)


def stuck_wet_flags(
    time_us: ArrayLike,
    relative_humidity: ArrayLike,
    expected_humidity: ArrayLike,
    hold_s: float,
    gap_s: float,
    wet: float = 98.5,
    margin: float = 8.0,
) -> Flags:
    """Return whether a humidity sensor stays at saturation while the air beside it must be drier.

    Water that condensed on or in a sensor keeps it at 100 % for hours after the air has dried.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    relative_humidity : array_like
        What the sensor reads. [%]
    expected_humidity : array_like
        What it should read at the same times: ``humidity_of_the_same_vapour``; NaN where unknown. [%]
    hold_s : float
        For how long that must last. [s]
    gap_s : float
        Samples further apart than this do not tell about the time between. [s]
    wet : float
        At or above this the sensor counts as saturated (our choice, no source). [%]
    margin : float
        So far below ``wet`` the expectation must be (our choice, no source: two sensors of 2 % and a mixing of
        the room that is not perfect). [%]

    Returns
    -------
    flags : numpy.ndarray of uint8
        As ``held_flags``: SUSPECT where it has lasted.

    Raises
    ------
    ValueError
        As for ``held_flags``, or if the two humidities do not broadcast to one shape.

    Notes
    -----
    Reach: ``hold_s`` plus ``gap_s``, before.

    Examples
    --------
    >>> minutes = [60_000_000 * n for n in range(4)]
    >>> stuck_wet_flags(minutes, [100, 100, 100, 80], [99, 80, 80, 80], hold_s=60, gap_s=60).tolist()
    [1, 2, 3, 1]
    """
    humidity, expected = broadcast(relative_humidity, expected_humidity)
    known = ~(np.isnan(humidity) | np.isnan(expected))
    wrong = np.where(known, (humidity >= wet) & (expected < wet - margin), np.nan)
    return held_flags(time_us, wrong, hold_s, gap_s)
