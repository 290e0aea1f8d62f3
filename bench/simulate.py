"""How fast a simulated farm is: a year in memory, a month to Parquet, many farms, and a farm minute by minute.

Run it with ``--quick`` for less than 50 s: a month instead of a year (the year is then left out).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from simulator.cases import Case, simulated
from simulator.demo import demo_farm, demo_farm_text
from simulator.farms import invented_farm
from simulator.files import write_farm
from simulator.senml import Packer

START = datetime(2026, 1, 1, tzinfo=UTC)
MONTH = timedelta(days=30)


def timed(work):
    began = time.perf_counter()
    found = work()
    return time.perf_counter() - began, found


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true")
    quick = options.parse_args().quick
    case = Case(demo_farm(), demo_farm_text(), 1, START, START + MONTH)
    first_s, _ = timed(lambda: case.simulation().run(2))
    print(f"first two minutes, compiling what is not kept      {first_s:8.2f} s")
    month_s, readings = timed(lambda: simulated(case))
    count = sum(map(len, readings.values()))
    print(f"a farm-month in memory, {len(readings)} series, {count:,} readings {month_s:8.2f} s")
    figures = [("simulator_month_s", month_s, "s"), ("simulator_readings_per_s", count / month_s, "1/s")]
    with tempfile.TemporaryDirectory() as folder:
        parquet_s, _ = timed(lambda: write_farm(case, Path(folder)))
        size = (Path(folder) / "readings.parquet").stat().st_size
    print(f"the same to Parquet, {size / count:.2f} bytes a reading            {parquet_s:8.2f} s")
    figures += [
        ("simulator_month_parquet_s", parquet_s, "s"),
        ("simulator_parquet_bytes_per_reading", size / count, "B"),
    ]
    day = next(case.simulation().until(START + timedelta(days=1)))
    packer = Packer(case.farm)
    pack_s, _ = timed(lambda: packer.pack(day.snapshots()))
    figures.append(("simulator_packed_readings_per_s", day.came.sum() / pack_s, "1/s"))
    print(f"packed as SenML                                    {day.came.sum() / pack_s:10,.0f} readings/s")
    farms = 3 if quick else 20
    many_s, _ = timed(lambda: [month_of(seed) for seed in range(farms)])
    print(f"invented farms, a month each, mean of {farms}           {many_s / farms:8.2f} s")
    figures.append(("simulator_invented_month_s", many_s / farms, "s"))
    simulation = case.simulation()
    live_s, _ = timed(lambda: [simulation.run(1) for _ in range(500)])
    figures.append(("simulator_live_minute_ms", 2.0 * live_s, "ms"))
    print(f"live, minute by minute                             {2.0 * live_s:8.2f} ms a farm")
    if not quick:
        year = replace(case, end=START + timedelta(days=365)).simulation()
        year_s, _ = timed(lambda: [year.run(1440) for _ in range(365)])
        print(f"a farm-year at 1 min                               {year_s:8.2f} s")
        figures.append(("simulator_year_s", year_s, "s"))
    for name, value, unit in figures:
        print(f"{name} {value:.4g} {unit}")


def month_of(seed):
    made = invented_farm(seed)
    return len(
        simulated(
            Case(
                made.farm, made.text, seed, made.start, made.start + MONTH, building=made.building, climate=made.climate
            )
        )
    )


if __name__ == "__main__":
    main()
