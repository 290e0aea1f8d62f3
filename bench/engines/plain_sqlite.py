"""Plain SQLite: one table, synced commits, nothing else."""

from __future__ import annotations

import sqlite3

import numpy as np

from bench.engines.invented import COLUMNS

NAME = "plain SQLite"


class PlainSQLite:
    """The same rows as everyone's, in a file of its own."""

    server = None  # it runs in our process

    def __init__(self, folder):
        self._path = folder / "plain.sqlite"
        self._file = sqlite3.connect(self._path, isolation_level=None)
        for statement in ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", "PRAGMA cache_size = -65536"):
            self._file.execute(statement)
        self._file.execute(
            "CREATE TABLE reading (series INTEGER, time INTEGER, value REAL, flag INTEGER, "
            "PRIMARY KEY (series, time)) WITHOUT ROWID"
        )

    def append(self, rows):
        self._file.execute("BEGIN IMMEDIATE")
        self._file.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", rows)
        self._file.execute("COMMIT")

    def settle(self):
        self._file.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def read(self, number, start_us, end_us):
        rows = self._file.execute(
            "SELECT time, value, flag FROM reading WHERE series = ? AND time >= ? AND time < ? ORDER BY time",
            (number, start_us, end_us),
        )
        return np.fromiter(rows, COLUMNS)

    def aggregate(self, number, start_us, end_us, every_us):
        return self._file.execute(
            "SELECT time - time % ?4 AS bucket, count(*), avg(value), min(value), max(value), max(flag) FROM reading "
            "WHERE series = ?1 AND time >= ?2 AND time < ?3 AND flag < 4 GROUP BY bucket ORDER BY bucket",
            (number, start_us, end_us, every_us),
        ).fetchall()

    def latest(self, count):
        query = "SELECT series, time, value, flag FROM reading WHERE series = ? ORDER BY time DESC LIMIT 1"
        return [self._file.execute(query, (number,)).fetchone() for number in range(count)]

    def disk_bytes(self):
        return self._path.stat().st_size

    def close(self):
        self._file.close()
