"""Stands of leafy crop: how much they transpire, take up CO2, and keep as growth.

Transpiration follows the big-leaf energy balance for lettuce under lamps of Graamans et al. [1]_
(a Penman-Monteith form): the leaf takes in lamp light, gives sensible heat through the
boundary-layer resistance, and vapour through the stomatal and boundary-layer resistances in series.
Its coefficients are quoted from memory. CO2 uptake follows the saturating light and CO2 response of
van Henten's lettuce model [2]_, in form; its coefficients here are our choice, no source.

References
----------
.. [1] Graamans, L., van den Dobbelsteen, A., Meinen, E., Stanghellini, C., "Plant factories; crop
   transpiration and energy balance," Agricultural Systems 153, 2017.
.. [2] van Henten, E. J., "Validation of a dynamic lettuce growth model for greenhouse climate
   control," Agricultural Systems 45, 1994.
"""

from __future__ import annotations

from dataclasses import dataclass

BOUNDARY_RESISTANCE_S_M = 100.0  # Graamans et al. 2017, from memory
PHOTON_ENERGY_J_UMOL = 1 / 4.6  # white light, 400-700 nm, from memory
COVERED_SHARE = 0.9  # of the growing area that leaves cover; our choice
REFLECTED_SHARE = 0.06  # Graamans et al. 2017, from memory

QUANTUM_YIELD = 0.05  # mol CO2 per mol photons taken in, at high CO2; our choice
CARBOXYLATION_UMOL_PER_PPM = 0.030  # umol m-2 s-1 per umol mol-1; our choice
COMPENSATION_PPM = 45.0  # CO2 at which uptake stops; our choice
RESPIRATION_UMOL = 1.2  # umol m-2 s-1 at 20 degC; our choice
RESPIRATION_Q10 = 2.0
KG_DRY_PER_MOL_CO2 = 0.030  # CH2O
WATER_KG_PER_KG_DRY = 19.0  # fresh lettuce is about 95 % water; from memory


@dataclass(slots=True)
class Stand:
    """Plants of mixed age in one zone: what is harvested is replaced, so the leaf area stays.

    ``area_m2`` growing area, ``leaf_area_index`` leaf area per growing area.
    """

    zone: str
    area_m2: float
    leaf_area_index: float


def stomatal_resistance(ppfd: float) -> float:
    """Return the stomatal resistance of lettuce [s/m] under a PPFD [umol m-2 s-1].

    Notes
    -----
    rs = 60 (1500 + PPFD) / (200 + PPFD), Graamans et al. 2017, from memory.
    """
    return 60.0 * (1500.0 + ppfd) / (200.0 + ppfd)


def absorbed_light(stand: Stand, ppfd: float) -> float:
    """Return the light a stand takes in [W] under a PPFD [umol m-2 s-1]."""
    return stand.area_m2 * COVERED_SHARE * (1.0 - REFLECTED_SHARE) * ppfd * PHOTON_ENERGY_J_UMOL


def co2_uptake(stand: Stand, ppfd: float, co2: float, temperature: float) -> float:
    """Return net CO2 uptake of a stand [mol/s]; negative where it breathes out more than it takes in.

    Parameters
    ----------
    stand : Stand
        The plants.
    ppfd : float
        Light on them. [umol m-2 s-1]
    co2 : float
        CO2 mole fraction around them. [umol mol-1]
    temperature : float
        Air temperature around them. [degC]
    """
    by_light = QUANTUM_YIELD * COVERED_SHARE * ppfd
    by_co2 = CARBOXYLATION_UMOL_PER_PPM * max(0.0, co2 - COMPENSATION_PPM)
    together = by_light + by_co2
    gross = by_light * by_co2 / together if together > 0.0 else 0.0
    respiration = RESPIRATION_UMOL * float(RESPIRATION_Q10 ** ((temperature - 20.0) / 10.0))
    return stand.area_m2 * (gross - respiration) * 1e-6


def water_kept(uptake: float) -> float:
    """Return the water a stand keeps as growth [kg/s] at a net CO2 uptake [mol/s]."""
    return max(0.0, uptake) * KG_DRY_PER_MOL_CO2 * WATER_KG_PER_KG_DRY
