"""Many farms watched at once: what of the machine it takes, and how long from a reading to its notice.

``python bench/watch.py`` watches a thousand farms of sixty series, the demonstration's and eight more, each reading
every 10 s, for three minutes of real time after a warm-up; ``--quick`` four farms for some seconds, in under 50 s;
``--farms N`` any number. Each farm's readings come at their own moment of the 10 s. After the warm-up each farm reads
dangerous CO2 once, at its own moment of the run: the time from that reading's moment to the channel being called is
the latency. What does not press waits for up to ``--pace`` seconds, and then until no reading does. Two processes
share the farms, each with one store. Everything is on: derived series, quality, excursions, alarms, findings, day
sheets, notices. The baseline stores the same readings and watches nothing. Then one farm gets a whole day of readings
a day late.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[0] = str(ROOT)

from bench.year import DAY_US, END_US, FARM, MINUTE_US, TYPICAL, invented
from farm.check import Description, read_description
from farm.description import DescribedSeries
from farm.flags import Flag
from farm.notices import Notices
from farm.quantities import Kind
from farm.readings import Reading
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.notice_entries import Outcome
from watch.channels import Answer, Channels
from watch.jobs import Watch
from watch.notifying import Notifier
from watch.pace import PACE_S, Pace

CADENCE_S = 10.0
WORKERS = 2
DANGER_PPM = 6500.0
SECOND_PROBES = "solution_ec", "solution_ph", "solution_temperature"
MORE = [
    ("room", "air_pressure", ""),
    *((f"row-{row}", "leaf_temperature", "") for row in (1, 2, 3, 4)),
    *(("reservoir", quantity, "second") for quantity in SECOND_PROBES),
]
PEOPLE = {"people": {"ada": {"label": "Ada", "webhooks": [{"url": "https://farm.example", "secret": "none"}]}}}


def now_us():
    """Return the wall clock."""
    return time.time_ns() // 1000


class Called:
    """A channel that takes everything, and notes when it was called."""

    def __init__(self):
        self.at_s = {}

    def channels(self, notices, person):
        """Yield the one channel."""
        yield "webhook 1", self

    def send(self, message):
        """Take a message."""
        for told in message.notice.told:
            self.at_s.setdefault((message.notice.farm, told.condition), time.perf_counter())
        return Answer(Outcome.TAKEN, "taken")


class Watched:
    """One farm with its watch and its notifier."""

    def __init__(self, name, plain, store, journal, pace_s):
        place = plain.farm.model_copy(update={"name": name})
        more = [DescribedSeries(zone=zone, quantity=quantity, sensor=sensor) for zone, quantity, sensor in MORE]
        quick = [one.model_copy(update={"cadence_s": CADENCE_S}) for one in [*plain.series, *more]]
        notices = Notices.model_validate(PEOPLE)
        self.farm = plain.model_copy(update={"farm": place, "series": quick, "notices": notices})
        self.store, self.called = store, Called()
        description = Description(self.farm, "its text", "bench")
        self.watch = Watch(description, store, journal, now_us, pace=Pace(pace_s))
        self.watch.begin()
        self.notifier = Notifier(self.farm, journal, Channels(notices, [self.called]), now_us)
        self.counted = dict.fromkeys(self.farm.described, 0.0)

    def readings(self, at_us, draw, danger):
        """Return one reading of every series: typical values with noise."""
        rows = []
        for series, one in self.farm.described.items():
            quantity = one.registered
            if quantity.kind is Kind.STATE:
                value = float(quantity.name != "door_open")
            elif quantity.kind is Kind.COUNTER:
                self.counted[series] += 0.001
                value = self.counted[series]
            else:
                middle = TYPICAL.get(quantity.name, (one.limits[0] + one.limits[1]) / 4)
                value = float(np.clip(middle * (1 + draw.normal(0, 0.004)), *one.limits))
            if danger and quantity.name == "co2_mole_fraction":
                value = DANGER_PPM
            rows.append(Reading(series, at_us, round(value, 3), Flag.NOT_EVALUATED))
        return rows

    def work(self):
        """Work everything off and tell people."""
        self.watch.pace.begin()
        self.watch.round()
        self.notifier.decide()
        self.notifier.sender.send_due()


def work(folder, first, count, warm_s, run_s, watching, pace_s):
    """Watch some farms in real time, and print what it took."""
    plain = read_description(FARM).farm
    draw = np.random.default_rng(first)
    latencies, late_s, busy_s, turns, rounds = [], [], 0.0, 0, 0
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        farms = [Watched(f"farm-{first + n}", plain, store, journal, pace_s) for n in range(count)]
        turns_of_alarm = dict(enumerate(draw.integers(0, max(1, int(run_s / CADENCE_S) - 1), count).tolist()))
        apart = max(1, int(pace_s / CADENCE_S))  # farms do not all begin at once
        first_turn = -(-warm_s // int(CADENCE_S))
        began = time.perf_counter()
        cpu_s, measured_s, turn = time.process_time(), began, 0
        waiting, waited_s = {}, []  # farms whose pace is over, and since when: readings and what presses go before them
        while (now := time.perf_counter()) - began < warm_s + run_s:
            due_s = began + (turn // count) * CADENCE_S + (turn % count) * CADENCE_S / count
            while waiting and (starts_s := time.perf_counter()) < due_s:
                oldest = next(iter(waiting))
                waited_s.append(starts_s - waiting.pop(oldest))
                farms[oldest].work()
                rounds += 1
                busy_s += time.perf_counter() - starts_s
            if due_s > (now := time.perf_counter()):
                time.sleep(due_s - now)
            if measured_s == began and now - began >= warm_s:
                cpu_s, measured_s, busy_s, turns, rounds = time.process_time(), now, 0.0, 0, 0
                waited_s = []
            one, starts_s = farms[turn % count], time.perf_counter()
            danger = turn // count - first_turn == turns_of_alarm[turn % count]
            rows = one.readings(now_us(), draw, danger)
            store.append(rows)
            one.watch.pace.arrived(rows)
            if watching and one.watch.pace.presses:
                waiting.pop(turn % count, None)
                one.work()
                rounds += 1
            elif watching and one.watch.pace.due and turn // count >= turn % count % apart:
                waiting.setdefault(turn % count, starts_s)
            if watching and danger:
                one.notifier.sender.settle()
                found = [at for (_, condition), at in one.called.at_s.items() if condition.startswith("co2_danger")]
                latencies.append(min(found) - due_s if found else float("inf"))
            late_s.append(time.perf_counter() - due_s)
            busy_s += time.perf_counter() - starts_s
            turn, turns = turn + 1, turns + 1
        ended = time.perf_counter()
        waited_s += [ended - since_s for since_s in waiting.values()]
        used_s = time.process_time() - cpu_s
        broken = [text for one in farms for text in one.watch.counts.broken.values()]
    assert not broken, broken[:3]
    print(
        json.dumps({
            "cpu_share": used_s / (ended - measured_s), "latencies": latencies, "behind_s": late_s[-1],
            "turns": turns, "rounds": rounds, "waited_s": max(waited_s, default=0.0), "used_s": used_s,
            "busy_s": busy_s, "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        })
    )  # fmt: skip


def late_day(folder):
    """Print how long it takes to work in a whole day that comes a day late."""
    plain = read_description(FARM)
    farm, draw, days = plain.farm, np.random.default_rng(7), 3
    minutes = np.arange(days * 1440)
    columns = {series: invented(series, one, minutes, draw) for series, one in farm.described.items()}
    batches = {}
    for series, values in columns.items():
        step = max(1, round(farm.described[series].cadence_s / 60))
        for at in range(0, len(minutes), step):
            reading = Reading(series, END_US - (days * 1440 - at) * MINUTE_US, float(values[at]), Flag.NOT_EVALUATED)
            batches.setdefault(at // 1440, []).append(reading)
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        store.append(batches[0] + batches[2])
        watch = Watch(Description(farm, "its text", "bench"), store, journal, lambda: END_US + DAY_US)
        watch.begin()
        while watch.round():
            pass
        store.append(batches[1])
        began, cpu_s = time.perf_counter(), time.process_time()
        while watch.round():
            pass
        print(json.dumps([time.perf_counter() - began, time.process_time() - cpu_s, len(batches[1])]))


def run(*more):
    """Return processes of this program in a folder of their own each."""
    return subprocess.Popen([sys.executable, __file__, *map(str, more)], stdout=subprocess.PIPE, text=True)


def answers(processes):
    """Return what processes printed."""
    found = []
    for process in processes:
        said, _ = process.communicate()
        assert process.returncode == 0
        found.append(json.loads(said))
    return found


def measured(farms, warm_s, run_s, watching, pace_s):
    """Return what the workers told of one run."""
    each = -(-farms // WORKERS)
    with tempfile.TemporaryDirectory() as folder:
        processes = []
        for number in range(WORKERS):
            place = Path(folder) / str(number)
            place.mkdir()
            part = f"{number * each},{min(each, farms - number * each)},{warm_s},{run_s},{int(watching)},{pace_s}"
            processes.append(run("--work", place, "--part", part))
        return answers(processes)


def main():
    """Run the baseline, the watch, and a late day, and show what they took."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="four farms, under 50 s")
    parser.add_argument("--farms", type=int, help="how many; 1000, or 4 with --quick")
    parser.add_argument("--pace", type=float, help="seconds; 60, or 2 with --quick")
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--part", help=argparse.SUPPRESS)
    parser.add_argument("--late", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.late:
        late_day(options.late)
        return
    if options.work:
        *numbers, pace_s = options.part.split(",")
        work(options.work, *map(int, numbers), float(pace_s))
        return
    farms = options.farms or (4 if options.quick else 1000)
    warm_s, run_s = (10, 20) if options.quick else (90, 180)
    pace_s = options.pace if options.pace is not None else PACE_S if options.quick else 60.0
    load = os.getloadavg()[0]
    plain = measured(farms, 2, 5 if options.quick else 60, watching=False, pace_s=pace_s)
    told = measured(farms, warm_s, run_s, watching=True, pace_s=pace_s)
    with tempfile.TemporaryDirectory() as folder:
        [[late_s, late_cpu_s, late_readings]] = answers([run("--late", folder)])
    cores = os.cpu_count() or 1
    share = sum(one["cpu_share"] for one in told) / cores
    latencies = np.array([one for part in told for one in part["latencies"]])
    told_at_all = np.isfinite(latencies)
    series = len(read_description(FARM).farm.series) + len(MORE)
    print(f"{farms} farms of {series} series at {CADENCE_S:g} s, {cores} cores, load before {load:.1f}")
    print(f"behind at the end: {max(one['behind_s'] for one in told):.2f} s; alarms {len(latencies)}, untold "
          f"{int((~told_at_all).sum())}; a late day of {late_readings:,} readings\n")  # fmt: skip
    print(f"watch_farms {farms} 1")
    print(f"watch_cpu_share {share:.3f} 1")
    turns = sum(one["turns"] for one in told)
    busy_s = sum(one["busy_s"] for one in told) / turns
    plain_s = sum(one["busy_s"] for one in plain) / sum(one["turns"] for one in plain)
    print(f"watch_baseline_cpu_share {sum(one['cpu_share'] for one in plain) / cores:.4f} 1")
    rounds = sum(one["rounds"] for one in told)
    print(f"watch_pace_s {pace_s:g} s")
    print(f"watch_farm_round_cpu_ms {1000 * sum(one['used_s'] for one in told) / rounds:.1f} ms")
    print(f"watch_farm_turn_ms {1000 * busy_s:.1f} ms")
    print(f"watch_farm_turn_ratio {busy_s / plain_s:.1f} 1")
    print(f"watch_farms_by_processor {farms / share:.0f} 1")
    print(f"watch_behind_s {max(one['behind_s'] for one in told):.2f} s")
    print(f"watch_waited_longest_s {max(one['waited_s'] for one in told):.2f} s")
    if told_at_all.any():
        print(f"watch_latency_p50_s {np.percentile(latencies, 50, method='higher'):.3f} s")
        print(f"watch_latency_p99_s {np.percentile(latencies, 99, method='higher'):.3f} s")
    print(f"watch_peak_mb {sum(one['peak_mb'] for one in told):.0f} MB")
    print(f"watch_late_day_s {late_s:.2f} s")
    print(f"watch_late_day_cpu_s {late_cpu_s:.2f} s")


if __name__ == "__main__":
    main()
