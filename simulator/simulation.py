"""A simulated farm as its sensors report it, minute by minute."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import numpy as np

from farm.description import Farm
from simulator.farm_model import STEP_S, FarmModel
from simulator.faults import Active, Fault, FaultKind
from simulator.probes import truth_of
from simulator.sensors import Sensor

STEP = timedelta(seconds=STEP_S)
NOISE_BLOCK = 512


class Snapshot(NamedTuple):
    """Every described series' reading at one instant, in the description's order and units."""

    time: datetime
    values: list[tuple[str, float]]


class Simulation:
    """A farm from ``start`` on. The same description, seed, start and faults give the same bytes.

    Parameters
    ----------
    farm : Farm
        The description; every described series is read once a minute.
    seed : int
        Decides weather and sensor noise.
    start : datetime
        First instant, aware, a whole minute.
    faults : sequence of Fault
        What goes wrong, and when.

    Raises
    ------
    ValueError
        If the start is naive or not a whole minute, a fault's target does not exist, or a series
        asks for something the model does not have.
    """

    def __init__(self, farm: Farm, *, seed: int, start: datetime, faults: Sequence[Fault] = ()) -> None:
        if start.tzinfo is None or start.second or start.microsecond:
            raise ValueError(f"start {start.isoformat()} must be a whole minute with a time zone, e.g. +00:00")
        self.farm = farm
        self.now = start.astimezone(UTC)
        self.faults = tuple(faults)
        self._check_targets()
        self.model = FarmModel(farm, seed, self.now)
        random = np.random.default_rng([seed, 2])
        self._keys = [one.key for one in farm.series]
        self._truths = [truth_of(one, farm, self.model) for one in farm.series]
        self._reads = [Sensor(one, STEP_S, random).read for one in farm.series]
        self._random = random
        self._noise: list[list[float]] = []
        self._held: dict[str, float] = {}
        self._sensor_faults: dict[str, Fault] = {}
        self._act()

    def step(self) -> Snapshot:
        """Advance a minute and return what the sensors then read."""
        model = self.model
        model.advance()
        self.now += STEP
        self._act()
        model.control(self.now)
        if not self._noise:
            self._noise = self._random.standard_normal((NOISE_BLOCK, len(self._keys))).tolist()
        normals = self._noise.pop()
        values = [
            (key, read(truth(), normal))
            for key, read, truth, normal in zip(self._keys, self._reads, self._truths, normals, strict=True)
        ]
        if self._sensor_faults:
            values = [(key, self._faulty(key, value)) for key, value in values]
        return Snapshot(self.now, values)

    def _act(self) -> None:
        """Let the faults of this instant act."""
        acting = tuple(fault for fault in self.faults if fault.active(self.now))
        if acting == self.model.active.faults:
            return
        self.model.act(Active(acting))
        sensor_kinds = (FaultKind.SENSOR_FROZEN, FaultKind.SENSOR_OFFSET)
        self._sensor_faults = {fault.target: fault for fault in acting if fault.kind in sensor_kinds}
        self._held = {key: value for key, value in self._held.items() if key in self._sensor_faults}

    def _faulty(self, key: str, value: float) -> float:
        """Return what a sensor with a fault reads instead of ``value``."""
        fault = self._sensor_faults.get(key)
        if fault is None:
            return value
        if fault.kind == FaultKind.SENSOR_FROZEN:
            return self._held.setdefault(key, value)
        return value + fault.severity

    def _check_targets(self) -> None:
        """Refuse faults on what does not exist."""
        equipment = self.farm.equipment
        known = {
            FaultKind.LAMP_GROUP_LOST: {group.name for group in equipment.lamp_groups},
            FaultKind.STOCK_EMPTY: {stock.name for stock in equipment.stocks} | {""},
            FaultKind.SENSOR_FROZEN: {one.key for one in self.farm.series},
            FaultKind.SENSOR_OFFSET: {one.key for one in self.farm.series},
        }
        for fault in self.faults:
            allowed = known.get(fault.kind, {""})
            if fault.target not in allowed:
                names = ", ".join(sorted(allowed - {""})) or "none: leave the target out"
                raise ValueError(f"{fault.kind} has the unknown target {fault.target!r}; there is: {names}")
