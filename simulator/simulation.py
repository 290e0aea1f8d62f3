"""A simulated farm as its sensors report it, in blocks of minutes."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from farm.description import Farm
from farm.readings import instant, microseconds
from simulator.building import Building, Climate
from simulator.data_path import Clocks
from simulator.farm_model import FarmModel
from simulator.faults import Fault, aimed
from simulator.frame import Truth
from simulator.probes import Probes
from simulator.readings import Readings, Snapshot
from simulator.sensors import USUAL, Habits, Sensors

STEP = timedelta(minutes=1)
STEP_US = 60_000_000
BLOCK_MINUTES = 1440
BUILDING, CLIMATE = Building(), Climate()


class Simulation:
    """A farm from ``start`` on. The same description, seed, start and faults give the same bytes.

    The length of the blocks in which it is run changes nothing.

    Parameters
    ----------
    farm : Farm
        The description; every described series is read once a minute, or at its own slower cadence.
    seed : int
        Decides weather and sensor noise.
    start : datetime
        First instant, aware, a whole minute; the first readings come a minute later.
    faults : sequence of Fault
        What goes wrong, and when.
    habits : Habits
        How good the sensors are.
    building, climate : Building, Climate
        What the description does not say.

    Raises
    ------
    ValueError
        If the start is naive or not a whole minute, a fault's target does not exist, or a series
        asks for something the model does not have.
    """

    def __init__(
        self,
        farm: Farm,
        *,
        seed: int,
        start: datetime,
        faults: Sequence[Fault] = (),
        habits: Habits = USUAL,
        building: Building = BUILDING,
        climate: Climate = CLIMATE,
    ) -> None:
        if start.tzinfo is None or start.second or start.microsecond:
            raise ValueError(f"start {start.isoformat()} must be a whole minute with a time zone, e.g. +00:00")
        self.farm = farm
        self.seed = seed
        self.faults = aimed(farm, faults)
        self.now = start.astimezone(UTC)
        self.model = FarmModel(farm, seed, self.now, self.faults, building, climate)
        self._probes = Probes(farm, self.model.names)
        self._sensors = Sensors(farm, seed=seed, faults=self.faults, habits=habits)
        self._clocks = Clocks(self._sensors.keys, self.faults)

    def branched(self, faults: Sequence[Fault]) -> Simulation:
        """Return a copy that goes on from here with other faults, as if they had been known from the start.

        Many faults can so be tried on one farm without its healthy days being run again.

        Raises
        ------
        ValueError
            If a fault's target does not exist, or one of them begins before now.
        """
        faults = aimed(self.farm, faults)
        if early := [fault for fault in (*faults, *self.faults) if fault.start < self.now]:
            raise ValueError(f"{early[0].kind} begins at {early[0].start}, before {self.now}: branch off earlier")
        other = copy.deepcopy(self)
        other.take(faults)
        return other

    def take(self, faults: tuple[Fault, ...]) -> None:
        """Let other faults act from here on."""
        self.faults = faults
        self.model.take(faults)
        self._sensors.take(faults)
        self._clocks = Clocks(self._sensors.keys, faults)

    def run(self, minutes: int) -> Readings:
        """Advance by a number of minutes and return what the sensors read at the end of each."""
        return self.run_with_truth(minutes)[0]

    def run_with_truth(self, minutes: int) -> tuple[Readings, Truth]:
        """Advance by a number of minutes; return what the sensors read and what was true at the end of each."""
        time_us = microseconds(self.now) + STEP_US * np.arange(1, minutes + 1)
        truth = self.model.run(time_us)
        self.now = instant(int(time_us[-1]))
        return self._clocks.stamped(self._sensors.read(time_us, self._probes.see(truth))), truth

    def until(self, end: datetime, block_minutes: int = BLOCK_MINUTES) -> Iterator[Readings]:
        """Yield the blocks up to ``end``, never past it."""
        while minutes := min(block_minutes, (end - self.now) // STEP):
            yield self.run(minutes)

    def step(self) -> Snapshot:
        """Advance a minute and return what the sensors then read."""
        readings = self.run(1)
        return next(readings.snapshots(), Snapshot(int(readings.time_us[0]), []))
