"""The water side run by itself: plants of a fixed thirst stand where the air side would be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from farm.water_equipment import Condensate, FloodShelf
from simulator import water
from simulator.compiled import compiled
from simulator.demo import demo_farm
from simulator.water_terms import WaterMinute, water_columns, water_fault_slots

DAY = 1440
AIR_C, FEED_C, AIR_KPA = 21.0, 12.0, 99.0
LIT_FROM, LIT_UNTIL = 5 * 60, 21 * 60
TRANSPIRED_KG_DAY, DARK_KG_DAY, KEPT_SHARE = 14.0, 3.0, 0.05  # by place, at the rate of the hour; invented
CLEANED_AT = 9 * 60 + 40
CONDENSATE_KG_MIN = 0.01
LEAKED_AT, LEAKED_L = 4 * DAY, 5.0


@compiled
def advance_days(state, parameters, first, faults, columns, minutes_mod, sums, ions, condensate, leak, powered):
    places = len(parameters.lines.held_l)
    transpired = np.zeros(places)
    kept = np.zeros(places)
    for row in range(len(faults)):
        minute_of_day = float((first + row) % minutes_mod)
        lit = 1.0 if LIT_FROM <= minute_of_day < LIT_UNTIL else 0.0
        fault = faults[row]
        water.control(state, parameters, minute_of_day, lit, fault, powered)
        for place in range(places):
            can = water.supply(state, parameters, place)
            transpired[place] = can * (TRANSPIRED_KG_DAY if lit > 0.5 else DARK_KG_DAY) / DAY
            kept[place] = can * TRANSPIRED_KG_DAY * KEPT_SHARE / DAY if lit > 0.5 else 0.0
        leaked = LEAKED_L if leak and first + row == LEAKED_AT else 0.0
        tended = 1.0 if minute_of_day == CLEANED_AT else 0.0
        minute = WaterMinute(
            transpired, kept, AIR_C, 1000.0 if lit > 0.5 else 700.0, AIR_KPA, FEED_C, condensate, leaked, tended,
            tended, powered,
        )  # fmt: skip
        water.advance(state, parameters, minute, fault, 60.0)
        water.record(state, parameters, columns[row])
        sums[0] += transpired.sum() + kept.sum()
        sums[1] += condensate
        sums[2] += leaked
        sums[3] += state.heat_to_air_w[0] * 60.0
        sums[4] += state.electrical_power_w[0] * 60.0
        ions[row] = state.tank.ions_mol


def farm_with_everything():
    """Return the demonstration farm with a flood shelf, and condensate that flows back."""
    farm = demo_farm()
    more = {"flood_shelves": [FloodShelf(zone="shelf")], "condensate": Condensate(returned=True)}
    return farm.model_copy(update={"equipment": farm.equipment.model_copy(update=more)})


@dataclass
class WaterRun:
    """A run's farm, parameters, last state, truth by column, and sums made from outside."""

    farm: object
    parameters: water.WaterParameters
    state: water.WaterState
    truth: dict[str, np.ndarray]
    before: dict[str, np.ndarray]
    sums: np.ndarray  # drunk, condensed, leaked [L], heat to the air and electricity [J]
    tank_ions: np.ndarray

    def __getitem__(self, column):
        return self.truth[f"water.{column}"]

    def day(self, column, day):
        return self[column][day * DAY : (day + 1) * DAY]


def contents(state):
    """Return all the water [L], ions [mol] and heat [J] there are."""
    litres = state.tank.volume_l[0] + state.lines.place_l.sum()
    return {
        "water": litres,
        "ions": state.tank.ions_mol + state.lines.place_mol.sum(axis=0),
        "heat": 4186.0 * litres * state.tank.temperature[0],
    }


def run_water(days, *faults, farm=None, blocks=None, condensate=0.0, leak=False, powered=1.0):
    """Run the water side; a fault is (kind, target, first day, last day, size)."""
    farm = farm or demo_farm()
    parameters = water.water_parameters(farm)
    state = water.water_state(farm, parameters)
    slots, names = water_fault_slots(farm), water_columns(farm)
    minutes = round(days * DAY)
    wrong = np.zeros((minutes, len(slots)))
    for kind, target, first, last, size in faults:
        wrong[round(first * DAY) : round(last * DAY), slots.index((kind, target))] = size
    columns, sums, ions = np.zeros((minutes, len(names))), np.zeros(5), np.zeros((minutes, 10))
    before = contents(state)
    at = 0
    for length in blocks or [minutes]:
        end = min(minutes, at + length)
        advance_days(
            state, parameters, at, wrong[at:end], columns[at:end], DAY, sums, ions[at:end], condensate, leak, powered
        )
        at = end
    return WaterRun(farm, parameters, state, dict(zip(names, columns.T, strict=True)), before, sums, ions)
