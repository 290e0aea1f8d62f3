"""What one message would become, record by record, and why: nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from farm.description import Farm
from farm.readings import Reading
from farm.topics import covers
from farm.units import SAME
from ingest.arrival import Arrival, BareNumber, Source
from ingest.names import Route
from ingest.payloads import stated_form
from ingest.records import Fault, Record
from ingest.rules import Recipe
from store.entries import Reason


class Step(NamedTuple):
    """One record, the reading it becomes or the fault that refuses it, and the reasons."""

    record: Record
    outcome: Reading | Fault
    why: list[str]


@dataclass(frozen=True)
class Trial:
    """A message tried: how it was read, each of its records, and what else was wrong with it."""

    how: str
    steps: list[Step]
    faults: list[Fault]

    @property
    def all_taken(self) -> bool:
        """Whether everything in the message becomes a reading."""
        return bool(self.steps) and not self.faults and all(isinstance(step.outcome, Reading) for step in self.steps)


def tried(farm: Farm, topic: str, payload: bytes, arrived_us: int, content_type: str | None = None) -> Trial:
    """Return what a message that arrives at an instant would become, by a farm's description."""
    arrival = Arrival(farm)
    source = arrival.source_of(topic, payload, content_type)
    records, faults = arrival.decoded(topic, payload, arrived_us, content_type)
    steps = [_step(arrival, record, arrived_us) for record in records]
    if not any(covers(one, topic) for one in farm.topic_filters):
        detail = f"the farm subscribes to {', '.join(farm.topic_filters)}: send there, or widen topic under [wire]"
        faults = [Fault(Reason.UNKNOWN_TOPIC, "", f"no message on {topic!r} reaches us; {detail}"), *faults]
    return Trial(_how(source, content_type), steps, faults)


def _how(source: Source, content_type: str | None) -> str:
    if isinstance(source, Recipe):
        return f"JSON, by {source}"
    if isinstance(source, BareNumber):
        return f"one bare number: the topic is that of the series with the wire name {source.name!r}"
    if stated_form(content_type) is not None:
        return f"{source}: its content type says so"
    return f"{source}: its first byte says so"


def _step(arrival: Arrival, record: Record, arrived_us: int) -> Step:
    outcome = arrival.checked(record, arrived_us)
    route = arrival.names.route(record.name, record.unit, arrived_us if record.time_us is None else record.time_us)
    if isinstance(route, Fault):
        return Step(record, outcome, [])
    inside = route.series.registered.unit
    sent = "sent" if record.unit is not None else "not sent, taken as"
    why = [
        f"the name {record.name} is the series {route.series.key}",
        f"unit {sent} {route.sent_unit}{_conversion(route, inside)}",
    ]
    if isinstance(outcome, Reading):
        why.append(f"inside its range of {route.low:g} to {route.high:g} {inside}")
        why.append("time of its own" if record.time_us is not None else "no time sent: the time of arrival")
    return Step(record, outcome, why)


def _conversion(route: Route, inside: str) -> str:
    if (route.scale, route.offset) == SAME:
        return f", kept in {inside}"
    return f", × {route.scale:g} + {route.offset:g} is {inside}"
