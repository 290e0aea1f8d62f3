"""The embedded engine: every farm's readings in one SQLite file, on the machine that runs the program."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Self, TypeVar

from farm.readings import Columns, Reading, Series
from store import embedded_sql as sql
from store import hot_hours
from store.backup import back_up
from store.connections import Connections
from store.contract import Appended, Buckets, Known, Origin, StoreUnavailable, StoreUnusable, Touched
from store.hot_readings import Row, hot_rows, last_before
from store.hot_writing import NOTE_US, HotWriting
from store.registry import Registry
from store.retention import Dropping, Retention
from store.sealed_days import Part, SealedDays, Span, missing
from store.sealed_files import Vanished
from store.sealing import Progress, SealedFile, Sealing
from store.sealing_lock import sealing_lock
from store.status import FarmStatus, farm_statuses
from store.summaries import Found, Summary
from store.summing import DAY_US, as_buckets, summed
from store.verification import Verification, verification

FILE_NAME = "readings.sqlite"
_Found = TypeVar("_Found")
_Answer = TypeVar("_Answer")
_log = logging.getLogger(__name__)


def _time_of(last: Row) -> int:
    return last[0]


def _reading(series: Series, time_us: int, value: float | None, flag: int) -> Reading:
    return Reading(series, time_us, float("nan") if value is None else value, flag)


class EmbeddedStore:
    """Readings in a folder: new ones in ``readings.sqlite``, whole past days in ``sealed/`` as Parquet.

    It keeps `store.contract.ReadingStore`; nobody who reads sees where a reading is. Sealing, dropping and
    backups happen when asked for: `seal_due`, `drop_due`, `backup`. Several threads may share one store, and
    other processes may open the same folder while this one writes. A series is measured or derived as its
    first reading made it.

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
        self.folder = folder
        self._patience_s = patience_s
        self._connections = Connections(folder / FILE_NAME, sql.VERSION, sql.CREATE, patience_s, sql.UPGRADES)
        self._registry = Registry()
        self._sealed = SealedDays(folder)
        self._writing = HotWriting(self._connections, self._registry, self._sealed)
        self._sealing = Sealing(folder, self._connections, self._registry, self._sealed)
        self._finish_what_a_crash_left()

    def _finish_what_a_crash_left(self) -> None:
        with self._connections.reading() as connection:
            if connection.execute(sql.INTENTS).fetchone() is None:
                return
        try:
            with sealing_lock(self.folder, 0):  # held by a program that is at it right now: nothing is left
                self._sealing.finish()
        except (StoreUnavailable, StoreUnusable) as error:
            _log.warning("sealing stays unfinished for now, every reading can be read: %s", error)

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings durably; see the contract."""
        return self._writing.append(readings)

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range; see the contract."""
        self._writing.replace(series, start_us, end_us, columns)

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range; see the contract."""

        def look(connection: sqlite3.Connection, number: int) -> tuple[Columns, list[Span]]:
            spans = self._sealed.spans(connection, number, start_us, end_us)
            return hot_rows(connection, number, start_us, end_us), spans

        def answer(found: tuple[Columns, list[Span]]) -> Columns:
            return self._sealed.merged(*found, [(start_us, end_us)])

        return self._looked_up(series, look, answer, Columns.empty())

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant; see the contract."""

        def look(connection: sqlite3.Connection, number: int) -> tuple[Row | None, list[Span]]:
            hot = last_before(connection, number, before_us)
            return hot, self._sealed.newest_spans(connection, number, before_us)

        def answer(found: tuple[Row | None, list[Span]]) -> Reading | None:
            hot, spans = found
            last = max([self._sealed.last_before(span, before_us) for span in spans], default=None, key=_time_of)
            if last is None or (hot is not None and hot[0] > last[0]):
                last = hot
            return None if last is None else _reading(series, *last)

        return self._looked_up(series, look, answer, None)

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return a series' readings summed up over equal stretches; see the contract."""
        if every_us <= 0:
            raise ValueError(f"readings cannot be summed up over {every_us} us: every_us must be above 0")
        request = Summary(start_us, end_us, every_us)

        def look(connection: sqlite3.Connection, number: int) -> Found:
            spans = self._sealed.spans(connection, number, start_us, end_us)
            return Found(*request.hot(connection, number), spans, request.rollups(connection, number))

        def answer(found: Found) -> Buckets:
            return as_buckets(request.sums(found, self._sealed))

        return self._looked_up(series, look, answer, as_buckets(summed(Columns.empty(), every_us)))

    def _looked_up(
        self,
        series: Series,
        look: Callable[[sqlite3.Connection, int], _Found],
        answer: Callable[[_Found], _Answer],
        unknown: _Answer,
    ) -> _Answer:
        """Return what is answered from one moment of the SQLite file and the sealed files it names.

        A file may be dropped between the two: then the next moment names others. One that is named twice
        and is not there is missing.
        """
        vanished: str | None = None
        while True:
            with self._connections.reading() as connection:
                entry = self._registry.find(connection, series)
                if entry is None:
                    return unknown
                found = look(connection, entry.number)
            try:
                return answer(found)
            except Vanished as error:
                if str(error) == vanished:
                    raise missing(Path(vanished)) from error
                vanished = str(error)

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
        names = {row[:3] for row in rows}
        series = {one: Series(farm, *one) for one in names}
        return [Touched._make((series[row[:3]], *row[3:])) for row in rows]

    def settle(self, notes: Collection[Touched]) -> None:
        """Forget notes that have been worked off; see the contract."""
        if not notes and not self._connections.unsynced:
            return
        with self._connections.writing() as connection:
            if self._connections.unsynced:
                connection.execute(sql.NEXT_VERSION)  # so that there is something to sync, whatever the notes
            entries = {series: self._registry.find(connection, series) for series in {note.series for note in notes}}
            found = ((entries[note.series], note) for note in notes)
            settled = [(entry.number, note.first_us // NOTE_US, note.version) for entry, note in found if entry]
            connection.executemany(sql.SETTLE, settled)

    def roll_up_due(self, farm: str, before_us: int) -> int:
        """Make the sums of a farm's hours that are over before an instant; return of how many hours.

        They make `aggregate` quicker for days not sealed yet, and change nothing else. Hours that got late
        readings since the last call are done again.
        """
        return hot_hours.roll_up(self._connections, farm, before_us)

    def seal_due(self, farm: str, before_us: int, progress: Progress | None = None) -> list[SealedFile]:
        """Seal every whole UTC day of a farm that ends at or before an instant and has hot rows.

        A day that is sealed already and got late readings since gets one more file with these. Ingest goes
        on meanwhile. Calling again is harmless, also after a crash or a full disk: it finishes what was
        begun.

        Raises
        ------
        StoreUnavailable
            If the disk is full or may not be written, or another program seals. Every reading stays
            readable; the same call later goes on.
        StoreUnusable
            If the farm's manifest is damaged.
        """
        with sealing_lock(self.folder, self._patience_s):
            return self._sealing.seal(farm, before_us, progress)

    def drop_due(self, farm: str, now_us: int, retention: Retention) -> list[Part]:
        """Drop the files of a farm's days whose time to be kept is over; the manifest says which.

        What is hot of these days is sealed first, so that nothing goes that was not on record. Sums by the
        minute and hour have their own time. Raises as `seal_due` does.
        """
        with sealing_lock(self.folder, self._patience_s):
            return Dropping(self._connections, self._sealing).drop(farm, now_us // DAY_US, retention)

    def verify(self, progress: Progress | None = None) -> Verification:
        """Return what is damaged, and what of the readings that affects; see `store.verification`."""
        with sealing_lock(self.folder, self._patience_s):  # nothing is between two places meanwhile
            return verification(self.folder, self._connections, progress)

    def status(self) -> list[FarmStatus]:
        """Return what the store holds of each farm."""
        with self._connections.reading() as connection:
            return farm_statuses(connection)

    def backup(self, target: Path, progress: Progress | None = None) -> None:
        """Copy the whole store, as it is at one moment, into an empty folder; see `store.backup`.

        Ingest goes on meanwhile, sealing waits.
        """
        with sealing_lock(self.folder, self._patience_s):
            self._sealing.finish()
            with self._connections.reading() as connection:
                back_up(self.folder, connection, target, progress)

    def close(self) -> None:
        """Release the file; closing twice is harmless."""
        self._connections.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()
