"""The embedded store against plain SQLite, PostgreSQL and VictoriaMetrics with the same rows, in one run.

    python bench/store.py [--quick | --full]

The readings are invented (bench/engines/invented.py). Days are appended, sealed two days behind, and the last two stay
hot, their hours summed up; notes of what changed are settled day by day, as the watch does. With --full, the rivals
hold the first 20 series only; their latest and export are scaled to all. A rival that is not installed is left out:
on Debian, `apt install postgresql victoria-metrics` and `pip install 'leafweather[bench]'`.
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

from bench.engines import plain_sqlite, postgresql, victoria_metrics
from bench.engines.invented import A_DAY, DAY_US, KINDS, T0_US, a_series_day, batch, quarter_hours
from bench.engines.plain_sqlite import PlainSQLite
from bench.engines.postgresql import PostgreSQL
from bench.engines.servers import LeftOut
from bench.engines.victoria_metrics import VictoriaMetrics
from farm.readings import Reading, Series
from store.embedded import FILE_NAME, EmbeddedStore

FARM = "bench"
MINUTE_US, HOUR_US = 60_000_000, 3_600_000_000
BACKFILLED = (-30, -29)  # days, before everything else
RIVALS = {
    plain_sqlite.NAME: PlainSQLite,
    postgresql.NAME: PostgreSQL,
    victoria_metrics.NAME: VictoriaMetrics,
}
MOST_RIVAL_SERIES = 20


def all_series(count):
    return [Series(FARM, f"row-{n // 6 + 1}", KINDS[n % 6][0]) for n in range(count)]


def rows_of(day, count, by_series):
    """Yield every reading of a day as (series, time, value, flag): a quarter of an hour, or a series, at a time."""
    if by_series:
        return (a_series_day(number, day) for number in range(count))
    return quarter_hours(day, count)


class Table:
    """What is printed as it is measured, and the figures for the end."""

    def __init__(self, names):
        self._names = names
        self.figures = {}
        print(f"{'what':26}{'store':>14}" + "".join(f"{name:>17}{'ratio':>8}" for name in names))

    def row(self, what, name, unit, ours, theirs, *, less_is_better=True):
        """Print a row; a ratio above 1 says that the store is better by so much."""
        self.figures[f"store_{name}"] = (ours, unit)
        text = f"{what:26}{_shown(ours, unit):>14}"
        for rival in self._names:
            if (figure := theirs.get(rival)) is None:
                text += f"{'-':>17}{'':8}"
                continue
            self.figures[f"{_key(rival)}_{name}"] = (figure, unit)
            text += f"{_shown(figure, unit):>17}{figure / ours if less_is_better else ours / figure:8.2f}"
        print(text, flush=True)


def _key(rival):
    return rival.lower().replace(" ", "_")


def _shown(figure, unit):
    return f"{figure:,.0f} {unit}" if figure >= 1000 else f"{figure:.2f} {unit}"


def started(folder, names):
    """Return the rivals that can be had here, and say why others cannot."""
    rivals = {}
    for name in names:
        place = folder / _key(name)
        place.mkdir()
        try:
            rivals[name] = RIVALS[name](place)
        except LeftOut as why:
            print(f"{name} is left out: {why}")
    return rivals


def took(job, rounds):
    """Return the median time of a job. [ms]"""
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        job()
        times.append((time.perf_counter() - begin) * 1e3)
    return statistics.median(times)


@contextlib.contextmanager
def added_to(seconds, name):
    begin = time.perf_counter()
    yield
    seconds[name] = seconds.get(name, 0.0) + time.perf_counter() - begin


def fill(store, rivals, series, days, held, by_series):
    """Append and seal day by day, and the same rows into the rivals.

    Returns the seconds of each, and of sealing's longest transaction and of the longest without its sync.
    """
    seconds = {}
    longest = (0.0, 0.0)
    connections = store._connections  # noqa: SLF001  # to time its transactions
    writing = connections.writing
    for day in range(days):
        for rows in rows_of(day, len(series), by_series):
            with added_to(seconds, "store"):
                store.append([Reading(series[number], *row) for number, *row in rows])
            for name, rival in rivals.items() if rows[0][0] < held else ():
                with added_to(seconds, name):
                    rival.append(rows)
        durations = [longest]
        connections.writing = functools.partial(_timed, writing, durations)
        with added_to(seconds, "seal"):
            store.seal_due(FARM, T0_US + (day - 1) * DAY_US)
        connections.writing = writing
        longest = tuple(map(max, zip(*durations, strict=True)))
        store.roll_up_due(FARM, T0_US + (day + 1) * DAY_US)
        while notes := store.touched(FARM, 100_000):
            store.settle(notes)
        if sys.stderr.isatty():
            print(f"\rday {day + 1} of {days}", end="", file=sys.stderr)
    for rival in rivals.values():
        rival.settle()
    return seconds, longest


@contextlib.contextmanager
def _timed(writing, durations):
    """Note how long a transaction is open, and how long before it is synced."""
    with writing() as connection:
        begin = time.perf_counter()
        yield connection
        worked = time.perf_counter()
    durations.append((time.perf_counter() - begin, worked - begin))


def check_answers(store, rivals, series, day_us, end_us):
    """See that everyone answers the same, before it is timed how fast."""
    raw = store.read(series[1], day_us, day_us + DAY_US)
    hourly = store.aggregate(series[1], end_us - 60 * DAY_US, end_us, HOUR_US)
    latest = store.latest(FARM)
    for name, rival in rivals.items():
        rows = rival.read(1, day_us, day_us + DAY_US)
        for ours, theirs in zip((raw.time_us, raw.value, raw.flag), ("time", "value", "flag"), strict=True):
            np.testing.assert_array_equal(rows[theirs], ours, f"a day by {name}")
        found = [np.array(column, np.float64) for column in zip(*rival.aggregate(
            1, end_us - 60 * DAY_US, end_us, HOUR_US), strict=True)]  # fmt: skip
        wanted = (hourly.time_us, hourly.count, hourly.mean, hourly.low, hourly.high, hourly.flag)
        for ours, theirs in zip(wanted, found, strict=True):
            np.testing.assert_allclose(theirs, ours, rtol=1e-12, err_msg=f"60 days hourly by {name}")
        for number, *row in rival.latest(min(len(series), MOST_RIVAL_SERIES)):
            assert tuple(map(float, row)) == tuple(map(float, latest[series[number]][1:])), (name, number, row)


def exported(store, series, start_us, end_us):
    """Read a range of every series as Arrow batches, one at a time."""
    import pyarrow as pa

    rows = 0
    for one in series:
        columns = store.read(one, start_us, end_us)
        arrow = pa.RecordBatch.from_arrays(
            [pa.array(column) for column in (columns.time_us, columns.value, columns.flag)], ["time", "value", "flag"]
        )
        rows += arrow.num_rows
    return rows


class Comparison:
    """The same questions to the store and its rivals, which hold the first ``held`` series."""

    def __init__(self, store, rivals, series, held, table):
        self._store, self._rivals, self._series, self._held, self._table = store, rivals, series, held, table

    def questions(self, end_us, days, rounds):
        """Ask as the page does, everyone once unmeasured before."""
        store, series, held = self._store, self._series, self._held
        sealed_us, newest_us, week_us = end_us - 10 * DAY_US, end_us - DAY_US, end_us - 7 * DAY_US
        first_us = end_us - 60 * DAY_US
        asked = [
            (f"latest of {len(series)} series", "latest_ms",
             lambda: store.latest(FARM),
             lambda one: one.latest(held)),
            ("a raw day, sealed", "raw_day_ms",
             lambda: store.read(series[1], sealed_us, sealed_us + DAY_US),
             lambda one: one.read(1, sealed_us, sealed_us + DAY_US)),
            ("a raw day, newest", "raw_hot_day_ms",
             lambda: store.read(series[1], newest_us, end_us),
             lambda one: one.read(1, newest_us, end_us)),
            (f"{days} days hourly", "hourly_60d_ms",
             lambda: store.aggregate(series[1], first_us, end_us, HOUR_US),
             lambda one: one.aggregate(1, first_us, end_us, HOUR_US)),
            ("4 series, 1 min, 7 days", "minute_7d_4_series_ms",
             lambda: [store.aggregate(series[n], week_us, end_us, MINUTE_US) for n in range(4)],
             lambda one: [one.aggregate(n, week_us, end_us, MINUTE_US) for n in range(4)]),
        ]  # fmt: skip
        for what, name, ours, theirs in asked:
            ours()
            our_ms, their_ms = took(ours, rounds), {}
            for rival, one in self._rivals.items():
                theirs(one)
                their_ms[rival] = took(functools.partial(theirs, one), max(rounds // 3, 1))
                if name == "latest_ms":
                    their_ms[rival] *= len(series) / held
                _look_at_memory(one)
            self._table.row(what, name, "ms", our_ms, their_ms)

    def export(self, start_us, end_us):
        """Read a range a series at a time; return the peak of our memory until then. [MB]"""
        begin = time.perf_counter()
        rows = exported(self._store, self._series, start_us, end_us)
        ours, theirs = rows / (time.perf_counter() - begin), {}
        memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # the rivals' answers come after
        for name, rival in self._rivals.items():
            begin = time.perf_counter()
            found = sum(len(rival.read(number, start_us, end_us)) for number in range(self._held))
            theirs[name] = found / (time.perf_counter() - begin)
            assert found * len(self._series) == rows * self._held, name
            _look_at_memory(rival)
        self._faster("30-day export", "export_30d_readings_per_s", ours, theirs)
        return memory_mb

    def batches(self, size, rounds, start_us):
        """Append batches over all series, one after the other, each durable before the next."""
        ready = [batch(number, size, len(self._series), start_us) for number in range(rounds)]

        def speed(append):
            begin = time.perf_counter()
            for rows in ready:
                append(rows)
            return size * rounds / (time.perf_counter() - begin)

        theirs = {name: speed(rival.append) for name, rival in self._rivals.items()}
        self._faster(f"durable batches of {size}", f"batch_{size}_readings_per_s", speed(self._append), theirs)

    def backfill(self):
        """Fill old days, a series and day in one commit, as a copy between stores does."""

        def speed(append, count, seal):
            seconds = {"all": 0.0}
            for day in BACKFILLED:
                for number in range(count):
                    rows = a_series_day(number, day)
                    with added_to(seconds, "all"):
                        append(rows)
                with added_to(seconds, "all"):
                    seal(T0_US + (day + 1) * DAY_US)
            return len(BACKFILLED) * count * A_DAY / seconds["all"]

        ours = speed(self._append, len(self._series), lambda before_us: self._store.seal_due(FARM, before_us))
        theirs = {}
        for name, rival in self._rivals.items():
            theirs[name] = speed(rival.append, self._held, lambda _: None)
            _look_at_memory(rival)
        self._faster("backfill, sealed", "backfill_readings_per_s", ours, theirs)

    def _append(self, rows):
        self._store.append([Reading(self._series[number], *row) for number, *row in rows])

    def _faster(self, what, name, ours, theirs):
        self._table.row(what, name, "1/s", ours, theirs, less_is_better=False)


def _look_at_memory(rival):
    if rival.server:
        rival.server.look_at_memory()


def measure(folder, count, days, by_series, rounds):
    series, held = all_series(count), min(count, MOST_RIVAL_SERIES)
    (folder / "store").mkdir()
    with contextlib.ExitStack() as open_ones:
        store = open_ones.enter_context(EmbeddedStore(folder / "store"))
        rivals = started(folder, RIVALS)
        for rival in rivals.values():
            open_ones.callback(rival.close)
        seconds, longest = fill(store, rivals, series, days, held, by_series)
        total, end_us = count * days * A_DAY, T0_US + days * DAY_US
        (status,) = store.status()
        rollup_bytes = _rollup_bytes(folder / "store" / FILE_NAME)
        store_bytes = status.sealed_bytes + (folder / "store" / FILE_NAME).stat().st_size
        print(
            f"{total:,} readings: {count} series, {days} days, every 10 s; {status.sealed_readings:,} of them sealed "
            f"in {status.files} files; beside them everyone else with those of {held} series\n"
        )
        check_answers(store, rivals, series, end_us - 10 * DAY_US, end_us)
        table = Table(rivals)
        compared = Comparison(store, rivals, series, held, table)
        compared.questions(end_us, days, rounds)
        memory_mb = compared.export(end_us - 30 * DAY_US, end_us)
        theirs = {name: rival.disk_bytes() / (held * days * A_DAY) for name, rival in rivals.items()}
        table.row("bytes a reading, all", "whole_bytes_per_reading", "B", store_bytes / total, theirs)
        compared.batches(500, 40, end_us)
        compared.batches(5000, 12, end_us + DAY_US)
        how = "a commit a series-day" if by_series else "a commit a quarter hour"
        theirs = {name: held * days * A_DAY / seconds[name] for name in rivals}
        table.row(how, "append_readings_per_s", "1/s", total / seconds["store"], theirs, less_is_better=False)
        compared.backfill()
        theirs = {name: rival.server.peak_mb for name, rival in rivals.items() if rival.server}
        table.row("memory, most seen", "peak_memory_mb", "MB", memory_mb, theirs)
        if victoria_metrics.NAME in rivals:
            print(f"{victoria_metrics.NAME} promises no durability: its batches are in memory when it answers")
    figures = table.figures
    figures["store_seal_readings_per_s"] = (status.sealed_readings / seconds["seal"], "1/s")
    figures["store_seal_longest_transaction_ms"] = (longest[0] * 1e3, "ms")
    figures["store_seal_longest_work_ms"] = (longest[1] * 1e3, "ms")
    figures["store_bytes_per_reading"] = (status.sealed_bytes / status.sealed_readings, "B")
    figures["store_rollup_bytes_per_reading"] = (rollup_bytes / status.sealed_readings, "B")
    figures["plain_sqlite_bytes_per_reading"] = figures.pop("plain_sqlite_whole_bytes_per_reading")
    print()
    for name, (figure, unit) in figures.items():
        print(f"{name} {figure:.4g} {unit}" if figure < 1e5 else f"{name} {figure:.0f} {unit}")


def _rollup_bytes(path):
    with contextlib.closing(sqlite3.connect(path)) as file:
        (size,) = file.execute("SELECT sum(length(sums)) FROM rollup").fetchone()
    return size or 0


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="0.7 M readings, under 50 s")
    parser.add_argument("--full", action="store_true", help="155 M readings: 300 series, 60 days")
    parser.add_argument("--folder", type=Path, help="where to put the stores; by default a temporary folder")
    options = parser.parse_args()
    count, days = (300, 60) if options.full else (4, 20) if options.quick else (20, 60)
    with tempfile.TemporaryDirectory(dir=options.folder, prefix="leafweather-bench-") as place:
        Path(place).chmod(0o711)  # PostgreSQL may run as somebody else
        measure(Path(place), count, days, options.full, rounds=5 if options.quick else 11)


if __name__ == "__main__":
    main()
