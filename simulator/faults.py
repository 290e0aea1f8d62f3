"""Faults on demand. Each is its own label: the ground truth that a diagnosis is scored against."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum


class FaultKind(StrEnum):
    """What goes wrong."""

    DRYING_LOST = (
        "drying_lost"  # the coil's drain is blocked: what condenses evaporates again; it cools and dries nothing
    )
    LAMP_GROUP_LOST = "lamp_group_lost"  # a group's lamps stay dark while the controller says on
    STOCK_EMPTY = "stock_empty"  # the doser pumps air; without a target, from every nutrient bottle
    CO2_SUPPLY_EMPTY = "co2_supply_empty"  # the valve opens and nothing comes
    DOOR_LEFT_OPEN = "door_left_open"  # outdoor air streams in
    SENSOR_FROZEN = "sensor_frozen"  # a series repeats its last value
    SENSOR_OFFSET = "sensor_offset"  # a series reads too high by ``severity``, in its own unit


NEEDS_TARGET = {
    FaultKind.LAMP_GROUP_LOST: "a lamp group's name",
    FaultKind.SENSOR_FROZEN: "a series' key",
    FaultKind.SENSOR_OFFSET: "a series' key",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong in ``[start, end)``; without an end it is never mended.

    ``severity`` is the share of the function that is lost, 0 to 1 (for a sensor's offset, the offset).
    ``target`` says which lamp group, stock or series.
    """

    kind: FaultKind
    start: datetime
    end: datetime | None = None
    severity: float = 1.0
    target: str = ""

    def __post_init__(self) -> None:
        for moment in (self.start, self.end):
            if moment is not None and moment.tzinfo is None:
                raise ValueError(f"{self.kind}: {moment.isoformat()} has no time zone; add one, e.g. +00:00")
        if self.end is not None and self.end <= self.start:
            raise ValueError(f"{self.kind}: the end {self.end} must be later than the start {self.start}")
        if self.kind != FaultKind.SENSOR_OFFSET and not 0.0 < self.severity <= 1.0:
            raise ValueError(f"{self.kind}: severity {self.severity:g} must be above 0 and at most 1")
        if self.kind in NEEDS_TARGET and not self.target:
            raise ValueError(f"{self.kind} needs a target: {NEEDS_TARGET[self.kind]}")

    def active(self, now: datetime) -> bool:
        """Whether it is wrong at an instant."""
        return self.start <= now and (self.end is None or now < self.end)


def labels(faults: Iterable[Fault], start: datetime, end: datetime) -> list[Fault]:
    """Return what was wrong in ``[start, end)``, in order of onset, cut to that window."""
    within = [
        replace(fault, start=max(fault.start, start), end=end if fault.end is None else min(fault.end, end))
        for fault in faults
        if fault.start < end and (fault.end is None or fault.end > start)
    ]
    return sorted(within, key=lambda fault: (fault.start, fault.kind, fault.target))


class Active:
    """The faults that act at one instant, as the parts of the farm ask for them."""

    __slots__ = ("_severity", "faults")

    def __init__(self, faults: tuple[Fault, ...] = ()) -> None:
        self.faults = faults
        self._severity = {(fault.kind, fault.target): fault.severity for fault in faults}

    def severity(self, kind: FaultKind, target: str = "", *, everywhere: bool = True) -> float:
        """Return how severe a fault is for a target, 0 where there is none.

        With ``everywhere``, a fault that names no target counts too.
        """
        exact = self._severity.get((kind, target))
        return exact if exact is not None else (self._severity.get((kind, ""), 0.0) if everywhere else 0.0)
