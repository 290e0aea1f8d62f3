"""What roots take from the solution they stand in: water, and ions each in its own measure.

Ions follow growth more than they follow water, so that dry air leaves salt behind. Preferences are
our choice, set so that a leafy crop's solution neither runs out of one ion nor drowns in another
within months; that nitrogen, phosphorus and potassium go faster than calcium, magnesium and sulphate
is common knowledge of the trade, no source.
"""

from __future__ import annotations

import numpy as np

from simulator.compiled import Floats, compiled
from simulator.ions import AMMONIUM, IONS, NITRATE
from simulator.lines import LinesState
from simulator.water_books import DRUNK, Books
from simulator.water_terms import PH_UPTAKE_DRIFT, SALT_UPTAKE_HIGH

UPTAKE_SHARE = 0.80  # of the solution's salt in what is drunk, on the whole
BY_WATER = 0.35  # share of uptake that follows transpiration; the rest follows growth
WATER_PER_KEPT = 13.0  # litres whose salt goes with a kilogram of growth: some 3 % nitrogen in dry matter; our choice
PREFERENCE = np.array([1.11, 3.0, 1.25, 1.20, 0.85, 0.85, 0.80, 0.30, 0.60, 0.0])  # by ion
# A drift that moves pH faster by the fault's size: that much more of the usual surplus of nitrate over cations
MORE_NITRATE = 0.035
LESS_AMMONIUM = 0.3
MOST_TAKEN = 0.5  # of what a place holds, in one step


@compiled
def drink(state: LinesState, place: int, transpired: float, kept: float, books: Books, fault: Floats) -> float:
    """Take water and ions from a place; return the water taken [L]."""
    wanted = transpired + kept
    held = state.place_l[place]
    if wanted <= 0.0:
        return 0.0
    taken = min(wanted, 0.95 * held)
    books.missed_kg[0] += wanted - taken
    if taken <= 0.0:
        return 0.0
    litres = (BY_WATER * transpired + (1.0 - BY_WATER) * WATER_PER_KEPT * kept) * UPTAKE_SHARE * taken / wanted
    litres *= 1.0 + fault[SALT_UPTAKE_HIGH]
    for ion in range(IONS):
        preference = PREFERENCE[ion]
        if ion == NITRATE:
            preference *= 1.0 + MORE_NITRATE * fault[PH_UPTAKE_DRIFT]
        elif ion == AMMONIUM:
            preference *= 1.0 - LESS_AMMONIUM * fault[PH_UPTAKE_DRIFT]
        share = min(MOST_TAKEN, preference * litres / held)
        amount = share * state.place_mol[place, ion]
        state.place_mol[place, ion] -= amount
        books.ions_mol[DRUNK, ion] += amount
    state.place_l[place] -= taken
    books.water_l[DRUNK] += taken
    return float(taken)
