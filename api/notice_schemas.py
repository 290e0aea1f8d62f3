"""What the interface answers of notices."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, Field

from farm.alarm_words import Priority
from store.notice_entries import NoticeKind, NoticeState, Outcome


class NoticeRow(BaseModel):
    """One message to one person by one channel."""

    id: str
    kind: NoticeKind = Field(description="why it was made")
    person: str = Field(description="as farm.toml names it")
    person_label: str
    channel: str = Field(description="which of the person's addresses, as mail 1; addresses themselves are not told")
    priority: Priority
    group: str | None = Field(description="what its alarms share; none where it is about several groups")
    alarms: list[str] = Field(description="ids of the alarms that it tells of")
    subject: str
    made: datetime
    state: NoticeState
    tries: int
    next_try: datetime | None = Field(description="while it waits: when it is tried next")
    sent: datetime | None


class NoticesAnswer(BaseModel):
    """Notices, the newest first."""

    notices: list[NoticeRow]
    next: str | None = Field(description="give it as before for the next ones; none where these are the last")


class TryRow(BaseModel):
    """One try to send a notice."""

    number: int
    began: datetime
    ended: datetime | None = Field(description="none while it is under way")
    outcome: Outcome | None
    answer: str = Field(description="what the other side said, without addresses")


class NoticeAnswer(NoticeRow):
    """One notice with its text and its tries."""

    text: str = Field(description="without its link")
    log: list[TryRow]
