"""What a pH electrode is held to: the pH of buffers at their temperature, and the ideal slope."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.saturation import ZERO_CELSIUS_K, Floats

GAS_CONSTANT = 8.314462618  # J/(mol K), exact since 2019 (CODATA 2018)
FARADAY = 96_485.33212  # C/mol, exact since 2019 (CODATA 2018)
MV_PER_V = 1000.0

# pH by temperature, degC, of buffers by the name on the bottle (their pH at 25 degC).
# 4.00, 7.00, 10.01: technical buffers, as tables of such buffers print them; makers differ by 0.02.
# 6.86 (equimolal phosphate) and 9.18 (borax): the NIST scale's primary standards, three decimals from memory.
BUFFERS: dict[float, tuple[tuple[float, float], ...]] = {
    4.00: ((0, 4.00), (25, 4.00), (30, 4.01), (40, 4.03)),
    6.86: (
        (0, 6.984), (5, 6.951), (10, 6.923), (15, 6.900), (20, 6.881), (25, 6.865), (30, 6.853), (40, 6.838),
    ),
    7.00: ((0, 7.12), (10, 7.06), (15, 7.04), (20, 7.02), (25, 7.00), (30, 6.99), (40, 6.98)),
    9.18: (
        (0, 9.464), (5, 9.395), (10, 9.332), (15, 9.276), (20, 9.225), (25, 9.180), (30, 9.139), (40, 9.068),
    ),
    10.01: ((0, 10.32), (10, 10.18), (20, 10.06), (25, 10.01), (30, 9.97), (40, 9.89)),
}  # fmt: skip
PHTHALATE = 4.01  # the name of the buffer that khp_ph describes
NAMES = (*BUFFERS, PHTHALATE)


def nernst_slope(temperature: ArrayLike) -> Floats:
    """Return by how much an ideal pH electrode's voltage falls when the pH rises by one.

    Parameters
    ----------
    temperature : array_like
        Temperature of the solution. [degC]

    Returns
    -------
    slope : numpy.ndarray
        NaN where the input is NaN or not above absolute zero. [mV/pH]

    Notes
    -----
    ``ln(10) R T / F``, the Nernst equation for one elementary charge; CODATA 2018 constants.

    Examples
    --------
    >>> float(nernst_slope(25.0).round(3))
    59.159
    """
    kelvin = np.asarray(temperature, dtype=float) + ZERO_CELSIUS_K
    slope: Floats = MV_PER_V * np.log(10.0) * GAS_CONSTANT / FARADAY * np.where(kelvin > 0.0, kelvin, np.nan)
    return slope


def khp_ph(temperature: ArrayLike) -> Floats:
    """Return the pH of the 4.01 buffer, 0.05 mol/kg of potassium hydrogen phthalate.

    Parameters
    ----------
    temperature : array_like
        Temperature of the buffer, 0-60. [degC]

    Returns
    -------
    ph : numpy.ndarray
        NaN where the input is NaN or out of range. [pH]

    Notes
    -----
    ``2073.44/T - 13.3270 + 0.045199 T - 3.4846e-5 T^2`` with T in K, valid 0-60 degC. Older scales put it
    0.001 pH lower at 25 degC (4.005); bottles say 4.00 or 4.01.

    References
    ----------
    .. [1] H. B. Hetzer, R. A. Durst, R. A. Robinson and R. G. Bates, "Standard pH values for the potassium hydrogen
       phthalate reference buffer solution from 0 to 60 °C," J. Res. Natl. Bur. Stand. 81A, 1977 (its abstract has the
       equation), doi:10.6028/jres.081A.005.

    Examples
    --------
    >>> float(khp_ph(25.0).round(3))
    4.006
    """
    celsius = np.asarray(temperature, dtype=float)
    kelvin = np.where((celsius >= 0.0) & (celsius <= 60.0), celsius, np.nan) + ZERO_CELSIUS_K
    ph: Floats = 2073.44 / kelvin - 13.3270 + 0.045199 * kelvin - 3.4846e-5 * kelvin**2
    return ph


def buffer_ph(buffer: float, temperature: ArrayLike) -> Floats:
    """Return the pH that a calibration buffer has at its temperature.

    Parameters
    ----------
    buffer : float
        Its name: the pH on the bottle, at 25 degC: 4.00, 4.01, 6.86, 7.00, 9.18 or 10.01. [pH]
    temperature : array_like
        Temperature of the buffer, 0-40. [degC]

    Returns
    -------
    ph : numpy.ndarray
        NaN where the temperature is NaN or out of range. [pH]

    Raises
    ------
    ValueError
        If ``buffer`` is none of these.

    Notes
    -----
    Straight lines between the rows of ``BUFFERS``; 4.01 by ``khp_ph``. Good to 0.02 pH: where the bottle
    prints a table of its own, that one counts.

    Examples
    --------
    >>> float(buffer_ph(7.00, 20.0))
    7.02
    """
    celsius = np.asarray(temperature, dtype=float)
    celsius = np.where((celsius >= 0.0) & (celsius <= 40.0), celsius, np.nan)
    if buffer == PHTHALATE:
        return khp_ph(celsius)
    if buffer not in BUFFERS:
        known = ", ".join(f"{name:.2f}" for name in sorted(NAMES))
        raise ValueError(f"there is no table for a buffer of pH {buffer}: give one of {known}")
    at, ph = zip(*BUFFERS[buffer], strict=True)
    return np.asarray(np.interp(celsius, at, ph))
