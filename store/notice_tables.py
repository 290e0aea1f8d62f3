"""The journal's tables of notices, and how their rows become entries and back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from sqlalchemy import JSON, Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from farm.alarm_words import Priority
from store.notice_entries import Link, Notice, NoticeKind, NoticeState, Outcome, Told, Try
from store.tables import Base


class NoticeRow(Base):
    """One message to one person by one channel."""

    __tablename__ = "notice"
    __table_args__ = (Index(None, "farm", "made_us"), Index(None, "farm", "state"))

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]
    person: Mapped[str]
    channel: Mapped[str]
    group_name: Mapped[str]
    turn: Mapped[int]
    priority: Mapped[str]
    told: Mapped[list[Any]] = mapped_column(JSON)
    made_us: Mapped[int]
    subject: Mapped[str]
    text: Mapped[str]
    state: Mapped[str]
    tries: Mapped[int]
    next_us: Mapped[int]
    sent_us: Mapped[int | None]

    @classmethod
    def of(cls, entry: Notice) -> NoticeRow:
        """Return the row of an entry."""
        return cls(
            farm=entry.farm,
            identity=entry.identity,
            kind=str(entry.kind),
            person=entry.person,
            channel=entry.channel,
            group_name=entry.group,
            turn=entry.turn,
            priority=str(entry.priority),
            told=[asdict(one) | {"priority": str(one.priority)} for one in entry.told],
            made_us=entry.made_us,
            subject=entry.subject,
            text=entry.text,
            state=str(entry.state),
            tries=entry.tries,
            next_us=entry.next_us,
            sent_us=entry.sent_us,
        )

    def entry(self) -> Notice:
        """Return the entry of this row."""
        told = tuple(Told(**one | {"priority": Priority(one["priority"])}) for one in self.told)
        return Notice(
            self.farm, NoticeKind(self.kind), self.person, self.channel, self.group_name, self.turn,
            Priority(self.priority), told, self.made_us, self.subject, self.text, NoticeState(self.state),
            self.tries, self.next_us, self.sent_us,
        )  # fmt: skip


class NoticeAlarmRow(Base):
    """One alarm that a notice told a person of; ``owed`` while its return is still to be told."""

    __tablename__ = "notice_alarm"
    __table_args__ = (Index(None, "farm", "notice"), Index(None, "farm", "owed"))

    farm: Mapped[str] = mapped_column(primary_key=True)
    alarm: Mapped[str] = mapped_column(primary_key=True)
    notice: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str]
    owed: Mapped[bool]


class NoticeTryRow(Base):
    """One try to send a notice."""

    __tablename__ = "notice_try"

    farm: Mapped[str] = mapped_column(primary_key=True)
    notice: Mapped[str] = mapped_column(primary_key=True)
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    began_us: Mapped[int]
    ended_us: Mapped[int | None]
    outcome: Mapped[str | None]
    answer: Mapped[str]

    def entry(self) -> Try:
        """Return the entry of this row."""
        outcome = None if self.outcome is None else Outcome(self.outcome)
        return Try(self.notice, self.number, self.began_us, self.ended_us, outcome, self.answer)


class NoticeLinkRow(Base):
    """A link for acknowledging; of its token only the SHA-256 is kept."""

    __tablename__ = "notice_link"
    __table_args__ = (Index(None, "farm", "notice"),)

    token_sha256: Mapped[str] = mapped_column(primary_key=True)
    farm: Mapped[str]
    person: Mapped[str]
    notice: Mapped[str]
    group_name: Mapped[str]
    alarms: Mapped[list[Any]] = mapped_column(JSON)
    expires_us: Mapped[int]
    used_us: Mapped[int | None]

    def entry(self) -> Link:
        """Return the entry of this row."""
        return Link(
            self.farm, self.person, self.notice, self.group_name, tuple(self.alarms), self.expires_us, self.used_us
        )
