"""Connections to one SQLite file: one that writes, a few that read, shared by threads."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from types import MappingProxyType

from store import fault_points
from store.contract import StoreUnavailable, StoreUnusable
from store.faults import sqlite_fault

CACHE_KIB = 32_768  # of the writer: the newest page of every series of a hundred farms; our choice, no source
# Pages of 4 KiB in the write-ahead log before they move to the file. A batch over many series changes a page of
# each, and the next batch the same ones: SQLite's 1,000 moved them all after every second batch. Our choice.
LOG_PAGES = 4_000


class Connections:
    """One writing connection behind a lock, and as many reading ones as threads read at once.

    Parameters
    ----------
    path : pathlib.Path
        The file; made with its tables if it is not there.
    version : int
        Version of the tables this program knows; the file's own is kept as ``PRAGMA user_version``.
    create : sequence of str
        Statements that make the tables in an empty file and set its version.
    upgrades : mapping of int to sequence of str
        Statements that bring the tables of an older version to the next one, by that older version.
    patience_s : float
        How long to wait for another program's write to end. [s]
    """

    def __init__(
        self,
        path: Path,
        version: int,
        create: Sequence[str],
        patience_s: float,
        upgrades: Mapping[int, Sequence[str]] = MappingProxyType({}),
    ) -> None:
        self._path = path
        self._patience_s = patience_s
        self._closed = False
        # Whether something was written that a loss of power may still undo; a program that died may have done so too.
        self.unsynced = True
        self._idle: list[sqlite3.Connection] = []
        self._lock = Lock()
        with self._told():
            if not path.parent.is_dir():
                raise StoreUnavailable(f"{path.parent}: there is no such folder: make it, or name another one")
            self._writer = self._opened()
            try:
                self._prepare(version, create, upgrades)
            except BaseException:
                self._writer.close()
                raise

    def _opened(self) -> sqlite3.Connection:
        return sqlite3.connect(self._path, timeout=self._patience_s, isolation_level=None, check_same_thread=False)

    def _prepare(self, version: int, create: Sequence[str], upgrades: Mapping[int, Sequence[str]]) -> None:
        """Make the tables or bring them up to date, refuse a newer file, and see that writing works."""
        found = self._file_version()
        if found > version:
            raise StoreUnusable(
                f"{self._path}: written by a newer version of this program (format {found}, "
                f"this one knows {version}): update this program; the file was left as it is"
            )
        self._writer.execute("PRAGMA journal_mode = WAL")
        self._writer.execute("PRAGMA synchronous = FULL")
        self._writer.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
        self._writer.execute(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
        # What a savepoint may have to take back is kept in memory, not in a temporary file.
        self._writer.execute("PRAGMA temp_store = MEMORY")
        # A file or disk that may only be read shows now, not at the first reading.
        with self.writing() as connection:
            found = self._file_version()
            for statement in create if found == 0 else ():
                connection.execute(statement)
            for older in range(found, version) if found else ():
                for statement in upgrades[older]:
                    connection.execute(statement)
                    fault_points.reached("migrating")
        if found:
            fault_points.reached("migrated")

    def _file_version(self) -> int:
        (version,) = self._writer.execute("PRAGMA user_version").fetchone()
        return int(version)

    @contextmanager
    def writing(self, *, synced: bool = True) -> Iterator[sqlite3.Connection]:
        """Hold the writing connection for one transaction: durable at the end, or undone.

        Without ``synced`` it is so too if this program dies, but only the next synced transaction that writes makes
        it withstand a loss of power: both are in one log, in order.
        """
        with self._lock, self._told():
            self._refuse_if_closed()
            if not synced:
                self._writer.execute("PRAGMA synchronous = NORMAL")
            before = self._writer.total_changes
            try:
                self._writer.execute("BEGIN IMMEDIATE")
                yield self._writer
                self._writer.execute("COMMIT")
            except BaseException:
                if self._writer.in_transaction:
                    self._writer.execute("ROLLBACK")
                raise
            finally:
                if not synced:
                    self._writer.execute("PRAGMA synchronous = FULL")
            if self._writer.total_changes > before:
                self.unsynced = not synced

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Hold a connection that only reads, for one transaction: it sees one moment, also while others write."""
        with self._told():
            self._refuse_if_closed()
            try:
                connection = self._idle.pop()
            except IndexError:
                connection = self._opened()
                connection.execute("PRAGMA query_only = ON")
            try:
                connection.execute("BEGIN")
                yield connection
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                self._idle.append(connection)
                if self._closed:
                    self._close_idle()

    def _refuse_if_closed(self) -> None:
        if self._closed:
            raise StoreUnavailable(f"{self._path} is closed: open it again")

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Tell a database's error as what it means and how to mend it."""
        try:
            yield
        except sqlite3.OperationalError as error:
            raise sqlite_fault(self._path, error) from error
        except sqlite3.DatabaseError as error:
            if type(error) is not sqlite3.DatabaseError:  # a mistake of ours, not of the file
                raise
            raise sqlite_fault(self._path, error) from error

    def close(self) -> None:
        """Close every connection; one that is in use closes when its user is done."""
        with self._lock:
            self._closed = True
            self._writer.close()
        self._close_idle()

    def _close_idle(self) -> None:
        while True:
            try:
                self._idle.pop().close()
            except IndexError:
                return
