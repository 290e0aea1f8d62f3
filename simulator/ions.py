"""The ions of a nutrient solution: what they are, and how well each conducts.

A solution is an array of amounts or concentrations by *total*: all nitrogen in ammonium form, all
phosphorus, all inorganic carbon, whatever protons they carry. Acids and bases need no total of
their own: what is added with them (nitrate, potassium ...) shifts the balance of charges, and pH
follows from that (:mod:`simulator.alkalinity`).

References
----------
.. [1] McCleskey, R. B., Nordstrom, D. K., Ryan, J. N., Ball, J. W., "A new method of calculating
   electrical conductivity with applications to natural waters," Geochimica et Cosmochimica Acta 77,
   2012, table of ionic molal conductivities; from memory, compared with secondary copies. Against
   handbooks at 0.01 equivalents a litre: chlorides within 1 %, nitrates 4 % high, sulphates 4 % low.
.. [2] CRC Handbook of Chemistry and Physics, "Ionic conductivity and diffusion at infinite
   dilution," from memory.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from simulator.compiled import Floats, compiled

NAMES = (
    "nitrate",
    "ammonium",
    "phosphorus",
    "potassium",
    "calcium",
    "magnesium",
    "sulphate",
    "sodium",
    "chloride",
    "carbon",
)
(
    NITRATE,
    AMMONIUM,
    PHOSPHORUS,
    POTASSIUM,
    CALCIUM,
    MAGNESIUM,
    SULPHATE,
    SODIUM,
    CHLORIDE,
    CARBON,
) = range(len(NAMES))
IONS = len(NAMES)

# Grams per mole of each total: NO3, NH4, P as H2PO4, K, Ca, Mg, SO4, Na, Cl, C as HCO3.
MOLAR_MASS = np.array([62.005, 18.039, 96.987, 39.098, 40.078, 24.305, 96.06, 22.990, 35.453, 61.017])
SALTS = IONS - 1  # all but carbon: what "salt" means here

# Conductivity of ions, mS/cm per mol/L: (a T^2 + b T + c) - (d T^2 + e T + f) sqrt(I) / (1 + g sqrt(I)), T in degC [1].
CONDUCTIVITY = np.array(
    [
        [0.001925, 1.214, 39.90, 0.00118, 0.5045, 23.31, 0.1],  # nitrate
        [0.003341, 1.285, 39.04, 0.00132, 0.6070, 11.19, 0.3],  # ammonium
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],  # phosphorus: by species, below
        [0.003046, 1.261, 40.70, 0.00535, 0.9316, 22.59, 1.5],  # potassium
        [0.009645, 1.984, 62.28, 0.03174, 2.334, 132.3, 2.8],  # calcium
        [0.01068, 1.695, 57.16, 0.02453, 1.915, 80.50, 2.1],  # magnesium
        [0.01037, 2.838, 82.37, 0.03324, 5.889, 193.5, 2.6],  # sulphate
        [0.003763, 0.8770, 26.23, 0.00027, 1.141, 32.07, 1.7],  # sodium
        [0.003817, 1.337, 40.99, 0.00613, 0.9469, 22.01, 1.5],  # chloride
        [0.000614, 0.9048, 21.14, -0.00503, 0.8957, 10.97, 0.1],  # hydrogen carbonate
        [-0.000326, 2.998, 64.03, -0.00181, 5.542, 120.2, 2.3],  # carbonate
        [-0.01414, 5.355, 224.2, -0.00918, 1.842, 39.23, 0.3],  # hydrogen
        [0.003396, 2.925, 121.3, 0.00933, 0.1086, 35.9, 0.01],  # hydroxide
    ]
)
_HYDROGEN_CARBONATE, _CARBONATE, _HYDROGEN, _HYDROXIDE = 9, 10, 11, 12
DIHYDROGEN_PHOSPHATE_SHARE = 36.0 / 44.5  # of hydrogen carbonate's conductivity: ratio at infinite dilution [2]
HYDROGEN_PHOSPHATE_SHARE = 114.0 / 160.0  # of sulphate's [2]


@compiled
def ion_conductivity(row: int, temperature: float, root: float) -> float:
    """Return what one mole per litre of an ion conducts [mS/cm]; ``root`` is the square root of ionic strength."""
    c = CONDUCTIVITY
    free = (c[row, 0] * temperature + c[row, 1]) * temperature + c[row, 2]
    held = (c[row, 3] * temperature + c[row, 4]) * temperature + c[row, 5]
    return float(free - held * root / (1.0 + c[row, 6] * root))


@compiled
def conductivity(
    totals: Floats,
    species: tuple[float, float, float, float, float, float, float, float],
    ionic_strength: float,
    temperature: float,
) -> float:
    """Return the conductivity of a solution at a temperature [mS/cm].

    Parameters
    ----------
    totals : numpy.ndarray
        Concentrations by total. [mol/L]
    species : tuple
        What :func:`simulator.alkalinity.species` returns. [mol/L]
    ionic_strength : float
        [mol/L]
    temperature : float
        0 to 50; the solution's own, or 25 for what EC means. [degC]

    Notes
    -----
    Ion pairs such as calcium sulphate are left out: of a full nutrient solution the result is some
    percent too high (estimate, no source).
    """
    root = sqrt(ionic_strength)
    sum_ = 0.0
    for ion in range(IONS - 1):
        if ion not in (AMMONIUM, PHOSPHORUS):
            sum_ += totals[ion] * ion_conductivity(ion, temperature, root)
    ammonium, bicarbonate, carbonate, dihydrogen, hydrogen_phosphate, _, hydrogen, hydroxide = species
    by_bicarbonate = ion_conductivity(_HYDROGEN_CARBONATE, temperature, root)
    sum_ += ammonium * ion_conductivity(AMMONIUM, temperature, root)
    sum_ += (bicarbonate + dihydrogen * DIHYDROGEN_PHOSPHATE_SHARE) * by_bicarbonate
    sum_ += carbonate * ion_conductivity(_CARBONATE, temperature, root)
    sum_ += hydrogen_phosphate * HYDROGEN_PHOSPHATE_SHARE * ion_conductivity(SULPHATE, temperature, root)
    sum_ += hydrogen * ion_conductivity(_HYDROGEN, temperature, root)
    sum_ += hydroxide * ion_conductivity(_HYDROXIDE, temperature, root)
    return float(sum_)
