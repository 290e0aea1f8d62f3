"""How often findings are right: every fault of the simulator on farms that the likelihoods were not counted on.

``python bench/findings.py`` scores the shipped table, ``--quick`` in under 50 s on a few faults of one farm;
``--count`` makes the table anew. Runs are kept in ``--folder`` and are not made twice.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from importlib.resources import files
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from analytics.findings.model import signs_from_text, table_as_text, table_from_text
from bench.diagnosis.farms import LEVELS
from bench.diagnosis.fitting import fitted
from bench.diagnosis.levels import KINDS, levels_of, pairs_of
from bench.diagnosis.pairs import named, pairs_for, shares
from bench.diagnosis.scoring import brier, confusion, reliability, score_all, top

# Seeds of invented farms. What is counted is never scored.
COUNTED = tuple(range(1001, 1035))
TUNED = (2001, 2002)  # looked at while indicators and the rule for episodes were worked on
SCORED = tuple(range(2003, 2008))
QUICK_SEED = 2003
QUICK_KINDS = ("drying_lost", "cooling_lost", "co2_bottle_empty", "pump_off", "valve_left_to_drain", "mains_lost")
ANALYTICS = Path(__file__).resolve().parent.parent / "analytics" / "findings"
# Left out one after another: what it is called, and the beginnings of places or names of indicators that go with it.
WITHOUT = {
    "condensate meter": ("condensate", "condensate_per_run", "condensed_beyond_drunk"),
    "supply air sensors": ("coil_drying", "coil_cooling", "supply_above_dew_point", "supply/"),
    "compressor's state": ("compressor_share", "coil_drying", "coil_cooling", "supply_above_dew_point",
                           "condensate_per_run", "vapour_gain", "warmth_lost"),
    "rows' air sensors": ("rows_temperature", "rows_vapour", "room_vapour_against_rows", "row_temperature",
                          "row_vapour", "row_swing", "series_gap", "row-"),
    "light sensors": ("light_output", "light_sibling", "light_hours", "dark_commanded"),
    "power meter": ("power", "power_unexplained"),
    "dosed volumes": ("nutrient_ml", "acid_ml", "base_ml", "stock_ml", "ec_response", "acid_response", "base_response",
                      "stock_response", "salt_balance"),
    "level": ("level", "level_fall", "drunk", "salt_balance", "condensed_beyond_drunk"),
    "flow meters": ("flow", "watering_share", "dry_pump", "row_flow", "filter_resistance", "emitter_resistance",
                    "return_share"),
    "line pressures": ("pressure_before", "pressure_after", "filter_resistance", "emitter_resistance"),
    "feed water's sensors": ("feed_output", "feed_output_raw", "feed_temperature", "feed_ec", "topped_up", "drunk"),
    "CO2 valve's state": ("co2_valve_share", "co2_rise", "co2_loss"),
}  # fmt: skip


def shipped():
    """Return the table that is shipped."""
    return table_from_text((ANALYTICS / "likelihoods.csv").read_text("utf-8"))


def runs_of(folder, seeds, *, severities=(), drawn=False, looks=False):
    """Return the levels of all runs on some farms: one severity a fault and farm, or all of those named.

    With ``looks`` those between whole hours too.
    """
    return [run for seed in seeds for run in levels_of(folder, seed, drawn=drawn, severities=severities, looks=looks)]


def count(folder):
    """Make the table anew and write it beside the signs."""
    signs = signs_from_text(files("analytics.findings").joinpath("signs.toml").read_text("utf-8"))
    made = fitted(signs, runs_of(folder, COUNTED, severities=LEVELS))
    about = (
        "How likely each level is under each cause; as_usual is where nothing is wrong. Evidence for a cause is",
        "its weight times the logarithm of how much likelier the seen level is under it than usually.",
        "Made by bench/findings.py --count from signs.toml and from runs of the simulator on the",
        f"invented farms {COUNTED[0]} to {COUNTED[-1]}, each weighed by a table counted without it.",
    )
    (ANALYTICS / "likelihoods.csv").write_text(table_as_text(made, about), encoding="utf-8")
    return made


def show(results, months):
    """Print the tables of one scoring and return the figures."""
    first, third = top(results, 1), top(results, 3)
    right = defaultdict(list)
    for one in results:
        right[one.kind].append(one)
    print(f"{'fault':26}{'runs':>5}{'top 1':>7}{'top 3':>7}{'right after':>12}   told instead")
    told = confusion(results)
    for kind in [one for one in KINDS if one in right]:
        after = float(np.median([one.right_after_h for one in right[kind]]))
        others = sorted(((n, cause) for cause, n in told[kind].items() if cause != kind), reverse=True)
        shown = ", ".join(f"{cause} {n}" for n, cause in others[:4])
        when = f"{after:.0f} h" if np.isfinite(after) else "never"
        print(f"{kind:26}{len(right[kind]):5}{first[kind]:7.2f}{third[kind]:7.2f}{when:>12}   {shown}")
    print("\nby severity: " + ", ".join(
        f"{level} {np.mean([one.kind == one.answers[0] for one in results if one.severity == level]):.2f}"
        for level in LEVELS if any(one.severity == level for one in results)
    ))  # fmt: skip
    print("\ntold probability against how often it was right")
    for low, high, mean, share, number in reliability(results):
        print(f"  {low:4.2f} to {high:4.2f}: told {mean:4.2f}, right {share:4.2f}  ({number})")
    if months:
        print("\nfindings of healthy months")
        for seed, found in months:
            print(f"  farm {seed}: {len(found)}" + "".join(f"  {cause} at hour {hour}" for cause, hour in found))
    fast = [one.right_after_h for one in results if not one.slow]
    slow = [one.right_after_h for one in results if one.slow]
    return {
        "top1": float(np.mean(list(first.values()))),
        "top3": float(np.mean(list(third.values()))),
        "false": float(np.mean([len(found) for _, found in months])) if months else float("nan"),
        "brier": brier(results),
        "fast_h": float(np.median(fast)) if fast else float("nan"),
        "slow_h": float(np.median(slow)) if slow else float("nan"),
    }


def sensors_removed(runs, table):
    """Print the macro top-1 with each group of sensors left out of the record."""
    print("\nwith sensors left out (macro top 1, top 3)")
    for name, parts in WITHOUT.items():
        fewer = [without(run, parts) for run in runs if run.kind]
        results, _ = score_all(fewer, table)
        print(
            f"  {name:24}{np.mean(list(top(results, 1).values())):6.2f}{np.mean(list(top(results, 3).values())):6.2f}"
        )


def without(run, parts):
    """Return a run without some indicators and some series' own."""
    kept = [
        number for number, (feature, place) in enumerate(run.names)
        if feature.split("@")[0] not in parts and not any(place.startswith(one) and "/" in one + place for one in parts)
    ]  # fmt: skip
    looks = run.looks[:, kept] if run.looks.size else run.looks
    return run._replace(names=[run.names[number] for number in kept], level=run.level[kept], looks=looks)


def two_at_once(folder, seeds, runs, table):
    """Print how often both of two faults are told, and how often a second is told beside one that stands alone."""
    pairs = [named(run, table) for seed in seeds for run in pairs_of(folder, seed, pairs_for(seed))]
    for what, found in (("two faults", pairs), ("one fault", [named(run, table) for run in runs if run.kind])):
        print(f"\n{what}, {len(found)} runs: " + ", ".join(f"{key} {one:.2f}" for key, one in shares(found).items()))


def main():
    """Count if asked to, score, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--count", action="store_true", help="make likelihoods.csv anew first")
    parser.add_argument(
        "--drawn", action="store_true", help="score farms with only the sensors that they were drawn with"
    )
    parser.add_argument("--severities", choices=("all", "one"), default="one", help="of each fault on each farm")
    parser.add_argument("--fewer", action="store_true", help="score again with groups of sensors left out")
    parser.add_argument("--pairs", action="store_true", help="score two faults at once too")
    parser.add_argument("--seeds", help="farms to score, as 2003-2022")
    parser.add_argument("--folder", help="where runs are kept; a folder that is thrown away by default")
    asked = parser.parse_args()
    began = time.monotonic()
    folder = asked.folder or tempfile.mkdtemp(prefix="findings-")
    seeds = SCORED
    if asked.quick:
        seeds = (QUICK_SEED,)
        runs = levels_of(folder, QUICK_SEED, kinds=QUICK_KINDS, severities=("usual",), looks=True)
        print(f"quick: {len(runs) - 1} faults and a healthy month of one farm\n")
        table = shipped()
    else:
        table = count(folder) if asked.count else shipped()
        if asked.seeds:
            low, _, high = asked.seeds.partition("-")
            seeds = range(int(low), int(high or low) + 1)
        severities = LEVELS if asked.severities == "all" else ()
        runs = runs_of(folder, seeds, severities=severities, drawn=asked.drawn, looks=True)
        print(f"farms scored: {', '.join(map(str, seeds))}; counted: {COUNTED[0]} to {COUNTED[-1]}; tuned: {TUNED}\n")
    figures = show(*score_all(runs, table))
    if asked.fewer:
        sensors_removed(runs, table)
    if asked.pairs:
        two_at_once(folder, seeds, runs, table)
    print(f"\n{time.monotonic() - began:.0f} s")
    print(f"findings_brier {figures['brier']:.3f} 1")
    print(f"findings_hours_to_right_fast {figures['fast_h']:.1f} h")
    print(f"findings_hours_to_right_slow {figures['slow_h']:.1f} h")
    print(f"findings_top1_macro {figures['top1']:.3f} 1")
    print(f"findings_top3_macro {figures['top3']:.3f} 1")
    print(f"findings_false_per_farm_month {figures['false']:.2f} 1")


if __name__ == "__main__":
    main()
