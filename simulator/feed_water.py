"""Feed water: the reverse-osmosis unit, and the valve that tops the tank up from it.

References
----------
.. [1] Temperature correction of thin-film composite membranes: output = rated exp(k (1/298 - 1/(273 + T))), k 2640
   from 25 degC on and 3020 below, common among membrane makers, from memory.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from farm.description import Farm
from simulator.alkalinity import acidity
from simulator.compiled import Floats, compiled
from simulator.ions import CARBON, IONS, conductivity
from simulator.stocks import ALKALINE_SALTS, FREE_CO2_MOL_L, RAW_WATER, feed_passage
from simulator.tank import TankState
from simulator.water_books import CARRIED_IN, FED, LEAKED_IN, Books
from simulator.water_terms import (
    ALKALINE_FEED,
    DILUTION_LEAK,
    FEED_WATER_BAD,
    RO_FEED_COLD,
    RO_MEMBRANE_TIRED,
)

WATER_HEAT_J_KG_K = 4186.0
LOW_LEVEL, HIGH_LEVEL = 88.0, 91.0  # %: the valve opens below, closes above; our choice
REST_MIN = 3.0  # the level is judged only when the lines have rested so long; our choice
WITHOUT_UNIT_L_MIN = 2.0  # from a tap; our choice
BOOSTER_W = 90.0  # our choice
TIRED_PASSES = 3.0  # salt that a tired membrane passes more, over the share of output it has lost; our choice
COLDEST_C = 2.0  # of raw water


class FeedParameters(NamedTuple):
    """The feed water's unit."""

    rated_l_min: float  # at 25 degC
    membrane: float  # 1 with one, 0 for water from a tap
    passage: float  # share of the raw water's salt that gets through, sound
    raw_mol_l: Floats
    alkaline_mol_l: Floats


class FeedState(NamedTuple):
    """The valve, and what the unit gives."""

    filling: Floats
    rested_min: Floats  # how long the lines have been at rest
    made_l: Floats  # meter
    rate_l_min: Floats
    ec: Floats  # mS/cm of what it makes
    temperature: Floats
    made_of: Floats  # severities and temperature that ec and content hold for
    content_mol_l: Floats


def feed_parameters(farm: Farm) -> FeedParameters:
    """Return the feed water of a farm's description."""
    unit = farm.equipment.reverse_osmosis
    rated = WITHOUT_UNIT_L_MIN if unit is None else unit.rated_l_per_day / 1440.0
    return FeedParameters(rated, 0.0 if unit is None else 1.0, feed_passage(farm), RAW_WATER, ALKALINE_SALTS)


def feed_state() -> FeedState:
    """Return a unit at rest."""
    return FeedState(
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.array([15.0]),
        np.full(3, -1.0),
        np.zeros(IONS),
    )


@compiled
def membrane_output(temperature: float) -> float:
    """Return a membrane's output at a feed temperature [degC], as a share of that at 25 degC."""
    k = 2640.0 if temperature >= 25.0 else 3020.0
    return exp(k * (1.0 / 298.0 - 1.0 / (273.0 + temperature)))


@compiled
def control_feed(state: FeedState, level: float, pumping: float, powered: float) -> None:
    """Decide for the next minute whether to fill, from what the level sensor says [%]."""
    state.rested_min[0] = 0.0 if pumping > 0.5 else state.rested_min[0] + 1.0
    if state.rested_min[0] >= REST_MIN:
        if level < LOW_LEVEL:
            state.filling[0] = 1.0
        elif level > HIGH_LEVEL:
            state.filling[0] = 0.0
    if powered < 0.5:
        state.filling[0] = 0.0


@compiled
def make_feed(state: FeedState, parameters: FeedParameters, fault: Floats) -> None:
    """Work out what the feed holds, where a fault has changed since it was last done."""
    bad, alkaline, tired = fault[FEED_WATER_BAD], fault[ALKALINE_FEED], fault[RO_MEMBRANE_TIRED] * parameters.membrane
    if state.made_of[0] == bad and state.made_of[1] == alkaline and state.made_of[2] == tired:
        return
    state.made_of[0], state.made_of[1], state.made_of[2] = bad, alkaline, tired
    passage = parameters.passage * (1.0 + TIRED_PASSES * tired)
    passage += bad * (1.0 - passage if passage < 1.0 else passage)  # past a torn seal; a tap's water gets saltier
    for ion in range(IONS):
        state.content_mol_l[ion] = passage * parameters.raw_mol_l[ion] + alkaline * parameters.alkaline_mol_l[ion]
    state.content_mol_l[CARBON] += FREE_CO2_MOL_L
    _, strength, parts = acidity(state.content_mol_l, 25.0, 6.5)
    state.ec[0] = conductivity(state.content_mol_l, parts, strength, 25.0)


@compiled
def pour(state: FeedState, tank: TankState, books: Books, litres: float, way: int) -> float:
    """Add feed water to the tank and write it down; return the heat that it carries in [J]."""
    for ion in range(IONS):
        amount = litres * state.content_mol_l[ion]
        tank.ions_mol[ion] += amount
        books.ions_mol[way, ion] += amount
    tank.volume_l[0] += litres
    books.water_l[way] += litres
    heat = WATER_HEAT_J_KG_K * litres * state.temperature[0]
    books.heat_j[CARRIED_IN] += heat
    return float(heat)


@compiled
def advance_feed(
    state: FeedState,
    parameters: FeedParameters,
    tank: TankState,
    books: Books,
    feed_temperature: float,
    fault: Floats,
    seconds: float,
) -> float:
    """Fill the tank while the valve is open, and let water leak in; return the heat carried in [J]."""
    make_feed(state, parameters, fault)
    state.temperature[0] = feed_temperature + (COLDEST_C - feed_temperature) * fault[RO_FEED_COLD]
    rate = 0.0
    if state.filling[0] > 0.5:
        rate = parameters.rated_l_min
        if parameters.membrane > 0.5:
            rate *= membrane_output(state.temperature[0]) * (1.0 - fault[RO_MEMBRANE_TIRED])
    state.rate_l_min[0] = rate
    fed = rate * seconds / 60.0
    state.made_l[0] += fed
    heat = pour(state, tank, books, fed, FED)
    leaked = parameters.rated_l_min * fault[DILUTION_LEAK] * seconds / 60.0
    return heat + pour(state, tank, books, leaked, LEAKED_IN)
