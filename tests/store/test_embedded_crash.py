"""kill -9 at random moments, of sealing too: every acknowledged reading is there once, and all overviews agree."""

from __future__ import annotations

import random
import subprocess
import sys
import time

from farm.readings import Columns
from store.embedded import EmbeddedStore
from tests.store.words import AIR, FAR, HOUR, HUMIDITY, ROOT, VPD, everything, reading

TRIALS = 8

WRITER = """
import sys
from pathlib import Path
from store.embedded import EmbeddedStore
from tests.store.test_embedded_crash import batch, derived
from tests.store.words import DAY, FAR, HOUR, VPD
with EmbeddedStore(Path(sys.argv[1])) as store:
    for number in range(int(sys.argv[2]), 1_000_000):
        store.append(batch(number))
        print("appended", number, flush=True)
        if number % 5 == 0:
            store.replace(VPD, -FAR, FAR, derived(number))
            print("replaced", number, flush=True)
        if number % 4 == 3:
            store.seal_due("north", (number % 5) * DAY)
            store.roll_up_due("north", 100 * HOUR)
"""


def batch(number):
    """Return a batch known by its number: late and early readings, some of them redelivered from the one before."""
    chance = random.Random(number)
    times = [(chance.randrange(100) * HOUR) + number * 1000 + one for one in range(200)]
    new = [reading(when, number + one / 1000, 1, (AIR, HUMIDITY)[one % 2]) for one, when in enumerate(times)]
    return new + (batch(number - 1)[:20] if number % 3 == 0 and number else [])


def derived(number):
    """Return all readings of the derived series once this batch has been stored."""
    return Columns.from_rows([(one, float(number), 1) for one in range(300)])


def run_and_kill(folder, first, delay):
    """Append until killed; return the numbers of the batches and replacements that were acknowledged."""
    command = [sys.executable, "-c", WRITER, str(folder), str(first)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
        said = [writer.stdout.readline()]  # it is under way
        time.sleep(delay)
        writer.kill()
        said += writer.stdout.read().splitlines(keepends=True)
    whole = [line.split() for line in said if line.endswith("\n")]
    return [[int(number) for verb, number in whole if verb == wanted] for wanted in ("appended", "replaced")]


def test_nothing_acknowledged_is_lost_or_doubled_by_kill_9(tmp_path):
    chance = random.Random()  # a new moment each time: what is checked holds at any of them
    expected, first, replaced = {}, 0, []
    for _ in range(TRIALS):
        appended, newly_replaced = run_and_kill(tmp_path, first, chance.uniform(0.0, 0.25))
        assert appended == list(range(first, first + len(appended)))
        assert appended, "nothing was acknowledged, so nothing was tried"
        replaced = newly_replaced or replaced
        for number in appended:
            expected |= {(one.series, one.time_us): one for one in batch(number)}
        after = appended[-1] + 1  # may be stored or not, but not in part
        with EmbeddedStore(tmp_path) as store:
            held = {
                (series, row[0]): reading(*row, series=series)
                for series in (AIR, HUMIDITY)
                for row in everything(store, series)
            }
            if held != expected:
                expected |= {(one.series, one.time_us): one for one in batch(after)}
            assert held == expected
            check_overviews(store, held)
            replaced = check_derived(store, replaced, after)
            assert store.append(batch(appended[-1])).stored == 0
        first = after


def check_overviews(store, held):
    newest, hours = {}, {}
    for one in held.values():
        newest[one.series] = max(newest.get(one.series, one), one, key=lambda two: two.time_us)
        hours.setdefault((one.series, one.time_us // HOUR), []).append(one.time_us)
    latest = store.latest("north")
    assert {series: latest[series] for series in newest} == newest
    notes = store.touched("north", 10**6)
    assert {(note.series, note.first_us // HOUR): (note.first_us, note.last_us) for note in notes} == {
        key: (min(stamps), max(stamps)) for key, stamps in hours.items()
    }
    spans = {one.series: one.last_us for one in store.known("north")}
    assert spans == {series: one.time_us for series, one in latest.items()}


def check_derived(store, replaced, after):
    """Check the derived series, and return the number it holds: later trials may find it still there."""
    rows = everything(store, VPD)
    assert len(rows) in ({0, 300} if not replaced else {300})
    numbers = {int(value) for _, value, _ in rows}
    assert len(numbers) <= 1
    # The one acknowledged last, or one whose acknowledgement the kill cut off.
    assert all(number in replaced[-1:] or number in (after - 1, after) for number in numbers)
    assert len(store.read(VPD, 0, FAR)) == len(rows)
    return sorted(numbers)
