"""A look at the files of a data folder as they lie there: none is written to, none brought up to date."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from farm.readings import Series
from store import embedded_sql as sql
from store.contract import StoreUnusable
from store.journal_database import newest_revision

PATIENCE_S = 5.0


class Looked(NamedTuple):
    """The format of a file, the one that this program knows, and what is damaged in it."""

    version: int
    ours: int
    damage: str | None


def readings_file(path: Path) -> Looked:
    """Look at a ``readings.sqlite``. Raises StoreUnusable if it cannot be read."""
    return _looked(path, "PRAGMA user_version", sql.VERSION)


def journal_file(path: Path) -> Looked:
    """Look at a ``journal.sqlite``. Raises StoreUnusable if it cannot be read."""
    return _looked(path, "SELECT version_num FROM alembic_version", int(newest_revision()))


def newest_times(path: Path, farm: str) -> dict[Series, int]:
    """Return when the newest reading of each series of a farm is. Raises StoreUnusable if it cannot be read."""
    with _opened(path) as file:
        return {Series(farm, *row[:3]): int(row[3]) for row in file.execute(sql.LATEST, (farm,))}


def _looked(path: Path, version: str, ours: int) -> Looked:
    with _opened(path) as file:
        (found,) = file.execute(version).fetchone()
        damage = [row[0] for row in file.execute("PRAGMA quick_check(1)") if row[0] != "ok"]
    return Looked(int(found), ours, damage[0] if damage else None)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    try:
        address = f"{path.absolute().as_uri()}?mode=ro"
        with contextlib.closing(sqlite3.connect(address, uri=True, timeout=PATIENCE_S)) as file:
            yield file
    except sqlite3.Error as error:
        raise StoreUnusable(f"{path} cannot be read ({error}): put it back from a backup") from error
