"""Bottles and dosing pumps, and the control that feeds the tank by what its probes say.

Every figure is our choice, no source, and no guide to dosing.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

import numpy as np

from farm.description import Farm
from simulator.compiled import Floats, compiled
from simulator.ions import IONS
from simulator.stocks import bottled
from simulator.tank import TankState
from simulator.water_books import CARRIED_IN, DOSED, Books
from simulator.water_terms import ACID_EMPTY, BASE_EMPTY, FIRST_OF_STOCKS, LINE_AIR, OVERDOSING, PER_STOCK, STOCK_EMPTY

NUTRIENT, ACID, BASE = 0.0, 1.0, 2.0
ROLES = {"nutrient": NUTRIENT, "acid": ACID, "base": BASE}
WATER_HEAT_J_KG_K = 4186.0
# Where the plan says nothing: the doser starts below, stops above
USUAL_EC = (1.74, 1.82)  # mS/cm
USUAL_PH = (5.75, 6.00)
# Else within the plan's band, by share of its width
WITHIN_EC = (0.32, 0.50)
WITHIN_PH = (0.35, 0.60)
NUTRIENT_PULSE_ML_L = 0.083  # by litre of tank
CORRECTION_PULSE_ML_L = 0.025
MIXING_MIN = 10.0  # between pulses
MOST_CORRECTIONS_A_DAY = 36.0  # of acid, and of base: then the doser locks them until midnight
SEEPING_PULSES_H = 1.5  # what a doser that gives twice as much lets through between doses
CHANGE_BELOW = 0.20  # share of a bottle at which the keeper changes it
USUAL_FILL = 0.6  # at the start


class DoserParameters(NamedTuple):
    """Sizes of the doser."""

    contents_mol_l: Floats  # by stock and ion
    role: Floats  # NUTRIENT, ACID or BASE
    bottle_ml: Floats
    pulse_ml: Floats
    ec_low: float  # mS/cm: it raises EC from below here ...
    ec_high: float  # ... to here
    ph_low: float
    ph_high: float


class DoserState(NamedTuple):
    """Bottles and what the doser has decided."""

    left_ml: Floats
    turned_ml: Floats  # by turns of the pump: what the doser believes it gave
    given_ml: Floats  # what really came
    commanded_ml: Floats  # for the step to come
    raising_ec: Floats
    wait_min: Floats
    doser_on: Floats
    corrections: Floats  # of acid and of base since midnight


def doser_parameters(farm: Farm, tank_l: float) -> DoserParameters:
    """Return the doser of a farm's description."""
    stocks = farm.equipment.stocks
    role = np.array([ROLES[stock.role] for stock in stocks])
    per_litre = np.where(role == NUTRIENT, NUTRIENT_PULSE_ML_L, CORRECTION_PULSE_ML_L)
    return DoserParameters(
        bottled(list(stocks)),
        role,
        np.array([stock.bottle_l * 1000.0 for stock in stocks]),
        per_litre * tank_l,
        *set_points(farm, "solution_ec", WITHIN_EC, USUAL_EC),
        *set_points(farm, "solution_ph", WITHIN_PH, USUAL_PH),
    )


def set_points(
    farm: Farm, quantity: str, within: tuple[float, float], usual: tuple[float, float]
) -> tuple[float, float]:
    """Return where the doser starts and stops: within the band that the plan sets for the tank, else as usual."""
    tank = farm.equipment.reservoir
    zone = farm.zones.get(tank.zone) if tank is not None else None
    if zone is None or zone.crop is None or zone.phase is None:
        return usual
    band = farm.crops[zone.crop].phases[zone.phase].bands.get(quantity)
    limits = band.limits(True) if band is not None else None
    if limits is None or not (isfinite(limits[0]) and isfinite(limits[1])):
        return usual
    low, high = limits
    return low + within[0] * (high - low), low + within[1] * (high - low)


def doser_state(parameters: DoserParameters) -> DoserState:
    """Return bottles as they stand on an ordinary day."""
    none = np.zeros(len(parameters.role))
    return DoserState(
        USUAL_FILL * parameters.bottle_ml,
        none.copy(),
        none.copy(),
        none.copy(),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros(2),
    )


@compiled
def control_doser(
    state: DoserState, parameters: DoserParameters, ec: float, ph: float, minute_of_day: float, powered: float
) -> None:
    """Decide for the next minute what to dose, from what the probes say."""
    if minute_of_day == 0.0:
        state.corrections[:] = 0.0
    state.commanded_ml[:] = 0.0
    state.doser_on[0] = 0.0
    state.wait_min[0] = max(0.0, state.wait_min[0] - 1.0)
    if state.wait_min[0] > 0.0 or powered < 0.5:
        return
    raising = ec < parameters.ec_low or (state.raising_ec[0] > 0.0 and ec < parameters.ec_high)
    state.raising_ec[0] = 1.0 if raising else 0.0
    correction = -1.0
    if ph > parameters.ph_high and state.corrections[0] < MOST_CORRECTIONS_A_DAY:
        correction = ACID
        state.corrections[0] += 1.0
    elif ph < parameters.ph_low and state.corrections[1] < MOST_CORRECTIONS_A_DAY:
        correction = BASE
        state.corrections[1] += 1.0
    for stock in range(len(parameters.role)):
        role = parameters.role[stock]
        if (role == NUTRIENT and raising) or role == correction:
            state.commanded_ml[stock] = parameters.pulse_ml[stock]
            state.doser_on[0] = 1.0
            state.wait_min[0] = MIXING_MIN


@compiled
def advance_doser(
    state: DoserState,
    parameters: DoserParameters,
    tank: TankState,
    books: Books,
    bottle_temperature: float,
    change_bottles: float,
    fault: Floats,
    seconds: float,
) -> float:
    """Dose what was commanded, and what seeps besides; return the heat it carries in [J]."""
    dosed_l = 0.0
    for stock in range(len(parameters.role)):
        slot = FIRST_OF_STOCKS + len(PER_STOCK) * stock
        empty = fault[slot + STOCK_EMPTY]
        if parameters.role[stock] == ACID:
            empty = max(empty, fault[ACID_EMPTY])
        elif parameters.role[stock] == BASE:
            empty = max(empty, fault[BASE_EMPTY])
        if change_bottles > 0.5 and empty == 0.0 and state.left_ml[stock] < CHANGE_BELOW * parameters.bottle_ml[stock]:
            state.left_ml[stock] = parameters.bottle_ml[stock]
        wanted = state.commanded_ml[stock]
        seeping = fault[slot + OVERDOSING] * SEEPING_PULSES_H * parameters.pulse_ml[stock] * seconds / 3600.0
        came = (wanted * (1.0 - fault[slot + LINE_AIR] + fault[slot + OVERDOSING]) + seeping) * (1.0 - empty)
        came = min(max(0.0, came), state.left_ml[stock])
        state.turned_ml[stock] += wanted
        state.given_ml[stock] += came
        state.left_ml[stock] -= came
        litres = came / 1000.0
        dosed_l += litres
        for ion in range(IONS):
            amount = litres * parameters.contents_mol_l[stock, ion]
            tank.ions_mol[ion] += amount
            books.ions_mol[DOSED, ion] += amount
    tank.volume_l[0] += dosed_l
    books.water_l[DOSED] += dosed_l
    heat = WATER_HEAT_J_KG_K * dosed_l * bottle_temperature
    books.heat_j[CARRIED_IN] += heat
    return heat
