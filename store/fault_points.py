"""Named instants between the steps of sealing and the like, at which a test may stop the program."""

from __future__ import annotations

from collections.abc import Callable

# In the order in which they are passed. A test kills the program at each one and reads the store again.
MIGRATION = ("migrating", "migrated")
SEALING = (
    "seal noted",
    "file written",
    "file synced",
    "file named",
    "folder synced",
    "manifest half written",
    "manifest written",
    "manifest synced",
    "file read back",
    "rows removed",
    "rollup written",
    "rows committed",
    "seal committed",
)
ROLLING_UP = ("hours rolled up",)
TELLING = ("notices decided", "notices written", "try begun", "notice handed over", "try noted")
RESTORING = ("files restored",)
DROPPING = ("drop noted", "drop in manifest", "drop committed", "file removed")

hook: Callable[[str], None] | None = None


def reached(point: str) -> None:
    """Call the hook, where a test has set one."""
    if hook is not None:
        hook(point)
