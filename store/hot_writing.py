"""How readings get into the SQLite file, with what is sealed already in mind."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Sequence

import numpy as np

from farm.readings import Columns, Reading, Series
from store import embedded_sql as sql
from store import hot_hours, hot_readings
from store.checks import refuse_columns_unfit, refuse_flags_unknown, refuse_values_not_finite
from store.connections import Connections
from store.contract import Appended, Origin
from store.registry import Registry
from store.sealed_days import SealedDays, merged, within
from store.summing import HOUR_US

NOTE_US = HOUR_US  # touched windows are merged by the hour

_Row = tuple[int, int, float, int]  # a reading as the file holds it: series, time, value, flag


class HotWriting:
    """Appends and replaces readings of a store; see `store.contract.ReadingStore`."""

    def __init__(self, connections: Connections, registry: Registry, sealed: SealedDays) -> None:
        self._connections = connections
        self._registry = registry
        self._sealed = sealed

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings durably; see the contract."""
        if not readings:
            return Appended(0, 0, ())
        series, times, values, flags = zip(*readings, strict=True)
        time_us, value = np.array(times, np.int64), np.array(values, np.float64)
        refuse_values_not_finite(series, time_us, value)
        refuse_flags_unknown(flags)
        with self._connections.writing() as connection:
            entries = self._registry.registered(connection, set(series), Origin.MEASURED)
            number = np.array([entries[one].number for one in series], np.int64)
            # In order of the key, because SQLite stores neighbours faster; a stable sort, because the
            # first of two readings with one key stands.
            order = np.lexsort((time_us, number))
            columns = (number[order], time_us[order], value[order], np.array(flags)[order])
            rows = list(zip(*(column.tolist() for column in columns), strict=True))
            sealed = self._sealed.taken(connection, *columns[:2])
            conflicting = [int(order[place]) for place, held in sealed.items() if held != rows[place][2:]]
            if sealed:
                order = np.delete(order, list(sealed))
                rows = [row for place, row in enumerate(rows) if place not in sealed]
            stored, refused = self._added(connection, rows)
            self._note(connection, stored)
        conflicting = sorted([*conflicting, *order[refused].tolist()])
        return Appended(
            len(stored),
            len(readings) - len(stored) - len(conflicting),
            tuple(readings[place] for place in conflicting),
        )

    @staticmethod
    def _added(connection: sqlite3.Connection, rows: list[_Row]) -> tuple[list[_Row], list[int]]:
        """Return the rows that were new and are now stored, and the places of those in conflict."""
        connection.execute("SAVEPOINT whole_batch")
        if _inserted(connection, rows) == len(rows):
            return rows, []
        connection.execute("ROLLBACK TO whole_batch")  # some keys were taken: one by one, to learn which
        stored, conflicting = [], []
        for place, row in enumerate(rows):
            if connection.execute(sql.ADD_READING, row).rowcount:
                stored.append(row)
            elif connection.execute(sql.FIND_READING, row[:2]).fetchone() != row[2:]:
                conflicting.append(place)
        return stored, conflicting

    @staticmethod
    def _note(connection: sqlite3.Connection, rows: list[_Row]) -> None:
        """Move ``latest`` and ``touched`` to rows just stored, which are in order of series and time."""
        if not rows:
            return
        (version,) = connection.execute(sql.NEXT_VERSION).fetchone()
        number = np.array([row[0] for row in rows], np.int64)
        hour = np.array([row[1] for row in rows], np.int64) // NOTE_US
        newest = np.flatnonzero(np.append(number[1:] != number[:-1], True))
        connection.executemany(sql.MOVE_LATEST, [rows[place] for place in newest.tolist()])
        changes = np.flatnonzero((number[1:] != number[:-1]) | (hour[1:] != hour[:-1]))
        firsts, lasts = [0, *(changes + 1).tolist()], [*changes.tolist(), len(rows) - 1]
        windows = [
            (rows[first][0], rows[first][1] // NOTE_US, rows[first][1], rows[last][1], version)
            for first, last in zip(firsts, lasts, strict=True)
        ]
        connection.executemany(sql.TOUCH, windows)
        hot_hours.forget(connection, [window[:2] for window in windows])

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range; see the contract."""
        refuse_columns_unfit(series, start_us, end_us, columns)
        with self._connections.writing(synced=False) as connection:
            if not len(columns) and self._registry.find(connection, series) is None:
                return
            number = self._registry.registered(connection, {series}, Origin.DERIVED)[series].number
            self._unseal(connection, number, start_us, end_us)
            hot_hours.forget_range(connection, number, start_us, end_us)
            hot_readings.replace_derived(connection, number, start_us, end_us, columns)
            hot_readings.note_latest(connection, number)

    def _unseal(self, connection: sqlite3.Connection, number: int, start_us: int, end_us: int) -> None:
        """Make the days of a derived series that reach into a range hot again, but for that range."""
        for span in self._sealed.spans(connection, number, start_us, end_us):
            if span.first_us < start_us or span.last_us >= end_us:  # else none of it stays, also of a damaged file
                rows = self._sealed.columns_for_certain(span)
                for outside in ((span.first_us, start_us), (end_us, span.last_us + 1)):
                    again = within(rows, [outside])
                    if len(again):
                        held = hot_readings.hot_rows(connection, number, *outside)
                        hot_readings.replace_derived(connection, number, *outside, merged([again], held))
            connection.execute(sql.REMOVE_SPAN, (number, span.part.day, span.number))
            connection.execute(sql.REMOVE_ROLLUPS, (number, span.part.day))


def _inserted(connection: sqlite3.Connection, rows: list[_Row]) -> int:
    """Insert the rows whose keys are free, and return how many they were.

    Many by one statement, because Python lets its other threads in at each: a quarter of the time of a big batch.
    """
    whole = len(rows) - len(rows) % sql.ADD_AT_ONCE
    done = connection.executemany(sql.ADD_READING, rows[whole:]).rowcount if whole < len(rows) else 0
    for first in range(0, whole, sql.ADD_AT_ONCE):
        values = itertools.chain.from_iterable(rows[first : first + sql.ADD_AT_ONCE])
        done += connection.execute(sql.ADD_READINGS, list(values)).rowcount
    return done
