"""Vapour pressure deficit: how strongly air draws water from a leaf."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.humidity import share_of_saturation, vapour_pressure
from analytics.saturation import (
    PA_PER_KPA,
    Floats,
    Phase,
    broadcast,
    by_blocks,
    check_phase,
    log_saturation,
    saturation_vapour_pressure,
)


def air_vapour_pressure_deficit(
    air_temperature: ArrayLike, relative_humidity: ArrayLike, phase: Phase = "auto"
) -> Floats:
    """Return how much more water vapour the air could hold before it is saturated.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature. [degC]
    relative_humidity : array_like
        Relative humidity; 100..105 counts as 100 (see ``vapour_pressure``). [%]
    phase : {"auto", "water", "ice"}
        What 100 % means below 0 degC; see ``vapour_pressure``.

    Returns
    -------
    air_vapour_pressure_deficit : numpy.ndarray
        In the broadcast shape, never negative; NaN where an input is NaN or out of range. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``phase`` is unknown.

    Notes
    -----
    ``es(Ta) (1 - RH/100)`` [1]_, at one moment: a mean of deficits is not the deficit
    at mean temperature.

    See Also
    --------
    leaf_vapour_pressure_deficit : What the leaf itself meets.

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration," FAO Irrigation and Drainage Paper 56, 1998, ch. 3.

    Examples
    --------
    >>> float(air_vapour_pressure_deficit(24.0, 65.0).round(2))
    1.04
    """
    check_phase(phase)
    return by_blocks(
        lambda air, humidity: np.exp(log_saturation(air, phase)) / PA_PER_KPA * (1.0 - share_of_saturation(humidity)),
        air_temperature,
        relative_humidity,
    )


def leaf_vapour_pressure_deficit(
    air_temperature: ArrayLike, relative_humidity: ArrayLike, leaf_temperature: ArrayLike
) -> Floats:
    """Return the vapour pressure inside a leaf less that of the air around it.

    The air in a leaf's pores is taken as saturated at leaf temperature, which a lit, transpiring leaf
    keeps below the air's. Negative means the leaf is below the dew point: water condenses on it.

    Parameters
    ----------
    air_temperature : array_like
        Dry-bulb temperature of the air near the leaf. [degC]
    relative_humidity : array_like
        Relative humidity of that air; 100..105 counts as 100 (see ``vapour_pressure``). [%]
    leaf_temperature : array_like
        Temperature of the leaf. [degC]

    Returns
    -------
    leaf_vapour_pressure_deficit : numpy.ndarray
        In the broadcast shape; NaN where an input is NaN or out of range. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``es(Tleaf) - RH/100 es(Tair)``. The leaf's water potential lowers its vapour pressure by about 1 %
    per 1.4 MPa of tension (Kelvin's equation), which is left out as usual.

    See Also
    --------
    air_vapour_pressure_deficit : The air's own.

    Examples
    --------
    >>> float(leaf_vapour_pressure_deficit(25.0, 60.0, 23.0).round(2))
    0.91
    """
    air, humidity, leaf = broadcast(air_temperature, relative_humidity, leaf_temperature)
    return saturation_vapour_pressure(leaf) - vapour_pressure(air, humidity)
