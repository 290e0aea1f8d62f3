"""Wire types of alarms: what stands, what was, what people did, and how the alarms perform."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from farm.alarm_words import ActKind, AlarmState, Priority
from farm.moments import Moment


class LikelyRow(BaseModel):
    """One likely cause."""

    cause: str
    label: str
    probability: float


class AlarmAnswer(BaseModel):
    """One time that a condition was an alarm, in event time, with the state it is in now."""

    id: str
    condition: str = Field(description="what is watched; stays the same for ever")
    kind: str
    priority: Priority
    state: AlarmState
    what: str
    where: str
    zone: str | None
    series: str | None
    onset: datetime = Field(description="when the condition began")
    raised: datetime = Field(description="when it had lasted its on-delay")
    returned: datetime | None = Field(description="when it had been back for its off-delay; null while it lasts")
    unit: str = Field(description="unit of worst and limit as people read it")
    worst: float | None
    limit: float | None
    text: str
    also: list[str] = Field(description="other places in which the same is so, and no alarm of its own")
    likely: list[LikelyRow]
    first_step: str
    caution: str
    group: str = Field(description="alarms of one group share a cause")
    suppressed_by: str | None = Field(description="the condition or planned work that makes it no alarm by design")
    shelved_until: datetime | None
    revision: int = Field(description="how often later readings changed it once it was made")


class AlarmsAnswer(BaseModel):
    """Alarms; of those that stand the most urgent first, else the newest first."""

    time: datetime
    alarms: list[AlarmAnswer]
    next: str | None = Field(description="give it as before, to get the next ones; null at the end")


class RevisionRow(BaseModel):
    """What later readings changed: field -> its value before and after."""

    number: int
    written: datetime
    changed: dict[str, list[Any]]
    gone: bool = Field(description="it is no alarm any more at all")


class ActRow(BaseModel):
    """What a person did."""

    act: ActKind
    time: datetime
    who: str
    why: str
    until: datetime | None


class AlarmHistoryAnswer(BaseModel):
    """One alarm with what later readings changed and what people did. ``alarm`` is null if it is gone."""

    time: datetime
    alarm: AlarmAnswer | None
    revisions: list[RevisionRow]
    acts: list[ActRow]


class Doing(BaseModel):
    """What a person does about an alarm."""

    model_config = ConfigDict(extra="forbid")

    who: str = Field(min_length=1, max_length=80, description="who does it")
    why: str = Field("", max_length=500, description="needed for shelving and out of service")
    until: Moment | None = Field(None, description="end of shelving, ISO 8601 with a zone")


class FloodRow(BaseModel):
    """A stretch with more alarms than one person can answer."""

    start: datetime
    end: datetime
    alarms: int


class OftenRow(BaseModel):
    """A condition, how often it came, and its share of all alarms."""

    condition: str
    text: str
    times: int
    share: float | None


class StaleRow(BaseModel):
    """A condition that stood for longer than a day at the end of the range."""

    condition: str
    text: str
    hours: float


class PerformanceAnswer(BaseModel):
    """The figures of ISA-18.2 over a range; shares are of 1. ``benchmarks`` are ISA-18.2's for one person."""

    start: datetime
    end: datetime
    alarms: int
    suppressed: int = Field(description="alarms by design suppressed, which count in none of the figures")
    per_day: float
    per_hour: float
    most_in_ten_minutes: int
    most_in_an_hour: int
    time_in_flood: float
    floods: list[FloodRow]
    chattering: list[OftenRow]
    stale: list[StaleRow]
    most_frequent: list[OftenRow]
    by_priority: dict[str, int]
    benchmarks: dict[str, float]
