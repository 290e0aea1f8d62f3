"""What the probes in the tank make of the truth, before noise: the doser acts on these.

How late a faulty probe answers is our choice, no source; that a glass electrode ages by losing
slope about its zero at pH 7, and that an open input hovers about there, is common knowledge of the
trade, no source.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from simulator.compiled import Floats, compiled
from simulator.water_terms import (
    EC_COMPENSATION_WRONG,
    EC_PROBE_DRIFT,
    EC_PROBE_FOULED,
    LEVEL_SENSOR_STUCK,
    PH_PROBE_AGED,
    PH_PROBE_DRY,
    PH_PROBE_UNPLUGGED,
)

COMPENSATION_PER_K = 0.0191  # linear, about 25 degC: as is usual, from memory
ZERO_PH = 7.0
LAG_S = 20.0
# How much later they answer, by the fault's size
FOULED_LAG_S, AGED_LAG_S, DRY_LAG_S = 1800.0, 900.0, 3600.0
AGED_OFFSET_PH = 0.3  # beside the slope lost


class ProbesState(NamedTuple):
    """What the probes say; arrays of one."""

    ec: Floats
    ph: Floats
    level: Floats


def probes_state(ec: float, ph: float, level: float) -> ProbesState:
    """Return sound probes at rest."""
    return ProbesState(np.array([ec]), np.array([ph]), np.array([level]))


@compiled
def advance_probes(
    state: ProbesState,
    conductivity: float,
    temperature: float,
    ph: float,
    level: float,
    fault: Floats,
    seconds: float,
) -> None:
    """Let the probes follow the conductivity at the solution's temperature [mS/cm], its pH and the level [%]."""
    coefficient = COMPENSATION_PER_K * (1.0 - fault[EC_COMPENSATION_WRONG])
    compensated = conductivity / (1.0 + coefficient * (temperature - 25.0))
    seen = compensated * (1.0 - fault[EC_PROBE_FOULED]) * (1.0 + fault[EC_PROBE_DRIFT])
    lag = LAG_S + FOULED_LAG_S * fault[EC_PROBE_FOULED]
    state.ec[0] += (seen - state.ec[0]) * (1.0 - exp(-seconds / lag))
    seen = ZERO_PH + (ph - ZERO_PH) * (1.0 - fault[PH_PROBE_AGED])
    seen += AGED_OFFSET_PH * fault[PH_PROBE_AGED] + fault[PH_PROBE_DRY]
    seen += (ZERO_PH - seen) * fault[PH_PROBE_UNPLUGGED]
    lag = LAG_S + AGED_LAG_S * fault[PH_PROBE_AGED] + DRY_LAG_S * min(1.0, abs(fault[PH_PROBE_DRY]))
    lag *= 1.0 - fault[PH_PROBE_UNPLUGGED]
    state.ph[0] += (seen - state.ph[0]) * (1.0 - exp(-seconds / max(1.0, lag)))
    if fault[LEVEL_SENSOR_STUCK] < 0.5:
        state.level[0] = level
