"""How a simulated farm stands at its first instant: an ordinary moment of an ordinary day."""

from __future__ import annotations

import numpy as np

from farm.description import Farm
from simulator.air import LEDGER, Air, settle
from simulator.building import Building
from simulator.coil import Coil
from simulator.controls import COMPRESSOR_MIN, DEHUMIDIFIER_MIN, SWITCHES
from simulator.crop import steady_stored
from simulator.farm_parts import HELD, Now, Parts, Plants, State
from simulator.frame import Forcing
from simulator.moist_air import DRY_AIR_MOLAR_MASS, enthalpy, humidity_ratio, saturation_pressure
from simulator.water import water_state
from simulator.water_terms import water_fault_slots

LONG_MIN = 60.0  # since the machines were last switched


def first_state(farm: Farm, parts: Parts, building: Building, first: Forcing) -> State:
    """Return a farm whose air, walls and plants are near what its controls hold."""
    rooms, settings = parts.rooms, building.settings
    lit = bool((first.lit[0] * parts.lamps.group_leads).any())
    temperature = settings.temperature_lit_c if lit else settings.temperature_dark_c
    humidity = settings.humidity_lit if lit else settings.humidity_dark
    ratio = humidity_ratio(saturation_pressure(temperature) * humidity / 100.0, rooms.air_pressure)
    places, rows = len(rooms.air_kg), len(parts.crop.area_m2)
    content = enthalpy(temperature, ratio)
    air = Air(
        heat=content * rooms.air_kg,
        vapour=ratio * rooms.air_kg,
        co2=settings.co2_close_above_ppm * 1e-6 / DRY_AIR_MOLAR_MASS * rooms.air_kg,
        mass_temperature=np.full(places, temperature),
        wall_water=np.zeros(places),
        wall_heat=np.zeros(places),
        temperature=np.zeros(places),
        leaf_warmer=np.zeros(rows),
        given=np.zeros(rows),
        coil=Coil(
            np.array([temperature * rooms.coil.metal_j_k]),
            np.zeros(1),
            np.array([temperature]),
            np.zeros(1),
            np.array([content]),
            np.array([ratio]),
        ),
        ledger=np.zeros(len(LEDGER)),
    )
    settle(air, rooms)
    switch = np.zeros(len(SWITCHES))
    switch[[COMPRESSOR_MIN, DEHUMIDIFIER_MIN]] = LONG_MIN
    planted = np.zeros(rows) if building.planting.by_batches else parts.crop.usual_g_m2
    return State(
        now=Now(
            switch=switch,
            held=np.zeros(len(HELD)),
            fault=np.zeros(first.fault.shape[1]),
            group_on=np.zeros(len(parts.lamps.group_w)),
            bottle_kg=np.array([0.6 * parts.machines.bottle_kg]),
            compressor_runs=np.zeros(1),
        ),
        plants=Plants(
            stored=np.array([steady_stored(one) for one in planted]),
            structural=np.array(planted, dtype=np.float64),
            ppfd=np.zeros(rows),
            kept=np.zeros(rows),
        ),
        air=air,
        water=water_state(farm, parts.water),
        water_fault=np.zeros(len(water_fault_slots(farm))),
    )
