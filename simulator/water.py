"""The whole water side: tank, doser, feed water, lines and probes, moved on together."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from farm.description import Farm
from simulator.compiled import Floats, compiled
from simulator.doser import DoserParameters, DoserState, advance_doser, control_doser, doser_parameters, doser_state
from simulator.feed_water import (
    BOOSTER_W,
    FeedParameters,
    FeedState,
    advance_feed,
    control_feed,
    feed_parameters,
    feed_state,
)
from simulator.ions import IONS
from simulator.lines import (
    TRAY_L,
    USUAL_LIT_H,
    WET_ABOVE,
    LinesParameters,
    LinesState,
    advance_lines,
    control_lines,
    lines_parameters,
    lines_state,
    supply_of,
)
from simulator.roots import drink
from simulator.solution_probes import ProbesState, advance_probes, probes_state
from simulator.stocks import FREE_CO2_MOL_L, RAW_WATER, first_fill
from simulator.tank import TankState, exchange_gases, settle, tank_state
from simulator.water_books import (
    CARRIED_IN,
    CARRIED_OUT,
    CONDENSED,
    DRAINED,
    LEAKED_OUT,
    PUMPED,
    TO_AIR,
    Books,
    empty_books,
)
from simulator.water_terms import COLUMNS, FIRST_OF_STOCKS, PER_STOCK, WaterMinute

WATER_HEAT_J_KG_K = 4186.0
TANK_W_K = 20.0  # between tank and room air; our choice
ROW_W_K = 4.0  # of each place while solution trickles through it; our choice
DOSER_W = 8.0
FIRST_OF_NAMED = len(COLUMNS)  # truth columns of single stocks, places and shelves
FIRST_LEVEL = 0.90


class WaterParameters(NamedTuple):
    """Sizes of everything that holds or moves water."""

    tank_l: float  # when full
    condensate_returned: float
    first_place_slot: int  # in the fault array
    doser: DoserParameters
    feed: FeedParameters
    lines: LinesParameters


class WaterState(NamedTuple):
    """Everything on the water side that lasts; changed in place."""

    tank: TankState
    doser: DoserState
    feed: FeedState
    lines: LinesState
    probes: ProbesState
    books: Books
    # Of the step that has passed:
    electrical_power_w: Floats
    heat_to_air_w: Floats  # from solution, and from equipment that does not stand in it, to the room
    co2_to_air_mol: Floats


def water_parameters(farm: Farm, lit_h: float = USUAL_LIT_H) -> WaterParameters:
    """Return the sizes of a farm's water side from its description.

    Raises
    ------
    ValueError
        If the farm describes no reservoir.
    """
    tank = farm.equipment.reservoir
    if tank is None:
        raise ValueError(f"farm {farm.name!r} cannot be simulated: describe its tank in [equipment.reservoir]")
    condensate = farm.equipment.condensate
    return WaterParameters(
        tank.volume_l,
        1.0 if condensate is not None and condensate.returned else 0.0,
        FIRST_OF_STOCKS + len(PER_STOCK) * len(farm.equipment.stocks),
        doser_parameters(farm, tank.volume_l),
        feed_parameters(farm),
        lines_parameters(farm, lit_h),
    )


def water_state(farm: Farm, parameters: WaterParameters) -> WaterState:
    """Return a water side on an ordinary day: solution freshly mixed, bottles half used, filter clean."""
    feed = RAW_WATER * parameters.feed.passage
    feed[-1] += FREE_CO2_MOL_L
    stocks = list(farm.equipment.stocks)
    doser = parameters.doser
    middle_ph = 0.5 * (doser.ph_low + doser.ph_high)
    fresh = first_fill(doser.contents_mol_l, stocks, feed, doser.ec_high, middle_ph)
    tank = tank_state(FIRST_LEVEL * parameters.tank_l, fresh)
    return WaterState(
        tank,
        doser_state(parameters.doser),
        feed_state(),
        lines_state(parameters.lines, fresh),
        probes_state(tank.ec[0], tank.ph[0], 100.0 * FIRST_LEVEL),
        empty_books(),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
    )


@compiled
def solution_l(state: WaterState) -> float:
    """Return all the solution there is [L]: tank, places and sump."""
    return float(state.tank.volume_l[0] + state.lines.place_l.sum())


@compiled
def supply(state: WaterState, parameters: WaterParameters, place: int) -> float:
    """Return the share of its demand that the stand at a place can drink, 0 to 1."""
    return supply_of(state.lines, parameters.lines, place)


@compiled
def control(
    state: WaterState, parameters: WaterParameters, minute_of_day: float, lit: float, fault: Floats, powered: float
) -> None:
    """Let timers, valve and doser decide for the next minute, from what the probes say.

    Parameters
    ----------
    state, parameters : WaterState, WaterParameters
        The water side.
    minute_of_day : float
        Local time: whole minutes since midnight.
    lit : float
        1 while the rows' lamps are on, else 0.
    fault : numpy.ndarray
        Severities by slot, as :func:`simulator.water_terms.water_fault_slots` orders them.
    powered : float
        1 with mains, else 0.
    """
    control_lines(state.lines, parameters.lines, minute_of_day, lit, powered)
    running = max(state.lines.pump_on[0], state.lines.flood_on[0])
    control_feed(state.feed, state.probes.level[0], running, powered)
    control_doser(state.doser, parameters.doser, state.probes.ec[0], state.probes.ph[0], minute_of_day, powered)


@compiled
def advance(state: WaterState, parameters: WaterParameters, minute: WaterMinute, fault: Floats, seconds: float) -> None:
    """Move the water side on under the controls' last decisions.

    Parameters
    ----------
    state, parameters : WaterState, WaterParameters
        The water side.
    minute : WaterMinute
        What the rest of the farm does to it.
    fault : numpy.ndarray
        Severities by slot.
    seconds : float
        Length of the step: 60, the controls' own.
    """
    tank, lines, books = state.tank, state.lines, state.books
    temperature = tank.temperature[0]
    heat = WATER_HEAT_J_KG_K * solution_l(state) * temperature
    heat += advance_feed(state.feed, parameters.feed, tank, books, minute.feed_temperature, fault, seconds)
    heat += advance_doser(
        state.doser, parameters.doser, tank, books, minute.air_temperature, minute.change_bottles, fault, seconds
    )
    if parameters.condensate_returned > 0.5:
        tank.volume_l[0] += minute.condensate_kg
        books.water_l[CONDENSED] += minute.condensate_kg
        carried = WATER_HEAT_J_KG_K * minute.condensate_kg * minute.air_temperature
        books.heat_j[CARRIED_IN] += carried
        heat += carried
    pump_w, out = advance_lines(
        lines,
        parameters.lines,
        tank,
        parameters.tank_l,
        books,
        minute.clean_filter,
        fault,
        parameters.first_place_slot,
        minute.powered,
        seconds,
    )
    for place in range(len(minute.transpired_kg)):
        out += drink(lines, place, minute.transpired_kg[place], minute.kept_kg[place], books, fault)
    out += leak(state, minute.leaked_l)
    heat -= WATER_HEAT_J_KG_K * out * temperature
    books.heat_j[CARRIED_OUT] += WATER_HEAT_J_KG_K * out * temperature
    trickling = 0.0
    for place in range(len(minute.transpired_kg)):
        trickling += ROW_W_K if lines.flow_l_min[place] > 0.0 else 0.0
    to_air_w = (TANK_W_K + trickling) * (temperature - minute.air_temperature)
    heat += seconds * (pump_w - to_air_w)
    books.heat_j[PUMPED] += seconds * pump_w
    books.heat_j[TO_AIR] += seconds * to_air_w
    tank.temperature[0] = heat / (WATER_HEAT_J_KG_K * solution_l(state))
    other_w = BOOSTER_W * parameters.feed.membrane * state.feed.filling[0] + DOSER_W * minute.powered
    state.electrical_power_w[0] = pump_w + other_w
    state.heat_to_air_w[0] = to_air_w + other_w
    state.co2_to_air_mol[0] = exchange_gases(
        tank, books, minute.co2_ppm, minute.air_pressure_kpa, lines.pump_runs[0], seconds
    )
    settle(tank)
    level = 100.0 * tank.volume_l[0] / parameters.tank_l
    advance_probes(state.probes, tank.conductivity[0], tank.temperature[0], tank.ph[0], level, fault, seconds)


@compiled
def leak(state: WaterState, litres: float) -> float:
    """Let solution leak from the tank to the floor; return how much it was [L]."""
    share = min(0.9, litres / state.tank.volume_l[0])
    if share <= 0.0:
        return 0.0
    for ion in range(IONS):
        amount = share * state.tank.ions_mol[ion]
        state.tank.ions_mol[ion] -= amount
        state.books.ions_mol[LEAKED_OUT, ion] += amount
    gone = share * state.tank.volume_l[0]
    state.tank.volume_l[0] -= gone
    state.books.water_l[LEAKED_OUT] += gone
    return float(gone)


@compiled
def record(state: WaterState, parameters: WaterParameters, columns: Floats) -> None:
    """Write the present truth into ``columns``, in the order of :func:`simulator.water_terms.water_columns`."""
    tank, doser, feed, lines = state.tank, state.doser, state.feed, state.lines
    columns[0] = tank.ec[0]
    columns[1] = tank.ph[0]
    columns[2] = tank.temperature[0]
    columns[3] = tank.oxygen_mg_l[0]
    columns[4] = 100.0 * tank.volume_l[0] / parameters.tank_l
    columns[5] = tank.volume_l[0]
    columns[6] = state.probes.ec[0]
    columns[7] = state.probes.ph[0]
    columns[8] = state.probes.level[0]
    columns[9] = lines.pump_runs[0]
    columns[10] = lines.flow[0]
    columns[11] = lines.pressure_before[0]
    columns[12] = lines.pressure_after[0]
    columns[13] = lines.return_l_min[0]
    columns[14] = doser.doser_on[0]
    columns[15] = lines.flood_on[0]
    columns[16] = feed.filling[0]
    columns[17] = feed.made_l[0]
    columns[18] = feed.rate_l_min[0]
    columns[19] = feed.ec[0]
    columns[20] = feed.temperature[0]
    columns[21] = state.books.water_l[DRAINED]
    columns[22] = state.electrical_power_w[0]
    columns[23] = state.heat_to_air_w[0]
    at = FIRST_OF_NAMED
    stocks = len(parameters.doser.role)
    for stock in range(stocks):
        columns[at + stock] = doser.turned_ml[stock]
        columns[at + stocks + stock] = doser.given_ml[stock]
        columns[at + 2 * stocks + stock] = doser.left_ml[stock]
    at += 3 * stocks
    rows, shelves = parameters.lines.rows, parameters.lines.shelves
    places = rows + shelves
    for place in range(places):
        columns[at + place] = lines.flow_l_min[place]
        columns[at + places + place] = lines.place_l[place]
        columns[at + 2 * places + place] = supply_of(lines, parameters.lines, place)
    at += 3 * places
    for shelf in range(shelves):
        filled = lines.place_l[rows + shelf] / TRAY_L
        columns[at + shelf] = 100.0 * filled
        columns[at + shelves + shelf] = 1.0 if filled > WET_ABOVE else 0.0
