"""Readings moved between stores arrive, and what does not arrive is told."""

from __future__ import annotations

import math
import random
import subprocess
import sys
import time

import numpy as np
import pytest

from farm.readings import Columns
from store.contract import Origin, StoreUnavailable
from store.copying import DAY_US, Checksum, checksum, copy_readings
from store.embedded import EmbeddedStore
from tests.store.influx_stand_in import Fault
from tests.store.words import (
    AIR,
    FAR,
    HOUR,
    HUMIDITY,
    MINUTE,
    ROOT,
    SOUTH_AIR,
    VPD,
    columns,
    everything,
    reading,
    windows,
)

SERIES = (AIR, HUMIDITY, VPD)


def filled(store, days=3, every_us=30 * MINUTE):
    """Fill a store with two measured series, a derived one with gaps, and another farm's."""
    chance = random.Random(1)
    start = -DAY_US - 7
    times = range(start, start + days * DAY_US, every_us)
    for series in (AIR, HUMIDITY, SOUTH_AIR):
        store.append([reading(when, chance.uniform(-20, 90), chance.choice([1, 1, 1, 3, 4]), series) for when in times])
    rows = [(when, *chance.choice([(chance.uniform(0, 3), 1), (math.nan, 9), (math.nan, 4)])) for when in times]
    store.replace(VPD, -FAR, FAR, columns(*rows))
    return len(times)


@pytest.fixture
def embedded(tmp_path):
    """A function that opens an embedded store by its name."""

    def opened(name):
        (tmp_path / name).mkdir(exist_ok=True)
        return EmbeddedStore(tmp_path / name)

    return opened


def all_of(store):
    return {series: everything(store, series) for series in (*SERIES, SOUTH_AIR)}


def test_embedded_to_embedded(embedded):
    with embedded("a") as source, embedded("b") as target:
        count = filled(source)
        seen = []
        copied = copy_readings(source, target, "north", -FAR, FAR, lambda *step: seen.append(step))
        assert [(one.known.series, one.stored, one.present, one.conflicting) for one in copied] == [
            (series, count, 0, 0) for series in SERIES
        ]
        assert all(one.same and one.source.count == count for one in copied)
        assert all_of(target) == {**all_of(source), SOUTH_AIR: []}
        assert [one.origin for one in target.known("north")] == [Origin.MEASURED, Origin.MEASURED, Origin.DERIVED]
        assert [done for done, *_ in seen] == list(range(1, seen[0][1] + 1))
        assert {note.series for note in target.touched("north", 1000)} == {AIR, HUMIDITY}


def test_what_was_copied_is_synced_before_it_is_read_back(embedded):
    with embedded("a") as source, embedded("b") as target:
        filled(source)
        steps = []  # of each that was done: whether all that the target holds is synced
        copy_readings(source, target, "north", -FAR, FAR, lambda *_: steps.append(not target._connections.unsynced))
        copied, read_back = steps[: len(steps) // 2], steps[len(steps) // 2 :]
        assert not copied[-1]  # derived readings come last
        assert all(read_back)


def test_embedded_to_influx_and_back(embedded, influx_opened):
    with embedded("a") as source, influx_opened(page=40) as middle, embedded("b") as target:
        filled(source)
        assert all(one.same for one in copy_readings(source, middle, "north", -FAR, FAR))
        assert all(one.same for one in copy_readings(middle, target, "north", -FAR, FAR))
        assert {one: everything(target, one) for one in SERIES} == {one: everything(source, one) for one in SERIES}
        assert target.known("north") == source.known("north")


def test_only_the_range_is_copied(embedded):
    with embedded("a") as source, embedded("b") as target:
        filled(source)
        for one in copy_readings(source, target, "north", 0, 2 * HOUR):
            series = one.known.series
            rows = [row for row in everything(source, series) if 0 <= row[0] < 2 * HOUR]
            assert everything(target, series) == rows
            assert one.stored == len(rows) == 4


def test_a_repeat_finds_everything_there_and_writes_nothing(embedded, influx_opened, influx_server):
    with embedded("a") as source, influx_opened() as target:
        count = filled(source)
        copy_readings(source, target, "north", -FAR, FAR)
        target.settle(target.touched("north", 1000))
        del influx_server.seen[:]
        copied = copy_readings(source, target, "north", -FAR, FAR)
        assert [(one.stored, one.present, one.same) for one in copied] == [(0, count, True)] * 3
        assert influx_server.requests("/api/v2/write") == []
        assert windows(target) == []


def test_a_failure_half_way_is_made_good_by_a_repeat(embedded, influx_opened, influx_server):
    with embedded("a") as source, influx_opened(patience_s=0.05) as target:
        filled(source)

        def fail_once(done, total, series):
            if done == 4:
                influx_server.faults += [Fault(status=503)] * 20

        with pytest.raises(StoreUnavailable):
            copy_readings(source, target, "north", -FAR, FAR, fail_once)
        influx_server.faults.clear()
        assert all(one.same for one in copy_readings(source, target, "north", -FAR, FAR))


COPY = """
import sys
from store.copying import copy_readings
from store.open import open_store
with open_store(sys.argv[1]) as source, open_store(sys.argv[2]) as target:
    for one in copy_readings(source, target, "north", -(1 << 62), 1 << 62, lambda *step: print(*step[:2], flush=True)):
        assert one.same and not one.conflicting, one
"""


@pytest.mark.slow
def test_a_copy_killed_anywhere_goes_on_when_repeated(embedded, tmp_path):
    chance = random.Random()  # a new moment each time: what is checked holds at any of them
    with embedded("a") as source:
        filled(source, days=20, every_us=2 * MINUTE)
    embedded("b").close()
    command = [sys.executable, "-c", COPY, (tmp_path / "a").as_uri(), (tmp_path / "b").as_uri()]
    for _ in range(3):
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as copy:
            assert copy.stdout.readline()
            time.sleep(chance.uniform(0, 0.3))
            copy.kill()
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    with embedded("a") as source, embedded("b") as target:
        assert all_of(target) == {**all_of(source), SOUTH_AIR: []}


def test_conflicts_are_reported_and_the_target_stands(embedded):
    with embedded("a") as source, embedded("b") as target:
        source.append([reading(time) for time in range(10)])
        target.append([reading(3, 99.0), reading(4, 20.0), reading(5, 20.0, 3)])
        (one,) = copy_readings(source, target, "north", -FAR, FAR)
        assert (one.stored, one.present, one.conflicting, one.same) == (7, 1, 2, False)
        assert one.examples == (reading(3), reading(5))
        assert everything(target, AIR)[3:6] == [(3, 99.0, 1), (4, 20.0, 1), (5, 20.0, 3)]


@pytest.mark.parametrize("other", [(3, 7.0, 1), (2, 5.0, 1), (3, math.nan, 9)], ids=["value", "time", "gap"])
def test_a_derived_day_that_differs_is_left_alone_and_reported(embedded, other):
    with embedded("a") as source, embedded("b") as target:
        source.replace(VPD, 0, 10 * DAY_US, columns((1, 1.0, 1), (3, 1.0, 1), (DAY_US, 2.0, 1)))
        target.replace(VPD, 0, 10, columns((1, 1.0, 1), other))
        before = everything(target, VPD)
        (one,) = copy_readings(source, target, "north", -FAR, FAR)
        assert (one.stored, one.present, one.conflicting, one.same) == (1, 1, 1, False)
        assert one.examples == (reading(3, 1.0, 1, VPD),)
        assert everything(target, VPD) == [*before, (DAY_US, 2.0, 1)]


def test_a_derived_day_that_is_there_in_part_is_completed(embedded):
    with embedded("a") as source, embedded("b") as target:
        source.replace(VPD, 0, 10, columns((1, 1.0, 1), (2, math.nan, 9), (3, 1.0, 1)))
        target.replace(VPD, 0, 10, columns((2, math.nan, 9)))
        (one,) = copy_readings(source, target, "north", -FAR, FAR)
        assert (one.stored, one.present, one.conflicting, one.same) == (2, 1, 0, True)


def test_what_the_target_holds_besides_is_told(embedded):
    with embedded("a") as source, embedded("b") as target:
        source.append([reading(1), reading(9)])
        target.append([reading(5)])
        (one,) = copy_readings(source, target, "north", -FAR, FAR)
        assert (one.stored, one.conflicting, one.same) == (2, 0, False)
        assert (one.source.count, one.target.count) == (2, 3)


def test_a_reading_lost_on_the_way_is_found(embedded, tmp_path):
    class Losing(EmbeddedStore):
        def append(self, readings):
            super().append(readings[1:])
            return super().append(readings[:0])

    (tmp_path / "b").mkdir()
    with embedded("a") as source, Losing(tmp_path / "b") as target:
        source.append([reading(time) for time in range(10)])
        (one,) = copy_readings(source, target, "north", -FAR, FAR)
        assert (one.same, one.source.count, one.target.count) == (False, 10, 9)


def test_nothing_to_copy_and_unlike_origins_are_refused(embedded):
    with embedded("a") as source, embedded("b") as target:
        with pytest.raises(ValueError, match="holds no readings of a farm 'north' in that range"):
            copy_readings(source, target, "north", -FAR, FAR)
        source.append([reading(1)])
        with pytest.raises(ValueError, match="holds no readings"):
            copy_readings(source, target, "north", 2, FAR)
        target.replace(AIR, 0, 10, columns((1, 1.0, 1)))
        with pytest.raises(ValueError, match="air_temperature is measured in the source but derived in the target"):
            copy_readings(source, target, "north", -FAR, FAR)


class TestChecksum:
    ROWS = ((-5, 1.0, 1), (0, math.nan, 9), (7, -2.5, 3), (8, 0.0, 1))

    def test_order_and_parts_do_not_matter(self):
        whole = checksum(columns(*self.ROWS))
        assert checksum(columns(*self.ROWS[::-1])) == whole
        assert checksum(columns(*self.ROWS[:1])) + checksum(columns(*self.ROWS[1:])) == whole
        assert checksum(Columns.empty()) == Checksum(0, 0)

    def test_every_part_of_a_reading_matters(self):
        seen = {checksum(columns(*self.ROWS)).sum}
        for row in ((-4, 1.0, 1), (-5, 1.0000000000000002, 1), (-5, 1.0, 3), (-5, math.nan, 1), (-5, -1.0, 1)):
            seen.add(checksum(columns(row, *self.ROWS[1:])).sum)
        assert len(seen) == 6

    def test_equal_values_are_equal_however_they_are_written(self):
        other_nan = np.array([0x7FF8000000000001], np.uint64).view(np.float64)[0]
        assert checksum(columns((1, other_nan, 9))) == checksum(columns((1, math.nan, 9)))
        assert checksum(columns((1, -0.0, 1))) == checksum(columns((1, 0.0, 1)))

    def test_swapped_values_do_not_cancel_out(self):
        assert checksum(columns((1, 5.0, 1), (2, 6.0, 1))) != checksum(columns((1, 6.0, 1), (2, 5.0, 1)))
