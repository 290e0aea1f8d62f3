"""The whole physical farm, run in blocks of minutes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm
from farm.readings import microseconds
from simulator import kernel
from simulator.air import LEDGER
from simulator.building import Building, Climate
from simulator.conditions import Conditions
from simulator.faults import Fault
from simulator.first_state import first_state
from simulator.frame import Forcing, Truth, rows_of
from simulator.nameplates import parts_of
from simulator.water_terms import water_columns

STEP_US = 60_000_000


def air_columns(farm: Farm) -> tuple[str, ...]:
    """Return the names of the air side's columns of truth, in order."""
    return (
        *kernel.ROOM_COLUMNS,
        *(f"ledger.{name}" for name in LEDGER),
        *(f"row/{row}.{name}" for row in rows_of(farm) for name in kernel.ROW_COLUMNS),
        *(f"group/{group.name}.{name}" for group in farm.equipment.lamp_groups for name in kernel.GROUP_COLUMNS),
        *(f"surface/{surface.name}.surface_temperature" for surface in farm.surfaces),
    )


class FarmModel:
    """A farm's physics from ``start`` on. The length of the blocks in which it is run changes nothing.

    Parameters
    ----------
    farm : Farm
        The description.
    seed : int
        Decides the weather.
    start : datetime
        First instant, aware, a whole minute; the first truth is that of a minute later.
    faults : sequence of Fault
        What goes wrong, and when.
    building, climate : Building, Climate
        What the description does not say.

    Raises
    ------
    ValueError
        If the description lacks what the physics needs.
    """

    def __init__(
        self,
        farm: Farm,
        seed: int,
        start: datetime,
        faults: Sequence[Fault] = (),
        building: Building | None = None,
        climate: Climate | None = None,
    ) -> None:
        building = Building() if building is None else building
        start = start.astimezone(UTC)
        self.farm = farm
        self.parts = parts_of(farm, building, start)
        self.names = {name: column for column, name in enumerate((*air_columns(farm), *water_columns(farm)))}
        self._conditions = Conditions(farm, seed, start, faults, building, Climate() if climate is None else climate)
        self._now_us = microseconds(start)
        first = self._conditions.block(np.array([self._now_us]))
        self.state = first_state(farm, self.parts, building, first)
        kernel.run(self.state, self.parts, first, np.empty((1, len(self.names))), False)

    def take(self, faults: Sequence[Fault]) -> None:
        """Let other faults act from here on."""
        self._conditions.take(faults)

    def run(self, time_us: NDArray[np.int64]) -> Truth:
        """Move on to each instant of a block, a minute apart, and return the truth at them.

        Raises
        ------
        ValueError
            If the block does not begin a minute after the last one's end.
        """
        if len(time_us) and time_us[0] != self._now_us + STEP_US:
            raise ValueError(
                f"a block must begin a minute after {self._now_us / 1e6:.0f} s, not at {time_us[0] / 1e6:.0f} s"
            )
        truth = self.run_under(self._conditions.block(time_us)) if len(time_us) else self._nothing()
        self._now_us += STEP_US * len(time_us)
        return truth

    def run_under(self, forcing: Forcing) -> Truth:
        """Move on under a forcing of one's own and return the truth."""
        out = np.empty((len(forcing.time_s), len(self.names)))
        kernel.run(self.state, self.parts, forcing, out, True)
        return Truth(forcing.time_s, self.names, out)

    def _nothing(self) -> Truth:
        return Truth(np.empty(0, np.int64), self.names, np.empty((0, len(self.names))))
