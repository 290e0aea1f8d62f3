"""What the embedded engine holds of each farm, in figures."""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from store import embedded_sql as sql
from store.sealed_days import day_name


class FarmStatus(NamedTuple):
    """A farm's readings at rest."""

    farm: str
    series: int
    hot_readings: int
    sealed_readings: int
    sealed_bytes: int
    files: int
    first_day: str | None
    last_day: str | None
    chain_entries: int
    chain_head: str | None


def farm_statuses(connection: sqlite3.Connection) -> list[FarmStatus]:
    """Return the figures of every farm, in order of names."""
    found = []
    for (farm,) in connection.execute(sql.FARMS).fetchall():
        series, hot = connection.execute(sql.COUNT_HOT, (farm,)).fetchone()
        files, readings, size, first, last = connection.execute(sql.COUNT_SEALED, (farm,)).fetchone()
        entries, head = connection.execute(sql.CHAIN, (farm,)).fetchone() or (0, None)
        begin, end = (day_name(first), day_name(last)) if files else (None, None)
        found.append(FarmStatus(farm, series, hot, readings, size, files, begin, end, entries, head))
    return found
