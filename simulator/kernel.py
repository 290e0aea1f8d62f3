"""The compiled loop over minutes: move on, take over the next instant's forcing, decide, record."""

from __future__ import annotations

import numpy as np

from simulator.air import HARVESTED_DRY, LEDGER, co2_fraction, relative_humidity
from simulator.compiled import Floats, compiled
from simulator.controls import (
    COMPRESSOR,
    DEFROSTING,
    DEHUMIDIFIER,
    HEATING,
    LIT,
    MAINS,
    PURGING,
    VALVE_OPEN,
    decide,
)
from simulator.crop import cut, leaf_area_index
from simulator.farm_parts import (
    BOTTLES_CHANGED,
    OUTDOOR_CO2,
    OUTDOOR_HUMIDITY,
    OUTDOOR_TEMPERATURE,
    SOLAR,
    Parts,
    State,
)
from simulator.frame import Forcing
from simulator.minute import EMPTY_BOTTLE, air_minute, at, door_opening, group_power, machines, powered, shine
from simulator.moist_air import saturation_pressure, vapour_pressure

FIRST_HARVEST = 2  # column of Forcing.act from which rows are harvested (frame.acts_of)


@compiled
def take_over(state: State, parts: Parts, forcing: Forcing, minute: int) -> None:
    """Make an instant's forcing the one that holds, and let the controller decide."""
    held, fault = state.held, state.fault
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
    state.group_on[:] = forcing.lit[minute]
    if held[BOTTLES_CHANGED] > 0.5 and state.bottle_kg[0] < EMPTY_BOTTLE * parts.bottle_kg:
        state.bottle_kg[0] = parts.bottle_kg
    for row in range(state.structural.size):
        act = forcing.act[minute, FIRST_HARVEST + row]
        if act != 0.0:
            left = cut(state.stored, state.structural, row, act, parts.young_g_m2, parts.usual_g_m2[row])
            state.air.ledger[HARVESTED_DRY] += left * parts.area_m2[row]
    lit = 0.0
    for group in range(state.group_on.size):
        if parts.group_leads[group] > 0.5:
            lit = max(lit, state.group_on[group])
    air = state.air
    decide(
        state.switch, parts.limits, air.temperature[0], relative_humidity(air, parts.rooms, 0),
        co2_fraction(air, parts.rooms, 0), held[OUTDOOR_TEMPERATURE], air.coil.temperature[0],
        max(0.0, air.coil.water[0] - parts.rooms.coil.holds_kg), lit,
        0.0 if at(fault, parts.columns.mains_lost) >= 0.5 else 1.0,
    )  # fmt: skip
    shine(state, parts)
