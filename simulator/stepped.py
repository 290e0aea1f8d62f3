"""The minute-by-minute model behind the interface in blocks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm
from farm.readings import instant, microseconds
from simulator.acting import Active
from simulator.farm_model import FarmModel
from simulator.fault_kinds import NATURES, Acts, FaultKind
from simulator.faults import Fault, FaultSlots
from simulator.probes import truth_of

KNOWN = {
    FaultKind.DRYING_LOST,
    FaultKind.LAMP_GROUP_LOST,
    FaultKind.NUTRIENT_STOCK_EMPTY,
    FaultKind.CO2_BOTTLE_EMPTY,
    FaultKind.OUTSIDE_AIR,
}


class SteppedModel(FarmModel):
    """Runs the model over blocks; ``run`` returns what each described series measures."""

    def __init__(self, farm: Farm, seed: int, start: object, faults: Sequence[Fault]) -> None:
        super().__init__(farm, seed, start)  # type: ignore[arg-type]
        self._slots = FaultSlots(farm)
        self._faults = faults
        for fault in faults:
            if NATURES[fault.kind].acts is Acts.FARM and fault.kind not in KNOWN:
                raise ValueError(f"the model cannot simulate {fault.kind} yet")
        self._truths = [truth_of(one, farm, self) for one in farm.series]
        self._act(microseconds(start))  # type: ignore[arg-type]

    def _act(self, time_us: int) -> None:
        severities = self._slots.severities(self._faults, np.array([time_us]))[0]
        self.act(Active({name: float(one) for name, one in zip(self._slots.names, severities, strict=True) if one}))

    def run(self, time_us: NDArray[np.int64]) -> list[NDArray[np.float64]]:
        """Return the truth of every described series at each instant."""
        severities = self._slots.severities(self._faults, time_us)
        found = np.empty((len(self._truths), len(time_us)))
        for minute, now_us in enumerate(time_us.tolist()):
            self.advance()
            row = severities[minute]
            self.act(Active({self._slots.names[index]: float(row[index]) for index in np.flatnonzero(row)}))
            self.control(instant(now_us))
            found[:, minute] = [truth() for truth in self._truths]
        return list(found)
