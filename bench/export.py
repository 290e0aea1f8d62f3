"""Data sets against plain pyarrow writing the same rows, and how much memory each takes.

    python bench/export.py [--quick | --full] [--folder FOLDER]

The readings are invented (bench/engines/invented.py): one every 10 s of each series, sealed but for the last two days.
The baseline has the same rows in memory already, and writes them to Parquet with the same codec and nothing else: no
store, no judgement, no description, no checksum. Each kind of export runs in a process of its own, so that its peak
memory is its own. Before anything is timed, what was exported is compared with what was put in.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv  # in every process before its time is taken
import pyarrow.parquet as pq

# This file's folder would come first and hide the package of its name.
sys.path[0] = str(Path(__file__).resolve().parent.parent)

from bench.engines.invented import A_DAY, DAY_US, KINDS, T0_US, a_day, a_series_day
from farm.check import check_text
from farm.readings import Columns, Reading, Series
from handover.asking import Format, asked
from handover.data_set import make_data_set
from handover.provenance import MadeBy
from store import sealed_files
from store.contract import Origin
from store.durable import sha256_of
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.manifest import Deed, Manifest
from store.sealed_days import day_name, farm_folder
from watch.judging import judged_readings

FARM = "bench"
HOT_DAYS = 2  # the service seals days when they are over for so long
RAW, CLEANED = {}, {"cleaned": True, "every": "1m"}
EXPORTS = {
    "parquet": (Format.PARQUET, RAW),
    "csv": (Format.CSV, RAW),
    "netcdf": (Format.NETCDF, RAW),
    "cleaned": (Format.PARQUET, CLEANED),
}


def all_series(count):
    return [Series(FARM, f"row-{n // 6 + 1}", KINDS[n % 6][0]) for n in range(count)]


def farm_of(count):
    """Return the farm, in rows of six kinds of sensors."""
    zones = "".join(f'[zones.row-{n}]\nkind = "growing_row"\nlabel = "Row {n}"\n' for n in range(1, -(-count // 6) + 1))
    series = "".join(
        f'[[series]]\nzone = "{one.zone}"\nquantity = "{one.quantity}"\ncadence_s = 10\n' for one in all_series(count)
    )
    text = f'[farm]\nname = "{FARM}"\ntitle = "Invented farm"\ntimezone = "UTC"\ninvented = true\n{zones}{series}'
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    return farm


def fill(folder, count, days):
    """Store invented days: the last two as they arrive, those before as sealed files, which the store takes up."""
    place = farm_folder(folder, FARM)
    (place / Origin.MEASURED).mkdir(parents=True)
    manifest, series = Manifest(place, FARM), all_series(count)
    chain, order = manifest.chain(), sorted(range(count), key=lambda number: series[number].key)
    for day in range(days - HOT_DAYS):
        date = day_name(T0_US // DAY_US + day)
        file = f"{Origin.MEASURED}/{date}.1.parquet"
        rows = sealed_files.write(place / file, ((series[number].key, columns_of(number, day)) for number in order))
        chain = manifest.append(chain, Deed.SEALED, (date, 1, rows, sha256_of(place / file), file))
    with EmbeddedStore(folder) as store:
        store.seal_due(FARM, T0_US + (days - HOT_DAYS) * DAY_US)
        for day in range(days - HOT_DAYS, days):
            for number in range(count):
                store.append([Reading(series[n], *row) for n, *row in a_series_day(number, day)])
        while notes := store.touched(FARM, 100_000):
            store.settle(notes)
    Journal(f"sqlite:///{folder}/journal.sqlite").close()


def columns_of(number, day):
    time_us, value, flag = a_day(number, day)
    return Columns(time_us, value, flag.astype(np.uint8))


def export(folder, target, count, form, words):
    """Make a data set; return its seconds."""
    farm = farm_of(count)
    begin = time.perf_counter()
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        readings = judged_readings(farm, store, journal)
        make_data_set(target, farm, readings, asked(farm, **words), MadeBy("0", "0" * 64), [form], overwrite=True)
    return time.perf_counter() - begin


def plain(target, count, days):
    """Write the same rows with pyarrow alone; return the seconds of that, making the rows not included."""
    fields = [("series", pa.dictionary(pa.int32(), pa.string())), ("time", pa.timestamp("us", tz="UTC")),
              ("value", pa.float64()), ("flag", pa.uint8()), ("arrival_flag", pa.uint8())]  # fmt: skip
    schema, seconds = pa.schema(fields), 0.0
    keys = pa.array([one.key for one in all_series(count)])
    with pq.ParquetWriter(target, schema, compression="zstd", compression_level=3) as writer:
        for number in range(count):
            for first in range(0, days, 15):
                parts = [a_day(number, day) for day in range(first, min(first + 15, days))]
                time_us, value, flag = (np.concatenate(one) for one in zip(*parts, strict=True))
                begin = time.perf_counter()
                name = pa.DictionaryArray.from_arrays(pa.array(np.full(len(value), number, np.int32)), keys)
                flags = pa.array(flag.astype(np.uint8))
                times = pa.array(time_us).cast(schema.field("time").type)
                writer.write_table(pa.Table.from_arrays([name, times, pa.array(value), flags, flags], schema=schema))
                seconds += time.perf_counter() - begin
        begin = time.perf_counter()
    return seconds + time.perf_counter() - begin


def check(target, count, days):
    """See that the export holds what was put in, to the last bit."""
    import pandas as pd

    for number in {0, count // 2, count - 1}:
        key = all_series(count)[number].key
        found = pd.read_parquet(target / "readings.parquet", filters=[("series", "==", key)])
        parts = zip(*(a_day(number, day) for day in range(days)), strict=True)
        time_us, value, flag = (np.concatenate(one) for one in parts)
        np.testing.assert_array_equal(found["time"].astype("int64").to_numpy(), time_us)
        np.testing.assert_array_equal(found["value"].to_numpy(), value)
        np.testing.assert_array_equal(found["flag"].to_numpy(), flag)


def in_a_process_of_its_own(*job):
    """Run one job; return its seconds and its peak memory in MB."""
    done = subprocess.run(
        [sys.executable, __file__, "--job", json.dumps(job)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(done.stderr)
    seconds, memory_mb = done.stdout.split()
    return float(seconds), float(memory_mb)


def peak_memory_mb():
    """Return this process' own peak; what the system counts as its usage begins with that of who started it."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(float(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
    except (OSError, StopIteration):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def job(name, place, count, days):
    """Do one job in this process, and print its seconds and peak memory."""
    place = Path(place)
    if name == "plain":
        seconds = plain(place / "plain.parquet", count, days)
    else:
        form, words = EXPORTS[name]
        seconds = export(place / "kept", place / name, count, form, words)
    print(seconds, peak_memory_mb())


def measure(place, count, days, rounds):
    rows = count * days * A_DAY
    (place / "kept").mkdir()
    fill(place / "kept", count, days)
    print(f"{rows:,} readings: {count} series, {days} days, every 10 s\n")
    found = {name: [] for name in (*EXPORTS, "plain")}
    for number in range(rounds):
        for name in found if number == 0 else ("parquet", "plain"):
            found[name].append(in_a_process_of_its_own(name, str(place), count, days))
        if number == 0:
            check(place / "parquet", count, days)
    print(f"{'what':34}{'readings/s':>14}{'share of plain':>16}{'memory, most':>14}")
    speeds = {name: rows / statistics.median(seconds for seconds, _ in runs) for name, runs in found.items()}
    memory = {name: max(memory_mb for _, memory_mb in runs) for name, runs in found.items()}
    for name, what in (
        ("plain", "plain pyarrow, Parquet (baseline)"),
        ("parquet", "data set, raw, Parquet"),
        ("csv", "data set, raw, CSV"),
        ("netcdf", "data set, raw, NetCDF"),
        ("cleaned", "data set, cleaned to 1 min, wide"),
    ):
        print(f"{what:34}{speeds[name]:14,.0f}{speeds[name] / speeds['plain']:16.3f}{memory[name]:11,.0f} MB")
    size = (place / "parquet" / "readings.parquet").stat().st_size
    print(f"\nexport_ratio {speeds['parquet'] / speeds['plain']:.3f} 1")
    for name in EXPORTS:
        print(f"export_{name}_readings_per_s {speeds[name]:.0f} 1/s")
        print(f"export_{name}_peak_memory_mb {memory[name]:.0f} MB")
    print(f"export_plain_peak_memory_mb {memory['plain']:.0f} MB")
    print(f"export_bytes_per_reading {size / rows:.2f} B")
    print(f"export_plain_bytes_per_reading {(place / 'plain.parquet').stat().st_size / rows:.2f} B")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="0.4 M readings, under 50 s")
    parser.add_argument("--full", action="store_true", help="78 M readings: 300 series, 30 days")
    parser.add_argument("--folder", type=Path, help="where to put everything; by default a temporary folder")
    parser.add_argument("--job", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.job:
        job(*json.loads(options.job))
        return
    count, days = (300, 30) if options.full else (12, 4) if options.quick else (48, 30)
    with tempfile.TemporaryDirectory(dir=options.folder, prefix="leafweather-bench-") as place:
        measure(Path(place), count, days, rounds=1 if options.full else 3)


if __name__ == "__main__":
    main()
