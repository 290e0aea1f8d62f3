"""One simulated farm's readings on their way to a broker."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from datetime import datetime

import numpy as np

from farm.readings import microseconds
from simulator.data_path import Link
from simulator.readings import Readings, Snapshot
from simulator.senml import Packer
from simulator.simulation import STEP, Simulation

RECORDS_PER_MESSAGE = 1000


class Source:
    """Runs a simulation and keeps what has left its link and is not sent yet.

    Parameters
    ----------
    simulation : Simulation
        Moved on in place.
    until : datetime, optional
        Instant past which it does not go.
    speed : float
        Simulated time over true time, for ``live``.
    began : datetime, optional
        True time at which the simulation stands where it stands; None while simulated time is true time.

    Attributes
    ----------
    topic : str
        Where its messages belong.
    per_message : int
        Snapshots a message.
    unsent : deque of Snapshot
        What waits.
    """

    def __init__(
        self,
        simulation: Simulation,
        *,
        until: datetime | None = None,
        speed: float = 1.0,
        began: datetime | None = None,
    ) -> None:
        farm = simulation.farm
        self.topic = f"leafweather/{farm.name}/sensors"
        self.unsent: deque[Snapshot] = deque()
        self._simulation = simulation
        self._until = until
        self._packer = Packer(farm)
        self.per_message = max(1, RECORDS_PER_MESSAGE // max(1, len(self._packer)))
        self._link = Link(farm.name, seed=simulation.seed, faults=simulation.faults)
        self._newest_us = microseconds(simulation.now)
        self._simulated: Callable[[datetime], datetime] = lambda wall: wall
        self._speed = speed if began is not None else 1.0
        if began is not None:
            first = simulation.now
            self._simulated = lambda wall: first + (wall - began) * speed

    @property
    def now(self) -> datetime:
        """Where the simulation stands."""
        return self._simulation.now

    def run(self, minutes: int, publish_after: datetime | None = None) -> None:
        """Move on, and take in what arrives, unless that is up to ``publish_after``."""
        if minutes <= 0:
            return
        for readings in self._link.passed_on(self._simulation.run(minutes)):
            skipped = 0 if publish_after is None else self._arrived_by(readings, microseconds(publish_after))
            self.unsent += readings.between(skipped, readings.minutes).snapshots()
            self._newest_us = max(self._newest_us, int(readings.time_us[-1]))

    def _arrived_by(self, readings: Readings, until_us: int) -> int:
        """Return how many of the instants have arrived by then: late ones come when the newest has come."""
        return int((np.maximum(readings.time_us, self._newest_us) <= until_us).sum())

    def minutes_to(self, instant: datetime) -> int:
        """Return how many whole minutes the simulation may move on towards an instant."""
        return max(0, (instant - self.now if self._until is None else min(instant, self._until) - self.now) // STEP)

    def minutes_due(self, wall: datetime) -> int:
        """Return how many minutes the simulation is behind at a true time."""
        return self.minutes_to(self._simulated(wall))

    @property
    def over(self) -> bool:
        """Whether it has reached its end, and everything is sent."""
        return self._until is not None and self.now + STEP > self._until and not self.unsent

    def wait_s(self, wall: datetime) -> float:
        """Return how long it is, in true seconds, until the next minute is due."""
        return (self.now + STEP - self._simulated(wall)).total_seconds() / self._speed

    def next_message(self) -> bytes:
        """Return the next message of what waits."""
        return self._packer.pack(self.unsent.popleft() for _ in range(min(self.per_message, len(self.unsent))))
