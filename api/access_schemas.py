"""What the interface tells of who is signed in, and of who changed what."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from farm.roles import Role


class SigningIn(BaseModel):
    """How a person signs in."""

    model_config = ConfigDict(extra="forbid")

    token: str = Field(min_length=1, max_length=200, description="the token's whole text")


class SessionAnswer(BaseModel):
    """Who is signed in in this browser. ``role`` is what may be done here, also where no sign-in is asked for."""

    sign_in_needed: bool = Field(description="whether one has to sign in before anything is told")
    signed_in: bool
    who: str | None = Field(description="label of the token that signed in")
    role: Role | None = Field(description="viewer, technician or keeper; none before signing in")
    until: datetime | None = Field(description="when one has to sign in again")
    csrf: str | None = Field(description="to be sent as X-CSRF-Token with whatever the page changes")


class WrittenRow(BaseModel):
    """One try to change something."""

    number: int
    time: datetime
    who: str = Field(description="label of the token, or in whose name; empty for a stranger")
    token: str | None = Field(description="identity of the token, as leafweather token list shows it")
    role: Role | None
    what: str = Field(description="method and path, or the command")
    outcome: str = Field(description="status of the answer; done for a command")


class AuditAnswer(BaseModel):
    """Who tried to change what, the newest first."""

    written: list[WrittenRow]
    next: str | None = Field(description="give it as before to go on; none at the end")


class AliveAnswer(BaseModel):
    """Whether the house can do its work, and nothing else."""

    status: str
