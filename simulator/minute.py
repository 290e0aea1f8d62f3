"""One minute of the air side: what the machines, lamps and plants do to the air, and the electricity for it."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from simulator.air import (
    ELECTRICITY,
    KEPT_WATER,
    Air,
    Drive,
    Rooms,
    air_step,
    co2_fraction,
    heater_share,
)
from simulator.compiled import Floats, compiled
from simulator.controls import COMPRESSOR, DEHUMIDIFIER, HEATER_SET, MAINS, PURGING, SHARE, VALVE_OPEN
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
    CropParts,
    FaultColumns,
    LampParts,
    MachineParts,
    Now,
    Plants,
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
STILL_COOLS_K = 4.0  # it never gets closer to the air: a coil too warm still cools; our choice
FLOODED_COIL_AIR = 1.0  # with cooling at the dew point comes more air over the coil; our choice
DRINKS_MORE = 2.0  # leaves' vapour conductance by the size of water_uptake_high; our choice
LEAK_CHANGES = 2.0  # of co2_leak, an hour
USUAL_DIFFERENCE_K = 15.0  # at which an opening passes its usual air: buoyancy, by the root
EMPTY_BOTTLE = 0.05  # of its content, at which the keeper changes it
FREE_WATER_C = 15.0


class FromWater(NamedTuple):
    """What the water side is to the air in a minute."""

    wet_enough: Floats  # by row: share of their demand that roots can meet
    temperature: float  # of the solution that plants transpire [degC]
    heat_w: float  # that it gives the room's air
    co2_mol: float  # that it gave in the last minute
    electrical_w: float


@compiled
def at(fault: Floats, column: int) -> float:
    """Return how much is wrong in a column; nothing where there is none."""
    return fault[column] if column >= 0 else 0.0


@compiled
def powered(now: Now, column: int) -> float:
    """Return whether a circuit has power, 0 or 1."""
    return 1.0 if now.switch[MAINS] > 0.5 and at(now.fault, column) < 0.5 else 0.0


@compiled
def shine(now: Now, lamps: LampParts, ppfd: Floats) -> None:
    """Let the light on every row follow from what is commanded and what works."""
    ppfd[:] = 0.0
    power = powered(now, lamps.circuit)
    years = (now.held[TIME_S] - lamps.start_s) / YEAR_S
    for group in range(lamps.group_w.size):
        fault = now.fault
        output = lamps.output_at_start * (1.0 - lamps.fade_a_year * (lamps.group_years[group] + years))
        output *= 1.0 - at(fault, lamps.lost[group])
        output *= 1.0 - at(fault, lamps.fade[group])
        output *= 1.0 - at(fault, lamps.astray[group])
        light = now.group_on[group] * power * max(0.0, output) * lamps.group_ppfd[group]
        for row in range(ppfd.size):
            ppfd[row] += light * lamps.group_rows[group, row]


@compiled
def group_power(now: Now, lamps: LampParts, group: int) -> float:
    """Return the electrical input of a lamp group [W]."""
    power = powered(now, lamps.circuit)
    lost = at(now.fault, lamps.lost[group])
    return float(now.group_on[group] * power * (1.0 - lost) * lamps.group_w[group])


@compiled
def door_opening(now: Now, slots: FaultColumns) -> float:
    """Return how far the door stands open, 0 to 1."""
    return float(max(now.held[DOOR], at(now.fault, slots.door)))


@compiled
def compressor_w(now: Now, machines: MachineParts) -> float:
    """Return the electrical input of the compressor where it runs [W]; it grows with outdoor heat."""
    difference = now.held[OUTDOOR_TEMPERATURE] - RATED_OUTDOOR_C
    return float(now.switch[SHARE] * machines.compressor_w * max(LEAST_POWER, 1.0 + POWER_PER_OUTDOOR_K * difference))


@compiled
def dew_point(pressure: float) -> float:
    """Return the dew point [degC] of a vapour pressure [Pa]; inverse of saturation_pressure."""
    logarithm = np.log(pressure / MAGNUS_PRESSURE_PA)
    return float(MAGNUS_OFFSET_C * logarithm / (MAGNUS_SLOPE - logarithm))


@compiled
def draws(now: Now, lamps: LampParts, machines: MachineParts, slots: FaultColumns, electric: Floats) -> float:
    """Sum the electrical inputs [W] that warm each volume into ``electric``; return all that the mains feed.

    The heater is left out: its own thermostat decides from moment to moment.

    Also notes what the compressor really does. The compressor and the purge fan warm the outdoors.
    """
    electric[:] = 0.0
    mains = 1.0 if now.switch[MAINS] > 0.5 else 0.0
    fault = now.fault
    for group in range(lamps.group_w.size):
        power = group_power(now, lamps, group)
        for place in range(electric.size):
            electric[place] += power * lamps.group_heat[group, place]
    fans = powered(now, slots.circuit_fans)
    for row in range(machines.fan_w.size):
        electric[row + 1] += machines.fan_w[row] * fans * (1.0 - at(fault, machines.fan_dead[row]))
    cold = powered(now, slots.circuit_air_conditioner)
    electric[0] += machines.air_handler_w * cold + machines.controller_w * mains
    electric[0] += machines.dehumidifier_w * now.switch[DEHUMIDIFIER] * cold
    trips = at(fault, slots.cooling_lost) > 0.95
    now.compressor_runs[0] = now.switch[COMPRESSOR] * cold * (0.0 if trips else 1.0)
    purge = max(now.switch[PURGING], at(fault, slots.purge_running)) * mains
    return float(electric.sum() + now.compressor_runs[0] * compressor_w(now, machines) + purge * machines.purge_w)


@compiled
def heater_power(now: Now, machines: MachineParts, slots: FaultColumns, temperature: float) -> float:
    """Return what the heater draws and gives now [W]."""
    stuck = at(now.fault, slots.heater_stuck)
    share = heater_share(temperature, now.switch[HEATER_SET], stuck)
    return machines.heater_w * share * powered(now, slots.circuit_heater)


@compiled
def leak(now: Now, machines: MachineParts, slots: FaultColumns, temperature: float, air_kg: float) -> float:
    """Return the air exchanged with outdoors [kg/s]."""
    fault = now.fault
    difference = abs(temperature - now.held[OUTDOOR_TEMPERATURE])
    draught = min(1.6, max(0.4, sqrt(difference / USUAL_DIFFERENCE_K)))
    changes = machines.air_changes + LEAK_CHANGES * at(fault, slots.co2_leak)
    changes += draught * machines.air_changes_door * door_opening(now, slots)
    changes += draught * machines.air_changes_louvre * at(fault, slots.louvre)
    purge = max(now.switch[PURGING], at(fault, slots.purge_running)) if now.switch[MAINS] > 0.5 else 0.0
    return changes / 3600.0 * air_kg + purge * machines.purge_kg_s


@compiled
def dosed(now: Now, machines: MachineParts, slots: FaultColumns) -> float:
    """Take a minute's CO2 from the bottle and return its flow into the room [mol/s]."""
    command = now.switch[VALVE_OPEN] if now.switch[MAINS] > 0.5 else 0.0
    opening = max(command, at(now.fault, slots.co2_valve_stuck_open))
    flow = opening * machines.valve_mol_s * (1.0 - at(now.fault, slots.co2_bottle_empty))
    flow = min(flow, now.bottle_kg[0] * 1000.0 / CO2_G_MOL / MINUTE_S)
    now.bottle_kg[0] -= flow * MINUTE_S * CO2_G_MOL / 1000.0
    return float(flow)


@compiled
def grow(air: Air, rooms: Rooms, plants: Plants, crop: CropParts, living: float, taken: Floats) -> None:
    """Let every stand live for a minute; note its CO2 uptake [mol/s] and the water that it keeps."""
    for row in range(taken.size):
        place = row + 1
        what = exchange(
            plants.stored[row], plants.structural[row], living, plants.ppfd[row], co2_fraction(air, rooms, place),
            air.temperature[place], rooms.air_pressure,
        )  # fmt: skip
        plants.stored[row] += MINUTE_S * what.stored
        plants.structural[row] += MINUTE_S * what.structural
        taken[row] = what.co2_taken * crop.area_m2[row]
        gained = max(0.0, what.stored + what.structural) * crop.area_m2[row]
        plants.kept[row] = MINUTE_S * gained * WATER_G_PER_G_DRY / 1000.0
        air.ledger[KEPT_WATER] += plants.kept[row]


@compiled
def air_minute(
    now: Now, air: Air, rooms: Rooms, plants: Plants, lamps: LampParts, crop: CropParts, machines: MachineParts,
    slots: FaultColumns, water: FromWater,
) -> None:  # fmt: skip
    """Move the air side on by a minute under what was last decided.

    What the water side gave to the air in the minute before arrives in this one.
    """
    held, fault = now.held, now.fault
    rows = plants.ppfd.size
    electric = np.zeros(rows + 1)
    power = draws(now, lamps, machines, slots, electric) + water.electrical_w
    air.ledger[ELECTRICITY] += MINUTE_S * power
    taken = np.zeros(rows)
    living = 1.0 - at(fault, slots.humid_source_lost)
    grow(air, rooms, plants, crop, living, taken)

    light, to_air, to_vapour, exchanged = np.zeros(rows), np.zeros(rows), np.zeros(rows), np.zeros(rows)
    drinks = 1.0 + DRINKS_MORE * at(fault, slots.water_uptake_high)
    fans = powered(now, slots.circuit_fans)
    density = rooms.air_pressure / (DRY_AIR_GAS_CONSTANT * (CELSIUS_ZERO_K + 21.0))
    for row in range(rows):
        blows = fans * (1.0 - at(fault, machines.fan_dead[row]))
        exchanged[row] = machines.exchange_kg_s[row] * (machines.still_share + (1.0 - machines.still_share) * blows)
        index = leaf_area_index(plants.structural[row])
        leaves = crop.area_m2[row] * min(index, MOST_TRANSPIRING_INDEX) * living
        still = boundary_resistance(machines.still_air_speed + (machines.air_speed - machines.still_air_speed) * blows)
        caught = light_caught(index) * living * (1.0 - REFLECTED_SHARE)
        light[row] = crop.area_m2[row] * caught * plants.ppfd[row] * PHOTON_ENERGY_J_UMOL
        to_air[row] = leaves * density * AIR_HEAT_J_KG_K / still
        to_vapour[row] = leaves / (stomatal_resistance(plants.ppfd[row]) + still) * drinks

    outdoors = held[OUTDOOR_TEMPERATURE]
    outdoor_pressure = saturation_pressure(outdoors) * held[OUTDOOR_HUMIDITY] / 100.0
    dew_fault = at(fault, slots.cooling_at_dew_point)
    floor = UNFAULTED_FLOOR_C
    if dew_fault > 0.0:
        dew = dew_point(vapour_pressure(air.vapour[0] / rooms.air_kg[0], rooms.air_pressure))
        warm = min(dew + 0.3, air.temperature[0] - STILL_COOLS_K)
        floor = SOUND_COIL_C + dew_fault * (warm - SOUND_COIL_C)
    cold = powered(now, slots.circuit_air_conditioner)
    capacity = machines.cooling_w * min(MOST_CAPACITY, 1.0 - CAPACITY_PER_OUTDOOR_K * (outdoors - RATED_OUTDOOR_C))
    capacity *= now.switch[SHARE]
    capacity *= (1.0 - at(fault, slots.coil_short_of_capacity)) * (1.0 - at(fault, slots.cooling_lost))
    pressure = vapour_pressure(air.vapour[0] / rooms.air_kg[0], rooms.air_pressure)
    dries = machines.dehumidifier_kg_s * min(1.3, pressure / DEHUMIDIFIER_RATED_PA)
    dries *= now.switch[DEHUMIDIFIER] * cold * (1.0 - at(fault, slots.drying_lost))
    drive = Drive(
        outdoors,
        humidity_ratio(outdoor_pressure, rooms.air_pressure),
        outdoors + machines.roof_gain_k * held[SOLAR],
        held[OUTDOOR_CO2],
        leak(now, machines, slots, air.temperature[0], rooms.air_kg.sum()),
        electric,
        machines.heater_w * powered(now, slots.circuit_heater),
        now.switch[HEATER_SET],
        at(fault, slots.heater_stuck),
        exchanged,
        light,
        to_air,
        to_vapour,
        water.wet_enough,
        taken,
        dosed(now, machines, slots),
        water.co2_mol / MINUTE_S,
        held[PEOPLE],
        machines.floor_m2 * at(fault, slots.free_water),
        FREE_WATER_C,
        water.temperature,
        water.heat_w,
        machines.coil_air_kg_s * cold * (1.0 + FLOODED_COIL_AIR * dew_fault),
        capacity * now.compressor_runs[0],
        floor,
        at(fault, slots.drying_lost),
        dries,
    )
    air.given[:] = 0.0
    for _ in range(STEPS):
        air_step(air, rooms, drive, MINUTE_S / STEPS)
