"""The journal's tables of access, and how their rows become entries and back."""

from __future__ import annotations

from sqlalchemy import Index, Integer
from sqlalchemy.orm import Mapped, mapped_column

from farm.roles import Role
from store.access_entries import Token, Written
from store.tables import Base


class TokenRow(Base):
    """A token; of its secret only the SHA-256 is kept."""

    __tablename__ = "token"

    farm: Mapped[str] = mapped_column(primary_key=True)
    identity: Mapped[str] = mapped_column(primary_key=True)
    secret_sha256: Mapped[str]
    label: Mapped[str]
    role: Mapped[str]
    made_us: Mapped[int]
    made_by: Mapped[str]
    expires_us: Mapped[int | None]
    revoked_us: Mapped[int | None]
    revoked_by: Mapped[str]

    def entry(self) -> Token:
        """Return the entry of this row."""
        return Token(
            self.farm, self.identity, self.label, Role(self.role), self.made_us, self.made_by, self.expires_us,
            self.revoked_us, self.revoked_by,
        )  # fmt: skip


class SessionRow(Base):
    """A browser that is signed in by a token; of its cookie only the SHA-256 is kept."""

    __tablename__ = "session"
    __table_args__ = (Index(None, "farm", "token"),)

    cookie_sha256: Mapped[str] = mapped_column(primary_key=True)
    farm: Mapped[str]
    token: Mapped[str]
    began_us: Mapped[int]
    expires_us: Mapped[int]


class WrittenRow(Base):
    """One try to change something."""

    __tablename__ = "written"
    __table_args__ = (Index(None, "farm", "number"), {"sqlite_autoincrement": True})

    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=True)
    farm: Mapped[str]
    at_us: Mapped[int]
    who: Mapped[str]
    token: Mapped[str | None]
    role: Mapped[str | None]
    what: Mapped[str]
    outcome: Mapped[str]

    def entry(self) -> Written:
        """Return the entry of this row."""
        role = None if self.role is None else Role(self.role)
        return Written(self.farm, self.at_us, self.who, self.token, role, self.what, self.outcome, self.number)
