"""How fast the science runs, against arithmetic it cannot beat and against the scalar reference library.

Everything is measured in one run and interleaved, so that the ratios hold on a busy machine too.
``python bench/science.py`` or, in under 50 s, ``python bench/science.py --quick``.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

import numpy as np

sys.modules["numba"] = None  # the baseline is PsychroLib as it is written: with numba it compiles itself
import psychrolib

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from analytics.light import light_integral
from analytics.psychrometrics import dew_point_temperature, wet_bulb_temperature
from analytics.time_in_band import time_in_band
from analytics.vapour_pressure_deficit import air_vapour_pressure_deficit, leaf_vapour_pressure_deficit
from bench.science_families import SAME_IN_PSYCHROLIB, Baseline, Family, Room, baselines, families

MINUTE_US = 60_000_000
SCALAR = 10_000  # values for the scalar library, which is slow
SLOW = 50  # times slower than the baseline: the table marks it


def weather(count):
    """Return air temperature, relative humidity and leaf temperature of an invented room, one a minute."""
    draw = np.random.default_rng(20_260_101)
    day = 2 * np.pi * np.arange(count) / 1440
    air = 22 + 3 * np.sin(day) + draw.normal(0, 0.3, count)
    humidity = np.clip(68 - 10 * np.sin(day) + draw.normal(0, 2, count), 5, 100)
    return air, humidity, air - 1.5 + draw.normal(0, 0.2, count)


def psychrolib_dew_points(air, humidity):
    """Return the dew points of one value after another by PsychroLib."""
    return [
        psychrolib.GetTDewPointFromRelHum(t, rh / 100) for t, rh in zip(air.tolist(), humidity.tolist(), strict=True)
    ]


def timed(jobs, rounds):
    """Return how long each job took, by name, in interleaved rounds. [s]."""
    took = {name: [] for name in jobs}
    for _ in range(rounds):
        for name, (_, job) in jobs.items():
            begin = time.perf_counter()
            job()
            took[name].append(time.perf_counter() - begin)
    return took


def rates(jobs, took):
    """Return values per second by name, from the median round."""
    return {name: size / statistics.median(took[name]) for name, (size, _) in jobs.items()}


def show_families(air, humidity, rounds):
    """Measure every family and its baseline in the same rounds, show the table, print the figures."""
    year = Room()
    measured = families(air, humidity, year)
    beside = {"np.exp": Baseline(air.size, lambda: np.exp(air)), **baselines(air, humidity, year)}
    measured["wet bulb"] = Family(
        "wet_bulb", air.size, lambda: wet_bulb_temperature(air, humidity, 99.2), "np.exp"
    )  # again here, beside PsychroLib's
    jobs = {f"{name} (baseline)": one for name, one in beside.items()}
    jobs |= {name: (one.size, one.work) for name, one in measured.items()}
    rate = rates(jobs, timed(jobs, rounds))
    print(
        f"\nFamilies: formulas of {air.size:,} values, a year at one a minute; median of {rounds} interleaved rounds\n"
    )
    print(f"{'what':36}{'values/s':>15}{'baseline is':>12} times as fast:")
    lines = []
    for name, per_second in rate.items():
        if name not in measured:
            print(f"{name:36}{per_second:15,.0f}")
            continue
        one = measured[name]
        slower = rate[f"{one.baseline} (baseline)"] / per_second
        note = " *" if slower > SLOW else ""
        print(f"{name:36}{per_second:15,.0f}{slower:12.1f} {one.baseline}{note}")
        if name != "wet bulb":  # science_wet_bulbs_per_s stands above
            lines.append(f"science_{one.figure}_per_s {per_second:.0f} 1/s")
        lines.append(f"science_{one.figure}_slower {slower:.2f} 1")
        if name in SAME_IN_PSYCHROLIB:
            times = per_second / rate[f"{SAME_IN_PSYCHROLIB[name]} (baseline)"]
            lines.append(f"science_{one.figure}_psychrolib_ratio {times:.1f} 1")
    print(f"\n* more than {SLOW} times slower than its baseline\n")
    print("\n".join(lines))


def main():
    """Measure, show the table, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer rounds over fewer values, under 50 s")
    quick = parser.parse_args().quick
    count, rounds = (1_000_000, 7) if quick else (4_000_000, 15)
    psychrolib.SetUnitSystem(psychrolib.SI)
    air, humidity, leaf = weather(count)
    few_air, few_humidity = air[:SCALAR], humidity[:SCALAR]
    cold = air - 35.0
    year = np.arange(525_600, dtype=np.int64) * MINUTE_US
    ppfd = np.where(np.arange(525_600) % 1440 < 960, 250.0, 0.0)
    end = int(year[-1])

    jobs = {
        "one np.exp (baseline)": (count, lambda: np.exp(air)),
        "dew point": (count, lambda: dew_point_temperature(air, humidity)),
        "dew point, air below freezing": (count, lambda: dew_point_temperature(cold, humidity)),
        "air VPD": (count, lambda: air_vapour_pressure_deficit(air, humidity)),
        "leaf VPD": (count, lambda: leaf_vapour_pressure_deficit(air, humidity, leaf)),
        "wet bulb": (count, lambda: wet_bulb_temperature(air, humidity, 101.325)),
        "PsychroLib dew point, a loop (baseline)": (SCALAR, lambda: psychrolib_dew_points(few_air, few_humidity)),
        "light integral, a year in one call": (year.size, lambda: light_integral(year, ppfd, 0, end, 3 * MINUTE_US)),
        "time in band, a year in one call": (
            year.size,
            lambda: time_in_band(year, ppfd, 200.0, 300.0, 0, end, 3 * MINUTE_US),
        ),
    }
    took = timed(jobs, rounds)
    rate = rates(jobs, took)

    print(f"{count:,} values, median of {rounds} interleaved rounds, NumPy {np.__version__}\n")
    print(f"{'what':42}{'values/s':>14}{'share of np.exp':>18}")
    for name, per_second in rate.items():
        print(f"{name:42}{per_second:14,.0f}{per_second / rate['one np.exp (baseline)']:18.3f}")

    error = np.abs(dew_point_temperature(few_air, few_humidity) - psychrolib_dew_points(few_air, few_humidity)).max()
    both = statistics.median(took["air VPD"]) + statistics.median(took["dew point"])
    exp, loop, dew_point = (
        rate[name] for name in ("one np.exp (baseline)", "PsychroLib dew point, a loop (baseline)", "dew point")
    )
    print()
    print(f"science_dew_points_per_s {dew_point:.0f} 1/s")
    print(f"science_vpd_per_s {rate['air VPD']:.0f} 1/s")
    print(f"science_leaf_vpd_per_s {rate['leaf VPD']:.0f} 1/s")
    print(f"science_wet_bulbs_per_s {rate['wet bulb']:.0f} 1/s")
    print(f"science_vpd_and_dew_point_million_s {both * 1e6 / count:.4f} s")
    print(f"science_dew_point_exp_ratio {dew_point / exp:.4f} 1")
    print(f"science_vpd_exp_ratio {rate['air VPD'] / exp:.4f} 1")
    print(f"science_dew_point_psychrolib_ratio {dew_point / loop:.1f} 1")
    print(f"science_dew_point_psychrolib_error_k {error:.1e} K")
    show_families(air[:1_000_000], humidity[:1_000_000], 3 if quick else 9)


if __name__ == "__main__":
    main()
