"""Who may do what: three roles, each of which may do all that the ones before it may."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """What the bearer of a token may do; the least first. Our own choice of three, no source."""

    VIEWER = "viewer"
    TECHNICIAN = "technician"
    KEEPER = "keeper"

    def may(self, least: Role) -> bool:
        """Return whether this role is enough where another is the least."""
        order = list(Role)
        return order.index(self) >= order.index(least)
