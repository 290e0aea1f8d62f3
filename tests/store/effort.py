"""How much work the database does for a call: its own count of steps, the same on every machine."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import event

from store.journal import Journal

EACH = 20  # steps of SQLite's virtual machine between two counts


class Effort:
    """Counts what SQLite does for a journal from now on."""

    def __init__(self, journal: Journal) -> None:
        self._count = 0
        engine = journal._database._engine
        engine.dispose()  # connections that are open already would not be counted
        event.listen(engine, "connect", lambda connection, _: connection.set_progress_handler(self._step, EACH))

    def _step(self) -> int:
        self._count += 1
        return 0

    def of(self, call: Callable[[], object]) -> int:
        """Return how many steps a call takes."""
        before = self._count
        call()
        return (self._count - before) * EACH
