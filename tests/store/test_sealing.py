"""Sealed days: what is in the files, what counts of them, and what happens to readings that come late."""

from __future__ import annotations

import math
import random
import sqlite3
import subprocess
import sys

import numpy as np
import pyarrow.parquet as pq
import pytest

from farm.readings import Columns, Series
from store.contract import Appended, DayDamaged
from store.embedded import FILE_NAME, EmbeddedStore
from tests.store.buckets import check_buckets
from tests.store.words import (
    AIR,
    DAY,
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

MEASURED = "sealed/north/measured"


@pytest.fixture
def store(tmp_path):
    with EmbeddedStore(tmp_path) as opened:
        yield opened


def hot(folder):
    with sqlite3.connect(folder / FILE_NAME) as file:
        (count,) = file.execute(
            "SELECT (SELECT count(*) FROM reading) + (SELECT coalesce(sum(count), 0) FROM block)"
        ).fetchone()
    file.close()
    return count


class TestFiles:
    def test_whole_days_before_the_instant_move_and_others_stay(self, store, tmp_path):
        store.append([reading(time) for time in (-1, 0, DAY - 1, DAY, 2 * DAY)])
        sealed = store.seal_due("north", 2 * DAY - 1)
        assert [(one.part.date, one.readings) for one in sealed] == [("1969-12-31", 1), ("1970-01-01", 2)]
        assert sorted(path.name for path in (tmp_path / MEASURED).iterdir()) == [
            "1969-12-31.1.parquet", "1970-01-01.1.parquet"]  # fmt: skip
        assert hot(tmp_path) == 2
        assert [row[0] for row in everything(store, AIR)] == [-1, 0, DAY - 1, DAY, 2 * DAY]
        assert store.seal_due("north", 2 * DAY - 1) == []

    def test_a_file_can_be_read_by_anybody_sorted_by_series_and_time(self, store, tmp_path):
        rows = [(one, minute * MINUTE, minute / 7, 1) for one in (HUMIDITY, AIR) for minute in range(1440)]
        chance = random.Random(1)
        chance.shuffle(rows)
        store.append([reading(time, value, flag, one) for one, time, value, flag in rows])
        store.seal_due("north", DAY)
        table = pq.read_table(tmp_path / MEASURED / "1970-01-01.1.parquet").to_pylist()
        wanted = sorted((one.key, time, value, flag) for one, time, value, flag in rows)
        assert [tuple(row.values()) for row in table] == wanted
        assert list(table[0]) == ["series", "time", "value", "flag"]

    def test_farms_and_kinds_have_files_of_their_own(self, store, tmp_path):
        store.append([reading(1), reading(1, series=SOUTH_AIR)])
        store.replace(VPD, 0, 10, columns((1, math.nan, 9)))
        store.seal_due("north", DAY)
        files = sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*.parquet"))
        assert [name.rsplit("/", 1)[0] for name in files] == ["sealed/north/derived", "sealed/north/measured"]
        assert hot(tmp_path) == 1
        assert everything(store, VPD) == [(1, None, 9)]

    @pytest.mark.parametrize("farm", ["..", "", "a/b", "Ünï %2F\n", "."])
    def test_any_names_make_safe_files_and_come_back(self, store, tmp_path, farm):
        odd = [
            Series(farm, zone, quantity, sensor)
            for zone in ("a/b", "", "%2F")
            for quantity in ("q", "../q")
            for sensor in ("", "s/1")
        ]
        store.append([reading(place, float(place), series=one) for place, one in enumerate(odd)])
        store.seal_due(farm, DAY)
        assert hot(tmp_path) == 0
        assert [everything(store, one) for one in odd] == [[(place, float(place), 1)] for place in range(len(odd))]
        assert all((tmp_path / "sealed") in path.parents for path in tmp_path.rglob("*.parquet"))
        assert store.verify().sound

    def test_every_value_comes_back_to_the_last_bit(self, store):
        chance = np.random.default_rng(5)
        bits = chance.integers(0, 2**64, 3000, dtype=np.uint64).view(np.float64)
        values = [value for value in bits.tolist() if math.isfinite(value)] + [0.1 + 0.2, -0.0, 5e-324]
        store.append([reading(place, value) for place, value in enumerate(values)])
        before = store.read(AIR, -FAR, FAR)
        store.seal_due("north", DAY)
        after = store.read(AIR, -FAR, FAR)
        assert after.value.tobytes() == before.value.tobytes()
        assert after.time_us.tolist() == before.time_us.tolist()

    def test_a_lost_index_is_built_again_from_the_sealed_files(self, store, tmp_path):
        rows = [reading(minute * MINUTE, float(minute)) for minute in range(3000)]
        store.append(rows)
        store.seal_due("north", 2 * DAY)
        store.close()
        for file in tmp_path.glob("readings.sqlite*"):
            file.unlink()
        with EmbeddedStore(tmp_path) as anew:
            anew.append([reading(5 * DAY)])
            assert [one.file for one in anew.verify().damages] == [
                "measured/1970-01-01.1.parquet", "measured/1970-01-02.1.parquet"]  # fmt: skip
            anew.seal_due("north", 2 * DAY)
            assert everything(anew, AIR)[:-1] == [one[1:] for one in rows if one.time_us < 2 * DAY]
            assert anew.verify().sound


class TestLateReadings:
    def test_the_first_stands_also_where_it_is_sealed(self, store, tmp_path):
        store.append([reading(1, 1.0), reading(2, 2.0)])
        store.seal_due("north", DAY)
        store.settle(store.touched("north", 10))
        batch = [reading(5, 5.0), reading(1, 1.0), reading(2, 9.0), reading(2, 2.0, 3), reading(DAY), reading(2, 2.0)]
        assert store.append(batch) == Appended(2, 2, (batch[2], batch[3]))
        assert everything(store, AIR) == [(1, 1.0, 1), (2, 2.0, 1), (5, 5.0, 1), (DAY, 20.0, 1)]
        assert windows(store) == [(AIR, 5, 5), (AIR, DAY, DAY)]
        assert hot(tmp_path) == 2

    def test_they_make_one_more_file_and_leave_the_first_as_it_is(self, store, tmp_path):
        store.append([reading(time, series=one) for one in (AIR, HUMIDITY) for time in range(10)])
        store.seal_due("north", DAY)
        first = (tmp_path / MEASURED / "1970-01-01.1.parquet").read_bytes()
        store.append([reading(3_000, 7.0)])
        (sealed,) = store.seal_due("north", DAY)
        assert (sealed.part.version, sealed.readings) == (2, 1)
        assert (tmp_path / MEASURED / "1970-01-01.1.parquet").read_bytes() == first
        assert [row[0] for row in everything(store, AIR)] == [*range(10), 3_000]
        assert store.append([reading(3_000, 7.0)]) == Appended(0, 1, ())
        assert store.latest("north")[AIR] == reading(3_000, 7.0)

    @pytest.mark.parametrize("moment", ["file named", "file read back"])
    def test_readings_that_come_while_a_day_is_sealed_stay_hot(self, store, tmp_path, monkeypatch, moment):
        store.append([reading(time) for time in range(0, 100, 2)])
        came = [reading(time, 3.0) for time in range(1, 100, 2)]

        def hook(point):
            if point == moment:
                assert store.append(came).stored == 50

        monkeypatch.setattr("store.fault_points.hook", hook)
        store.seal_due("north", DAY)
        monkeypatch.setattr("store.fault_points.hook", None)
        assert hot(tmp_path) == 50
        assert [row[0] for row in everything(store, AIR)] == list(range(100))
        store.seal_due("north", DAY)
        assert hot(tmp_path) == 0
        assert [row[:2] for row in everything(store, AIR)] == [(time, 3.0 if time % 2 else 20.0) for time in range(100)]

    @pytest.mark.parametrize("moment", ["file named", "file read back"])
    @pytest.mark.parametrize("times", [[60], range(50, 100)], ids=["fewer", "as many"])
    def test_a_derived_series_replaced_while_its_day_is_sealed_stays_hot(
        self, store, tmp_path, monkeypatch, moment, times
    ):
        store.replace(VPD, 0, 100, columns(*((time, 1.0, 1) for time in range(100))))
        new = [(time, 2.0, 1) for time in times]
        monkeypatch.setattr(
            "store.fault_points.hook",
            lambda point: point == moment and store.replace(VPD, 50, 100, columns(*new)),
        )
        store.seal_due("north", DAY)
        monkeypatch.setattr("store.fault_points.hook", None)
        assert hot(tmp_path) == 50 + len(new)
        wanted = [*((time, 1.0, 1) for time in range(50)), *new]
        assert everything(store, VPD) == wanted
        store.seal_due("north", DAY)
        assert everything(store, VPD) == wanted
        assert len(list(tmp_path.rglob("derived/*.parquet"))) == 1  # the one that nothing of counts is gone

    def test_replacing_part_of_a_sealed_day_keeps_the_rest(self, store, tmp_path):
        store.replace(VPD, 0, 3 * DAY, columns(*((hour * HOUR, float(hour), 1) for hour in range(72))))
        store.seal_due("north", 3 * DAY)
        store.replace(VPD, 20 * HOUR, 50 * HOUR, columns((25 * HOUR, -1.0, 3)))
        wanted = [(hour * HOUR, float(hour), 1) for hour in range(72) if not 20 <= hour < 50]
        wanted = sorted([*wanted, (25 * HOUR, -1.0, 3)])
        assert everything(store, VPD) == wanted
        store.seal_due("north", 3 * DAY)
        assert hot(tmp_path) == 0
        assert everything(store, VPD) == wanted
        assert len(list(tmp_path.rglob("derived/*.parquet"))) == 3


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The same readings, sealed and rolled up in one store and hot in the other."""
    folder = tmp_path_factory.mktemp("sums")
    chance = random.Random(11)
    rows = {}
    for series in (AIR, VPD):
        rows[series] = []
        for time in sorted(chance.sample(range(-2 * DAY, 3 * DAY, 7_000_001), 9000)):
            value = math.nan if series == VPD and chance.random() < 0.1 else round(chance.uniform(-5, 40), 2)
            rows[series].append((time, value, chance.choice([1, 1, 1, 2, 3, 4, 9])))
    stores = []
    for name in ("sealed", "hot"):
        (folder / name).mkdir()
        stores.append(EmbeddedStore(folder / name))
        stores[-1].append([reading(*row) for row in rows[AIR][::2]])
        stores[-1].replace(VPD, -FAR, FAR, Columns.from_rows(rows[VPD]))
    sealed = stores[0]
    sealed.seal_due("north", DAY)
    sealed.roll_up_due("north", 2 * DAY + 5 * HOUR)
    for one in stores:
        one.append([reading(*row) for row in rows[AIR][1::6]])
    sealed.seal_due("north", 0)
    for one in stores:
        one.append([reading(*row) for row in rows[AIR][3::6]])
    held = [row for place, row in enumerate(rows[AIR]) if place % 2 == 0 or place % 6 in (1, 3)]
    yield (*stores, {AIR: held, VPD: rows[VPD]})
    for one in stores:
        one.close()


class TestSums:
    """Rollups answer as the readings do, to the last bit."""

    @pytest.mark.parametrize("every", [MINUTE, 5 * MINUTE, HOUR, 6 * HOUR, DAY, 90 * MINUTE, 7 * DAY, 1_000_000])
    @pytest.mark.parametrize(
        ("start", "end"), [(-FAR, FAR), (-DAY - 1, 2 * DAY + 17), (HOUR + 7, DAY - 3), (5 * MINUTE + 1, 5 * MINUTE + 9)]
    )
    def test_they_agree_with_the_rule_and_with_the_hot_store(self, both, every, start, end):
        sealed, plain, rows = both
        for series in (AIR, VPD):
            got, hot_ones = (one.aggregate(series, start, end, every) for one in (sealed, plain))
            for name in ("time_us", "count", "mean", "low", "high", "flag", "first", "last"):
                assert getattr(got, name).tobytes() == getattr(hot_ones, name).tobytes(), name
            values = [(time, None if math.isnan(value) else value, flag) for time, value, flag in rows[series]]
            check_buckets(got, values, start, end, every)

    def test_sums_of_hot_hours_are_made_once_and_again_when_they_change(self, store):
        store.append([reading(minute * MINUTE, float(minute)) for minute in range(150)])
        assert store.roll_up_due("north", 2 * HOUR) == 2
        assert store.roll_up_due("north", 2 * HOUR) == 0
        store.append([reading(30, 100.0)])
        assert store.aggregate(AIR, 0, HOUR, HOUR).high.tolist() == [100.0]
        assert store.roll_up_due("north", 2 * HOUR) == 1
        assert store.aggregate(AIR, 0, 3 * HOUR, HOUR).count.tolist() == [61, 60, 30]

    def test_hours_rolled_up_and_then_sealed_count_once(self, store):
        store.append([reading(minute * MINUTE, float(minute)) for minute in range(1440)])
        store.replace(VPD, 0, DAY, columns(*((minute * MINUTE, 1.0, 1) for minute in range(600))))
        for _ in range(2):
            store.roll_up_due("north", DAY)
            for series, wanted in ((AIR, 24 * [60]), (VPD, 10 * [60])):
                assert store.aggregate(series, 0, DAY, HOUR).count.tolist() == wanted
            store.seal_due("north", DAY)
        store.replace(VPD, 0, HOUR, Columns.empty())
        assert store.aggregate(VPD, 0, DAY, HOUR).count.tolist() == 9 * [60]
        store.roll_up_due("north", DAY)
        store.replace(VPD, HOUR, 2 * HOUR, Columns.empty())
        assert store.aggregate(VPD, 0, DAY, HOUR).count.tolist() == 8 * [60]

    def test_they_spare_reading_the_readings(self, store, tmp_path):
        store.append([reading(minute * MINUTE, float(minute)) for minute in range(1440)])
        store.seal_due("north", DAY)
        (tmp_path / MEASURED / "1970-01-01.1.parquet").unlink()
        assert store.aggregate(AIR, 0, DAY, HOUR).count.tolist() == 24 * [60]
        with pytest.raises(DayDamaged):
            store.aggregate(AIR, 0, DAY, 30_000_000)


class TestSwaps:
    """Another program seals or drops between two looks of a reader."""

    def test_all_that_is_looked_up_is_of_one_moment(self, store, tmp_path, monkeypatch):
        store.append([reading(time) for time in range(100)])
        looked_up = store._sealed.spans

        def spans(*request):
            found = looked_up(*request)
            with EmbeddedStore(tmp_path) as other:
                other.seal_due("north", DAY)
            return found

        monkeypatch.setattr(store._sealed, "spans", spans)
        assert [row[0] for row in everything(store, AIR)] == list(range(100))
        assert hot(tmp_path) == 0

    def test_a_file_that_went_meanwhile_is_looked_for_anew(self, store, tmp_path, monkeypatch):
        store.replace(VPD, 0, DAY, columns((1, 1.0, 1), (2, 1.0, 1)))
        store.seal_due("north", DAY)
        read, swapped = store._sealed.columns, []

        def columns_of(span):
            if not swapped:
                swapped.append(span)
                with EmbeddedStore(tmp_path) as other:
                    other.replace(VPD, 0, 2, columns((1, 2.0, 1)))
                    other.seal_due("north", DAY)
                assert not span.part.path(tmp_path).exists()
            return read(span)

        monkeypatch.setattr(store._sealed, "columns", columns_of)
        assert everything(store, VPD) == [(1, 2.0, 1), (2, 1.0, 1)]
        assert swapped


def test_heavy_libraries_are_imported_only_for_sealed_days(tmp_path):
    program = """
import sys
from pathlib import Path
from store.embedded import EmbeddedStore
from tests.store.words import AIR, DAY, reading
with EmbeddedStore(Path(sys.argv[1])) as store:
    store.append([reading(1)])
    store.read(AIR, 0, DAY), store.aggregate(AIR, 0, DAY, DAY), store.last_before(AIR, DAY), store.known("north")
    print("pyarrow" in sys.modules)
    store.seal_due("north", DAY)
    print("pyarrow" in sys.modules)
"""
    run = subprocess.run(
        [sys.executable, "-c", program, tmp_path], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert run.stdout.split() == ["False", "True"]
