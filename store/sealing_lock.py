"""One program at a time seals, drops or backs up a store, on any system; a killed one lets go by itself."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from store.faults import sqlite_fault

FILE_NAME = "sealing.lock"  # an SQLite file, because SQLite locks alike everywhere


@contextmanager
def sealing_lock(folder: Path, patience_s: float) -> Iterator[None]:
    """Hold the lock of a store's folder. Raises StoreUnavailable if another program holds it for longer."""
    path = folder / FILE_NAME
    with closing(sqlite3.connect(path, timeout=patience_s, isolation_level=None)) as connection:
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            raise sqlite_fault(path, error) from error
        yield
