"""Other processes read while this one ingests, seals, seals again and drops: never a reading twice or not at all."""

from __future__ import annotations

import subprocess
import sys

from store.embedded import EmbeddedStore
from store.retention import Retention
from tests.store.words import DAY, MINUTE, ROOT, VPD, columns, reading

READER = """
import sys
from pathlib import Path
from store.embedded import EmbeddedStore
from tests.store.words import AIR, DAY, MINUTE, VPD
rounds, mixed = 0, 0
with EmbeddedStore(Path(sys.argv[1])) as store:
    print("ready", flush=True)
    while not (Path(sys.argv[1]) / "stop").exists():
        times = store.read(AIR, 0, 1 << 62).time_us.tolist()
        assert all(one < other for one, other in zip(times, times[1:])), "a reading came twice, or out of order"
        whole = [time for time in times if time % MINUTE == 0]
        assert whole == list(range(whole[0], whole[0] + len(whole) * MINUTE, MINUTE)), "a reading was not there"
        assert whole[0] % DAY == 0, "a day was there in part"
        assert len(store.read(VPD, 4 * DAY, 5 * DAY)) == 1000, "a replaced day was there in part, or twice"
        buckets = store.aggregate(AIR, 4 * DAY, 5 * DAY, MINUTE)
        assert buckets.count.sum() >= 1440
        last = store.last_before(AIR, 5 * DAY)
        assert last.time_us >= 4 * DAY + 1439 * MINUTE
        rounds += 1
print(rounds)
"""


def derived(value):
    return columns(*((4 * DAY + place, value, 1) for place in range(1000)))


def test_a_reader_in_a_loop_sees_each_reading_once(tmp_path):
    with EmbeddedStore(tmp_path) as store:
        store.append([reading(minute * MINUTE) for minute in range(5 * 1440)])
        store.replace(VPD, 4 * DAY, 5 * DAY, derived(0.0))
        command = [sys.executable, "-c", READER, str(tmp_path)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as other:
            assert other.stdout.readline() == "ready\n"
            for step in range(30):
                store.append([reading((5 * 1440 + step * 30 + minute) * MINUTE) for minute in range(30)])
                store.append([reading(4 * DAY + (step * 7 + one) * MINUTE + 1) for one in range(5)])
                store.seal_due("north", 5 * DAY)
                store.replace(VPD, 4 * DAY, 5 * DAY, derived(float(step)))
                if step % 3 == 0:
                    store.replace(VPD, 4 * DAY + 500, 5 * DAY, columns(*(
                        (4 * DAY + place, -1.0, 1) for place in range(500, 1000))))  # fmt: skip
                store.roll_up_due("north", 5 * DAY + step * 30 * MINUTE)
                if step % 8 == 7:
                    store.drop_due("north", (4 + step // 8) * DAY, Retention(measured_days=4 - step // 24))
            (tmp_path / "stop").touch()
            out, err = other.communicate(timeout=30)
    assert other.returncode == 0, err
    assert int(out) > 10
