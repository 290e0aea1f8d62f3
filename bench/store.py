"""The embedded store against plain SQLite with the same rows, in one run.

    python bench/store.py [--quick | --full]

The readings are invented, in the shape real ones have: six kinds of sensor with the resolution they usually
have (air temperature and pH 0.01, humidity 0.01 %, CO2 1, PPFD 0.1, EC 0.001), a daily course, slow wandering
and noise of a few steps, one every 10 s, stamped to the millisecond with a few milliseconds of jitter, one in a
thousand flagged suspect. Days are appended, sealed two days behind, and the last two stay hot, their hours summed
up. With --full, plain SQLite holds the first 20 series only; its latest and export are scaled to all.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import resource
import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

# This file's folder would come first and hide the package of its name.
sys.path[0] = str(Path(__file__).resolve().parent.parent)

from farm.readings import Reading, Series
from store.embedded import FILE_NAME, EmbeddedStore

FARM = "bench"
DAY_US = 86_400_000_000
MINUTE_US, HOUR_US = 60_000_000, 3_600_000_000
T0_US = 1_767_225_600_000_000  # 2026-01-01T00:00:00Z
CADENCE_US = 10_000_000
A_DAY = DAY_US // CADENCE_US
KINDS = (
    # quantity, middle, daily swing, wandering, noise, decimals
    ("air_temperature", 22.0, 3.0, 0.03, 0.02, 2),
    ("relative_humidity", 65.0, -8.0, 0.15, 0.1, 2),
    ("co2_mole_fraction", 900.0, 200.0, 2.0, 5.0, 0),
    ("ppfd", 250.0, 10.0, 0.3, 0.5, 1),
    ("solution_ec", 1.8, 0.1, 0.0015, 0.002, 3),
    ("solution_ph", 5.9, 0.1, 0.003, 0.004, 2),
)


def all_series(count):
    return [Series(FARM, f"row-{n // 6 + 1}", KINDS[n % 6][0]) for n in range(count)]


def a_day(number, day):
    """Return times, values and flags of one series on one day: the same each time."""
    draw = np.random.default_rng((number, day))
    _, middle, swing, wander, noise, decimals = KINDS[number % 6]
    jitter = draw.normal(0, 4, A_DAY).round().astype(np.int64).clip(-4000, 4000) * 1000
    time_us = T0_US + day * DAY_US + np.arange(A_DAY) * CADENCE_US + 5_000_000 + jitter
    course = np.sin(2 * np.pi * np.arange(A_DAY) / A_DAY)
    steps = draw.normal(0, wander, A_DAY)
    # Wandering that comes back: an average over some minutes of a random walk's steps.
    slow = np.convolve(steps, np.exp(-np.arange(600) / 100), "full")[:A_DAY]
    value = (middle + swing * course + slow + draw.normal(0, noise, A_DAY)).round(decimals)
    if KINDS[number % 6][0] == "ppfd":
        value[A_DAY * 2 // 3 :] = 0.0  # lights off
    return time_us, value, np.where(draw.random(A_DAY) < 0.001, 3, 1)


def rows_of(day, count, by_series):
    """Yield every reading of a day as (series, time, value, flag): a quarter of an hour, or a series, at a time."""
    if by_series:
        for number in range(count):
            columns = (column.tolist() for column in a_day(number, day))
            yield [(number, *row) for row in zip(*columns, strict=True)]
        return
    columns = [a_day(number, day) for number in range(count)]
    for first in range(0, A_DAY, 90):
        part = slice(first, first + 90)
        yield [
            (number, *row)
            for number, (time_us, value, flag) in enumerate(columns)
            for row in zip(time_us[part].tolist(), value[part].tolist(), flag[part].tolist(), strict=True)
        ]


class Plain:
    """The baseline: one table, synced commits, nothing else."""

    def __init__(self, folder):
        self.path = folder / "plain.sqlite"
        self.file = sqlite3.connect(self.path, isolation_level=None)
        for statement in ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", "PRAGMA cache_size = -65536"):
            self.file.execute(statement)
        self.file.execute(
            "CREATE TABLE reading (series INTEGER, time INTEGER, value REAL, flag INTEGER, "
            "PRIMARY KEY (series, time)) WITHOUT ROWID"
        )

    def append(self, rows):
        self.file.execute("BEGIN IMMEDIATE")
        self.file.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", rows)
        self.file.execute("COMMIT")

    def read(self, number, start_us, end_us):
        rows = self.file.execute(
            "SELECT time, value, flag FROM reading WHERE series = ? AND time >= ? AND time < ? ORDER BY time",
            (number, start_us, end_us),
        )
        kind = np.dtype([("time", np.int64), ("value", np.float64), ("flag", np.uint8)])
        return np.fromiter(rows, kind)

    def aggregate(self, number, start_us, end_us, every_us):
        return self.file.execute(
            "SELECT time - time % ?4 AS bucket, count(*), avg(value), min(value), max(value), max(flag) FROM reading "
            "WHERE series = ?1 AND time >= ?2 AND time < ?3 AND flag < 4 GROUP BY bucket ORDER BY bucket",
            (number, start_us, end_us, every_us),
        ).fetchall()

    def latest(self, count):
        return [
            self.file.execute(
                "SELECT time, value, flag FROM reading WHERE series = ? ORDER BY time DESC LIMIT 1", (number,)
            ).fetchone()
            for number in range(count)
        ]


def took(job, rounds):
    """Return the median time of a job. [ms]"""
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        job()
        times.append((time.perf_counter() - begin) * 1e3)
    return statistics.median(times)


def fill(store, plain, series, days, plain_series, by_series):
    """Append and seal day by day, and the same rows into plain SQLite. Returns seconds of each."""
    seconds = {"append": 0.0, "seal": 0.0, "plain": 0.0}
    longest = 0.0
    connections = store._connections  # noqa: SLF001  # to time its transactions
    writing = connections.writing
    for day in range(days):
        for rows in rows_of(day, len(series), by_series):
            begin = time.perf_counter()
            store.append([Reading(series[number], *row) for number, *row in rows])
            seconds["append"] += time.perf_counter() - begin
            if rows[0][0] < plain_series:
                begin = time.perf_counter()
                plain.append(rows)
                seconds["plain"] += time.perf_counter() - begin
        durations = []
        connections.writing = functools.partial(_timed, writing, durations)
        begin = time.perf_counter()
        store.seal_due(FARM, T0_US + (day - 1) * DAY_US)
        seconds["seal"] += time.perf_counter() - begin
        store.roll_up_due(FARM, T0_US + (day + 1) * DAY_US)
        connections.writing = writing
        longest = max([longest, *durations])
        if sys.stderr.isatty():
            print(f"\rday {day + 1} of {days}", end="", file=sys.stderr)
    return seconds, longest * 1e3


@contextlib.contextmanager
def _timed(writing, durations):
    """Note how long a transaction is open."""
    with writing() as connection:
        begin = time.perf_counter()
        yield connection
    durations.append(time.perf_counter() - begin)


def backfill(store, series, days, first_day):
    """Fill far-away days without a commit a quarter of an hour: big batches, as a copy between stores does."""
    begin = time.perf_counter()
    for day in range(days):
        for number, one in enumerate(series):
            columns = [column.tolist() for column in a_day(number, first_day + day)]
            store.append(list(map(Reading, [one] * A_DAY, *columns)))
        store.seal_due(FARM, T0_US + (first_day + day + 1) * DAY_US)
    return days * len(series) * A_DAY / (time.perf_counter() - begin)


def batches(append, make, size, rounds):
    """Return readings per second of durable batches."""
    ready = [make(n, size) for n in range(rounds)]
    begin = time.perf_counter()
    for batch in ready:
        append(batch)
    return size * rounds / (time.perf_counter() - begin)


def export(store, series, start_us, end_us):
    """Read a range of every series as Arrow batches, one at a time."""
    import pyarrow as pa

    rows = 0
    for one in series:
        columns = store.read(one, start_us, end_us)
        batch = pa.RecordBatch.from_arrays(
            [pa.array(column) for column in (columns.time_us, columns.value, columns.flag)], ["time", "value", "flag"]
        )
        rows += batch.num_rows
    return rows


def plain_export(plain, series, start_us, end_us):
    return sum(len(plain.read(number, start_us, end_us)) for number in range(len(series)))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="about 1 M readings, under 50 s")
    parser.add_argument("--full", action="store_true", help="155 M readings: 300 series, 60 days")
    parser.add_argument("--folder", type=Path, help="where to put the stores; by default a temporary folder")
    options = parser.parse_args()
    count, days = (300, 60) if options.full else (4, 30) if options.quick else (20, 60)
    with tempfile.TemporaryDirectory(dir=options.folder) as place:
        measure(Path(place), count, days, min(count, 20), options.full, rounds=5 if options.quick else 11)


def measure(folder, count, days, plain_series, by_series, rounds):
    series = all_series(count)
    plain = Plain(folder)
    (folder / "store").mkdir()
    with EmbeddedStore(folder / "store") as store, contextlib.closing(plain.file):
        seconds, longest = fill(store, plain, series, days, plain_series, by_series)
        total = count * days * A_DAY
        (status,) = store.status()
        hot_file = (folder / "store" / FILE_NAME).stat().st_size
        rollup_bytes = _rollup_bytes(folder / "store" / FILE_NAME)
        plain.file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        plain_total = plain_series * days * A_DAY
        plain_bytes = plain.path.stat().st_size / plain_total
        print(
            f"{total:,} readings: {count} series, {days} days, every 10 s; {status.sealed_readings:,} of them sealed "
            f"in {status.files} files; beside them plain SQLite with those of {plain_series} series\n"
        )
        end_us = T0_US + days * DAY_US
        sealed_day = T0_US + (days - 10) * DAY_US
        week = end_us - 7 * DAY_US
        four = list(range(4))
        jobs = {
            "latest": (lambda: store.latest(FARM), lambda: plain.latest(plain_series)),
            "raw_day": (
                lambda: store.read(series[1], sealed_day, sealed_day + DAY_US),
                lambda: plain.read(1, sealed_day, sealed_day + DAY_US),
            ),
            "raw_hot_day": (
                lambda: store.read(series[1], end_us - DAY_US, end_us),
                lambda: plain.read(1, end_us - DAY_US, end_us),
            ),
            "hourly_60d": (
                lambda: store.aggregate(series[1], end_us - 60 * DAY_US, end_us, HOUR_US),
                lambda: plain.aggregate(1, end_us - 60 * DAY_US, end_us, HOUR_US),
            ),
            "minute_7d_4_series": (
                lambda: [store.aggregate(series[n], week, end_us, MINUTE_US) for n in four],
                lambda: [plain.aggregate(n, week, end_us, MINUTE_US) for n in four],
            ),
        }
        figures = {}
        print(f"{'what':28}{'store':>14}{'plain SQLite':>16}{'ratio':>9}")
        for name, (ours, theirs) in jobs.items():
            ours(), theirs()
            ours_ms, theirs_ms = took(ours, rounds), took(theirs, max(rounds // 3, 1))
            if name == "latest":
                theirs_ms *= count / plain_series
            figures[f"store_{name}_ms"] = (ours_ms, "ms")
            print(f"{name:28}{ours_ms:11.2f} ms{theirs_ms:13.2f} ms{theirs_ms / ours_ms:9.1f}")
        begin = time.perf_counter()
        exported = export(store, series, end_us - 30 * DAY_US, end_us)
        export_s = time.perf_counter() - begin
        begin = time.perf_counter()
        plain_exported = plain_export(plain, series[:plain_series], end_us - 30 * DAY_US, end_us)
        assert plain_exported * count == exported * plain_series
        plain_s = (time.perf_counter() - begin) * count / plain_series
        print(f"{'30-day export':28}{export_s:12.2f} s{plain_s:14.2f} s{plain_s / export_s:9.1f}")
        figures["store_export_30d_readings_per_s"] = (exported / export_s, "1/s")
        for size in (500, 5000):
            each = max(size // count, 1)

            def made(n, size, each=each):
                stamp = end_us + n * 3_600_000_000
                return [(k % count, stamp + k // count * CADENCE_US, 20.0 + k % 7, 1) for k in range(size)]

            ready = 40 if size == 500 else 12
            ours = batches(store.append, lambda n, size: [Reading(series[k], *row) for k, *row in made(n, size)],
                           size, ready)  # fmt: skip
            theirs = batches(plain.append, made, size, ready)
            figures[f"store_batch_{size}_readings_per_s"] = (ours, "1/s")
            print(f"{f'durable batches of {size}':28}{ours:11,.0f}/s {theirs:14,.0f}/s{ours / theirs:9.2f}")
        ours = total / (seconds["append"])
        theirs = plain_total / seconds["plain"]
        how = "a commit a series-day" if by_series else "a commit a quarter hour"
        print(f"{how:28}{ours:11,.0f}/s {theirs:14,.0f}/s{ours / theirs:9.2f}")
        figures["store_append_readings_per_s"] = (ours, "1/s")
        figures["store_backfill_readings_per_s"] = (backfill(store, series, 2, days + 400), "1/s")
        figures["store_seal_readings_per_s"] = (status.sealed_readings / seconds["seal"], "1/s")
        figures["store_seal_longest_transaction_ms"] = (longest, "ms")
        figures["store_bytes_per_reading"] = (status.sealed_bytes / status.sealed_readings, "B")
        figures["store_rollup_bytes_per_reading"] = (rollup_bytes / status.sealed_readings, "B")
        figures["store_whole_bytes_per_reading"] = ((status.sealed_bytes + hot_file) / total, "B")
        figures["plain_sqlite_bytes_per_reading"] = (plain_bytes, "B")
        figures["store_peak_memory_mb"] = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "MB")
    print()
    for name, (figure, unit) in figures.items():
        print(f"{name} {figure:.4g} {unit}" if figure < 1e5 else f"{name} {figure:.0f} {unit}")


def _rollup_bytes(path):
    with contextlib.closing(sqlite3.connect(path)) as file:
        (size,) = file.execute("SELECT sum(length(sums)) FROM rollup").fetchone()
    return size or 0


if __name__ == "__main__":
    main()
