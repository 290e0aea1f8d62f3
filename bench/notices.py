"""What a grower is told in the demonstration's thirty days, as it would have come: to be read, and timed.

``python bench/notices.py`` plays the invented farm with its faults, its mail going nowhere, in steps of ten minutes
(``--step``), and prints each notice with how long after its fault began it was written; ``--days`` plays fewer.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path[0] = str(Path(__file__).resolve().parent.parent)

from farm.check import Description
from farm.flags import Flag
from farm.notices import Notices
from farm.readings import Reading, Series, instant, microseconds
from simulator.demo import demo_farm, demo_faults
from simulator.simulation import Simulation
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.notice_entries import Outcome
from watch.channels import Answer, Channels
from watch.jobs import Watch
from watch.notifying import Notifier

NOW = datetime(2026, 11, 28, 14, 30, tzinfo=UTC)
MINUTE_US = 60_000_000
GROWER = {"people": {"grower": {"label": "Grower", "mail": ["grower@farm.example"]}}}


class Read:
    """A channel that keeps every message."""

    def __init__(self):
        self.messages = []

    def channels(self, notices, person):
        """Yield the one channel."""
        yield "mail 1", self

    def send(self, message):
        """Take a message."""
        self.messages.append(message)
        return Answer(Outcome.TAKEN, "taken")


def play(days, step_min, folder):
    """Return the notices of so many days up to NOW, the faults, and the alarms of the journal."""
    farm = demo_farm()
    notices = Notices.model_validate(GROWER)
    farm = farm.model_copy(update={"notices": notices})
    start = NOW - timedelta(days=days)
    faults = demo_faults(start, NOW)
    simulation = Simulation(farm, seed=20260301, start=start, faults=faults)
    series = {one.key: Series.parse(farm.name, one.key) for one in farm.series}
    clock, read = [microseconds(start)], Read()
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        watch = Watch(Description(farm, "its text", "bench"), store, journal, lambda: clock[0])
        watch.begin()
        notifier = Notifier(farm, journal, Channels(notices, [read]), lambda: clock[0], "https://farm.example")
        for _ in range(days * 1440 // step_min):
            store.append([
                Reading(series[key], one.time_us, value, Flag.NOT_EVALUATED)
                for one in simulation.run(step_min).snapshots()
                for key, value in one.values
            ])  # fmt: skip
            clock[0] += step_min * MINUTE_US
            while watch.round():
                pass
            notifier.decide()
            notifier.sender.send_due()
            notifier.sender.settle()
        assert not watch.counts.broken, watch.counts.broken
        return read.messages, faults, journal.alarms.between(farm.name)


def main():
    """Play, and print what was told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--step", type=int, default=10, help="minutes")
    parser.add_argument("--texts", action="store_true", help="whole texts, not subjects alone")
    options = parser.parse_args()
    began_s = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        messages, faults, alarms = play(options.days, options.step, Path(folder))
    for fault in faults:
        print(f"fault {fault.kind} {fault.target or ''} {fault.start:%d %b %H:%M} to {fault.end:%d %b %H:%M}")
    for one in messages:
        made = instant(one.notice.made_us)
        under_way = [fault for fault in faults if fault.start <= made]
        after = f", {made - under_way[-1].start} after the last fault began" if under_way else ""
        print(f"\n{made:%a %d %b %H:%M} UTC, {one.notice.kind}, {one.notice.priority}{after}")
        print(f"  {one.notice.subject}")
        if options.texts:
            print("\n".join(f"    {line}" for line in one.notice.text.splitlines()))
    print(f"\nnotices_told {len(messages)} 1")
    print(f"notices_alarms {len(alarms)} 1")
    print(f"notices_s {time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
