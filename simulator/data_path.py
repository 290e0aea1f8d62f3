"""The way of readings from sensors to whoever listens: clocks that are wrong, and a link that is cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from simulator.fault_kinds import FaultKind
from simulator.faults import Fault
from simulator.readings import Readings
from simulator.sensors import generator

MICROSECONDS = 1_000_000.0
LOST_ON_THE_WAY = 3  # purpose of random numbers
NEVER_US = 2**62


class Clocks:
    """Gives readings the time that the clock beside their sensor shows."""

    def __init__(self, keys: tuple[str, ...], faults: Iterable[Fault]) -> None:
        self._jumps = [fault for fault in faults if fault.kind == FaultKind.CLOCK_JUMP]
        self._zones = [key.split("/", 1)[0] for key in keys]

    def stamped(self, readings: Readings) -> Readings:
        """Return readings with the times that they carry."""
        time_us = readings.time_us
        jumps = [fault for fault in self._jumps if fault.touches(int(time_us[0]), int(time_us[-1]) + 1)]
        if not jumps:
            return readings
        stamps = np.tile(time_us, (len(readings.keys), 1))
        for fault in jumps:
            off = np.rint(fault.sizes(time_us) * MICROSECONDS).astype(np.int64)
            rows = [row for row, zone in enumerate(self._zones) if fault.target in ("", zone)]
            stamps[rows] += off
        return readings._replace(stamp_us=stamps)


class Link:
    """Passes readings on at once, or, after it was cut, late: first what is new, then all that was held.

    Parameters
    ----------
    name : str
        The farm's.
    seed : int
        Decides which of the held readings are lost for good, where a fault says that some are.
    faults : iterable of Fault
        Those of kind ``link_cut`` act here.
    """

    def __init__(self, name: str, *, seed: int, faults: Iterable[Fault]) -> None:
        self._cuts = sorted(
            (fault for fault in faults if fault.kind == FaultKind.LINK_CUT), key=lambda fault: fault.start
        )
        self._random = generator(seed, name, LOST_ON_THE_WAY)
        self._held: list[Readings] = []

    def __bool__(self) -> bool:
        """Whether readings are being held back."""
        return bool(self._held)

    def passed_on(self, readings: Readings) -> Iterator[Readings]:
        """Yield what arrives when a block was sent into the link, in the order of arrival."""
        cut = np.zeros(readings.minutes, bool)
        for fault in self._cuts:
            cut |= fault.acts(readings.time_us)
        if not cut.any() and not self._held:
            yield readings
            return
        readings = readings.only(self._kept(readings))
        edges = [0, *(np.flatnonzero(np.diff(cut)) + 1).tolist(), readings.minutes]
        for first, last in pairwise(edges):
            part = readings.between(first, last)
            if cut[first]:
                self._held.append(part)
                continue
            if self._held:
                yield part.between(0, 1)
                yield from self._held
                self._held = []
                part = part.between(1, part.minutes)
            if part.minutes:
                yield part

    def _kept(self, readings: Readings) -> NDArray[np.bool_]:
        """Return which readings are not lost for good: a draw for every reading of a cut minute."""
        kept = np.ones(readings.came.shape, bool)
        for fault in self._cuts:
            minutes = np.flatnonzero(fault.acts(readings.time_us))
            if fault.size > 0.0 and len(minutes):
                draws = self._random.random((len(minutes), len(readings.keys)))
                kept[:, minutes] &= fault.size <= draws.T
        return kept
