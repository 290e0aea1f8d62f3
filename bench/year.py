"""A year of one farm worked out from nothing, and what one late reading costs.

The farm is the demonstration's, every series at its cadence with invented values; storing them is not timed.
``python bench/year.py`` or, in under 50 s, ``python bench/year.py --quick`` for a month. The baseline is reading
the same readings from the same store and doing nothing with them.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[0] = str(ROOT)

from farm.check import Description, read_description
from farm.flags import Flag
from farm.quantities import Kind
from farm.readings import Reading
from leafweather.memory import give_memory_back
from leafweather.second_process import opened_beside
from store.embedded import EmbeddedStore
from store.open import open_both
from watch.jobs import Watch

FARM = ROOT / "simulator" / "demo_farm.toml"
END_US = 1_767_225_600_000_000  # 2026-01-01T00:00:00Z
MINUTE_US = 60_000_000
DAY_US = 1440 * MINUTE_US
TYPICAL = {"ppfd": 240.0, "co2_mole_fraction": 800.0, "solution_ec": 1.6, "solution_ph": 6.0, "relative_humidity": 66.0,
           "air_temperature": 22.0, "leaf_temperature": 21.0, "air_pressure": 101.3, "solution_temperature": 20.0,
           "electrical_power": 2500.0}  # fmt: skip


def invented(series, described, minutes, draw):
    """Return one series' values at each of some minutes: a daily course with noise, a switch or a counter."""
    quantity, day = described.registered, 2 * np.pi * minutes / 1440
    if quantity.kind is Kind.STATE:
        return (minutes % 1440 < 960).astype(float)
    if quantity.kind is Kind.COUNTER:
        return np.round(np.cumsum(draw.uniform(0, 0.01, len(minutes))), 3)
    middle = TYPICAL.get(quantity.name, (described.limits[0] + described.limits[1]) / 4)
    values = middle * (1 + 0.06 * np.sin(day) + draw.normal(0, 0.004, len(minutes)))
    if quantity.name == "ppfd":
        values *= minutes % 1440 < 960
    return np.round(np.clip(values, *described.limits), 3)


def fill(folder, farm, days):
    """Store the farm's days, a day at a time, sealed as the service would."""
    draw = np.random.default_rng(20_260_101)
    minutes = np.arange(days * 1440)
    start_us = END_US - days * DAY_US
    columns = {series: invented(series, one, minutes, draw) for series, one in farm.described.items()}
    rows = 0
    with EmbeddedStore(folder) as store:
        for day in range(days):
            here = slice(day * 1440, (day + 1) * 1440)
            times = (start_us + minutes[here] * MINUTE_US).tolist()
            for series, values in columns.items():
                step = max(1, round(farm.described[series].cadence_s / 60))
                batch = zip(times[::step], values[here][::step].tolist(), strict=True)
                rows += store.append([Reading(series, at, value, Flag.NOT_EVALUATED) for at, value in batch]).stored
            if day % 30 == 29:
                store.seal_due(farm.name, start_us + (day - 1) * DAY_US)
        store.seal_due(farm.name, END_US - 2 * DAY_US)
    return rows


def work(folder):
    """Work everything out in this process, and print what it took."""
    description = read_description(FARM)
    farm = description.farm
    give_memory_back()
    store, journal = open_both(None, folder)
    with store, journal:
        began = time.perf_counter()
        watch = Watch(
            Description(farm, "its text", "bench"), store, journal, lambda: END_US, partial(opened_beside, None, folder)
        )
        watch.begin()
        while watch.round():
            pass
        year_s = time.perf_counter() - began
        assert not watch.counts.broken, watch.counts.broken
        late = [
            Reading(series, END_US - 20 * DAY_US + 30_000_000, 22.5, Flag.NOT_EVALUATED)
            for series in farm.described
            if series.quantity == "air_temperature"
        ]
        late_s = []
        for one in late:
            store.append([one])
            began = time.perf_counter()
            watch.round()
            late_s.append(time.perf_counter() - began)
        began = time.perf_counter()
        for known in store.known(farm.name):
            store.read(known.series, known.first_us, known.last_us + 1)
        read_s = time.perf_counter() - began
        sheets, found = len(journal.days(farm.name)), len(journal.excursions(farm.name))
    # The second process's own peak is added, whenever it was: pages that both share count twice.
    peaks = [resource.getrusage(which).ru_maxrss for which in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    peak_mb = sum(peaks) / 1024
    print(json.dumps([year_s, float(np.median(late_s)), read_s, peak_mb, sheets, found]))


def main():
    """Fill a store, work it out in a process of its own, show what it took."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a month, under 50 s")
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.work:
        work(options.work)
        return
    days = 30 if options.quick else 365
    farm = read_description(FARM).farm
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        rows = fill(Path(folder), farm, days)
        print(f"{rows:,} readings of {len(farm.described)} series stored in {time.perf_counter() - began:.0f} s")
        command = [sys.executable, __file__, "--work", folder]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    year_s, late_s, read_s, peak_mb, sheets, found = json.loads(done.stdout)
    name = "month" if options.quick else "year"
    print(f"worked out: {sheets} day sheets, {found} excursions; reading all of it alone takes {read_s:.1f} s\n")
    print(f"science_{name}_s {year_s:.1f} s")
    print(f"science_{name}_read_ratio {year_s / read_s:.1f} 1")
    print(f"science_{name}_peak_mb {peak_mb:.0f} MB")
    print(f"science_late_reading_ms {1000 * late_s:.0f} ms")


if __name__ == "__main__":
    main()
