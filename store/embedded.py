"""The embedded engine: every farm's readings in one SQLite file, on the machine that runs the program."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Collection, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple, Self

import numpy as np

from farm.readings import Columns, Reading, Series
from store import embedded_sql as sql
from store.checks import refuse_columns_unfit, refuse_flags_unknown, refuse_values_not_finite
from store.connections import Connections
from store.contract import Appended, Buckets, Known, Origin, Touched

FILE_NAME = "readings.sqlite"
NOTE_US = 3_600_000_000  # touched windows are merged by the hour

_Row = tuple[int, int, float, int]  # a reading as the file holds it: series, time, value, flag

_COLUMNS = np.dtype([("time_us", np.int64), ("value", np.float64), ("flag", np.uint8)])


class _Entry(NamedTuple):
    """What the file knows a series by."""

    number: int
    origin: Origin


def _reading(series: Series, time_us: int, value: float | None, flag: int) -> Reading:
    return Reading(series, time_us, float("nan") if value is None else value, flag)


class EmbeddedStore:
    """Readings in the file ``readings.sqlite`` of a folder; see `store.contract.ReadingStore`.

    Several threads may share one store, and other processes may open the same folder while this one
    writes. A series is measured or derived as its first reading made it.

    Parameters
    ----------
    folder : pathlib.Path
        Where the file is, or is made. The folder must exist.
    patience_s : float
        How long to wait for another program's write to end. [s]

    Raises
    ------
    StoreUnavailable
        If the folder is missing or may not be written, or the file is locked.
    StoreUnusable
        If the file was written by a newer program, is damaged, or is something else.
    """

    def __init__(self, folder: Path, *, patience_s: float = 5.0) -> None:
        self._connections = Connections(folder / FILE_NAME, sql.VERSION, sql.CREATE, patience_s)
        self._entries: dict[Series, _Entry] = {}

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings durably; see the contract."""
        if not readings:
            return Appended(0, 0, ())
        series, times, values, flags = zip(*readings, strict=True)
        time_us, value = np.array(times, np.int64), np.array(values, np.float64)
        refuse_values_not_finite(series, time_us, value)
        refuse_flags_unknown(flags)
        with self._connections.writing() as connection:
            entries = self._registered(connection, set(series), Origin.MEASURED)
            number = np.array([entries[one].number for one in series], np.int64)
            # In order of the key, because SQLite stores neighbours faster; a stable sort, because the
            # first of two readings with one key stands.
            order = np.lexsort((time_us, number))
            rows = list(
                zip(
                    number[order].tolist(),
                    time_us[order].tolist(),
                    value[order].tolist(),
                    np.array(flags)[order].tolist(),
                    strict=True,
                )
            )
            connection.execute("SAVEPOINT whole_batch")
            if connection.executemany(sql.ADD_READING, rows).rowcount == len(rows):
                stored, conflicting = rows, list[int]()
            else:  # some keys were taken: once more, one by one, to learn which
                connection.execute("ROLLBACK TO whole_batch")
                stored, conflicting = self._added_one_by_one(connection, rows)
            self._note(connection, stored)
        return Appended(
            len(stored),
            len(rows) - len(stored) - len(conflicting),
            tuple(readings[place] for place in sorted(order[conflicting].tolist())),
        )

    def _entry(self, connection: sqlite3.Connection, series: Series) -> _Entry | None:
        """Return what the file knows a series by; None where it does not."""
        entry = self._entries.get(series)
        if entry is None:
            row = connection.execute(sql.FIND_SERIES, series).fetchone()
            if row is not None:
                entry = self._entries[series] = _Entry(row[0], Origin(row[1]))
        return entry

    def _registered(
        self, connection: sqlite3.Connection, wanted: Iterable[Series], origin: Origin
    ) -> dict[Series, _Entry]:
        """Return the entries of series, made where they are missing; ValueError if one has another origin."""
        entries = {}
        for series in wanted:
            entry = self._entry(connection, series)
            if entry is None:  # not remembered before it is committed: the next call finds it
                number = connection.execute(sql.ADD_SERIES, (*series, origin)).lastrowid
                entry = _Entry(int(number or 0), origin)
            elif entry.origin is not origin:
                raise ValueError(
                    f"{series.farm}/{series.key} is a {entry.origin} series: its readings cannot be "
                    f"{'appended, only replaced' if origin is Origin.MEASURED else 'replaced, only appended'}"
                )
            entries[series] = entry
        return entries

    @staticmethod
    def _added_one_by_one(connection: sqlite3.Connection, rows: list[_Row]) -> tuple[list[_Row], list[int]]:
        """Return the rows that were new and are now stored, and the places of those in conflict."""
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
        connection.executemany(
            sql.TOUCH,
            [
                (rows[first][0], rows[first][1] // NOTE_US, rows[first][1], rows[last][1], version)
                for first, last in zip(firsts, lasts, strict=True)
            ],
        )

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range; see the contract."""
        refuse_columns_unfit(series, start_us, end_us, columns)
        with self._connections.writing() as connection:
            if not len(columns) and self._entry(connection, series) is None:
                return
            number = self._registered(connection, {series}, Origin.DERIVED)[series].number
            connection.execute(sql.CLEAR_READINGS, (number, start_us, end_us))
            connection.executemany(
                sql.ADD_READING,
                zip(
                    itertools.repeat(number),
                    columns.time_us.tolist(),
                    columns.value.tolist(),
                    columns.flag.tolist(),
                ),
            )
            connection.execute(sql.CLEAR_LATEST, (number,))
            connection.execute(sql.FIND_LATEST, (number,))

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range; see the contract."""
        with self._connections.reading() as connection:
            entry = self._entry(connection, series)
            if entry is None:
                return Columns.empty()
            rows = np.fromiter(connection.execute(sql.READ, (entry.number, start_us, end_us)), _COLUMNS)
        return Columns(*(np.ascontiguousarray(rows[name]) for name in ("time_us", "value", "flag")))

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant; see the contract."""
        with self._connections.reading() as connection:
            entry = self._entry(connection, series)
            if entry is None:
                return None
            row = connection.execute(sql.LAST_BEFORE, (entry.number, before_us)).fetchone()
        return None if row is None else _reading(series, *row)

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return a series' readings summed up over equal stretches; see the contract."""
        if every_us <= 0:
            raise ValueError(f"readings cannot be summed up over {every_us} us: every_us must be above 0")
        with self._connections.reading() as connection:
            entry = self._entry(connection, series)
            number = None if entry is None else entry.number
            query = {"series": number, "start": start_us, "end": end_us, "every": every_us}
            rows = connection.execute(sql.AGGREGATE, query).fetchall()
        time_us, count, mean, low, high, flag = zip(*rows, strict=True) if rows else ((),) * 6
        return Buckets(
            np.array(time_us, np.int64),
            np.array(count, np.int64),
            np.array(mean, np.float64),  # None becomes NaN
            np.array(low, np.float64),
            np.array(high, np.float64),
            np.array(flag, np.uint8),
        )

    def latest(self, farm: str) -> dict[Series, Reading]:
        """Return the newest reading of each series of a farm; see the contract."""
        with self._connections.reading() as connection:
            rows = connection.execute(sql.LATEST, (farm,)).fetchall()
        readings = (_reading(Series(farm, *row[:3]), *row[3:]) for row in rows)
        return {reading.series: reading for reading in readings}

    def known(self, farm: str) -> list[Known]:
        """Return the series that hold readings, in order of their keys; see the contract."""
        with self._connections.reading() as connection:
            rows = connection.execute(sql.KNOWN, (farm,)).fetchall()
        known = (Known(Series(farm, *row[:3]), Origin(row[3]), *row[4:]) for row in rows)
        return sorted(known, key=lambda one: one.series.key)

    def touched(self, farm: str, limit: int) -> list[Touched]:
        """Return notes that are not settled yet; see the contract."""
        with self._connections.reading() as connection:
            rows = connection.execute(sql.TOUCHED, (farm, max(limit, 0))).fetchall()
        return [Touched(Series(farm, *row[:3]), *row[3:]) for row in rows]

    def settle(self, notes: Collection[Touched]) -> None:
        """Forget notes that have been worked off; see the contract."""
        if not notes:
            return
        with self._connections.writing() as connection:
            found = ((self._entry(connection, note.series), note) for note in notes)
            settled = [(entry.number, note.first_us // NOTE_US, note.version) for entry, note in found if entry]
            connection.executemany(sql.SETTLE, settled)

    def close(self) -> None:
        """Release the file; closing twice is harmless."""
        self._connections.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()
