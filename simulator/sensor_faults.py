"""What faults of a sensor of its own do to what it sees and says."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simulator.fault_kinds import FaultKind
from simulator.faults import Fault

Floats = NDArray[np.float64]

SATURATED = 100.0  # % RH under a film of water
WET_SLOWER = 6.0  # a wet sensor answers so much more slowly; our choice, no source

_STUCK = (FaultKind.SENSOR_STUCK,)


def what_it_sees(truth: Floats, time_us: NDArray[np.int64], faults: Sequence[Fault]) -> tuple[Floats, Floats]:
    """Return what reaches the sensing part of the truth, and by how much its answer is slower."""
    slower = np.zeros(len(truth))
    for fault in faults:
        if fault.kind == FaultKind.HUMIDITY_SENSOR_WET:
            wet = fault.sizes(time_us)
            truth = truth + (SATURATED - truth) * wet
            slower = slower + WET_SLOWER * wet
        elif fault.kind == FaultKind.LIGHT_SENSOR_SHADED:
            truth = truth * (1.0 - fault.sizes(time_us))
    return truth, slower


def stuck(value: Floats, time_us: NDArray[np.int64], faults: Sequence[Fault], held: Floats) -> Floats:
    """Return readings with those of a stuck stretch replaced by the last before it.

    ``held`` remembers the latest reading that was free between blocks; the first of all where none was.
    """
    frozen = np.zeros(len(value), bool)
    for fault in faults:
        if fault.kind in _STUCK:
            frozen |= fault.acts(time_us)
    if frozen.any():
        free = np.where(frozen, -1, np.arange(len(value)))
        latest = np.maximum.accumulate(free)
        if latest[0] < 0 and np.isnan(held[0]):
            held[0] = value[0]
        value = np.where(latest < 0, held[0], value[latest])
    held[0] = value[-1]
    return value
