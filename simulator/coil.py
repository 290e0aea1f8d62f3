"""The air conditioner's coil: it takes in air, gives it out colder and often drier, and gathers water.

The coil has a temperature of its own, between the air that warms it and the refrigerant that cools
it. How much it cools and how much it dries follow from that: a coil short of refrigerant, or with
too much air over it, stays above the dew point and only cools; one in cold air freezes.
"""

from __future__ import annotations

from typing import NamedTuple

from simulator.compiled import Floats, compiled
from simulator.moist_air import WATER_HEAT_J_KG_K, enthalpy, humidity_ratio, saturation_pressure

COIL_J_K_KG_S = 120_000.0  # heat capacity of coil and duct by the air that passes; our choice
RATED_COIL_C = 7.0  # at which the capacity is rated; our choice
CAPACITY_PER_K = 0.03  # a colder coil gives less; our choice, from the shape of compressor tables
HOLDS_KG_KG_S = 0.8  # water that hangs on the coil, by the air that passes; our choice
DRAINS_S = 60.0  # our choice
FROST_KG_KG_S = 6.0  # frost that closes half of it; our choice


class CoilMake(NamedTuple):
    """What the coil is."""

    metal_j_k: float
    holds_kg: float  # water that hangs on it; more runs to the drain
    frost_kg: float  # frost that closes half of it
    contact: float  # share of the air that meets it, free of frost


class Coil(NamedTuple):
    """State of the coil, in arrays of one."""

    heat: Floats  # of metal and water above 0 degC [J]
    water: Floats  # on it, or frost [kg]
    temperature: Floats  # follows from heat and water [degC]
    taken_w: Floats  # by the refrigerant in the last step [W]
    supply_content: Floats  # enthalpy of the air that leaves [J/kg]
    supply_ratio: Floats  # humidity ratio of the air that leaves [kg/kg]


def coil_make(rated_air_kg_s: float, contact: float) -> CoilMake:
    """Return a coil for a rated flow of dry air [kg/s]."""
    return CoilMake(
        COIL_J_K_KG_S * rated_air_kg_s, HOLDS_KG_KG_S * rated_air_kg_s, FROST_KG_KG_S * rated_air_kg_s, contact
    )


@compiled
def frost(coil: Coil, make: CoilMake) -> float:
    """Return the frost on the coil: water that would have run off, were it not frozen [kg]."""
    return max(0.0, coil.water[0] - make.holds_kg) if coil.temperature[0] < 0.0 else 0.0


@compiled
def coil_step(
    coil: Coil, make: CoilMake, air: float, ratio: float, air_pressure: float, air_kg_s: float, capacity_w: float,
    floor_c: float, drain_blocked: float, seconds: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Move the coil on; return supply enthalpy [J/kg], supply humidity ratio, water drained [kg/s], its heat [W].

    Parameters
    ----------
    coil : Coil
        Changed in place.
    make : CoilMake
        What it is.
    air, ratio : float
        Temperature [degC] and humidity ratio of the air that enters.
    air_pressure : float
        [Pa]
    air_kg_s : float
        Dry air that passes. [kg/s]
    capacity_w : float
        What the refrigerant takes at a coil of RATED_COIL_C; 0 while the compressor stands. [W]
    floor_c : float
        Below this the coil takes no more heat out: the fault of a coil that stays at the dew point. [degC]
    drain_blocked : float
        Share of what condenses that evaporates again into the supply air.
    seconds : float
        Short against the coil's time constant, about half a minute.
    """
    temperature = coil.temperature[0]
    contact = make.contact / (1.0 + frost(coil, make) / make.frost_kg)
    heat_j_k = make.metal_j_k + WATER_HEAT_J_KG_K * coil.water[0]

    surface_ratio = humidity_ratio(saturation_pressure(temperature), air_pressure)
    to_coil = air_kg_s * contact * (ratio - surface_ratio)  # kg/s
    to_coil = max(to_coil, -0.5 * coil.water[0] / seconds)  # it can only dry off what is there
    moved = to_coil / air_kg_s if air_kg_s > 0.0 else 0.0
    out_ratio = ratio - moved
    out_content = enthalpy(air - contact * (air - temperature), out_ratio)
    again = max(0.0, to_coil) * drain_blocked
    again_heat = again * WATER_HEAT_J_KG_K * temperature
    given = air_kg_s * (enthalpy(air, ratio) - out_content) - again_heat  # to the coil

    taken = capacity_w * min(1.25, max(0.2, 1.0 + CAPACITY_PER_K * (temperature - RATED_COIL_C)))
    taken = min(taken, max(0.0, (temperature - floor_c) * heat_j_k / seconds + given))

    coil.heat[0] += seconds * (given - taken)
    coil.water[0] += seconds * (to_coil - again)
    coil.temperature[0] = coil.heat[0] / (make.metal_j_k + WATER_HEAT_J_KG_K * coil.water[0])

    drained = 0.0
    if coil.temperature[0] > 0.0 and coil.water[0] > make.holds_kg:  # frost stays
        drained = (coil.water[0] - make.holds_kg) / DRAINS_S
    drained_heat = drained * WATER_HEAT_J_KG_K * coil.temperature[0]
    coil.water[0] -= seconds * drained
    coil.heat[0] -= seconds * drained_heat

    coil.taken_w[0] = taken
    if air_kg_s > 0.0:
        out_content += again_heat / air_kg_s
        out_ratio += again / air_kg_s
    coil.supply_content[0] = out_content
    coil.supply_ratio[0] = out_ratio
    return out_content, out_ratio, drained, drained_heat
