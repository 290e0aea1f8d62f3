"""Readings whose time to be kept is over go, on record; their sums stay for their own time."""

from __future__ import annotations

import pytest

from store.embedded import EmbeddedStore
from store.retention import Retention
from tests.store.words import AIR, DAY, FAR, HOUR, HUMIDITY, MINUTE, SOUTH_AIR, VPD, columns, everything, reading


@pytest.fixture
def store(tmp_path):
    with EmbeddedStore(tmp_path) as opened:
        opened.append([reading(minute * MINUTE, minute / 4) for minute in range(0, 5 * 1440, 10)])
        opened.append([reading(7, series=HUMIDITY), reading(7, series=SOUTH_AIR)])
        opened.replace(VPD, 0, FAR, columns(*((hour * HOUR, 1.0, 1) for hour in range(120))))
        yield opened


def test_each_class_has_its_own_time(store):
    dropped = store.drop_due("north", 5 * DAY + 3 * HOUR, Retention(measured_days=2, derived_days=4))
    assert [(part.origin, part.date) for part in dropped] == [
        ("measured", "1970-01-01"), ("measured", "1970-01-02"), ("measured", "1970-01-03"),
        ("derived", "1970-01-01")]  # fmt: skip
    assert everything(store, AIR)[0][0] == 3 * DAY
    assert everything(store, VPD)[0][0] == DAY
    assert everything(store, SOUTH_AIR) == [(7, 20.0, 1)]
    assert store.verify().sound


def test_overviews_follow_what_remains(store):
    store.drop_due("north", 5 * DAY, Retention(measured_days=2))
    assert HUMIDITY not in store.latest("north")
    known = {one.series: (one.first_us, one.last_us) for one in store.known("north")}
    assert known == {AIR: (3 * DAY, 5 * DAY - 10 * MINUTE), VPD: (0, 119 * HOUR)}
    assert store.last_before(AIR, 3 * DAY) is None
    assert store.last_before(HUMIDITY, FAR) is None


def test_sums_outlive_readings_and_go_in_their_time(store):
    before = store.aggregate(AIR, 0, 5 * DAY, HOUR)
    store.drop_due("north", 5 * DAY, Retention(measured_days=2))
    after = store.aggregate(AIR, 0, 5 * DAY, HOUR)
    for name in ("time_us", "count", "mean", "low", "high", "flag", "first", "last"):
        assert getattr(after, name).tobytes() == getattr(before, name).tobytes()
    assert len(store.aggregate(AIR, 0, 3 * DAY, 30_000_000).time_us) == 0  # finer than what is kept
    store.drop_due("north", 5 * DAY, Retention(rollup_days=3))
    assert store.aggregate(AIR, 0, 5 * DAY, HOUR).time_us[0] == 2 * DAY


def test_late_readings_of_a_dropped_day_add_to_its_sums(store):
    store.drop_due("north", 5 * DAY, Retention(measured_days=2))
    assert store.append([reading(5 * MINUTE, 100.0)]).stored == 1
    for _ in range(2):
        hour = store.aggregate(AIR, 0, HOUR, HOUR)
        assert (hour.count.tolist(), hour.high.tolist()) == ([7], [100.0])
        store.drop_due("north", 5 * DAY, Retention(measured_days=2))  # sealed as one more version, and dropped
    assert everything(store, AIR)[0][0] == 3 * DAY
    (north, _) = store.status()
    assert north.chain_entries == 2 * 3 + 2
    assert store.verify().sound


def test_what_is_hot_goes_on_record_before_it_goes(store, tmp_path):
    store.drop_due("north", 5 * DAY, Retention(measured_days=4))
    lines = (tmp_path / "sealed/north/manifest.txt").read_text().splitlines()
    assert [line.split()[1:5] for line in lines[1:]] == [
        ["sealed", "1970-01-01", "1", "145"], ["dropped", "1970-01-01", "1", "145"]]  # fmt: skip


def test_nothing_is_dropped_unless_told(store):
    assert store.drop_due("north", FAR, Retention()) == []
    assert len(everything(store, AIR)) == 720


@pytest.mark.parametrize("name", ["measured_days", "derived_days", "rollup_days"])
def test_less_than_a_day_is_refused(name):
    with pytest.raises(ValueError, match=f"{name} is 0: keep readings for 1 day or more"):
        Retention(**{name: 0})
