"""Light by a lux meter, and the give or take of light: of a PPFD and of a light integral."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats
from analytics.light import UMOL_PER_MOL
from analytics.saturation import broadcast

# Lux per umol m-2 s-1: Thimijan and Heins 1983, HortScience 18:818, from secondary copies.
LUX_PER_PPFD = {
    "sunlight": 54.0,
    "cool_white_fluorescent": 74.0,
    "high_pressure_sodium": 82.0,
    "double_ended_high_pressure_sodium": 77.0,
    "metal_halide": 71.0,
    "ceramic_metal_halide_4200k": 65.0,
    "ceramic_metal_halide_3100k": 59.0,
}
LUX_FACTOR_ERROR = 0.08  # share by which published factors of one kind of light differ among sources


def lux_per_ppfd(source: str) -> float:
    """Return the illuminance that goes with one unit of PPFD under a kind of light.

    Parameters
    ----------
    source : str
        A key of ``LUX_PER_PPFD``.

    Returns
    -------
    lux_per_ppfd : float
        [lx per umol m-2 s-1]

    Raises
    ------
    ValueError
        If there is no factor for the light: for red and blue lamps there can be none.

    Notes
    -----
    Thimijan and Heins (1983), from secondary copies. Other sources and spectra of the same kind of lamp differ
    by up to 8 %: carry that with ``ppfd_uncertainty``. White LEDs spread from 53 to 72: measure yours.

    Examples
    --------
    >>> lux_per_ppfd("sunlight")
    54.0
    """
    try:
        return LUX_PER_PPFD[source]
    except KeyError:
        raise ValueError(
            f"there is no lux factor for the source {source!r}: give one of {', '.join(LUX_PER_PPFD)}. A lux meter "
            "hardly sees red and blue light, so for red-blue lamps use a quantum sensor"
        ) from None


def ppfd_uncertainty(ppfd: ArrayLike, accuracy: ArrayLike, factor_error: ArrayLike = 0.0) -> Floats:
    """Return the give or take of a PPFD from its sensor's accuracy and its lux factor's error.

    Parameters
    ----------
    ppfd : array_like
        [umol m-2 s-1]
    accuracy : array_like
        Plus or minus of the sensor. [umol m-2 s-1]
    factor_error : array_like
        Share by which the lux factor may be wrong; 0 for a quantum sensor, ``LUX_FACTOR_ERROR`` for one out
        of a table. [1]

    Returns
    -------
    uncertainty : numpy.ndarray
        NaN where an input is. [umol m-2 s-1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    Independent errors, JCGM 100:2008 eq. 10. Both are the same all day: they do not average out.

    Examples
    --------
    >>> float(ppfd_uncertainty(200.0, 12.0, 0.08))
    20.0
    """
    light, of_sensor, of_factor = broadcast(ppfd, accuracy, factor_error)
    uncertainty: Floats = np.hypot(of_sensor, of_factor * light)
    return uncertainty


def light_integral_uncertainty(mol: float, lit_s: float, accuracy: float, factor_error: float = 0.0) -> float:
    """Return the give or take of a light integral: the sensor's error all through the lit time.

    Parameters
    ----------
    mol : float
        [mol m-2]
    lit_s : float
        For how long it was lit; a sensor's error in the dark is left out. [s]
    accuracy, factor_error : float
        As for ``ppfd_uncertainty``. [umol m-2 s-1], [1]

    Returns
    -------
    uncertainty : float
        NaN where an input is. [mol m-2]

    Examples
    --------
    >>> round(light_integral_uncertainty(14.4, 16 * 3600.0, accuracy=10.0), 3)
    0.576
    """
    return math.hypot(accuracy * lit_s / UMOL_PER_MOL, factor_error * mol)
