"""Alarms in the journal, in the words of IEC 62682 / ISA-18.2: what was raised, and what people did about it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Priority(StrEnum):
    """How soon a person has to act, from consequence and time to respond; most urgent first."""

    HIGHEST = "highest"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """ISA-18.2's alarm states, under our own spelling of its terms."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


@dataclass(frozen=True, slots=True)
class AlarmEntry:
    """One time that a condition was an alarm, in event time: the same readings make the same entry.

    ``condition`` names what is watched and stays the same for ever, such as ``out_of_band/row_1/air_temperature/high``
    or ``silence/row_1/air_temperature``. ``onset_us`` is when the condition began, ``alarm_us`` when it had lasted its
    on-delay, ``returned_us`` when it was back to normal for its off-delay (None while it lasts). Alarms with one
    ``group`` share a cause and are told in one notice. ``suppressed_by`` names the condition or the planned work
    that makes it no alarm by design. ``revision`` counts how often later readings changed an entry once made.
    """

    farm: str
    condition: str
    onset_us: int
    alarm_us: int
    returned_us: int | None
    priority: Priority
    group: str
    suppressed_by: str | None = None
    revision: int = 0
    detail: dict[str, Any] = field(default_factory=dict)

    @property
    def identity(self) -> str:
        """A short name that stays the same while the alarm lasts: it hangs on condition and onset."""
        name = f"{self.farm}/{self.condition}/{self.onset_us}"
        return hashlib.sha256(name.encode()).hexdigest()[:10]


class ActKind(StrEnum):
    """What a person can do about an alarm or a condition."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"


@dataclass(frozen=True, slots=True)
class AlarmAct:
    """One act of a person: acknowledgements name an alarm's identity, all others its condition.

    Shelving needs a reason and an end (``until_us``).
    """

    farm: str
    kind: ActKind
    about: str
    at_us: int
    who: str
    why: str = ""
    until_us: int | None = None
