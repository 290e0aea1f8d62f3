"""The give or take of dew point and vapour pressure deficits, from the accuracies of their sensors."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import dew_point_temperature, share_of_saturation
from analytics.saturation import (
    PA_PER_KPA,
    Floats,
    Phase,
    by_blocks,
    check_phase,
    log_saturation,
    log_saturation_slope,
)


def dew_point_temperature_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
    phase: Phase = "auto",
) -> Floats:
    """Return the give or take of a dew point.

    Parameters
    ----------
    air_temperature, relative_humidity : array_like
        As for ``dew_point_temperature``. [degC], [%]
    air_temperature_accuracy, relative_humidity_accuracy : array_like
        Plus or minus, both at the same confidence. [K], [% RH]
    phase : {"auto", "water", "ice"}
        As for ``dew_point_temperature``.

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where the dew point is. [K]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    First-order propagation of independent errors, JCGM 100:2008 (GUM), 5.1.2, eq. 10 [1]_, with
    s = d(ln es)/dT: ``dTd/dT = s(T)/s(Td)`` and ``dTd/dRH = 1/(RH s(Td))``. In very dry air (RH not large against its
    accuracy) the dew point is no longer close to a straight line and the true spread is larger downward.

    See Also
    --------
    condensation_margin_uncertainty : That of a surface's distance from the dew point.

    References
    ----------
    .. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement."

    Examples
    --------
    >>> float(dew_point_temperature_uncertainty(24.0, 65.0, 0.3, 2.0).round(2))
    0.56
    """
    check_phase(phase)

    def of_block(air: Floats, humidity: Floats, of_air: Floats, of_humidity: Floats) -> Floats:
        at_dew_point = log_saturation_slope(dew_point_temperature(air, humidity, phase), phase)
        by_air = log_saturation_slope(air, phase) / at_dew_point * of_air
        by_humidity = of_humidity / (100.0 * share_of_saturation(humidity) * at_dew_point)
        return np.hypot(by_air, by_humidity)

    return by_blocks(of_block, air_temperature, relative_humidity, air_temperature_accuracy, relative_humidity_accuracy)


def air_vapour_pressure_deficit_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
    phase: Phase = "auto",
) -> Floats:
    """Return the give or take of the air's vapour pressure deficit.

    Parameters
    ----------
    air_temperature, relative_humidity : array_like
        As for ``air_vapour_pressure_deficit``. [degC], [%]
    air_temperature_accuracy, relative_humidity_accuracy : array_like
        Plus or minus, both at the same confidence. [K], [% RH]
    phase : {"auto", "water", "ice"}
        As for ``air_vapour_pressure_deficit``.

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where the deficit is. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    JCGM 100:2008, 5.1.2, eq. 10, independent errors: ``dD/dT = (1 - RH/100) s(T) es(T)`` and
    ``dD/dRH = -es(T)/100``, s = d(ln es)/dT.

    Examples
    --------
    >>> float(air_vapour_pressure_deficit_uncertainty(24.0, 65.0, 0.3, 2.0).round(3))
    0.063
    """
    check_phase(phase)

    def of_block(air: Floats, humidity: Floats, of_air: Floats, of_humidity: Floats) -> Floats:
        saturated = np.exp(log_saturation(air, phase)) / PA_PER_KPA
        by_air = (1.0 - share_of_saturation(humidity)) * log_saturation_slope(air, phase) * saturated * of_air
        return np.hypot(by_air, saturated / 100.0 * of_humidity)

    return by_blocks(of_block, air_temperature, relative_humidity, air_temperature_accuracy, relative_humidity_accuracy)


def leaf_vapour_pressure_deficit_uncertainty(
    air_temperature: ArrayLike,
    relative_humidity: ArrayLike,
    leaf_temperature: ArrayLike,
    air_temperature_accuracy: ArrayLike,
    relative_humidity_accuracy: ArrayLike,
    leaf_temperature_accuracy: ArrayLike,
    shared_with_air: ArrayLike = 0.0,
) -> Floats:
    """Return the give or take of a leaf's vapour pressure deficit.

    Parameters
    ----------
    air_temperature, relative_humidity, leaf_temperature : array_like
        As for ``leaf_vapour_pressure_deficit``. [degC], [%], [degC]
    air_temperature_accuracy, relative_humidity_accuracy : array_like
        Plus or minus, all at the same confidence. [K], [% RH]
    leaf_temperature_accuracy : array_like
        Plus or minus of the leaf's temperature, without what it shares with the air sensor. [K]
    shared_with_air : array_like
        How much of the air sensor's error the leaf temperature holds: 0 for a sensor of its own, 1 for air
        temperature plus a stated offset. [1]

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where the deficit is. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    JCGM 100:2008, 5.2.2, in the form of independent errors: the leaf's error is ``shared_with_air`` times the
    air sensor's, plus its own. ``dD/dTl = s(Tl) es(Tl)``, ``dD/dT = shared dD/dTl - RH/100 s(T) es(T)``,
    ``dD/dRH = -es(T)/100``.

    Examples
    --------
    >>> float(leaf_vapour_pressure_deficit_uncertainty(25.0, 60.0, 23.0, 0.3, 2.0, 0.5).round(3))
    0.111
    """

    def of_block(*arrays: Floats) -> Floats:
        air, humidity, leaf, of_air, of_humidity, of_leaf, shared = arrays
        in_air = np.exp(log_saturation(air, "auto")) / PA_PER_KPA
        rise = log_saturation_slope(leaf) * np.exp(log_saturation(leaf, "auto")) / PA_PER_KPA
        by_air = (shared * rise - share_of_saturation(humidity) * log_saturation_slope(air) * in_air) * of_air
        return np.sqrt(by_air**2 + (in_air / 100.0 * of_humidity) ** 2 + (rise * of_leaf) ** 2)

    return by_blocks(
        of_block,
        air_temperature,
        relative_humidity,
        leaf_temperature,
        air_temperature_accuracy,
        relative_humidity_accuracy,
        leaf_temperature_accuracy,
        shared_with_air,
    )
