"""Saturation vapour pressure over water and ice, and its exact inverse: the one pair all else rests on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Phase = Literal["auto", "water", "ice"]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ZERO_CELSIUS_K = 273.15  # exact, by definition
TRIPLE_POINT = 0.01  # degC; where the formulas over ice and over water meet
PA_PER_KPA = 1000.0

_BLOCK = 32_768  # values worked on at once, so that intermediates stay in the processor's cache
_NEWTON_STEPS = 12  # two are usual; twelve reach the ends of the range from any guess
_CLOSE_ENOUGH_K = 1e-4  # Newton's error falls with its square: a step this small leaves under 1e-9 K


class Curve(NamedTuple):
    """ln(pressure in Pa) = c0/T + c1 + c2 T + c3 T^2 + c4 T^3 + c5 T^4 + c6 ln T, T in K, with its range in degC.

    ``magnus`` are two constants of a Magnus formula that gives the inverse its first guess.
    """

    coefficients: tuple[float, ...]
    lowest: float
    highest: float
    magnus: tuple[float, float]


# ASHRAE Handbook Fundamentals (2017) ch. 1, eq. 6 (after Hyland and Wexler 1983), 0..200 degC. Below
# 0 degC it is continued over supercooled water; see the notes of saturation_vapour_pressure.
WATER = Curve(
    (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),
    -80.0, 200.0, (17.62, 243.12),
)  # fmt: skip
# The same, eq. 5, -100..0 degC.
ICE = Curve(
    (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),
    -100.0, TRIPLE_POINT, (22.46, 272.62),
)  # fmt: skip


def curve_log_pressure(curve: Curve, temperature: Floats) -> Floats:
    """Return ln(saturation pressure in Pa) on one curve; NaN outside its range."""
    c0, c1, c2, c3, c4, c5, c6 = curve.coefficients
    inside = (temperature >= curve.lowest) & (temperature <= curve.highest)
    kelvin = np.where(inside, temperature + ZERO_CELSIUS_K, np.nan)
    total = kelvin * c5 + c4 if c5 else np.full_like(kelvin, c4)
    for coefficient in (c3, c2, c1):
        total *= kelvin
        total += coefficient
    total += c0 / kelvin
    total += c6 * np.log(kelvin)
    return total


def curve_log_slope(curve: Curve, temperature: Floats) -> Floats:
    """Return the derivative of ln(saturation pressure) by temperature. [1/K]."""
    c0, _, c2, c3, c4, c5, c6 = curve.coefficients
    kelvin = temperature + ZERO_CELSIUS_K
    total = kelvin * (4.0 * c5) + 3.0 * c4 if c5 else np.full_like(kelvin, 3.0 * c4)
    for coefficient in (2.0 * c3, c2):
        total *= kelvin
        total += coefficient
    return total + (c6 - c0 / kelvin) / kelvin


def _invert(curve: Curve, log_pressure: Floats) -> Floats:
    """Return the temperature at which a curve has this ln(pressure in Pa); NaN outside its range."""
    scale, offset = curve.magnus
    gamma = log_pressure - np.log(611.2)
    temperature = np.clip(offset * gamma / (scale - gamma), curve.lowest, curve.highest)
    for _ in range(_NEWTON_STEPS):
        step = (log_pressure - curve_log_pressure(curve, temperature)) / curve_log_slope(curve, temperature)
        temperature = np.clip(temperature + step, curve.lowest, curve.highest)
        if not np.any(np.abs(step) > _CLOSE_ENOUGH_K):
            break
    low, high = curve_log_pressure(curve, np.array([curve.lowest, curve.highest]))
    return np.where((log_pressure >= low) & (log_pressure <= high), temperature, np.nan)


_LOG_PRESSURE_AT_TRIPLE_POINT = float(curve_log_pressure(ICE, np.array(TRIPLE_POINT)))


def _on_curves(function: Callable[[Curve, Floats], Floats], phase: Phase, frozen: Bools, values: Floats) -> Floats:
    """Return ``function`` of the values on the curve that ``phase`` asks for: in "auto", ice where ``frozen``."""
    if phase != "auto":
        return function(ICE if phase == "ice" else WATER, values)
    if not frozen.any():
        return function(WATER, values)
    result = np.empty_like(values)
    result[frozen] = function(ICE, values[frozen])
    result[~frozen] = function(WATER, values[~frozen])
    return result


def log_saturation(temperature: Floats, phase: Phase) -> Floats:
    """Return ln(saturation vapour pressure in Pa); the building block for ``by_blocks``."""
    return _on_curves(curve_log_pressure, phase, temperature <= TRIPLE_POINT, temperature)


def log_saturation_inverse(log_pressure: Floats, phase: Phase) -> Floats:
    """Return the temperature whose ``log_saturation`` this is. [degC]."""
    frozen = log_pressure <= _LOG_PRESSURE_AT_TRIPLE_POINT
    return _on_curves(_invert, phase, frozen, log_pressure)


def by_blocks(function: Callable[..., Floats], *inputs: ArrayLike) -> Floats:
    """Return ``function`` of the broadcast inputs, worked out block by block.

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.
    """
    arrays = broadcast(*inputs)
    result = np.empty(arrays[0].shape)
    flat = [array.reshape(-1) for array in arrays]
    into = result.reshape(-1)
    with np.errstate(all="ignore"):
        for start in range(0, into.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            into[part] = function(*(array[part] for array in flat))
    return result


def broadcast(*inputs: ArrayLike) -> tuple[Floats, ...]:
    """Return the inputs as float arrays of one shape.

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.
    """
    arrays = [np.asarray(one, dtype=float) for one in inputs]
    try:
        return tuple(np.broadcast_arrays(*arrays))
    except ValueError as error:
        shapes = ", ".join(str(array.shape) for array in arrays)
        raise ValueError(
            f"the inputs have shapes {shapes}, which do not broadcast to one shape: "
            "give arrays of equal length, or scalars"
        ) from error


def check_phase(phase: str) -> None:
    """Raise ValueError unless ``phase`` is one we know."""
    if phase not in ("auto", "water", "ice"):
        raise ValueError(f"phase is {phase!r}: give 'auto' (ice below 0.01 degC), 'water' or 'ice'")


def saturation_vapour_pressure(temperature: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the vapour pressure of air that is saturated at a temperature.

    Parameters
    ----------
    temperature : array_like
        Temperature. [degC]
    phase : {"auto", "water", "ice"}
        What the vapour is in balance with. "auto": ice up to the triple point (0.01 degC), liquid
        water above. "water": liquid water at any temperature, supercooled below 0 degC, as weather
        services and most humidity sensors count relative humidity. "ice": ice.

    Returns
    -------
    saturation_vapour_pressure : numpy.ndarray
        NaN where the temperature is NaN or outside the range: -100..200 degC for "auto", -80..200 for
        "water", -100..0.01 for "ice". [kPa]

    Raises
    ------
    ValueError
        If ``phase`` is unknown.

    Notes
    -----
    ``ln p = c0/T + c1 + c2 T + c3 T^2 + c4 T^3 + c5 T^4 + c6 ln T`` with p in Pa and T in K: eq. 5 over
    ice, eq. 6 over water [1]_, which fit Hyland and Wexler [2]_. The change is at the triple point and
    not at 0 degC: there the two agree to 6e-9, so that the inverse is unique.

    The source gives eq. 6 for 0..200 degC. For "water" we continue it below 0 degC. It then lies within
    0.1 % at -20, 0.8 % at -40 and 5 % at -60 degC of Murphy and Koop [3]_ (their eq. 10, 123..332 K),
    and within 0.4 % of Sonntag's formula [4]_ down to -80 degC.

    See Also
    --------
    saturation_temperature : The inverse.

    References
    ----------
    .. [1] ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 5 and 6.
    .. [2] R. W. Hyland and A. Wexler, "Formulations for the thermodynamic properties of the saturated
       phases of H2O from 173.15 K to 473.15 K," ASHRAE Trans. 89(2A), 1983.
    .. [3] D. M. Murphy and T. Koop, "Review of the vapour pressures of ice and supercooled water for
       atmospheric applications," Q. J. R. Meteorol. Soc. 131, 2005, doi:10.1256/qj.04.94.
    .. [4] D. Sonntag, "Advancements in the field of hygrometry," Meteorol. Z. 3, 1994.

    Examples
    --------
    >>> saturation_vapour_pressure([-20.0, 20.0]).round(3).tolist()
    [0.103, 2.339]
    """
    check_phase(phase)
    return by_blocks(lambda block: np.exp(log_saturation(block, phase)) / PA_PER_KPA, temperature)


def saturation_temperature(vapour_pressure: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the temperature at which air of a vapour pressure is saturated: its dew or frost point.

    Parameters
    ----------
    vapour_pressure : array_like
        Partial pressure of water vapour, above 0. [kPa]
    phase : {"auto", "water", "ice"}
        As for ``saturation_vapour_pressure``. With "auto" a result below 0.01 degC is a frost point.

    Returns
    -------
    temperature : numpy.ndarray
        NaN where the pressure is NaN, not positive, or beyond the formula's range. [degC]

    Raises
    ------
    ValueError
        If ``phase`` is unknown.

    Notes
    -----
    Newton's method on ln p against temperature, from a Magnus guess, to 1e-9 K. It inverts our own
    formula, not an approximation of it, so a round trip gives back what went in.

    See Also
    --------
    saturation_vapour_pressure : The inverse.

    Examples
    --------
    >>> float(saturation_temperature(saturation_vapour_pressure(12.5)).round(9))
    12.5
    """
    check_phase(phase)
    return by_blocks(lambda block: log_saturation_inverse(np.log(block * PA_PER_KPA), phase), vapour_pressure)


def log_saturation_slope(temperature: ArrayLike, phase: Phase = "auto") -> Floats:
    """Return the relative rise of saturation vapour pressure per kelvin, d(ln p)/dT.

    Parameters
    ----------
    temperature : array_like
        Temperature. [degC]
    phase : {"auto", "water", "ice"}
        As for ``saturation_vapour_pressure``.

    Returns
    -------
    slope : numpy.ndarray
        NaN where the temperature is NaN. [1/K]

    Examples
    --------
    >>> float(log_saturation_slope(20.0).round(4))
    0.0619
    """
    check_phase(phase)
    return by_blocks(lambda block: _on_curves(curve_log_slope, phase, block <= TRIPLE_POINT, block), temperature)
