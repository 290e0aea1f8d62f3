"""What the process that works day sheets out beside the service begins with."""

from __future__ import annotations

from pathlib import Path

from leafweather.memory import give_memory_back
from store.contract import ReadingStore
from store.journal import Journal
from store.open import open_both


def opened_beside(url: str | None, folder: Path) -> tuple[ReadingStore, Journal]:
    """Return the service's store and journal, opened once more in a process that gives memory back as the service does.

    Parameters
    ----------
    url, folder
        As `store.open.open_both` takes them.
    """
    give_memory_back()
    return open_both(url, folder)
