"""Mould on a surface: the humidity at its face, and the mould growth index hour by hour."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import vapour_pressure
from analytics.saturation import Bools, Floats, Phase, broadcast, by_blocks, check_phase, saturation_vapour_pressure

MOULD_LIMIT = 3.0  # first growth the eye sees, on less than a tenth of the surface; ASHRAE 160's limit, from memory
DECLINE_COEFFICIENTS = (1.0, 0.5, 0.25, 0.1)  # Ojanen et al. 2010, from memory: strong, significant, low, almost none
HOURS_OF_MEMORY = 24  # dry hours after which the decline no longer depends on how many there were
_EARLY_DECLINE, _EARLY_HOURS = 0.032, 6  # a day, and for so many hours after growth; Hukka and Viitanen 1999
_LATE_DECLINE = 0.016  # a day, after HOURS_OF_MEMORY
_HOURS_PER_DAY = 24.0

Sensitivity = Literal["very_sensitive", "sensitive", "medium_resistant", "resistant"]


class GrowthClass(NamedTuple):
    """How a material lets mould grow: speed below and from index 1, the highest index, the least humidity."""

    slow: float
    fast: float
    a: float
    b: float
    c: float
    least_humidity: float


# Ojanen et al. 2010, table of sensitivity classes, seen in a secondary copy.
GROWTH_CLASSES: dict[Sensitivity, GrowthClass] = {
    "very_sensitive": GrowthClass(1.0, 2.0, 1.0, 7.0, 2.0, 80.0),
    "sensitive": GrowthClass(0.578, 0.386, 0.3, 6.0, 1.0, 80.0),
    "medium_resistant": GrowthClass(0.072, 0.097, 0.0, 5.0, 1.5, 85.0),
    "resistant": GrowthClass(0.033, 0.014, 0.0, 3.0, 1.0, 85.0),
}


class MouldState(NamedTuple):
    """Where a surface stands: its index, and for how many whole hours it has not been fit for growth."""

    mould_index: float = 0.0
    dry_h: int = HOURS_OF_MEMORY


class MouldHours(NamedTuple):
    """The index after each hour, which hours were fit for growth, and the state after the last one."""

    mould_index: Floats
    growing: Bools
    state: MouldState


def surface_relative_humidity(
    surface_temperature: ArrayLike, air_temperature: ArrayLike, relative_humidity: ArrayLike, phase: Phase = "auto"
) -> Floats:
    """Return the relative humidity of the thin layer of air that touches a surface.

    It holds the room's vapour at the surface's temperature: a cold surface meets damper air than a sensor in
    the room does. Mould goes by this figure, not by the room's.

    Parameters
    ----------
    surface_temperature : array_like
        Temperature of the surface. [degC]
    air_temperature : array_like
        Dry-bulb temperature of the room air. [degC]
    relative_humidity : array_like
        Relative humidity of the room air; 100..105 counts as 100 (see ``vapour_pressure``). [%]
    phase : {"auto", "water", "ice"}
        What 100 % of the room's sensor means below 0 degC; see ``vapour_pressure``.

    Returns
    -------
    surface_relative_humidity : numpy.ndarray
        At most 100, where water or hoar forms; NaN where an input is NaN or out of range. [%]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    ``100 e(Tair, RH) / es(Tsurface)``, ISO 13788; over ice for a surface below 0.01 degC.

    Examples
    --------
    >>> float(surface_relative_humidity(12.6, 20.0, 50.0).round(0))
    80.0
    """
    check_phase(phase)
    surface, air, humidity = broadcast(surface_temperature, air_temperature, relative_humidity)
    share = vapour_pressure(air, humidity, phase) / saturation_vapour_pressure(surface)
    return np.minimum(100.0 * share, 100.0)


def critical_relative_humidity(surface_temperature: ArrayLike, least_humidity: ArrayLike = 80.0) -> Floats:
    """Return the relative humidity at a surface from which mould can grow.

    Parameters
    ----------
    surface_temperature : array_like
        Temperature of the surface. [degC]
    least_humidity : array_like
        The material's own least humidity: 80, or 85 for the two resistant classes. [%]

    Returns
    -------
    critical_relative_humidity : numpy.ndarray
        NaN where the temperature is NaN, or not between 0 and 50 degC: nothing grows there. [%]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``-0.00267 T^3 + 0.160 T^2 - 3.13 T + 100`` up to 20 degC, but no less than the material's least
    humidity, which also holds above 20 degC [1]_. The paper gives the polynomial for one kind of timber; to hold it at
    the least humidity of the later classes is how they are used.

    References
    ----------
    .. [1] A. Hukka and H. A. Viitanen, "A mathematical model of mould growth on wooden material," Wood Sci.
       Technol. 33, 1999, p. 475 (coefficients from a secondary copy).

    Examples
    --------
    >>> critical_relative_humidity([5.0, 20.0, 24.0]).round(1).tolist()
    [88.0, 80.0, 80.0]
    """

    def of_block(surface: Floats, least: Floats) -> Floats:
        polynomial = ((-0.00267 * surface + 0.160) * surface - 3.13) * surface + 100.0
        critical = np.where(surface <= 20.0, np.maximum(polynomial, least), least)
        return np.where((surface > 0.0) & (surface < 50.0), critical, np.nan)

    return by_blocks(of_block, surface_temperature, least_humidity)


def weeks_to_mould_index_1(surface_temperature: float, surface_relative_humidity: float) -> float:
    """Return how long first, microscopic growth takes on the most sensitive class in a constant climate.

    Parameters
    ----------
    surface_temperature : float
        Above 0. [degC]
    surface_relative_humidity : float
        Above 0. [%]

    Returns
    -------
    weeks : float
        The time until index 1. [weeks]

    Notes
    -----
    ``tm = exp(-0.68 ln T - 13.9 ln RH + 66.02)``, Hukka and Viitanen 1999, for pine sapwood (the terms for other
    wood and rough surfaces are left out, as in the later classes). Holds only at or above the critical humidity.

    Examples
    --------
    >>> round(weeks_to_mould_index_1(20.0, 97.0), 2)
    1.48
    """
    return math.exp(-0.68 * math.log(surface_temperature) - 13.9 * math.log(surface_relative_humidity) + 66.02)


def mould_index(
    surface_temperature: ArrayLike,
    surface_relative_humidity: ArrayLike,
    sensitivity: Sensitivity,
    decline_coefficient: float,
    state: MouldState = MouldState(),  # noqa: B008  # immutable
) -> MouldHours:
    """Return the mould growth index of one surface after each of some successive hours.

    0 is no growth, 1 first growth under the microscope, 3 the first that the eye sees, 6 the surface covered. It
    tells the risk from the climate the surface had; it does not see mould, nor dirt that feeds it.

    Parameters
    ----------
    surface_temperature : array_like
        Mean of each hour, one after the other; at most 100 years. [degC]
    surface_relative_humidity : array_like
        Mean of each hour at the surface, 0 or more; above 100 counts as 100. [%]
    sensitivity : {"very_sensitive", "sensitive", "medium_resistant", "resistant"}
        The material's class.
    decline_coefficient : float
        How much of timber's decline in dry times the material shows, 0..1; see ``DECLINE_COEFFICIENTS``. [1]
    state : MouldState
        Where the surface stood before the first hour; a clean, dry one by default.

    Returns
    -------
    hours : MouldHours
        With the state after the last hour, from which the next call goes on: the result is the same to the
        bit however the hours are divided into calls. An hour with a NaN leaves the index as it was, and
        counts as a dry one for the decline's clock. [1]

    Raises
    ------
    ValueError
        If the arrays are not one-dimensional and of one length, the class is unknown, or the coefficient is
        outside 0..1.

    Notes
    -----
    In steps of an hour: ``dM/dt = k1 k2 / (7 tm)`` a day, ``k2 = max(1 - exp(2.3 (M - Mmax)), 0)``,
    ``Mmax = A + B x - C x^2``, ``x = (RHcrit - RH) / (RHcrit - 100)`` [1]_ [2]_. Otherwise decline: 0.032 a day
    for 6 h, none until 24 h, then 0.016 a day, times the coefficient. All coefficients from secondary copies.
    Made for building materials in weeks and months of changing climate, not for hours.

    References
    ----------
    .. [1] A. Hukka and H. A. Viitanen, Wood Sci. Technol. 33, 1999, p. 475.
    .. [2] T. Ojanen et al., "Mold growth modeling of building structures using sensitivity classes of
       materials," Buildings XI, ASHRAE, 2010.

    Examples
    --------
    >>> week = mould_index([22.0] * 168, [97.0] * 168, "sensitive", 0.25)
    >>> round(week.state.mould_index, 2)
    0.42
    """
    temperature, humidity = np.asarray(surface_temperature, float), np.asarray(surface_relative_humidity, float)
    if temperature.ndim != 1 or temperature.shape != humidity.shape:
        raise ValueError(
            f"surface_temperature has shape {temperature.shape} and surface_relative_humidity {humidity.shape}: "
            "give two one-dimensional arrays of one length, a value an hour"
        )
    if sensitivity not in GROWTH_CLASSES:
        raise ValueError(f"sensitivity is {sensitivity!r}: give one of {', '.join(GROWTH_CLASSES)}")
    if not 0.0 <= decline_coefficient <= 1.0:
        raise ValueError(f"decline_coefficient is {decline_coefficient}: give a share of timber's decline, 0 to 1")
    material = GROWTH_CLASSES[sensitivity]
    critical = critical_relative_humidity(temperature, material.least_humidity)
    known = ~(np.isnan(temperature) | np.isnan(humidity))
    growing = known & (humidity >= critical)
    after = np.empty(len(temperature))
    hours = zip(*(one.tolist() for one in (temperature, humidity, critical, known, growing)), strict=True)
    index, dry_h = state
    for place, (degrees, damp, least, is_known, grows) in enumerate(hours):
        if grows:
            index += _growth_a_day(material, index, degrees, min(damp, 100.0), least) / _HOURS_PER_DAY
            dry_h = 0
        else:
            if is_known:
                index = max(0.0, index - decline_coefficient * _decline_a_day(dry_h) / _HOURS_PER_DAY)
            dry_h = min(dry_h + 1, HOURS_OF_MEMORY)
        after[place] = index
    return MouldHours(after, growing, MouldState(index, dry_h))


def _growth_a_day(material: GrowthClass, index: float, temperature: float, humidity: float, critical: float) -> float:
    excess = (critical - humidity) / (critical - 100.0) if critical < 100.0 else 1.0
    highest = material.a + material.b * excess - material.c * excess**2
    slowing = max(1.0 - math.exp(2.3 * (index - highest)), 0.0)
    speed = material.slow if index < 1.0 else material.fast
    return speed * slowing / (7.0 * weeks_to_mould_index_1(temperature, humidity))


def _decline_a_day(dry_h: int) -> float:
    if dry_h < _EARLY_HOURS:
        return _EARLY_DECLINE
    return _LATE_DECLINE if dry_h >= HOURS_OF_MEMORY else 0.0
