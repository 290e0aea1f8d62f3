"""What a handful of messages holds, gathered so that one commit makes it durable."""

from __future__ import annotations

from typing import NamedTuple

from farm.readings import Reading, iso_time
from ingest.clocks import WrongClock
from ingest.records import Fault
from store.entries import ClockFault, Reason, Reject, UnknownName

LONGEST_RAW = 512  # bytes of a refused message that are kept
LONGEST_NAME = 200
LONGEST_DETAIL = 600


class Message(NamedTuple):
    """One message as it came from the broker."""

    generation: int  # of the connection it came by: an acknowledgement must not cross connections
    mid: int
    qos: int
    topic: str
    payload: bytes
    arrived_us: int
    content_type: str | None  # MQTT 5 only
    kept: bool = False  # the broker kept it for us while we were away, or sends it again


class Batch:
    """Messages, their readings, and what was refused of them: merged by kind, all of it counted."""

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.readings: list[Reading] = []
        self.faults = 0
        self._rejects: dict[tuple[Reason, str, str], Reject] = {}
        self._unknown: dict[tuple[str, str], UnknownName] = {}
        self._clock_faults: dict[tuple[str, str], ClockFault] = {}

    @property
    def rejects(self) -> list[Reject]:
        """What was refused, one entry a reason, topic and name."""
        return list(self._rejects.values())

    @property
    def unknown_names(self) -> list[UnknownName]:
        """The names that nobody has described, one entry a name and topic."""
        return list(self._unknown.values())

    @property
    def clock_faults(self) -> list[ClockFault]:
        """What was wrong with devices' clocks, one entry a device and trouble."""
        return list(self._clock_faults.values())

    def suspect(self, device: str, wrong: WrongClock, readings: int, at_us: int) -> None:
        """Note that readings of a device were flagged for its clock."""
        device = device[:LONGEST_NAME]
        before = self._clock_faults.get((device, wrong.trouble))
        self._clock_faults[device, wrong.trouble] = ClockFault(
            device,
            str(wrong.trouble),
            wrong.detail,
            wrong.behind_s,
            before.first_us if before else at_us,
            at_us,
            readings + (before.readings if before else 0),
        )

    def add(self, message: Message, readings: list[Reading], faults: list[Fault]) -> None:
        """Add a message with what became of it."""
        self.messages.append(message)
        self.readings += readings
        self.faults += len(faults)
        for fault in faults:
            self.refuse(message.topic, message.payload, message.arrived_us, fault)

    def refuse(self, topic: str, payload: bytes, at_us: int, fault: Fault) -> None:
        """Merge one fault into those of its kind: the newest stands as the sample."""
        topic, name = topic[:LONGEST_NAME], fault.name[:LONGEST_NAME]
        before = self._rejects.get((fault.reason, topic, name))
        self._rejects[fault.reason, topic, name] = Reject(
            reason=fault.reason,
            topic=topic,
            name=name,
            detail=fault.detail[:LONGEST_DETAIL],
            raw=payload[:LONGEST_RAW],
            first_us=before.first_us if before else at_us,
            last_us=at_us,
            count=before.count + 1 if before else 1,
        )
        if fault.value is not None and fault.reason in (Reason.UNKNOWN_NAME, Reason.UNKNOWN_TOPIC):
            known = self._unknown.get((name, topic))
            self._unknown[name, topic] = UnknownName(
                name,
                topic,
                fault.value,
                fault.unit[:LONGEST_NAME] if fault.unit is not None else None,
                known.first_us if known else at_us,
                at_us,
                known.count + 1 if known else 1,
            )

    def refuse_conflicts(self, conflicting: list[Reading], at_us: int) -> None:
        """Note readings whose series and time already hold another value."""
        for reading in conflicting:
            text = f"{reading.value:g} at {iso_time(reading.time_us)}"
            detail = f"{text}: another value is stored for this time and stays; do two devices share the name?"
            self.refuse("", text.encode(), at_us, Fault(Reason.CONFLICT, reading.series.key, detail))
