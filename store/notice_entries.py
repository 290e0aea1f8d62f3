"""Notices in the journal: what is to be told to whom, and what became of each try."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from farm.alarm_words import Priority


class NoticeKind(StrEnum):
    """Why a notice is made."""

    RAISED = "raised"  # a group of alarms is new
    WORSE = "worse"  # one that was told has become more urgent
    ESCALATED = "escalated"  # nobody has acknowledged it
    AGAIN = "again"  # and still nobody has
    STORM = "storm"  # many groups in one
    RETURNED = "returned"  # all that was told is back to normal
    DIGEST = "digest"  # what could wait
    TEST = "test"  # somebody tries whether a person can be reached


TELLING = frozenset({NoticeKind.RAISED, NoticeKind.WORSE, NoticeKind.ESCALATED, NoticeKind.AGAIN, NoticeKind.STORM})


class NoticeState(StrEnum):
    """What has become of a notice."""

    WAITING = "waiting"
    SENT = "sent"
    REFUSED = "refused"  # for good: trying again would not help
    GIVEN_UP = "given_up"  # tried for as long as the description says


FAILED = frozenset({NoticeState.REFUSED, NoticeState.GIVEN_UP})


class Outcome(StrEnum):
    """What came of one try."""

    TAKEN = "taken"
    LATER = "later"  # not now: try again
    REFUSED = "refused"  # not ever
    UNSURE = "unsure"  # sent, but whether it was taken is not known: tried again under the same name


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm as a notice tells it; ``facts`` is what was known of it then."""

    identity: str
    condition: str
    group: str
    priority: Priority
    since_us: int
    returned_us: int | None
    facts: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one person by one channel.

    ``channel`` says which of the person's addresses, as ``mail 1``: addresses themselves are not kept. ``group`` is
    empty where it is about several. ``turn`` tells apart what is told anew on purpose: the step of an escalation, the
    number of a reminder, the day of a digest, what late readings show not to be over after all.
    """

    farm: str
    kind: NoticeKind
    person: str
    channel: str
    group: str
    turn: int
    priority: Priority
    told: tuple[Told, ...]
    made_us: int
    subject: str
    text: str
    state: NoticeState = NoticeState.WAITING
    tries: int = 0
    next_us: int = 0
    sent_us: int | None = None

    @property
    def identity(self) -> str:
        """A name that hangs on what is told to whom: the same decision made twice is one notice."""
        about = sorted((one.identity, str(one.priority)) for one in self.told)
        name = [self.farm, self.kind, self.person, self.channel, self.group, self.turn, about]
        if self.kind is NoticeKind.TEST:
            name.append(self.made_us)
        return hashlib.sha256(json.dumps(name).encode()).hexdigest()[:20]


@dataclass(frozen=True, slots=True)
class Try:
    """One try to send a notice; without an end it is under way, or the program was ended within it."""

    notice: str
    number: int
    began_us: int
    ended_us: int | None = None
    outcome: Outcome | None = None
    answer: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """A link by which one person may acknowledge one group of alarms, once."""

    farm: str
    person: str
    notice: str
    group: str
    alarms: tuple[str, ...]
    expires_us: int
    used_us: int | None = None
