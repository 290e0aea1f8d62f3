"""What the journal holds: what people, the arrival checks and the watch wrote."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from farm.readings import Series


class Side(StrEnum):
    """Which limit of a band was passed."""

    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class ExcursionEntry:
    """A stretch outside a band that lasted longer than its on-delay.

    ``onset_us`` is the first reading outside, ``end_us`` the first reading back inside for good
    (None while open), ``extreme`` the value furthest outside and ``extreme_us`` its time, ``limit``
    the limit that held then. ``dose`` is the integral of the deviation over time, in the quantity's
    unit times hours; ``last_us`` the newest reading that took part. ``onset_limit`` is the limit that the first
    reading outside passed, another one where lights changed since; None where it was not written down.
    """

    series: Series
    side: Side
    onset_us: int
    end_us: int | None
    last_us: int
    extreme: float
    extreme_us: int
    limit: float
    dose: float
    onset_limit: float | None = None

    @property
    def identity(self) -> str:
        """A short name that stays the same while the excursion grows: it hangs on series, side and onset."""
        name = f"{self.series.farm}/{self.series.key}/{self.side}/{self.onset_us}"
        return hashlib.sha256(name.encode()).hexdigest()[:10]


class Reason(StrEnum):
    """Why something that arrived was refused."""

    TOO_LARGE = "too_large"
    MALFORMED = "malformed"
    UNKNOWN_TOPIC = "unknown_topic"
    UNKNOWN_NAME = "unknown_name"
    WRONG_TYPE = "wrong_type"
    NOT_FINITE = "not_finite"
    WRONG_UNIT = "wrong_unit"
    OUT_OF_RANGE = "out_of_range"
    FUTURE = "future"
    TOO_OLD = "too_old"
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True)
class Reject:
    """Refused arrivals with one reason, topic and wire name, and the newest of them as a sample.

    ``detail`` says what was wrong and how to mend it; ``raw`` are the first bytes of the newest
    message, capped by whoever writes it.
    """

    reason: Reason
    topic: str
    name: str
    detail: str
    raw: bytes
    first_us: int
    last_us: int
    count: int = 1


@dataclass(frozen=True, slots=True)
class UnknownName:
    """Records under a wire name that nobody has described, with the newest value as a sample.

    ``name`` is empty for bare numbers, which only their ``topic`` names; both are empty for those
    beyond the number that is kept apart.
    """

    name: str
    topic: str
    value: float
    unit: str | None
    first_us: int
    last_us: int
    count: int = 1


@dataclass(frozen=True, slots=True)
class ClockFault:
    """One way in which a device's clock was wrong, over all the times it was.

    ``device`` is the topic that it publishes on, ``fault`` a word for it, ``detail`` the newest
    occurrence in a sentence. ``offset_s`` is how far it was behind our clock then (negative: ahead),
    ``readings`` how many were flagged suspect for it.
    """

    device: str
    fault: str
    detail: str
    offset_s: float
    first_us: int
    last_us: int
    readings: int


@dataclass(frozen=True, slots=True)
class QualityMark:
    """Readings in a row, from ``first_us`` to ``last_us``, on which a quality test gave the same flag.

    A mark never crosses a full hour of UTC: so the same readings always make the same marks, however
    they arrived.
    """

    test: str
    flag: int
    first_us: int
    last_us: int
    readings: int


@dataclass(frozen=True, slots=True)
class FindingEntry:
    """What may be behind something unusual: ``detail`` holds the ranked causes with their evidence.

    ``subject`` says what it is about: an excursion's identity, ``unusual`` or a surface's night to come. It
    holds from ``onset_us`` to ``end_us`` (None while it lasts); ``at_us`` is the instant it was last worked out for.
    """

    farm: str
    subject: str
    onset_us: int
    end_us: int | None
    at_us: int
    detail: dict[str, Any]

    @property
    def identity(self) -> str:
        """A short name that stays the same while the finding is worked out anew."""
        return hashlib.sha256(f"{self.farm}/{self.subject}/{self.onset_us}".encode()).hexdigest()[:10]


@dataclass(frozen=True, slots=True)
class FirstCause:
    """The first cause that a finding names, and when: since when it leads and was last seen in ISO 8601, if told."""

    identity: str
    subject: str
    onset_us: int
    end_us: int | None
    cause: str
    probability: float
    places: tuple[str, ...]
    place_labels: tuple[str, ...]
    leads_since: str | None
    last_seen: str | None


@dataclass(frozen=True, slots=True)
class DaySheetEntry:
    """The summary of one local day, and which description of the farm it was made with."""

    day: date
    computed_us: int
    description_hash: str
    sheet: dict[str, Any]
