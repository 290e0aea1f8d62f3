"""One minute of the air side: what the machines, lamps and plants do to the air, and the electricity for it."""

from __future__ import annotations

from math import sqrt

import numpy as np

from simulator.air import (
    ELECTRICITY,
    KEPT_WATER,
    Drive,
    air_step,
    co2_fraction,
    heater_share,
)
from simulator.compiled import Floats, compiled
from simulator.controls import COMPRESSOR, DEHUMIDIFIER, FULL, HEATER_SET, MAINS, PURGING, VALVE_OPEN
from simulator.crop import (
    CO2_G_MOL,
    MOST_TRANSPIRING_INDEX,
    PHOTON_ENERGY_J_UMOL,
    REFLECTED_SHARE,
    WATER_G_PER_G_DRY,
    boundary_resistance,
    exchange,
    leaf_area_index,
    light_caught,
    stomatal_resistance,
)
from simulator.farm_parts import (
    DOOR,
    OUTDOOR_CO2,
    OUTDOOR_HUMIDITY,
    OUTDOOR_TEMPERATURE,
    PEOPLE,
    SOLAR,
    TIME_S,
    Parts,
    State,
)
from simulator.moist_air import (
    AIR_HEAT_J_KG_K,
    CELSIUS_ZERO_K,
    DRY_AIR_GAS_CONSTANT,
    MAGNUS_OFFSET_C,
    MAGNUS_PRESSURE_PA,
    MAGNUS_SLOPE,
    humidity_ratio,
    saturation_pressure,
    vapour_pressure,
)

MINUTE_S = 60.0
STEPS = 8  # a row's air has a time constant of some twenty seconds
YEAR_S = 365.25 * 86_400.0
RATED_OUTDOOR_C = 35.0  # of cooling capacity (ISO 5151, T1), from memory
CAPACITY_PER_OUTDOOR_K = 0.008  # it gives more where it is colder; our choice, from the shape of makers' tables
MOST_CAPACITY = 1.05  # head-pressure control keeps it there in the cold; our choice
POWER_PER_OUTDOOR_K = 0.012  # our choice
LEAST_POWER = 0.75
DEHUMIDIFIER_RATED_PA = 2140.0  # vapour pressure of 27 degC and 60 % RH
UNFAULTED_FLOOR_C = -40.0
SOUND_COIL_C = 5.0  # from which cooling_at_dew_point raises the coil; our choice
STILL_COOLS_K = 6.0  # it never gets closer to the air: a coil too warm still cools; our choice
FLOODED_COIL_AIR = 1.0  # with cooling at the dew point comes more air over the coil; our choice
DRINKS_MORE = 2.0  # leaves' vapour conductance by the size of water_uptake_high; our choice
LEAK_CHANGES = 2.0  # of co2_leak, an hour
USUAL_DIFFERENCE_K = 15.0  # at which an opening passes its usual air: buoyancy, by the root
EMPTY_BOTTLE = 0.05  # of its content, at which the keeper changes it
FREE_WATER_C = 15.0


@compiled
def at(fault: Floats, column: int) -> float:
    """Return how much is wrong in a column; nothing where there is none."""
    return fault[column] if column >= 0 else 0.0


@compiled
def powered(state: State, parts: Parts, column: int) -> float:
    """Return whether a circuit has power, 0 or 1."""
    return 1.0 if state.switch[MAINS] > 0.5 and at(state.fault, column) < 0.5 else 0.0


@compiled
def shine(state: State, parts: Parts) -> None:
    """Let the light on every row follow from what is commanded and what works."""
    state.ppfd[:] = 0.0
    power = powered(state, parts, parts.columns.circuit_lights)
    years = (state.held[TIME_S] - parts.start_s) / YEAR_S
    for group in range(parts.group_w.size):
        fault = state.fault
        output = parts.output_at_start * (1.0 - parts.fade_a_year * (parts.group_years[group] + years))
        output *= 1.0 - at(fault, parts.columns.lamp_lost[group])
        output *= 1.0 - at(fault, parts.columns.lamp_fade[group])
        output *= 1.0 - at(fault, parts.columns.lamp_astray[group])
        light = state.group_on[group] * power * max(0.0, output) * parts.group_ppfd[group]
        for row in range(state.ppfd.size):
            state.ppfd[row] += light * parts.group_rows[group, row]


@compiled
def group_power(state: State, parts: Parts, group: int) -> float:
    """Return the electrical input of a lamp group [W]."""
    power = powered(state, parts, parts.columns.circuit_lights)
    lost = at(state.fault, parts.columns.lamp_lost[group])
    return state.group_on[group] * power * (1.0 - lost) * parts.group_w[group]


@compiled
def door_opening(state: State, parts: Parts) -> float:
    """Return how far the door stands open, 0 to 1."""
    return max(state.held[DOOR], at(state.fault, parts.columns.door))


@compiled
def compressor_w(state: State, parts: Parts) -> float:
    """Return the electrical input of the compressor where it runs [W]; it grows with outdoor heat."""
    difference = state.held[OUTDOOR_TEMPERATURE] - RATED_OUTDOOR_C
    part = 1.0 if state.switch[FULL] > 0.5 else parts.dry_share
    return part * parts.compressor_w * max(LEAST_POWER, 1.0 + POWER_PER_OUTDOOR_K * difference)


@compiled
def dew_point(pressure: float) -> float:
    """Return the dew point [degC] of a vapour pressure [Pa]; inverse of saturation_pressure."""
    logarithm = np.log(pressure / MAGNUS_PRESSURE_PA)
    return MAGNUS_OFFSET_C * logarithm / (MAGNUS_SLOPE - logarithm)


@compiled
def machines(state: State, parts: Parts, electric: Floats) -> float:
    """Sum the electrical inputs [W] that warm each volume into ``electric``; return all that the mains feed.

    The heater is left out: its own thermostat decides from moment to moment.

    Also notes what the compressor really does. The compressor and the purge fan warm the outdoors.
    """
    electric[:] = 0.0
    mains = 1.0 if state.switch[MAINS] > 0.5 else 0.0
    fault, columns = state.fault, parts.columns
    for group in range(parts.group_w.size):
        power = group_power(state, parts, group)
        for place in range(electric.size):
            electric[place] += power * parts.group_heat[group, place]
    fans = powered(state, parts, columns.circuit_fans)
    for row in range(parts.fan_w.size):
        electric[row + 1] += parts.fan_w[row] * fans * (1.0 - at(fault, columns.fan_dead[row]))
    cold = powered(state, parts, columns.circuit_air_conditioner)
    electric[0] += parts.air_handler_w * cold + parts.controller_w * mains
    electric[0] += parts.dehumidifier_w * state.switch[DEHUMIDIFIER] * cold
    trips = at(fault, columns.cooling_lost) > 0.95
    state.compressor_runs[0] = state.switch[COMPRESSOR] * cold * (0.0 if trips else 1.0)
    purge = max(state.switch[PURGING], at(fault, columns.purge_running)) * mains
    return electric.sum() + state.compressor_runs[0] * compressor_w(state, parts) + purge * parts.purge_w


@compiled
def heater_power(state: State, parts: Parts) -> float:
    """Return what the heater draws and gives now [W]."""
    stuck = at(state.fault, parts.columns.heater_stuck)
    share = heater_share(state.air.temperature[0], state.switch[HEATER_SET], stuck)
    return parts.heater_w * share * powered(state, parts, parts.columns.circuit_heater)


@compiled
def leak(state: State, parts: Parts) -> float:
    """Return the air exchanged with outdoors [kg/s]."""
    fault, columns = state.fault, parts.columns
    difference = abs(state.air.temperature[0] - state.held[OUTDOOR_TEMPERATURE])
    draught = min(1.6, max(0.4, sqrt(difference / USUAL_DIFFERENCE_K)))
    changes = parts.air_changes + LEAK_CHANGES * at(fault, columns.co2_leak)
    changes += draught * parts.air_changes_door * door_opening(state, parts)
    changes += draught * parts.air_changes_louvre * at(fault, columns.louvre)
    purge = max(state.switch[PURGING], at(fault, columns.purge_running)) if state.switch[MAINS] > 0.5 else 0.0
    return changes / 3600.0 * parts.rooms.air_kg.sum() + purge * parts.purge_kg_s


@compiled
def dosed(state: State, parts: Parts) -> float:
    """Take a minute's CO2 from the bottle and return its flow into the room [mol/s]."""
    command = state.switch[VALVE_OPEN] if state.switch[MAINS] > 0.5 else 0.0
    opening = max(command, at(state.fault, parts.columns.co2_valve_stuck_open))
    flow = opening * parts.valve_mol_s * (1.0 - at(state.fault, parts.columns.co2_bottle_empty))
    flow = min(flow, state.bottle_kg[0] * 1000.0 / CO2_G_MOL / MINUTE_S)
    state.bottle_kg[0] -= flow * MINUTE_S * CO2_G_MOL / 1000.0
    return flow


@compiled
def grow(state: State, parts: Parts, taken: Floats) -> None:
    """Let every stand live for a minute; note its CO2 uptake [mol/s] and the water that it keeps."""
    air = state.air
    living = 1.0 - at(state.fault, parts.columns.humid_source_lost)
    for row in range(taken.size):
        place = row + 1
        what = exchange(
            state.stored[row], state.structural[row], living, state.ppfd[row], co2_fraction(air, parts.rooms, place),
            air.temperature[place], parts.rooms.air_pressure,
        )  # fmt: skip
        state.stored[row] += MINUTE_S * what.stored
        state.structural[row] += MINUTE_S * what.structural
        taken[row] = what.co2_taken * parts.area_m2[row]
        gained = max(0.0, what.stored + what.structural) * parts.area_m2[row]
        state.kept[row] = MINUTE_S * gained * WATER_G_PER_G_DRY / 1000.0
        air.ledger[KEPT_WATER] += state.kept[row]


@compiled
def air_minute(state: State, parts: Parts, wet_enough: Floats) -> None:
    """Move the air side on by a minute under what was last decided.

    ``wet_enough`` is, by row, the share of their demand that roots can meet. What the water side gave
    to the air in the minute before arrives in this one.
    """
    air, rooms, held, fault, columns = state.air, parts.rooms, state.held, state.fault, parts.columns
    rows = state.ppfd.size
    electric = np.zeros(rows + 1)
    power = machines(state, parts, electric) + state.water.electrical_power_w[0]
    air.ledger[ELECTRICITY] += MINUTE_S * power
    taken = np.zeros(rows)
    grow(state, parts, taken)

    light, to_air, to_vapour, exchanged = np.zeros(rows), np.zeros(rows), np.zeros(rows), np.zeros(rows)
    living = 1.0 - at(fault, columns.humid_source_lost)
    drinks = 1.0 + DRINKS_MORE * at(fault, columns.water_uptake_high)
    fans = powered(state, parts, columns.circuit_fans)
    density = rooms.air_pressure / (DRY_AIR_GAS_CONSTANT * (CELSIUS_ZERO_K + 21.0))
    for row in range(rows):
        blows = fans * (1.0 - at(fault, columns.fan_dead[row]))
        exchanged[row] = parts.exchange_kg_s[row] * (parts.still_share + (1.0 - parts.still_share) * blows)
        index = leaf_area_index(state.structural[row])
        leaves = parts.area_m2[row] * min(index, MOST_TRANSPIRING_INDEX) * living
        still = boundary_resistance(parts.still_air_speed + (parts.air_speed - parts.still_air_speed) * blows)
        caught = light_caught(index) * living * (1.0 - REFLECTED_SHARE)
        light[row] = parts.area_m2[row] * caught * state.ppfd[row] * PHOTON_ENERGY_J_UMOL
        to_air[row] = leaves * density * AIR_HEAT_J_KG_K / still
        to_vapour[row] = leaves / (stomatal_resistance(state.ppfd[row]) + still) * drinks

    outdoors = held[OUTDOOR_TEMPERATURE]
    outdoor_pressure = saturation_pressure(outdoors) * held[OUTDOOR_HUMIDITY] / 100.0
    dew_fault = at(fault, columns.cooling_at_dew_point)
    floor = UNFAULTED_FLOOR_C
    if dew_fault > 0.0:
        dew = dew_point(vapour_pressure(air.vapour[0] / rooms.air_kg[0], rooms.air_pressure))
        warm = min(dew + 0.3, air.temperature[0] - STILL_COOLS_K)
        floor = SOUND_COIL_C + dew_fault * (warm - SOUND_COIL_C)
    cold = powered(state, parts, columns.circuit_air_conditioner)
    capacity = parts.cooling_w * min(MOST_CAPACITY, 1.0 - CAPACITY_PER_OUTDOOR_K * (outdoors - RATED_OUTDOOR_C))
    capacity *= 1.0 if state.switch[FULL] > 0.5 else parts.dry_share
    capacity *= (1.0 - at(fault, columns.coil_short_of_capacity)) * (1.0 - at(fault, columns.cooling_lost))
    pressure = vapour_pressure(air.vapour[0] / rooms.air_kg[0], rooms.air_pressure)
    dries = parts.dehumidifier_kg_s * min(1.3, pressure / DEHUMIDIFIER_RATED_PA)
    dries *= state.switch[DEHUMIDIFIER] * cold * (1.0 - at(fault, columns.drying_lost))
    drive = Drive(
        outdoors,
        humidity_ratio(outdoor_pressure, rooms.air_pressure),
        outdoors + parts.roof_gain_k * held[SOLAR],
        held[OUTDOOR_CO2],
        leak(state, parts),
        electric,
        parts.heater_w * powered(state, parts, columns.circuit_heater),
        state.switch[HEATER_SET],
        at(fault, columns.heater_stuck),
        exchanged,
        light,
        to_air,
        to_vapour,
        wet_enough,
        taken,
        dosed(state, parts),
        state.water.co2_to_air_mol[0] / MINUTE_S,
        held[PEOPLE],
        parts.floor_m2 * at(fault, columns.free_water),
        FREE_WATER_C,
        state.water.tank.temperature[0],
        state.water.heat_to_air_w[0],
        parts.coil_air_kg_s * cold * (1.0 + FLOODED_COIL_AIR * dew_fault),
        capacity * state.compressor_runs[0],
        floor,
        at(fault, columns.drying_lost),
        dries,
    )
    air.given[:] = 0.0
    for _ in range(STEPS):
        air_step(air, rooms, drive, MINUTE_S / STEPS)
