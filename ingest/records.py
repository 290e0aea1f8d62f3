"""What decoders hand on: records with the wire's own names and units, and faults that say how to mend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from store.entries import Reason


class Record(NamedTuple):
    """One value as it came: name and unit still those of the wire; ``time_us`` None where it has no time."""

    name: str
    time_us: int | None
    value: float
    unit: str | None


@dataclass(frozen=True, slots=True)
class Fault:
    """Something in a message that cannot be used, and how to mend it. ``name`` is empty if unknown.

    ``value`` and ``unit`` are what the wire said, where it said so: a name that nobody described
    is easier to recognise with them.
    """

    reason: Reason
    name: str
    detail: str
    value: float | None = None
    unit: str | None = None


Decoded = tuple[list[Record], list[Fault]]
