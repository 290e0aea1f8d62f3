"""Stands of leafy crop: how much they transpire, take up CO2, and keep as growth.

Transpiration follows the big-leaf energy balance for lettuce under lamps of Graamans et al. [1]_
(a Penman-Monteith form): leaves take in lamp light, give sensible heat through the boundary layer,
and vapour through stomata and boundary layer in series. CO2 uptake, respiration and growth follow
van Henten's two-state lettuce model [2]_: stored and structural dry matter.

References
----------
.. [1] Graamans, L., van den Dobbelsteen, A., Meinen, E., Stanghellini, C., "Plant factories; crop
   transpiration and energy balance," Agricultural Systems 153, 2017; coefficients from memory.
.. [2] van Henten, E. J., van Straten, G., "Sensitivity analysis of a dynamic growth model of lettuce,"
   Journal of Agricultural Engineering Research 59(1), 1994; coefficients seen in a public copy of its tables.
"""

from __future__ import annotations

from math import exp, sqrt
from typing import NamedTuple

from simulator.compiled import Floats, compiled
from simulator.moist_air import (
    CELSIUS_ZERO_K,
    EVAPORATION_HEAT_J_KG,
    MAGNUS_OFFSET_C,
    MAGNUS_SLOPE,
    VAPOUR_GAS_CONSTANT,
    VAPOUR_HEAT_J_KG_K,
    WATER_HEAT_J_KG_K,
    saturation_pressure,
)

# Light and transpiration
PHOTON_ENERGY_J_UMOL = 1 / 4.6  # white light, 400-700 nm, from memory
REFLECTED_SHARE = 0.06  # Graamans et al. 2017, from memory
BOUNDARY_RESISTANCE_S_M = 100.0  # Graamans et al. 2017, from memory; taken to hold at the speed below
REFERENCE_SPEED_M_S = 0.5  # our choice, no source
MOST_TRANSPIRING_INDEX = 3.0  # leaves below stand in the dark; the index that Graamans et al. used, from memory

# Growth (van Henten)
CH2O_PER_CO2 = 0.68  # by mass
YIELD = 0.8  # structural matter from stored, the rest is respired
GROWTH_PER_S = 5.0e-6  # at 20 degC
GROWTH_HALF = 1.0
GROWTH_Q10 = 1.6
SHOOT_RESPIRATION_PER_S = 3.47e-7  # at 25 degC
ROOT_RESPIRATION_PER_S = 1.16e-7
ROOT_SHARE = 0.07
RESPIRATION_Q10 = 2.0
EXTINCTION = 0.9
LEAF_M2_PER_G = 75.0e-3  # of structural shoot matter
LIGHT_USE_G_J = 17.0e-6  # CO2 by photosynthetically active light, without photorespiration
COMPENSATION_PPM = 40.0  # at 20 degC
COMPENSATION_Q10 = 2.0
BOUNDARY_M_S = 0.004
STOMATAL_M_S = 0.02
CARBOXYLATION = (-1.32e-5, 5.94e-4, -2.64e-3)  # m/s, by the square of temperature, temperature, constant

CO2_G_MOL = 44.01
GAS_CONSTANT = 8.314  # [J mol-1 K-1]
WATER_G_PER_G_DRY = 19.0  # fresh lettuce is about 95 % water; from memory
LEAST_STORED_SHARE = 0.02  # of structural matter: what is left when a stand starves; our choice


class Exchange(NamedTuple):
    """What a square metre of growing area gives and takes in a second."""

    co2_taken: float  # net, from the air; negative when it breathes out more [mol m-2 s-1]
    stored: float  # change of stored dry matter [g m-2 s-1]
    structural: float  # change of structural dry matter [g m-2 s-1]


@compiled
def stomatal_resistance(ppfd: float) -> float:
    """Return the stomatal resistance of lettuce [s/m] under a PPFD [umol m-2 s-1].

    Notes
    -----
    rs = 60 (1500 + PPFD) / (200 + PPFD), Graamans et al. 2017, from memory.
    """
    return 60.0 * (1500.0 + ppfd) / (200.0 + ppfd)


@compiled
def boundary_resistance(air_speed: float) -> float:
    """Return the boundary-layer resistance of leaves [s/m] at an air speed [m/s].

    Notes
    -----
    By the root of speed, as for a flat plate in laminar flow, through the value of Graamans et al.
    """
    return BOUNDARY_RESISTANCE_S_M * sqrt(REFERENCE_SPEED_M_S / max(air_speed, 0.02))


@compiled
def leaf_area_index(structural: float) -> float:
    """Return leaf area by growing area of structural dry matter [g/m2], shoots and roots."""
    return LEAF_M2_PER_G * (1.0 - ROOT_SHARE) * structural


@compiled
def structural_matter(leaf_area_index: float) -> float:
    """Return the structural dry matter [g/m2] of a leaf area index; inverse of leaf_area_index."""
    return leaf_area_index / (LEAF_M2_PER_G * (1.0 - ROOT_SHARE))


@compiled
def light_caught(leaf_area_index: float) -> float:
    """Return the share of the light that a stand catches, by Beer's law with van Henten's extinction."""
    return 1.0 - exp(-EXTINCTION * leaf_area_index)


@compiled
def gross_photosynthesis(ppfd: float, co2: float, temperature: float, air_pressure: float) -> float:
    """Return a closed canopy's gross uptake of CO2 [g m-2 s-1].

    Parameters
    ----------
    ppfd : float
        Light on it. [umol m-2 s-1]
    co2 : float
        CO2 mole fraction around it. [umol mol-1]
    temperature : float
        Of its leaves. [degC]
    air_pressure : float
        [Pa]

    Notes
    -----
    Light-limited and CO2-limited uptake as resistances in parallel (van Henten and van Straten 1994).
    """
    compensation = COMPENSATION_PPM * COMPENSATION_Q10 ** ((temperature - 20.0) / 10.0)
    above = co2 - compensation
    square, linear, constant = CARBOXYLATION
    carboxylation = square * temperature * temperature + linear * temperature + constant
    if above <= 0.0 or carboxylation <= 0.0 or ppfd <= 0.0:
        return 0.0
    by_light = LIGHT_USE_G_J * above / (co2 + 2.0 * compensation) * ppfd * PHOTON_ENERGY_J_UMOL
    conductance = 1.0 / (1.0 / BOUNDARY_M_S + 1.0 / STOMATAL_M_S + 1.0 / carboxylation)
    g_m3_ppm = 1e-6 * air_pressure / (GAS_CONSTANT * (CELSIUS_ZERO_K + temperature)) * CO2_G_MOL
    by_co2 = conductance * above * g_m3_ppm
    return float(by_light * by_co2 / (by_light + by_co2))


@compiled
def exchange(
    stored: float, structural: float, living: float, ppfd: float, co2: float, temperature: float, air_pressure: float
) -> Exchange:
    """Return what a stand exchanges with the air, and how its dry matter [g/m2] changes.

    ``living`` is the share of its canopy that works (1 is sound); the other arguments are as in
    ``gross_photosynthesis``.

    Notes
    -----
    CO2 that the air loses is what photosynthesis takes less maintenance and growth respiration, so
    that carbon closes: dry matter gained x 1/0.68 = CO2 taken. A stand without stores stops growing.
    """
    caught = light_caught(leaf_area_index(structural)) * living
    assimilated = CH2O_PER_CO2 * caught * gross_photosynthesis(ppfd, co2, temperature, air_pressure)
    whole = stored + structural
    growth = 0.0
    if stored > LEAST_STORED_SHARE * structural:
        speed = GROWTH_PER_S * GROWTH_Q10 ** ((temperature - 20.0) / 10.0)
        growth = living * speed * structural * stored / (GROWTH_HALF * structural + stored) if whole > 0.0 else 0.0
    kept = (SHOOT_RESPIRATION_PER_S * (1.0 - ROOT_SHARE) + ROOT_RESPIRATION_PER_S * ROOT_SHARE) * structural
    kept *= living * RESPIRATION_Q10 ** ((temperature - 25.0) / 10.0)
    if stored <= 0.0:
        kept = 0.0
    lost_in_growth = (1.0 - YIELD) / YIELD * growth
    change = assimilated - kept - growth - lost_in_growth
    taken = (assimilated - kept - lost_in_growth) / CH2O_PER_CO2 / CO2_G_MOL
    return Exchange(taken, change, growth)


@compiled
def transpiration(
    air: float, vapour: float, light: float, to_air: float, to_vapour: float, wet_enough: float
) -> tuple[float, float]:
    """Return the vapour that leaves give [kg/s] and how much warmer than the air they are [K].

    Parameters
    ----------
    air : float
        Air temperature. [degC]
    vapour : float
        Vapour pressure of the air. [Pa]
    light : float
        Light that they take in. [W]
    to_air : float
        Sensible conductance between leaves and air. [W/K]
    to_vapour : float
        Vapour conductance. [m3/s]
    wet_enough : float
        Share of their demand that the roots can meet, 0 to 1.

    Notes
    -----
    Energy balance of the leaves with the saturation curve made linear about air temperature.
    Leaves below the dew point give nothing: dew on them is not modelled.
    """
    saturation = saturation_pressure(air)
    density = 1.0 / (VAPOUR_GAS_CONSTANT * (CELSIUS_ZERO_K + air))  # of vapour, per pascal
    slope = saturation * MAGNUS_SLOPE * MAGNUS_OFFSET_C / (MAGNUS_OFFSET_C + air) ** 2 * density
    deficit = (saturation - vapour) * density
    latent = EVAPORATION_HEAT_J_KG + (VAPOUR_HEAT_J_KG_K - WATER_HEAT_J_KG_K) * air
    open_to = to_vapour * wet_enough
    warmer = (light - latent * open_to * deficit) / (to_air + latent * open_to * slope) if to_air > 0.0 else 0.0
    given = open_to * (deficit + slope * warmer)
    return (given, warmer) if given > 0.0 else (0.0, 0.0)


@compiled
def steady_stored(structural: float) -> float:
    """Return a usual amount of stored dry matter [g/m2] beside structural matter, to begin with."""
    return 0.15 * structural  # our choice: it settles within days


@compiled
def cut(state_stored: Floats, state_structural: Floats, row: int, act: float, young: float, usual: float) -> float:
    """Cut and replace plants of a row as an act says; return the dry matter that left, less what was planted [g/m2].

    ``young`` and ``usual`` structural dry matter of young plants and of a mixed stand. [g/m2]
    """
    stored, structural = state_stored[row], state_structural[row]
    if act < 0.0:
        state_stored[row] = state_structural[row] = 0.0
        return float(stored + structural)
    if act > 1.0:
        share = (structural - usual) / (structural - young) if structural > max(usual, young) else 0.0
    else:
        share = act
    state_structural[row] = structural * (1.0 - share) + young * share
    state_stored[row] = stored * (1.0 - share) + steady_stored(young) * share
    return float(stored + structural - state_stored[row] - state_structural[row])
