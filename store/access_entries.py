"""What the journal keeps of those who may come in: tokens without their secret, and who wrote what."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from farm.roles import Role


class Standing(StrEnum):
    """Whether a token lets somebody in."""

    USABLE = "usable"
    EXPIRED = "expired"
    REVOKED = "revoked"


@dataclass(frozen=True, slots=True)
class Token:
    """One token of one farm. Its secret was shown once and is kept nowhere."""

    farm: str
    identity: str
    label: str
    role: Role
    made_us: int
    made_by: str
    expires_us: int | None = None
    revoked_us: int | None = None
    revoked_by: str = ""

    def standing(self, now_us: int) -> Standing:
        """Return whether it lets somebody in at an instant."""
        if self.revoked_us is not None:
            return Standing.REVOKED
        return Standing.EXPIRED if self.expires_us is not None and now_us >= self.expires_us else Standing.USABLE


@dataclass(frozen=True, slots=True)
class Written:
    """One try to change something: who, when, where, and what came of it.

    ``token`` and ``role`` are None for somebody without a token; ``outcome`` is the status of the answer, or
    ``done`` for a command. ``number`` grows with each entry.
    """

    farm: str
    at_us: int
    who: str
    token: str | None
    role: Role | None
    what: str
    outcome: str
    number: int = 0
