"""Alarms in the journal, in the words of IEC 62682 / ISA-18.2: what was raised, and what people did about it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Any

from farm.alarm_words import ActKind, AlarmState, Priority

__all__ = ["ActKind", "AlarmAct", "AlarmEntry", "AlarmRevision", "AlarmState", "Priority"]


@dataclass(frozen=True, slots=True)
class AlarmEntry:
    """One time that a condition was an alarm, in event time: the same readings make the same entry.

    ``condition`` names what is watched and stays the same for ever, such as ``out_of_band/row_1/air_temperature/high``
    or ``silence/row_1/air_temperature``. ``onset_us`` is when the condition began, ``alarm_us`` when it had lasted its
    on-delay, ``returned_us`` when it was back to normal for its off-delay (None while it lasts). Alarms with one
    ``group`` share a cause and are told in one notice. ``suppressed_by`` names the condition or the planned work
    that makes it no alarm by design. ``revision`` counts how often later readings changed an entry once made.
    ``detail`` holds what a text needs; in it ``was`` the identities that it had before late readings moved its onset,
    ``released_us`` when it ceased to be suppressed by design while it lasted.
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


@dataclass(frozen=True, slots=True)
class AlarmRevision:
    """What later readings changed on an entry once made: field -> its value before and after.

    ``gone`` where the entry is no alarm any more at all: what was told of it stands in ``before``.
    """

    farm: str
    identity: str
    condition: str
    revision: int
    written_us: int
    changed: dict[str, list[Any]]
    gone: bool = False
