"""Condensation: how cold a wall's inner face is, and how far above the dew point of the air beside it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import dew_point_temperature, share_of_saturation, vapour_pressure
from analytics.saturation import (
    Floats,
    Phase,
    broadcast,
    by_blocks,
    check_phase,
    log_saturation_slope,
    saturation_temperature,
)

# Surface film resistances, m2 K/W: ISO 6946:2017 table 7 (upward and downward from memory).
INTERNAL_FILMS = {"horizontal": 0.13, "upward": 0.10, "downward": 0.17}
EXTERNAL_FILM = 0.04


def surface_film_resistance(heat_flow: str) -> float:
    """Return the thermal resistance of the still air on a surface's warm side.

    Parameters
    ----------
    heat_flow : {"horizontal", "upward", "downward"}
        Which way heat leaves: horizontal through a wall, upward through a roof, downward through a floor.

    Returns
    -------
    internal_film : float
        [m2 K/W]

    Raises
    ------
    ValueError
        If ``heat_flow`` is unknown.

    Notes
    -----
    ISO 6946:2017, table 7; "upward" and "downward" from memory. They are for a bare surface in a room.
    Behind plants, shelves or in a corner less heat reaches the wall: ISO 13788 assesses mould with
    0.25 m2 K/W (from memory), the careful choice there. A fan that blows on the wall lowers the figure.

    Examples
    --------
    >>> surface_film_resistance("horizontal")
    0.13
    """
    try:
        return INTERNAL_FILMS[heat_flow]
    except KeyError:
        raise ValueError(f"heat_flow is {heat_flow!r}: give one of {', '.join(INTERNAL_FILMS)}") from None


def r_value_from_u_value(
    u_value_w_m2k: ArrayLike, internal_film_m2k_w: ArrayLike, external_film_m2k_w: ArrayLike = EXTERNAL_FILM
) -> Floats:
    """Return a wall's resistance without its surface films from its transmittance with them.

    Parameters
    ----------
    u_value_w_m2k : array_like
        Thermal transmittance. [W/(m2 K)]
    internal_film_m2k_w, external_film_m2k_w : array_like
        The film resistances that the transmittance was stated with. [m2 K/W]

    Returns
    -------
    r_value : numpy.ndarray
        NaN where an input is NaN, or the transmittance is more than the films alone let through. [m2 K/W]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``R = 1/U - Rsi - Rse``, ISO 6946. To assess a surface with another film, go through R: ``1 - U Rsi'``
    with a U that holds the old film is inconsistent.

    Examples
    --------
    >>> float(r_value_from_u_value(0.5, 0.13).round(2))
    1.83
    """
    u_value, internal, external = broadcast(u_value_w_m2k, internal_film_m2k_w, external_film_m2k_w)
    total = 1.0 / np.where(u_value > 0.0, u_value, np.nan)
    r_value = total - internal - external
    return np.where(r_value >= 0.0, r_value, np.nan)


def temperature_factor(
    r_value_m2k_w: ArrayLike, internal_film_m2k_w: ArrayLike, external_film_m2k_w: ArrayLike = EXTERNAL_FILM
) -> Floats:
    """Return how much of the indoor-outdoor difference a wall's inner face keeps: 1 is as warm as the air.

    Parameters
    ----------
    r_value_m2k_w : array_like
        Thermal resistance without surface films, 0 or more. [m2 K/W]
    internal_film_m2k_w, external_film_m2k_w : array_like
        Film resistances. [m2 K/W]

    Returns
    -------
    temperature_factor : numpy.ndarray
        fRsi, 0..1; NaN where an input is NaN or negative, or all are 0. [1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``f = 1 - Rsi / (Rsi + R + Rse)``: ISO 13788's temperature factor for steady, one-dimensional heat
    flow. A steel frame or a corner (a thermal bridge) is colder: measure it with a probe there.

    See Also
    --------
    temperature_factor_from_temperatures : The same from measurement.

    Examples
    --------
    >>> float(temperature_factor(3.8744, 0.13).round(3))
    0.968
    """
    wall, internal, external = broadcast(r_value_m2k_w, internal_film_m2k_w, external_film_m2k_w)
    total = internal + wall + external
    sound = (wall >= 0.0) & (internal >= 0.0) & (external >= 0.0) & (total > 0.0)
    return 1.0 - internal / np.where(sound, total, np.nan)


def temperature_factor_from_temperatures(
    surface_temperature: ArrayLike, inside_temperature: ArrayLike, outside_temperature: ArrayLike
) -> Floats:
    """Return the temperature factor that three temperatures show.

    From a surface probe it is the wall as built; from the dew point it is the factor a wall needs.

    Parameters
    ----------
    surface_temperature, inside_temperature, outside_temperature : array_like
        Inner face, indoor air, outdoor air, after some hours of steady conditions. [degC]

    Returns
    -------
    temperature_factor : numpy.ndarray
        NaN where an input is NaN or indoors is as warm as outdoors. [1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``f = (Tsi - Te) / (Ti - Te)``, ISO 13788. Its error grows as indoors and outdoors draw level.

    Examples
    --------
    >>> float(temperature_factor_from_temperatures(12.6, 20.0, -5.0).round(3))
    0.704
    """
    surface, inside, outside = broadcast(surface_temperature, inside_temperature, outside_temperature)
    difference = inside - outside
    return (surface - outside) / np.where(difference != 0.0, difference, np.nan)


def wall_surface_temperature(
    inside_temperature: ArrayLike,
    outside_temperature: ArrayLike,
    r_value_m2k_w: ArrayLike,
    internal_film_m2k_w: ArrayLike,
    external_film_m2k_w: ArrayLike = EXTERNAL_FILM,
) -> Floats:
    """Return the temperature of a wall's inner face.

    Parameters
    ----------
    inside_temperature, outside_temperature : array_like
        Air temperatures on both sides. [degC]
    r_value_m2k_w, internal_film_m2k_w, external_film_m2k_w : array_like
        As for ``temperature_factor``. [m2 K/W]

    Returns
    -------
    surface_temperature : numpy.ndarray
        NaN where an input is NaN or a resistance is negative. [degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``Tsi = Te + f (Ti - Te)``, ISO 13788. Steady state: a heavy wall lags the outdoor air by hours.

    Examples
    --------
    >>> float(wall_surface_temperature(22.0, -40.0, 3.8744, 0.13).round(1))
    20.0
    """
    factor = temperature_factor(r_value_m2k_w, internal_film_m2k_w, external_film_m2k_w)
    return surface_temperature_by_factor(inside_temperature, outside_temperature, factor)


def surface_temperature_by_factor(
    inside_temperature: ArrayLike, outside_temperature: ArrayLike, factor: ArrayLike
) -> Floats:
    """Return the temperature of an inner face whose temperature factor is known: a thermal bridge, or as measured.

    Parameters
    ----------
    inside_temperature, outside_temperature : array_like
        Air temperatures on both sides. [degC]
    factor : array_like
        The temperature factor: 1 is as warm as the indoor air, 0 as cold as outdoors. [1]

    Returns
    -------
    surface_temperature : numpy.ndarray
        NaN where an input is NaN. [degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``Tsi = Te + f (Ti - Te)``, ISO 13788.

    See Also
    --------
    temperature_factor_from_temperatures : The inverse.

    Examples
    --------
    >>> float(surface_temperature_by_factor(22.0, -40.0, 0.75))
    6.5
    """
    inside, outside, share = broadcast(inside_temperature, outside_temperature, factor)
    return outside + share * (inside - outside)


def condensation_margin(
    surface_temperature: ArrayLike,
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    phase: Phase = "auto",
) -> Floats:
    """Return how far a surface sits above the dew point of the air beside it.

    Zero or below means water condenses on the surface (a leaf, a wall panel, a coil), or hoar forms.

    Parameters
    ----------
    surface_temperature : array_like
        Temperature of the surface. [degC]
    air_temperature : array_like
        Dry-bulb temperature of the air. [degC]
    relative_humidity : array_like
        Relative humidity; 100..105 counts as 100 (see ``vapour_pressure``). [%]
    phase : {"auto", "water", "ice"}
        What 100 % means below 0 degC; see ``vapour_pressure``. What forms on a surface below 0.01 degC is
        taken as hoar whatever the sensor counts over.

    Returns
    -------
    condensation_margin : numpy.ndarray
        In the broadcast shape; NaN where an input is NaN or the dew point is undefined. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    See Also
    --------
    condensation_margin_uncertainty : Its give or take; never quote the one without the other.

    Examples
    --------
    >>> float(condensation_margin(19.0, 24.0, 65.0).round(1))
    2.0
    """
    surface, air, humidity = broadcast(surface_temperature, air_temperature, relative_humidity)
    return surface - condensation_temperature(air, humidity, phase)


def condensation_temperature(air_temperature: ArrayLike, relative_humidity: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the temperature at which water or hoar forms on a surface in the air.

    Parameters
    ----------
    air_temperature, relative_humidity, phase
        As for ``condensation_margin``. [degC], [%]

    Returns
    -------
    condensation_temperature : numpy.ndarray
        The dew point, or below 0.01 degC the frost point of the vapour there is. That may lie above the air's own
        temperature where a sensor counts over water: hoar then grows in the open. [degC]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Examples
    --------
    >>> float(condensation_temperature(24.0, 65.0).round(2))
    17.02
    """
    if phase == "water":
        return saturation_temperature(vapour_pressure(air_temperature, relative_humidity, "water"))
    return dew_point_temperature(air_temperature, relative_humidity, phase)


def condensation_margin_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
    surface_temperature_accuracy: ArrayLike,
    shared_with_air: ArrayLike = 0.0,
    phase: Phase = "auto",
) -> Floats:
    """Return the give or take of a condensation margin from the accuracies of its sensors.

    Parameters
    ----------
    air_temperature, relative_humidity : array_like
        As for ``condensation_margin``. [degC], [%]
    air_temperature_accuracy, relative_humidity_accuracy : array_like
        Plus or minus, all at the same confidence. [K], [% RH]
    surface_temperature_accuracy : array_like
        Plus or minus of the surface's temperature, without what it shares with the air sensor: for a wall
        worked out by ``wall_surface_temperature``, (1 - f) times the outdoor sensor's accuracy. [K]
    shared_with_air : array_like
        How much of the air sensor's error the surface's temperature holds: 0 for a probe; for a wall worked
        out from the same air sensor, its temperature factor f. [1]
    phase : {"auto", "water", "ice"}
        As for ``condensation_margin``.

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where an input is NaN or the dew point is undefined. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    First-order propagation, JCGM 100:2008 (GUM) [1]_, eq. 10 for independent errors; a wall worked out from the
    same air sensor shares its error (5.2), which is written as what is left of it, so that the terms are
    independent again: ``Tsi = f Ti + (1 - f) Te`` gives ``dM/dTi = f - s(Ti)/s(Td)``, ``dM/dTe = 1 - f``,
    ``dM/dRH = -1/(RH s(Td))``, with s = d(ln es)/dT. The wall's own resistance is taken as exact.

    References
    ----------
    .. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement," 5.1.2 and 5.2.

    Examples
    --------
    >>> float(condensation_margin_uncertainty(24.0, 85.0, 0.3, 2.0, 0.3).round(1))
    0.6
    >>> float(condensation_margin_uncertainty(24.0, 85.0, 0.3, 2.0, 0.03 * 0.3, shared_with_air=0.97).round(1))
    0.4
    """
    check_phase(phase)

    def of_block(*arrays: Floats) -> Floats:
        air, humidity, of_air, of_humidity, of_surface, shared = arrays
        at_dew_point = log_saturation_slope(
            condensation_temperature(air, humidity, phase), "ice" if phase == "ice" else "auto"
        )
        by_air = (shared - log_saturation_slope(air, phase) / at_dew_point) * of_air
        by_humidity = of_humidity / (100.0 * share_of_saturation(humidity) * at_dew_point)
        return np.sqrt(by_air**2 + by_humidity**2 + of_surface**2)

    return by_blocks(
        of_block,
        air_temperature,
        relative_humidity,
        air_temperature_accuracy,
        relative_humidity_accuracy,
        surface_temperature_accuracy,
        shared_with_air,
    )
