"""Making a sealed file count: its rows are read back, compared with the hot ones, and take their place."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns, Series
from store import embedded_sql as sql
from store import hot_hours, hot_readings, rollups, sealed_files
from store.connections import Connections
from store.contract import DayDamaged, Origin
from store.durable import sha256_of
from store.fault_points import reached
from store.faults import file_fault
from store.hot_readings import hot_rows
from store.manifest import Chain
from store.registry import Registry
from store.sealed_days import Part, SealedDays, merged, missing, series_in_file
from store.sealed_files import Run, Vanished
from store.summing import DAY_US, MINUTE_US, climbed, joined, summed

ROWS_AT_ONCE = 5_000  # in whole series, moved in one transaction, during which ingest waits
_log = logging.getLogger(__name__)


class _Prepared(NamedTuple):
    """A series of a file, the day's hot rows before the transaction, and the day's sums with the file."""

    series: Series
    run: Run
    hot: Columns
    sums: list[tuple[int, bytes]] | None


class Counting:
    """Makes sealed files of a store count. Whoever calls holds the lock on sealing."""

    def __init__(self, folder: Path, connections: Connections, registry: Registry, sealed: SealedDays) -> None:
        self._folder = folder
        self._connections = connections
        self._registry = registry
        self._sealed = sealed

    def make_count(self, part: Part, chain: Chain, intent: int | None) -> None:
        """Make a file's rows count, remove the hot rows that equal them, and forget the intent.

        It may be called again after a crash, and without any hot rows, where the SQLite file is older.
        """
        path = part.path(self._folder)
        try:
            sha256 = sha256_of(path)
            entry = chain.present().get((part.date, part.version))
            if part.origin is Origin.MEASURED and (entry is None or entry.sha256 != sha256):
                raise DayDamaged(f"{path}: it is not the file that was sealed. {sealed_files.REMEDY}")
            row = (*part, sealed_files.count(path), path.stat().st_size, sha256, sealed_files.footer_crc(path))
            for chunk in self._chunks(part, path):
                reached("file read back")
                with self._connections.writing() as connection:
                    connection.execute(sql.ADD_PART, row)
                    if part.origin is Origin.MEASURED:
                        connection.execute(sql.KEEP_CHAIN, (part.farm, len(chain.entries), chain.head))
                    (number,) = connection.execute(sql.FIND_PART, part).fetchone()
                    for one in chunk:
                        self._make_run_count(connection, part, number, one)
                reached("rows committed")
        except (FileNotFoundError, Vanished) as error:
            raise missing(path) from error
        except OSError as error:
            raise file_fault(path, error) from error
        if intent is not None:
            with self._connections.writing() as connection:
                connection.execute(sql.REMOVE_INTENT, (intent,))
        reached("seal committed")

    def _chunks(self, part: Part, path: Path) -> Iterator[list[_Prepared]]:
        """Yield a file's series, some at a time, with their sums worked out before the transaction."""
        chunk: list[_Prepared] = []
        for run in sealed_files.runs(path):
            series = series_in_file(part.farm, run.key)
            chunk.append(_Prepared(series, run, self._hot(part, series), self._sums(part, series, run.columns)))
            if sum(len(one.run.columns) for one in chunk) >= ROWS_AT_ONCE:
                yield chunk
                chunk = []
        yield chunk  # also an empty one: the file itself is to be known

    def _hot(self, part: Part, series: Series) -> Columns:
        """Return a day's hot rows of a series as they are now."""
        with self._connections.reading() as connection:
            entry = self._registry.find(connection, series)
            if entry is None:
                return Columns.empty()
            return hot_rows(connection, entry.number, part.day * DAY_US, (part.day + 1) * DAY_US)

    def _sums(self, part: Part, series: Series, added: Columns) -> list[tuple[int, bytes]] | None:
        """Return the sums of a series' day with what a file adds; None where they cannot be told now."""
        minutes = summed(added, MINUTE_US)
        start_us = part.day * DAY_US
        with self._connections.reading() as connection:
            entry = self._registry.find(connection, series)
            if entry is None:
                return rollups.of_day(minutes)
            spans = [span for span in self._sealed.spans(connection, entry.number, start_us, start_us + DAY_US)
                     if span.part != part]  # fmt: skip
            kept = connection.execute(sql.FIND_ROLLUP, (entry.number, MINUTE_US, part.day)).fetchone()
            counts = connection.execute(sql.COUNTS, (entry.number, part.day, *part)).fetchone()
        if counts is not None:
            return None  # a crash came after this one
        try:
            if spans:
                earlier = [self._sealed.columns_for_certain(span) for span in spans]
                minutes = summed(merged(earlier, added), MINUTE_US)
            elif kept is not None:  # the readings are dropped, their sums are not
                before = rollups.unpacked(kept[0], MINUTE_US, part.day)
                minutes = climbed(joined([before, minutes]), MINUTE_US)
        except DayDamaged as error:
            _log.warning("no sums are kept of %s on %s: %s", series.key, part.date, error)
            return []
        return rollups.of_day(minutes)

    def _make_run_count(self, connection: sqlite3.Connection, part: Part, number: int, one: _Prepared) -> None:
        """Within a transaction: one series' rows count from the file on, and are hot no more."""
        (entry,) = self._registry.registered(connection, [one.series], part.origin).values()
        series, columns = entry.number, one.run.columns
        if connection.execute(sql.FIND_SPAN, (series, part.day, number)).fetchone() is not None:
            return  # done before a crash
        start_us = part.day * DAY_US
        hot = one.hot
        (held,) = connection.execute(sql.COUNT_READINGS, (series, start_us, start_us + DAY_US)).fetchone()
        # Measured rows are only ever added while we hold the lock on sealing, so as many are the same ones, and
        # ingest need not wait while they are read. Derived rows may have been replaced.
        if part.origin is Origin.DERIVED or held != len(hot):
            hot = hot_rows(connection, series, start_us, start_us + DAY_US)
        same = _same(hot, columns)
        if part.origin is Origin.DERIVED and not np.isin(columns.time_us, hot.time_us[same]).all():
            return  # replaced since it was written: what is hot counts
        if same.all():
            hot_readings.clear(connection, series, start_us, start_us + DAY_US)
        else:  # late readings came meanwhile: they stay
            hot_readings.remove(connection, series, hot.time_us[same])
        hot_hours.forget_range(connection, series, start_us, start_us + DAY_US)
        reached("rows removed")
        last = (int(columns.time_us[-1]), float(columns.value[-1]), int(columns.flag[-1]))
        place = (*one.run.place, int(columns.time_us[0]), *last)
        connection.execute(sql.ADD_SPAN, (series, part.day, number, *place))
        connection.execute(sql.MOVE_LATEST, (series, *last))
        if one.sums is not None:
            connection.execute(sql.REMOVE_ROLLUPS, (series, part.day))
            for every_us, content in one.sums:
                connection.execute(sql.ADD_ROLLUP, (series, every_us, part.day, content))
        reached("rollup written")


def _same(hot: Columns, sealed: Columns) -> NDArray[np.bool_]:
    """Return which hot rows are in a file, equal to the last bit."""
    if not len(hot):
        return np.empty(0, np.bool_)
    at = np.searchsorted(sealed.time_us, hot.time_us).clip(max=len(sealed) - 1)
    value, other = hot.value, sealed.value[at]
    equal = (value == other) | (np.isnan(value) & np.isnan(other))
    same: NDArray[np.bool_] = (sealed.time_us[at] == hot.time_us) & equal & (hot.flag == sealed.flag[at])
    return same
