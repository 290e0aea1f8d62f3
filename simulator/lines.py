"""Pump, filter, drip rows, flood shelves and sump: how solution gets to roots and comes back.

Sizes and time constants are our choice, no source, but for the nameplates of the description.
"""

from __future__ import annotations

from math import exp, sqrt
from typing import NamedTuple

import numpy as np

from farm.description import DripRow, Farm
from simulator.compiled import Floats, compiled
from simulator.ions import IONS
from simulator.tank import TankState
from simulator.water_books import DRAINED, Books
from simulator.water_terms import FILTER_LOADING, PUMP_OFF, SUMP_RETURN_LOST, VALVE_LEFT_TO_DRAIN

# Pump and filter, at the rated flow of all rows together
SHUT_OFF_KPA = 230.0
RATED_BEFORE_KPA = 190.0
CLEAN_DROP_KPA = 8.0  # turbulent: with the square of flow
LOADING_KPA_PER_L = 0.0006  # what each litre leaves in the filter; laminar: with flow
PUMP_W = 180.0
FLOOD_PUMP_W = 60.0
RETURN_PUMP_W = 40.0
DRY_BELOW = 0.04  # share of the tank at which pumps draw air
# Places
HELD_L_PER_SITE = 0.025
HELD_L_PER_EMITTER = 0.075  # where the description does not count plant sites
TRAY_L = 12.0
TRAY_HELD_L = 1.5  # in the plugs, once drained
TRAY_FILL_MIN = 3.0
WET_ABOVE = 0.3  # of the tray: float switch
ROW_LAG_S = 8.0
TRAY_LAG_S = 90.0
SUMP_LAG_S = 4.0
SUMP_L = 25.0
SHORT_BELOW = 0.3  # of what a place holds: below, roots drink less
# Timers
DRIP_MIN = 5.0
DRIP_EVERY_LIT_MIN = 20.0
DRIP_EVERY_DARK_MIN = 60.0
FLOOD_MIN = 10.0
FLOOD_EVERY_LIT_MIN = 240.0
USUAL_LIT_H = 16.0


class LinesParameters(NamedTuple):
    """Sizes of the lines."""

    rows: int  # drip rows; the places after them are flood shelves
    shelves: int
    rated_l_min: Floats  # by row, of its sound emitters
    held_l: Floats  # by place: what it keeps once it has drained
    drip_min: float
    drip_every_lit_min: float
    drip_every_dark_min: float


class LinesState(NamedTuple):
    """Pumps, filter, and what stands in places and sump (the last place)."""

    place_l: Floats
    place_mol: Floats  # by place and ion
    flow_l_min: Floats  # into each place
    pump_on: Floats  # commanded
    pump_runs: Floats
    flood_on: Floats
    flow: Floats  # L/min, all rows
    pressure_before: Floats  # kPa
    pressure_after: Floats
    return_l_min: Floats
    loaded_kpa: Floats  # of the filter at rated flow


def lines_parameters(farm: Farm, lit_h: float = USUAL_LIT_H) -> LinesParameters:
    """Return the lines of a farm's description; ``lit_h`` hours of light a day set how often rows drip."""
    equipment = farm.equipment
    rows = equipment.drip_rows
    held = [
        HELD_L_PER_SITE * row.plant_sites if row.plant_sites is not None else HELD_L_PER_EMITTER * row.emitters
        for row in rows
    ] + [TRAY_HELD_L] * len(equipment.flood_shelves)
    rated = np.array([row.emitters * row.emitter_flow_l_h / 60.0 for row in rows])
    return LinesParameters(
        len(rows), len(equipment.flood_shelves), rated, np.array(held), *_timer(rows[0] if rows else None, lit_h)
    )


def _timer(row: DripRow | None, lit_h: float) -> tuple[float, float, float]:
    """Minutes of dripping, and from one to the next while lit and while dark, after the row's irrigation plan."""
    minutes = (row.irrigation.minutes if row is not None else None) or DRIP_MIN
    cycles = row.irrigation.cycles_a_day if row is not None else None
    if cycles is None:
        return minutes, max(minutes + 1.0, DRIP_EVERY_LIT_MIN), max(minutes + 1.0, DRIP_EVERY_DARK_MIN)
    dark_cycles = (24.0 - lit_h) * 60.0 / DRIP_EVERY_DARK_MIN
    if cycles > 2.0 * dark_cycles:
        return minutes, float(max(1, round(60.0 * lit_h / (cycles - dark_cycles)))), DRIP_EVERY_DARK_MIN
    every = float(max(1, round(1440.0 / cycles)))
    return minutes, every, every


def lines_state(parameters: LinesParameters, concentrations: Floats) -> LinesState:
    """Return lines at rest, with every place and the sump wet with a solution [mol/L]."""
    place_l = np.append(parameters.held_l, 0.0)
    return LinesState(
        place_l,
        place_l[:, None] * concentrations[None, :],
        np.zeros(len(place_l)),
        *(np.zeros(1) for _ in range(8)),
    )


@compiled
def control_lines(
    state: LinesState, parameters: LinesParameters, minute_of_day: float, lit: float, powered: float
) -> None:
    """Let the timers decide for the next minute."""
    every = parameters.drip_every_lit_min if lit > 0.5 else parameters.drip_every_dark_min
    on = parameters.rows > 0 and powered > 0.5
    state.pump_on[0] = 1.0 if on and minute_of_day % every < parameters.drip_min else 0.0
    flood = parameters.shelves > 0 and powered > 0.5 and lit > 0.5
    state.flood_on[0] = 1.0 if flood and minute_of_day % FLOOD_EVERY_LIT_MIN < FLOOD_MIN else 0.0


@compiled
def shift(
    from_l: Floats, from_mol: Floats, from_index: int, to_l: Floats, to_mol: Floats, to_index: int, litres: float
) -> None:
    """Move well-mixed solution from one place to another."""
    if litres <= 0.0 or from_l[from_index] <= 0.0:
        return
    share = min(1.0, litres / from_l[from_index])
    for ion in range(IONS):
        amount = share * from_mol[from_index, ion]
        from_mol[from_index, ion] -= amount
        to_mol[to_index, ion] += amount
    moved = share * from_l[from_index]
    from_l[from_index] -= moved
    to_l[to_index] += moved


@compiled
def drained_away(excess: float, inflow: float, lag_s: float, seconds: float) -> float:
    """Return what runs off a place [L] that holds ``excess`` over what it keeps, while ``inflow`` [L] comes in."""
    keep = exp(-seconds / lag_s)
    start = excess - inflow  # the inflow stands in the place already
    if start < 0.0:
        if excess <= 0.0:
            return 0.0
        since_s = seconds * excess / inflow  # that the place has had its fill
        return float(excess - inflow / seconds * lag_s * (1.0 - exp(-since_s / lag_s)))
    left = start * keep + inflow * lag_s / seconds * (1.0 - keep)
    return max(0.0, excess - left)


@compiled
def pumped_flow(state: LinesState, parameters: LinesParameters, clogged: Floats, speed: float, passes: float) -> float:
    """Return the flow that pump, filter and emitters agree on [L/min], and set both pressures.

    ``passes`` is the share of the pressure that dirt beside the usual leaves; ``speed`` the pump's, of its rated one.

    Notes
    -----
    Pump: ``p = s^2 SHUT_OFF - a q^2``. Filter: ``b q^2`` clean, ``c q`` of what has loaded it. Emitters
    pass the square root of their pressure. Together a quadratic in ``q``.
    """
    rated = 0.0
    sound = 0.0
    for row in range(parameters.rows):
        rated += parameters.rated_l_min[row]
        sound += parameters.rated_l_min[row] * (1.0 - clogged[row])
    state.pressure_before[0] = 0.0
    state.pressure_after[0] = 0.0
    if rated <= 0.0 or speed <= 0.0:
        return 0.0
    head = SHUT_OFF_KPA * speed * speed
    by_pump = (SHUT_OFF_KPA - RATED_BEFORE_KPA) / rated**2
    by_screen = CLEAN_DROP_KPA / rated**2
    by_cake = state.loaded_kpa[0] / rated
    flow = 0.0
    if sound > 0.0:
        by_emitters = (RATED_BEFORE_KPA - CLEAN_DROP_KPA) / sound**2
        square = passes * by_pump + by_screen + by_emitters
        flow = (-by_cake + sqrt(by_cake**2 + 4.0 * square * passes * head)) / (2.0 * square)
    state.pressure_before[0] = head - by_pump * flow**2
    state.pressure_after[0] = passes * state.pressure_before[0] - by_screen * flow**2 - by_cake * flow
    for row in range(parameters.rows):
        share = parameters.rated_l_min[row] * (1.0 - clogged[row]) / sound if sound > 0.0 else 0.0
        state.flow_l_min[row] = flow * share
    return float(flow)


@compiled
def supply_of(state: LinesState, parameters: LinesParameters, place: int) -> float:
    """Return the share of its demand that a stand can drink, 0 to 1."""
    return float(min(1.0, max(0.0, state.place_l[place] / (SHORT_BELOW * parameters.held_l[place]))))


@compiled
def advance_lines(
    state: LinesState,
    parameters: LinesParameters,
    tank: TankState,
    tank_l: float,
    books: Books,
    clean_filter: float,
    fault: Floats,
    first_place_slot: int,
    powered: float,
    seconds: float,
) -> tuple[float, float]:
    """Pump, flood, drain and return; return the electrical power [W] and the water let to the drain [L].

    ``tank_l`` is what the tank holds when full.
    """
    if clean_filter > 0.5:
        state.loaded_kpa[0] = 0.0
    clogged = fault[first_place_slot : first_place_slot + parameters.rows]
    places = parameters.rows + parameters.shelves
    sump = places
    wet = tank.volume_l[0] > DRY_BELOW * tank_l
    speed = 1.0 - fault[PUMP_OFF] if state.pump_on[0] > 0.5 and powered > 0.5 else 0.0
    state.pump_runs[0] = 1.0 if speed > 0.05 else 0.0
    state.flow_l_min[:] = 0.0
    flow = pumped_flow(state, parameters, clogged, speed if wet else 0.0, 1.0 - fault[FILTER_LOADING])
    state.flow[0] = flow
    state.loaded_kpa[0] += LOADING_KPA_PER_L * flow * seconds / 60.0
    for shelf in range(parameters.rows, places):
        if state.flood_on[0] > 0.5 and powered > 0.5 and wet:
            state.flow_l_min[shelf] = TRAY_L / TRAY_FILL_MIN
    # Out of the tank, into the places
    tank_mol = tank.ions_mol.reshape((1, IONS))
    asked = 0.0
    for place in range(places):
        asked += state.flow_l_min[place] * seconds / 60.0
    fits = min(1.0, 0.9 * tank.volume_l[0] / asked) if asked > 0.0 else 1.0
    returned = 0.0
    for place in range(places):
        inflow = fits * state.flow_l_min[place] * seconds / 60.0
        shift(tank.volume_l, tank_mol, 0, state.place_l, state.place_mol, place, inflow)
        excess = state.place_l[place] - parameters.held_l[place]
        if place < parameters.rows:
            runs_off = drained_away(excess, inflow, ROW_LAG_S, seconds)
        elif state.flood_on[0] > 0.5 and powered > 0.5:
            runs_off = max(0.0, state.place_l[place] - TRAY_L)  # over the standpipe
        else:
            way_out = 1.0 - fault[first_place_slot + place]
            runs_off = drained_away(excess, inflow, TRAY_LAG_S / way_out, seconds) if way_out > 1e-3 else 0.0
            runs_off = max(runs_off, state.place_l[place] - TRAY_L)
        shift(state.place_l, state.place_mol, place, state.place_l, state.place_mol, sump, runs_off)
        returned += max(0.0, runs_off)
    # Out of the sump, into the tank or away
    back = drained_away(state.place_l[sump], returned, SUMP_LAG_S, seconds) if powered > 0.5 else 0.0
    lost = back * fault[SUMP_RETURN_LOST]
    away = lost + (back - lost) * fault[VALVE_LEFT_TO_DRAIN]
    state.return_l_min[0] = (back - away) * 60.0 / seconds
    drained = let_out(state.place_l, state.place_mol, sump, books, away)
    shift(state.place_l, state.place_mol, sump, tank.volume_l, tank_mol, 0, back - away)
    drained += let_out(state.place_l, state.place_mol, sump, books, state.place_l[sump] - SUMP_L)
    drained += let_out(tank.volume_l, tank_mol, 0, books, tank.volume_l[0] - tank_l)
    power = PUMP_W * state.pump_runs[0] + RETURN_PUMP_W * min(1.0, 0.2 * (back - lost) * 60.0 / seconds)
    if parameters.shelves > 0 and state.flood_on[0] > 0.5 and powered > 0.5:
        power += FLOOD_PUMP_W
    return power, drained


@compiled
def let_out(from_l: Floats, from_mol: Floats, index: int, books: Books, litres: float) -> float:
    """Let solution run to the drain, write it down and return how much it was [L]."""
    if litres <= 0.0 or from_l[index] <= 0.0:
        return 0.0
    share = min(1.0, litres / from_l[index])
    for ion in range(IONS):
        amount = share * from_mol[index, ion]
        from_mol[index, ion] -= amount
        books.ions_mol[DRAINED, ion] += amount
    moved = share * from_l[index]
    from_l[index] -= moved
    books.water_l[DRAINED] += moved
    return float(moved)
