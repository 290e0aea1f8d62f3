"""The series that the embedded engine's file knows, by their numbers."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

from farm.readings import Series
from store import embedded_sql as sql
from store.contract import Origin


class Entry(NamedTuple):
    """What the file knows a series by."""

    number: int
    origin: Origin


class Registry:
    """Numbers and origins of series, remembered once they are committed. A series keeps both for ever."""

    def __init__(self) -> None:
        self._entries: dict[Series, Entry] = {}

    def find(self, connection: sqlite3.Connection, series: Series) -> Entry | None:
        """Return what the file knows a series by; None where it does not."""
        entry = self._entries.get(series)
        if entry is None:
            row = connection.execute(sql.FIND_SERIES, series).fetchone()
            if row is not None:
                entry = self._entries[series] = Entry(row[0], Origin(row[1]))
        return entry

    def registered(
        self, connection: sqlite3.Connection, wanted: Iterable[Series], origin: Origin
    ) -> dict[Series, Entry]:
        """Return the entries of series, made where they are missing; ValueError if one has another origin."""
        entries = {}
        for series in wanted:
            entry = self.find(connection, series)
            if entry is None:  # not remembered before it is committed: the next call finds it
                number = connection.execute(sql.ADD_SERIES, (*series, origin)).lastrowid
                entry = Entry(int(number or 0), origin)
            elif entry.origin is not origin:
                raise ValueError(
                    f"{series.farm}/{series.key} is a {entry.origin} series: its readings cannot be "
                    f"{'appended, only replaced' if origin is Origin.MEASURED else 'replaced, only appended'}"
                )
            entries[series] = entry
        return entries
