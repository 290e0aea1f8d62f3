"""The air: a volume a row and one for the rest of the room, coupled by fans, with walls, leaves and leaks.

Volume 0 is the room, volume 1 + i the i-th row of ``frame.rows_of``. States are kept as heat, vapour
and CO2; temperature and humidity follow from them. Every flow is summed in a ledger, so that a check
can hold what came and went against what is there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simulator.coil import Coil, CoilMake, coil_step
from simulator.compiled import Floats, compiled
from simulator.crop import transpiration
from simulator.moist_air import (
    DRY_AIR_MOLAR_MASS,
    WATER_HEAT_J_KG_K,
    enthalpy,
    humidity_ratio,
    saturation_pressure,
    temperature_from_enthalpy,
    vapour_pressure,
)

INSIDE_FILM_M2K_W = 0.13  # ISO 6946, horizontal heat flow
OUTSIDE_FILM_M2K_W = 0.04  # ISO 6946
WALL_VAPOUR_M_S = 0.0025  # vapour transfer to or from a wet wall, about 3 W m-2 K-1 by Lewis' relation
MIST_SETTLES_S = 60.0  # what the air cannot hold wets the walls; our choice
WALL_HOLDS_KG_M2 = 0.05  # a film of drops; more runs off; our choice
FLOOR_VAPOUR_M_S = 0.007  # from standing water to moving air; our choice

# Sums since the start, positive into the farm's air, walls and coil, except where it says. [J], [kg], [mol]
LEDGER = (
    "electric_heat",
    "envelope_heat",
    "leaked_heat",  # with air from outdoors
    "solution_heat",  # from the nutrient solution
    "transpired_heat",  # enthalpy of the water that leaves gave
    "people_heat",
    "floor_heat",  # enthalpy of free water that evaporated
    "refrigerant_heat",  # negative: taken out by the refrigerant
    "drained_heat",  # negative: left with condensate and wall water
    "dehumidified_heat",  # negative: left with the dehumidifier's water
    "transpired",
    "people_vapour",
    "floor_vapour",
    "leaked_vapour",
    "drained",  # out: condensate that ran off the coil
    "wall_drained",  # out: what ran off walls
    "dehumidified",  # out: the dehumidifier's water
    "co2_dosed",
    "co2_taken_up",  # out: by plants, net of what they breathe
    "co2_leaked",
    "co2_breathed",  # by people
    "co2_from_solution",
    "electricity",  # all that the mains feed
    "harvested",  # dry matter cut, less what was planted [g]
    "kept_water",  # water that plants keep as growth [kg]
)
(
    ELECTRIC_HEAT, ENVELOPE_HEAT, LEAKED_HEAT, SOLUTION_HEAT, TRANSPIRED_HEAT, PEOPLE_HEAT, FLOOR_HEAT,
    REFRIGERANT_HEAT, DRAINED_HEAT, DEHUMIDIFIED_HEAT, TRANSPIRED, PEOPLE_VAPOUR, FLOOR_VAPOUR, LEAKED_VAPOUR,
    DRAINED, WALL_DRAINED, DEHUMIDIFIED, CO2_DOSED, CO2_TAKEN_UP, CO2_LEAKED, CO2_BREATHED, CO2_FROM_SOLUTION,
    ELECTRICITY, HARVESTED_DRY, KEPT_WATER,
) = range(len(LEDGER))  # fmt: skip


class Rooms(NamedTuple):
    """What the air's volumes and walls are; arrays by volume."""

    air_pressure: float  # [Pa]
    air_kg: Floats
    wall_m2: Floats  # share of the envelope
    wall_w_k: Floats  # its transmittance, bridges apart
    wall_film_share: float  # of the wall's resistance that its inner film has
    bridge_m2: float  # all in the room's volume
    bridge_u: float  # [W m-2 K-1]
    mass_j_k: Floats
    mass_w_k: Floats
    supply_share: Floats  # of the coil's air that is blown there
    coil: CoilMake


class Air(NamedTuple):
    """State of the air and what touches it; arrays by volume, except where it says."""

    heat: Floats  # of the air [J]
    vapour: Floats  # in the air [kg]
    co2: Floats  # in the air [mol]
    mass_temperature: Floats  # of what stands there [degC]
    wall_water: Floats  # on walls and bridges [kg]
    wall_heat: Floats  # enthalpy of that [J]
    temperature: Floats  # follows from heat and vapour [degC]
    leaf_warmer: Floats  # by row, leaf above air [K]
    given: Floats  # by row, vapour given in the last minute [kg]
    coil: Coil
    ledger: Floats  # by LEDGER


class Drive(NamedTuple):
    """What acts on the air for a minute; arrays by volume or, where it says, by row."""

    outdoor_temperature: float
    outdoor_ratio: float  # humidity ratio outdoors
    sky_temperature: float  # outdoors with the sun on the roof averaged in [degC]
    outdoor_co2: float  # [umol mol-1]
    leak_kg_s: float  # air exchanged with outdoors, by the room's volume
    electric_w: Floats  # electrical input that ends as heat in the air, the heater apart
    heater_w: float  # of the heater, which warms the room
    heater_set_c: float  # what its thermostat is set to; far below while it is off
    heater_least: float  # share of its power that it gives whatever the thermostat says
    exchange_kg_s: Floats  # by row: air exchanged with the room
    light_w: Floats  # by row: that its leaves take in
    to_air: Floats  # by row: sensible conductance of its leaves [W/K]
    to_vapour: Floats  # by row: vapour conductance of its leaves [m3/s]
    wet_enough: Floats  # by row: share of their demand that roots can meet
    co2_taken: Floats  # by row [mol/s]
    co2_dosed: float  # [mol/s]
    co2_from_solution: float  # [mol/s]
    people: float
    free_water_m2: float
    free_water_c: float
    solution_temperature: float  # of the water that plants transpire
    solution_w: float  # heat that the solution gives the room
    coil_air_kg_s: float
    coil_capacity_w: float  # at a coil of 7 degC; 0 while the compressor stands
    coil_floor_c: float  # the coil is kept from getting colder; far below for a sound one
    drain_blocked: float  # share of the condensate that evaporates again
    dehumidified_kg_s: float


HEATER_BAND_K = 1.0  # from nothing to full power, below the set point; our choice
PERSON_W = 75.0  # sensible, light work; common practice, no source
PERSON_KG_S = 50e-3 / 3600.0  # vapour, light work; common practice, no source
PERSON_CO2_MOL_S = 2.3e-4  # 0.02 m3/h, light work; common practice, no source
PERSON_WATER_C = 34.0


@compiled
def wall_temperature(air: float, outdoors: float, film_share: float) -> float:
    """Return the inner surface temperature of a part whose inner film has a share of its resistance (ISO 13788)."""
    return air - (air - outdoors) * film_share


@compiled
def heater_share(temperature: float, set_c: float, least: float) -> float:
    """Return the share of its power that a heater with a proportional thermostat gives."""
    return max(least, min(1.0, max(0.0, (set_c - temperature) / HEATER_BAND_K)))


@compiled
def settle(air: Air, rooms: Rooms) -> None:
    """Let temperatures follow from heat and vapour."""
    for place in range(air.heat.size):
        kg = rooms.air_kg[place]
        air.temperature[place] = temperature_from_enthalpy(air.heat[place] / kg, air.vapour[place] / kg)


@compiled
def relative_humidity(air: Air, rooms: Rooms, place: int) -> float:
    """Return the relative humidity of a volume, over water [%]."""
    pressure = vapour_pressure(air.vapour[place] / rooms.air_kg[place], rooms.air_pressure)
    return 100.0 * pressure / saturation_pressure(air.temperature[place])


@compiled
def co2_fraction(air: Air, rooms: Rooms, place: int) -> float:
    """Return the CO2 mole fraction of a volume [umol mol-1]."""
    return float(1e6 * air.co2[place] * DRY_AIR_MOLAR_MASS / rooms.air_kg[place])


@compiled
def air_step(air: Air, rooms: Rooms, drive: Drive, seconds: float) -> None:
    """Move the air on by some seconds, short against its time constants."""
    places = air.heat.size
    rows = places - 1
    ledger = air.ledger
    pressure = rooms.air_pressure
    heat_in = drive.electric_w.copy()
    vapour_in = np.zeros(places)
    co2_in = np.zeros(places)
    ratio = air.vapour / rooms.air_kg
    content = air.heat / rooms.air_kg  # enthalpy a kilogram of dry air
    fraction = air.co2 / rooms.air_kg  # CO2 a kilogram of dry air
    heater = drive.heater_w * heater_share(air.temperature[0], drive.heater_set_c, drive.heater_least)
    heat_in[0] += heater
    ledger[ELECTRICITY] += seconds * heater
    ledger[ELECTRIC_HEAT] += seconds * (drive.electric_w.sum() + heater)

    # Coil and ducts: the room's air goes over the coil, comes out into room and rows, and returns.
    supply_content, supply_ratio, drained, drained_heat = coil_step(
        air.coil, rooms.coil, air.temperature[0], ratio[0], pressure, drive.coil_air_kg_s, drive.coil_capacity_w,
        drive.coil_floor_c, drive.drain_blocked, seconds,
    )  # fmt: skip
    ledger[REFRIGERANT_HEAT] -= seconds * air.coil.taken_w[0]
    ledger[DRAINED] += seconds * drained
    ledger[DRAINED_HEAT] -= seconds * drained_heat
    heat_in[0] -= drive.coil_air_kg_s * content[0]
    vapour_in[0] -= drive.coil_air_kg_s * ratio[0]
    co2_in[0] -= drive.coil_air_kg_s * fraction[0]
    for place in range(places):
        blown = drive.coil_air_kg_s * rooms.supply_share[place]
        heat_in[place] += blown * supply_content
        vapour_in[place] += blown * supply_ratio
        co2_in[place] += blown * fraction[0]
        if place > 0:
            both = drive.exchange_kg_s[place - 1]
            out = blown + both  # what the duct blows in flows on into the room
            for flow, there, come in ((heat_in, content, both), (vapour_in, ratio, both), (co2_in, fraction, both)):
                flow[place] += come * there[0] - out * there[place]
                flow[0] += out * there[place] - come * there[0]

    # Leaves.
    latent_water = WATER_HEAT_J_KG_K * drive.solution_temperature
    for row in range(rows):
        place = row + 1
        given, warmer = transpiration(
            air.temperature[place], vapour_pressure(ratio[place], pressure), drive.light_w[row], drive.to_air[row],
            drive.to_vapour[row], drive.wet_enough[row],
        )  # fmt: skip
        air.leaf_warmer[row] = warmer
        air.given[row] += seconds * given
        vapour_in[place] += given
        heat_in[place] += given * latent_water
        co2_in[place] -= drive.co2_taken[row]
        ledger[TRANSPIRED] += seconds * given
        ledger[TRANSPIRED_HEAT] += seconds * given * latent_water
        ledger[CO2_TAKEN_UP] += seconds * drive.co2_taken[row]

    # Walls: heat through them, and water on them.
    for place in range(places):
        here = air.temperature[place]
        envelope = rooms.wall_w_k[place] * (drive.sky_temperature - here)
        heat_in[place] += envelope
        ledger[ENVELOPE_HEAT] += seconds * envelope
        to_mass = rooms.mass_w_k[place] * (here - air.mass_temperature[place])
        heat_in[place] -= to_mass
        air.mass_temperature[place] += seconds * to_mass / rooms.mass_j_k[place]
        surface = wall_temperature(here, drive.outdoor_temperature, rooms.wall_film_share)
        _wall_water(air, rooms, place, surface, rooms.wall_m2[place], ratio[place], seconds, heat_in, vapour_in)
        mist = ratio[place] - humidity_ratio(saturation_pressure(here), pressure)
        if mist > 0.0:
            wets = mist * rooms.air_kg[place] / MIST_SETTLES_S
            _wets(air, place, wets, here, seconds, heat_in, vapour_in)
    bridge = rooms.bridge_u * rooms.bridge_m2 * (drive.outdoor_temperature - air.temperature[0])
    heat_in[0] += bridge
    ledger[ENVELOPE_HEAT] += seconds * bridge
    surface = wall_temperature(air.temperature[0], drive.outdoor_temperature, rooms.bridge_u * INSIDE_FILM_M2K_W)
    _wall_water(air, rooms, 0, surface, rooms.bridge_m2, ratio[0], seconds, heat_in, vapour_in)
    _run_off(air, rooms)

    # Leaks, people, standing water, the solution, the dehumidifier.
    outdoors = enthalpy(drive.outdoor_temperature, drive.outdoor_ratio)
    leaked_heat = drive.leak_kg_s * (outdoors - content[0])
    leaked_vapour = drive.leak_kg_s * (drive.outdoor_ratio - ratio[0])
    leaked_co2 = drive.leak_kg_s * (drive.outdoor_co2 * 1e-6 / DRY_AIR_MOLAR_MASS - fraction[0])
    person = drive.people * PERSON_KG_S
    person_heat = drive.people * PERSON_W + person * enthalpy_of_vapour(PERSON_WATER_C)
    floor, _ = transpiration(
        air.temperature[0], vapour_pressure(ratio[0], pressure), 0.0,
        drive.free_water_m2 * FLOOR_VAPOUR_M_S * 1.2 * 1006.0, drive.free_water_m2 * FLOOR_VAPOUR_M_S, 1.0,
    )  # fmt: skip
    floor_heat = floor * WATER_HEAT_J_KG_K * drive.free_water_c
    dried = min(drive.dehumidified_kg_s, 0.2 * air.vapour[0] / seconds)
    dried_heat = dried * WATER_HEAT_J_KG_K * air.temperature[0]
    heat_in[0] += leaked_heat + person_heat + floor_heat + drive.solution_w - dried_heat
    vapour_in[0] += leaked_vapour + person + floor - dried
    breathed = drive.people * PERSON_CO2_MOL_S
    co2_in[0] += leaked_co2 + breathed + drive.co2_dosed + drive.co2_from_solution
    ledger[CO2_FROM_SOLUTION] += seconds * drive.co2_from_solution
    ledger[LEAKED_HEAT] += seconds * leaked_heat
    ledger[LEAKED_VAPOUR] += seconds * leaked_vapour
    ledger[CO2_LEAKED] += seconds * leaked_co2
    ledger[PEOPLE_HEAT] += seconds * person_heat
    ledger[PEOPLE_VAPOUR] += seconds * person
    ledger[CO2_BREATHED] += seconds * breathed
    ledger[FLOOR_VAPOUR] += seconds * floor
    ledger[FLOOR_HEAT] += seconds * floor_heat
    ledger[SOLUTION_HEAT] += seconds * drive.solution_w
    ledger[DEHUMIDIFIED] += seconds * dried
    ledger[DEHUMIDIFIED_HEAT] -= seconds * dried_heat
    ledger[CO2_DOSED] += seconds * drive.co2_dosed

    for place in range(places):
        air.heat[place] += seconds * heat_in[place]
        air.vapour[place] = max(0.0, air.vapour[place] + seconds * vapour_in[place])
        air.co2[place] = max(0.0, air.co2[place] + seconds * co2_in[place])
    settle(air, rooms)


@compiled
def enthalpy_of_vapour(temperature: float) -> float:
    """Return the enthalpy of water vapour [J/kg] above liquid water at 0 degC."""
    return enthalpy(temperature, 1.0) - enthalpy(temperature, 0.0)


@compiled
def _wets(
    air: Air, place: int, wets: float, surface: float, seconds: float, heat_in: Floats, vapour_in: Floats
) -> None:
    """Let vapour [kg/s] condense onto a volume's walls: they keep its water, the air its heat of condensation."""
    heat = wets * WATER_HEAT_J_KG_K * surface
    vapour_in[place] -= wets
    heat_in[place] -= heat
    air.wall_water[place] += seconds * wets
    air.wall_heat[place] += seconds * heat


@compiled
def _wall_water(
    air: Air, rooms: Rooms, place: int, surface: float, area: float, ratio: float, seconds: float, heat_in: Floats,
    vapour_in: Floats,
) -> None:  # fmt: skip
    """Let a wall gather dew, or what is on it evaporate."""
    over = ratio - humidity_ratio(saturation_pressure(surface), rooms.air_pressure)
    rate = over * 1.2 * WALL_VAPOUR_M_S * area  # kg/s, with air of 1.2 kg/m3
    if rate > 0.0:
        _wets(air, place, rate, surface, seconds, heat_in, vapour_in)
    elif air.wall_water[place] > 0.0:
        water = air.wall_water[place]
        wet = min(1.0, water / (WALL_HOLDS_KG_M2 * rooms.wall_m2[place]))
        back = min(-rate * wet, 0.5 * water / seconds)
        heat = back / water * air.wall_heat[place]
        vapour_in[place] += back
        heat_in[place] += heat
        air.wall_water[place] -= seconds * back
        air.wall_heat[place] -= seconds * heat


@compiled
def _run_off(air: Air, rooms: Rooms) -> None:
    """Let what walls cannot hold run to the floor's drain."""
    for place in range(air.wall_water.size):
        water = air.wall_water[place]
        off = water - WALL_HOLDS_KG_M2 * rooms.wall_m2[place]
        if off > 0.0:
            heat = off / water * air.wall_heat[place]
            air.wall_water[place] -= off
            air.wall_heat[place] -= heat
            air.ledger[WALL_DRAINED] += off
            air.ledger[DRAINED_HEAT] -= heat
