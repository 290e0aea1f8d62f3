"""The compiled loop over minutes: move on, take over the next instant's forcing, decide, record."""

from __future__ import annotations

import numpy as np

from simulator import water
from simulator.air import (
    DRAINED,
    ELECTRICITY,
    HARVESTED_DRY,
    co2_fraction,
    relative_humidity,
    wall_temperature,
)
from simulator.coil import frost
from simulator.compiled import Floats, compiled, inlined
from simulator.controls import DEHUMIDIFIER, LIT, MAINS, PURGING, VALVE_OPEN, decide
from simulator.crop import cut, leaf_area_index
from simulator.farm_parts import (
    BOTTLES_CHANGED,
    FEED_TEMPERATURE,
    FILTER_CLEANED,
    MINUTE_OF_DAY,
    OUTDOOR_CO2,
    OUTDOOR_HUMIDITY,
    OUTDOOR_TEMPERATURE,
    SOLAR,
    Parts,
    State,
)
from simulator.frame import Forcing
from simulator.minute import (
    EMPTY_BOTTLE,
    MINUTE_S,
    FromWater,
    air_minute,
    at,
    compressor_w,
    door_opening,
    draws,
    group_power,
    heater_power,
    powered,
    shine,
)
from simulator.moist_air import saturation_pressure, temperature_from_enthalpy, vapour_pressure
from simulator.water_terms import PUMP_OFF, WaterMinute

FIRST_HARVEST = 2  # column of Forcing.act from which rows are harvested (frame.acts_of)


@inlined
def take_over(state: State, parts: Parts, forcing: Forcing, minute: int) -> None:
    """Make an instant's forcing the one that holds, and let the controller decide."""
    now, plants, slots = state.now, state.plants, parts.slots
    held, fault = now.held, now.fault
    held[0] = forcing.time_s[minute]
    held[1] = forcing.minute_of_day[minute]
    held[2] = forcing.outdoor_temperature[minute]
    held[3] = forcing.outdoor_humidity[minute]
    held[4] = forcing.outdoor_co2[minute]
    held[5] = forcing.solar[minute]
    held[6] = forcing.feed_temperature[minute]
    held[7] = forcing.people[minute]
    held[8] = forcing.door[minute]
    held[9] = forcing.act[minute, 0]
    held[10] = forcing.act[minute, 1]
    fault[:] = forcing.fault[minute]
    now.group_on[:] = forcing.lit[minute]
    if held[BOTTLES_CHANGED] > 0.5 and now.bottle_kg[0] < EMPTY_BOTTLE * parts.machines.bottle_kg:
        now.bottle_kg[0] = parts.machines.bottle_kg
    for row in range(plants.structural.size):
        act = forcing.act[minute, FIRST_HARVEST + row]
        if act != 0.0:
            left = cut(plants.stored, plants.structural, row, act, parts.crop.young_g_m2, parts.crop.usual_g_m2[row])
            state.air.ledger[HARVESTED_DRY] += left * parts.crop.area_m2[row]
    lit = 0.0
    for group in range(now.group_on.size):
        if parts.lamps.group_leads[group] > 0.5:
            lit = max(lit, now.group_on[group])
    air = state.air
    decide(
        now.switch, parts.limits, air.temperature[0], relative_humidity(air, parts.rooms, 0),
        co2_fraction(air, parts.rooms, 0), held[OUTDOOR_TEMPERATURE], air.coil.temperature[0],
        frost(air.coil, parts.rooms.coil), lit,
        0.0 if at(fault, slots.mains_lost) >= 0.5 else 1.0,
    )  # fmt: skip
    shine(now, parts.lamps, plants.ppfd)
    _water_decides(state, parts, lit)


@inlined
def _water_decides(state: State, parts: Parts, lit: float) -> None:
    """Hand the water side its faults and let it decide."""
    now, slots, wrong, fault = state.now, parts.slots, state.water_fault, state.now.fault
    wrong[:] = 0.0
    for pair in range(parts.water_from.size):
        size = fault[parts.water_from[pair]]
        if abs(size) > abs(wrong[parts.water_to[pair]]):
            wrong[parts.water_to[pair]] = size
    if powered(now, slots.circuit_pump) < 0.5:
        wrong[PUMP_OFF] = 1.0
    mains = now.switch[MAINS]
    water.control(state.water, parts.water, now.held[MINUTE_OF_DAY], lit, wrong, mains)
    if powered(now, slots.circuit_doser) < 0.5:
        state.water.doser.commanded_ml[:] = 0.0
        state.water.doser.doser_on[0] = 0.0


@inlined
def move_on(state: State, parts: Parts) -> None:
    """Move everything on by a minute under what was last decided."""
    now, plants = state.now, state.plants
    rows = plants.ppfd.size
    places = parts.place_row.size
    wet_enough = np.ones(rows)
    for place in range(places):
        row = parts.place_row[place]
        if row >= 0:
            wet_enough[row] = water.supply(state.water, parts.water, place)
    air = state.air
    drained = air.ledger[DRAINED]
    given = FromWater(
        wet_enough, state.water.tank.temperature[0], state.water.heat_to_air_w[0], state.water.co2_to_air_mol[0],
        state.water.electrical_power_w[0],
    )  # fmt: skip
    air_minute(now, air, parts.rooms, plants, parts.lamps, parts.crop, parts.machines, parts.slots, given)
    transpired, kept = np.zeros(places), np.zeros(places)
    for place in range(places):
        row = parts.place_row[place]
        if row >= 0:
            transpired[place] = air.given[row]
            kept[place] = plants.kept[row] * wet_enough[row]
    minute = WaterMinute(
        transpired, kept, air.temperature[0], co2_fraction(air, parts.rooms, 0), parts.rooms.air_pressure / 1000.0,
        now.held[FEED_TEMPERATURE], air.ledger[DRAINED] - drained, 0.0, now.held[FILTER_CLEANED],
        now.held[BOTTLES_CHANGED], now.switch[MAINS],
    )  # fmt: skip
    water.advance(state.water, parts.water, minute, state.water_fault, MINUTE_S)


@compiled
def humidity_of(pressure: float, ratio: float, temperature: float) -> float:
    """Return the relative humidity [%] of air with a humidity ratio at an air pressure [Pa]; 100 where it is fog."""
    return min(100.0, 100.0 * vapour_pressure(ratio, pressure) / saturation_pressure(temperature))


ROOM_COLUMNS = (
    "room.air_temperature",
    "room.relative_humidity",
    "room.co2_mole_fraction",
    "room.air_pressure",
    "room.lights_on",
    "room.fan_on",
    "room.compressor_on",
    "room.heater_on",
    "room.dehumidifier_on",
    "room.purge_on",
    "room.co2_valve_open",
    "room.door_open",
    "room.power_present",
    "supply.air_temperature",
    "supply.relative_humidity",
    "supply.coil_temperature",
    "outdoors.air_temperature",
    "outdoors.relative_humidity",
    "outdoors.co2_mole_fraction",
    "outdoors.solar",  # W m-2 on the roof
    "farm.electrical_power",
    "farm.electrical_energy",
    "farm.air_conditioner_power",  # W, the compressor and its air handler
    "farm.condensate_volume",
    "farm.co2_bottle",  # kg left
    "farm.frost",  # kg on the coil, beyond what hangs on it
)
ROW_COLUMNS = (
    "air_temperature",
    "relative_humidity",
    "co2_mole_fraction",
    "ppfd",
    "leaf_temperature",
    "air_speed",
    "fan_on",
    "transpiration",  # g in the last minute
    "leaf_area_index",
    "dry_matter",  # g/m2
    "surface_water",  # kg on its walls
)
GROUP_COLUMNS = ("lights_on", "electrical_power")


@inlined
def record(state: State, parts: Parts, row_out: Floats) -> None:
    """Write an instant's truth: room, ledger, rows, lamp groups, surfaces, then the water side's own."""
    now, plants, slots, machines = state.now, state.plants, parts.slots, parts.machines
    air, rooms, switch, held = state.air, parts.rooms, now.switch, now.held
    mains = switch[MAINS]
    electric = np.zeros(air.heat.size)
    heater = heater_power(now, machines, slots, air.temperature[0])
    power = draws(now, parts.lamps, machines, slots, electric) + heater + state.water.electrical_power_w[0]
    cold = powered(now, slots.circuit_air_conditioner)
    fans = powered(now, slots.circuit_fans)
    supply_ratio = air.coil.supply_ratio[0]
    supply = temperature_from_enthalpy(air.coil.supply_content[0], supply_ratio)
    unit_w = machines.air_handler_w * cold + now.compressor_runs[0] * compressor_w(now, machines)
    out = (
        air.temperature[0], min(100.0, relative_humidity(air, rooms, 0)), co2_fraction(air, rooms, 0),
        rooms.air_pressure / 1000.0, switch[LIT], fans, now.compressor_runs[0], 1.0 if heater > 0.0 else 0.0,
        switch[DEHUMIDIFIER] * cold, switch[PURGING], switch[VALVE_OPEN],
        1.0 if door_opening(now, slots) > 0.0 else 0.0, mains,
        supply, humidity_of(rooms.air_pressure, supply_ratio, supply), air.coil.temperature[0],
        held[OUTDOOR_TEMPERATURE], held[OUTDOOR_HUMIDITY], held[OUTDOOR_CO2], held[SOLAR],
        power, air.ledger[ELECTRICITY] / 3.6e6, unit_w, air.ledger[DRAINED], now.bottle_kg[0],
        frost(air.coil, rooms.coil),
    )  # fmt: skip
    column = 0
    for value in out:
        row_out[column] = value
        column += 1
    for one in range(air.ledger.size):
        row_out[column] = air.ledger[one]
        column += 1
    for row in range(plants.ppfd.size):
        place = row + 1
        blows = fans * (1.0 - at(now.fault, machines.fan_dead[row]))
        here = (
            air.temperature[place], min(100.0, relative_humidity(air, rooms, place)), co2_fraction(air, rooms, place),
            plants.ppfd[row], air.temperature[place] + air.leaf_warmer[row],
            machines.still_air_speed + (machines.air_speed - machines.still_air_speed) * blows, fans,
            1000.0 * air.given[row],
            leaf_area_index(plants.structural[row]), plants.structural[row] + plants.stored[row], air.wall_water[place],
        )  # fmt: skip
        for value in here:
            row_out[column] = value
            column += 1
    for group in range(now.group_on.size):
        row_out[column] = now.group_on[group]
        row_out[column + 1] = group_power(now, parts.lamps, group)
        column += 2
    for surface in range(parts.surface_place.size):
        warm = air.temperature[parts.surface_place[surface]]
        row_out[column] = wall_temperature(warm, held[OUTDOOR_TEMPERATURE], parts.surface_share[surface])
        column += 1
    water.record(state.water, parts.water, row_out[column:])


@compiled
def run(state: State, parts: Parts, forcing: Forcing, out: Floats, moves: bool) -> None:
    """Run a block: ``out`` (n, columns) takes the truth at each of its instants.

    Without ``moves`` the state stays where it is and only takes the forcing over: the very first instant.
    """
    for minute in range(forcing.time_s.size):
        if moves:
            move_on(state, parts)
        take_over(state, parts, forcing, minute)
        record(state, parts, out[minute])
