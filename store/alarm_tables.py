"""The journal's tables of alarms, and how their rows become entries and back."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from store.alarm_entries import ActKind, AlarmAct, AlarmEntry, AlarmRevision, Priority
from store.tables import Base


class AlarmRow(Base):
    """One time that a condition was an alarm."""

    __tablename__ = "alarm"
    __table_args__ = (
        Index(None, "farm", "alarm_us"),
        Index(None, "farm", "returned_us", "alarm_us"),
        Index(None, "farm", "condition", "onset_us"),
    )

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    condition: Mapped[str]
    onset_us: Mapped[int]
    alarm_us: Mapped[int]
    returned_us: Mapped[int | None]
    priority: Mapped[str]
    group_name: Mapped[str]
    suppressed_by: Mapped[str | None]
    revision: Mapped[int]
    detail: Mapped[dict[str, Any]]

    @classmethod
    def of(cls, entry: AlarmEntry) -> AlarmRow:
        """Return the row of an entry."""
        return cls(
            farm=entry.farm,
            identity=entry.identity,
            condition=entry.condition,
            onset_us=entry.onset_us,
            alarm_us=entry.alarm_us,
            returned_us=entry.returned_us,
            priority=str(entry.priority),
            group_name=entry.group,
            suppressed_by=entry.suppressed_by,
            revision=entry.revision,
            detail=entry.detail,
        )

    def entry(self) -> AlarmEntry:
        """Return the entry of this row."""
        return AlarmEntry(
            self.farm, self.condition, self.onset_us, self.alarm_us, self.returned_us, Priority(self.priority),
            self.group_name, self.suppressed_by, self.revision, self.detail,
        )  # fmt: skip


class AlarmNameRow(Base):
    """An identity that an alarm had before its onset moved, and the one it has."""

    __tablename__ = "alarm_name"
    __table_args__ = (Index(None, "farm", "identity"),)

    farm: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str]


class AlarmRevisionRow(Base):
    """What later readings changed on an alarm."""

    __tablename__ = "alarm_revision"
    __table_args__ = (Index(None, "farm", "written_us"),)

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    condition: Mapped[str]
    written_us: Mapped[int]
    changed: Mapped[dict[str, Any]]
    gone: Mapped[bool]

    @classmethod
    def of(cls, entry: AlarmRevision) -> AlarmRevisionRow:
        """Return the row of an entry."""
        return cls(
            farm=entry.farm,
            identity=entry.identity,
            number=entry.revision,
            condition=entry.condition,
            written_us=entry.written_us,
            changed=entry.changed,
            gone=entry.gone,
        )

    def entry(self) -> AlarmRevision:
        """Return the entry of this row."""
        return AlarmRevision(
            self.farm, self.identity, self.condition, self.number, self.written_us, self.changed, self.gone
        )


class AlarmActRow(Base):
    """What a person did about an alarm or a condition."""

    __tablename__ = "alarm_act"
    __table_args__ = (Index(None, "farm", "at_us"), Index(None, "farm", "about"))

    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    farm: Mapped[str]
    kind: Mapped[str]
    about: Mapped[str]
    at_us: Mapped[int]
    who: Mapped[str]
    why: Mapped[str]
    until_us: Mapped[int | None]

    @classmethod
    def of(cls, act: AlarmAct) -> AlarmActRow:
        """Return the row of an act."""
        return cls(
            farm=act.farm,
            kind=str(act.kind),
            about=act.about,
            at_us=act.at_us,
            who=act.who,
            why=act.why,
            until_us=act.until_us,
        )

    def act(self) -> AlarmAct:
        """Return the act of this row."""
        return AlarmAct(self.farm, ActKind(self.kind), self.about, self.at_us, self.who, self.why, self.until_us)
