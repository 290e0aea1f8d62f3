"""Sums of everything that came into the solution and went out of it, for the balances."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from simulator.compiled import Floats
from simulator.ions import IONS

# Water [L] and ions [mol] by way: in, in, in, in, out ...
WAYS = ("fed", "leaked_in", "condensed", "dosed", "drunk", "drained", "leaked_out", "from_air")
FED, LEAKED_IN, CONDENSED, DOSED, DRUNK, DRAINED, LEAKED_OUT, FROM_AIR = range(len(WAYS))
INWARD = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 1.0])  # sign of each way

# Heat [J]: carried in and out by water (above liquid water at 0 degC), from pumps, to the room's air
HEATS = ("carried_in", "carried_out", "pumped", "to_air")
CARRIED_IN, CARRIED_OUT, PUMPED, TO_AIR = range(len(HEATS))


class Books(NamedTuple):
    """Running sums since the start."""

    water_l: Floats  # by way
    ions_mol: Floats  # by way and ion
    heat_j: Floats  # by HEATS
    missed_kg: Floats  # water that plants were promised and the place did not hold; stays 0 while supply is heeded


def empty_books() -> Books:
    """Return books with nothing in them."""
    return Books(np.zeros(len(WAYS)), np.zeros((len(WAYS), IONS)), np.zeros(len(HEATS)), np.zeros(1))
