"""What a service has kept in its data folder, opened beside it by a command that only reads."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from farm.description import Farm
from leafweather.settings import Settings

if TYPE_CHECKING:
    from store.journal import Journal
    from watch.judged import JudgedReadings


class NothingKept(Exception):
    """There is nothing to read where a command was told to; the message says how to mend it."""


class Kept(NamedTuple):
    """A farm's readings as its service judges them, and its journal."""

    readings: JudgedReadings
    journal: Journal


@contextmanager
def kept(farm: Farm, data: Path | None) -> Iterator[Kept]:
    """Hold what was kept of a farm in a folder, by default that of the settings.

    Raises
    ------
    NothingKept
        If no service has kept anything there, or the store's address is wrong.
    """
    from store.embedded import FILE_NAME, EmbeddedStore
    from store.journal import Journal
    from store.open import open_store
    from watch.judging import judged_readings

    settings = Settings()
    folder = data if data is not None else settings.data
    if not (folder / "journal.sqlite").is_file() or (settings.store is None and not (folder / FILE_NAME).is_file()):
        raise NothingKept(f"{folder}: no service has kept readings in this folder: name another one with --data")
    with ExitStack() as open_ones:
        try:
            store = open_ones.enter_context(
                EmbeddedStore(folder) if settings.store is None else open_store(settings.store)
            )
        except ValueError as error:
            raise NothingKept(f"LEAFWEATHER_STORE: {error}") from error
        journal = open_ones.enter_context(Journal(f"sqlite:///{folder.resolve() / 'journal.sqlite'}"))
        yield Kept(judged_readings(farm, store, journal), journal)
