"""Faults on demand. Each is its own label: the ground truth that a diagnosis is scored against."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, iso_time, microseconds
from simulator.fault_kinds import NATURES, FaultKind
from simulator.targets import farm_kinds, target_of, targets

__all__ = ["Fault", "FaultKind", "FaultSlots", "aimed", "labels", "write_labels"]

LABEL_COLUMNS = ("farm", "kind", "target", "start", "full_from", "end", "size", "size_means")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong in ``[start, end)``; without an end it is never mended.

    ``size`` is how much, as the kind says (``simulator.fault_kinds``): for most the share of the
    function that is lost, 0 to 1. It grows evenly from nothing over ``ramp_s`` seconds after the start.
    ``target`` says which row, lamp group, stock, series ...; empty where there is only one, or all.
    """

    kind: FaultKind
    start: datetime
    end: datetime | None = None
    size: float = 1.0
    target: str = ""
    ramp_s: float = 0.0

    def __post_init__(self) -> None:
        for moment in (self.start, self.end):
            if moment is not None and moment.tzinfo is None:
                raise ValueError(f"{self.kind}: {moment.isoformat()} has no time zone; add one, e.g. +00:00")
        if self.end is not None and self.end <= self.start:
            raise ValueError(f"{self.kind}: the end {self.end} must be later than the start {self.start}")
        nature = NATURES[self.kind]
        nothing = self.size == 0.0 and nature.sizes[0] != 0.0
        if nothing or not nature.least <= self.size <= nature.most:
            bounds = f"from {nature.least:g} to {nature.most:g}" + ("" if nature.sizes[0] == 0.0 else ", and not 0")
            raise ValueError(f"{self.kind}: size {self.size:g} ({nature.size}) must lie {bounds}")
        if not 0.0 <= self.ramp_s < float("inf"):
            raise ValueError(f"{self.kind}: ramp_s {self.ramp_s:g} must be 0 or more seconds")

    def active(self, now: datetime) -> bool:
        """Whether it is wrong at an instant."""
        return self.start <= now and (self.end is None or now < self.end)

    def touches(self, start_us: int, end_us: int) -> bool:
        """Whether it is wrong at some instant of ``[start_us, end_us)``."""
        return microseconds(self.start) < end_us and (self.end is None or microseconds(self.end) > start_us)

    def acts(self, time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether it is wrong at each of some instants."""
        found = time_us >= microseconds(self.start)
        if self.end is not None:
            found &= time_us < microseconds(self.end)
        return found

    def sizes(self, time_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return its size at each of some instants, 0 where it does not act."""
        share = self.acts(time_us).astype(np.float64)
        if self.ramp_s > 0.0:
            since_s = (time_us - microseconds(self.start)) / MICROSECONDS_PER_SECOND
            share *= np.minimum(since_s / self.ramp_s, 1.0)
        return share * self.size


def aimed(farm: Farm, faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Return faults with their targets made sure on a farm.

    Raises
    ------
    ValueError
        If a fault's target does not exist, or must be named and is not.
    """
    return tuple(replace(fault, target=target_of(farm, fault.kind, fault.target)) for fault in faults)


def labels(faults: Iterable[Fault], start: datetime, end: datetime) -> list[Fault]:
    """Return what was wrong in ``[start, end)``, in order of onset.

    An end that is open or later becomes ``end``. A fault that began before ``start`` keeps its onset:
    its ramp counts from there.
    """
    within = [
        replace(fault, end=end if fault.end is None else min(fault.end, end))
        for fault in faults
        if fault.start < end and (fault.end is None or fault.end > start)
    ]
    return sorted(within, key=lambda fault: (fault.start, fault.kind, fault.target))


def write_labels(path: Path, farms: Iterable[tuple[str, Sequence[Fault]]]) -> None:
    """Write the labels of one or more farms as CSV: what, where, from when to when, and how much."""
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(LABEL_COLUMNS)
        for farm, faults in farms:
            for fault in faults:
                full = fault.start + timedelta(seconds=fault.ramp_s)
                times = [iso_time(microseconds(when)) if when else "" for when in (fault.start, full, fault.end)]
                out.writerow([farm, str(fault.kind), fault.target, *times, repr(fault.size), NATURES[fault.kind].size])


class FaultSlots:
    """A column for every (kind, target) that acts on a farm's physics.

    Attributes
    ----------
    names : tuple of (FaultKind, str)
        What each column stands for; the target is empty for a kind that has none.
    """

    def __init__(self, farm: Farm) -> None:
        self.names = tuple((kind, target) for kind in farm_kinds() for target in targets(farm, kind) or ("",))
        self._index = {name: index for index, name in enumerate(self.names)}

    def __len__(self) -> int:
        return len(self.names)

    def index(self, kind: FaultKind, target: str = "") -> int:
        """Return the column of a kind and target."""
        return self._index[kind, target]

    def severities(self, faults: Iterable[Fault], time_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return how wrong each column's thing is at each instant, shape (instants, columns), ramps included.

        A fault without a target acts on every target of its kind; of several faults on one thing the
        bigger counts.
        """
        found = np.zeros((len(time_us), len(self.names)))
        for fault in faults:
            sizes: NDArray[np.float64] | None = None
            for (kind, target), index in self._index.items():
                if kind == fault.kind and fault.target in ("", target):
                    sizes = fault.sizes(time_us) if sizes is None else sizes
                    column = found[:, index]
                    np.copyto(column, sizes, where=np.abs(sizes) > np.abs(column))
        return found
