"""Remembered readings are those of the store beneath."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.flags import Flag
from farm.readings import Columns, Reading, Series
from store.embedded import EmbeddedStore
from tests.conftest import MINUTE_US
from watch.remembering import HOUR_US, Remembered

AIR = Series("testfarm", "room", "air_temperature")
DEW = Series("testfarm", "room", "dew_point_temperature")


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    with EmbeddedStore(tmp_path_factory.mktemp("store")) as opened:
        opened.append([Reading(AIR, at, at / 10, Flag.NOT_EVALUATED) for at in range(0, 1000, 7)])
        yield opened


@given(st.lists(st.tuples(st.integers(-50, 1100), st.integers(-20, 400)), min_size=1, max_size=12))
def test_any_stretches_in_any_order_read_as_from_the_store(store, asked):
    remembered = Remembered(store)
    for start_us, length_us in asked:
        found, expected = (one.read(AIR, start_us, start_us + length_us) for one in (remembered, store))
        assert found.time_us.tolist() == expected.time_us.tolist()
        assert found.value.tolist() == expected.value.tolist()
        assert found.flag.tolist() == expected.flag.tolist()


def test_a_stretch_is_read_once_until_something_in_it_changed(store, monkeypatch):
    asked, read = [], type(store).read
    monkeypatch.setattr(type(store), "read", lambda self, *span: (asked.append(span[1:]), read(self, *span))[1])
    remembered = Remembered(store)
    remembered.read(AIR, 100, 300)
    remembered.read(AIR, 150, 200)
    assert asked == [(100, 300)]
    remembered.read(AIR, 200, 400)
    assert asked == [(100, 300), (300, 700)], "who goes on asks for more soon"
    remembered.forget(AIR, 400)
    remembered.forget(DEW, 0)
    remembered.read(AIR, 100, 400)
    assert asked == [(100, 300), (300, 700)]
    remembered.forget(AIR, 250)
    assert remembered.read(AIR, 100, 400).time_us.tolist() == store.read(AIR, 100, 400).time_us.tolist()
    assert asked[2] == (250, 850)
    remembered.forget(AIR, 50)
    remembered.read(AIR, 150, 200)
    assert asked[-1] == (150, 200)


def test_what_is_written_through_it_is_known_without_reading(tmp_path, monkeypatch):
    with EmbeddedStore(tmp_path) as store:
        remembered = Remembered(store)
        assert len(remembered.read(DEW, 0, 100)) == 0
        remembered.replace(DEW, 0, 100, Columns.from_rows([(5, 9.0, 1)]))
        remembered.replace(DEW, 50, 150, Columns.from_rows([(60, 8.0, 1)]))
        assert store.read(DEW, 0, 200).value.tolist() == [9.0, 8.0]
        monkeypatch.delattr(type(store), "read")
        assert remembered.read(DEW, 0, 150).value.tolist() == [9.0, 8.0]


@pytest.fixture
def asked(store, monkeypatch):
    monkeypatch.setattr("watch.remembering.LONG", 50)
    monkeypatch.setattr("watch.remembering.BEFORE_US", 100)
    monkeypatch.setattr("watch.remembering.STEP_BACK_US", 50)
    asked, read = [], type(store).read
    monkeypatch.setattr(type(store), "read", lambda self, *span: (asked.append(span[1:]), read(self, *span))[1])
    return asked


def test_of_a_long_stretch_only_what_is_near_is_kept(store, monkeypatch, asked):
    monkeypatch.setattr("watch.remembering.LONGEST_US", 300)
    remembered = Remembered(store)
    remembered.read(AIR, 0, 400)
    remembered.read(AIR, 370, 500)
    remembered.read(AIR, 320, 500)
    assert asked == [(0, 400), (400, 800)]
    assert remembered.read(AIR, 310, 500).time_us.tolist() == store.read(AIR, 310, 500).time_us.tolist()
    assert asked[2] == (310, 320)


def test_as_long_a_stretch_as_was_asked_for_is_kept(store, asked):
    remembered = Remembered(store)
    remembered.read(AIR, 0, 300)
    remembered.read(AIR, 300, 400)
    remembered.read(AIR, 100, 400)
    assert asked == [(0, 300), (300, 700)]


def test_it_holds_no_more_than_it_may(store, monkeypatch):
    monkeypatch.setattr("watch.remembering.MOST_READINGS", 10)
    remembered = Remembered(store)
    for start_us in range(0, 900, 50):
        assert len(remembered.read(AIR, start_us, start_us + 49)) == len(store.read(AIR, start_us, start_us + 49))


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("read"), st.integers(0, 500), st.integers(1, 300)),
            st.tuples(st.just("late"), st.integers(0, 800), st.just(0)),
            st.tuples(st.just("derive"), st.integers(0, 500), st.integers(1, 100)),
        ),
        max_size=25,
    ),
    st.sampled_from([10, 10_000]),
)
def test_readings_that_come_and_change_are_seen_once_told_of(tmp_path_factory, steps, long):
    """Minutes of twelve hours; with next to nothing kept of what was read, and with all."""
    with pytest.MonkeyPatch.context() as patch, EmbeddedStore(tmp_path_factory.mktemp("store")) as store:
        patch.setattr("watch.remembering.LONG", long)
        patch.setattr("watch.remembering.BEFORE_US", 50 * MINUTE_US)
        patch.setattr("watch.remembering.STEP_BACK_US", 0)
        remembered = Remembered(store)
        for n, (what, start, length) in enumerate(steps):
            start_us, end_us = start * MINUTE_US, (start + length + 1) * MINUTE_US
            if what == "late":
                store.append([Reading(AIR, start_us, float(n), Flag.NOT_EVALUATED)])
                remembered.forget(AIR, start_us)
            elif what == "derive":
                remembered.replace(DEW, start_us, end_us, Columns.from_rows([(start_us, float(n), 1)]))
            for series in (AIR, DEW):
                found, expected = (one.read(series, start_us, end_us) for one in (remembered, store))
                assert found.time_us.tolist() == expected.time_us.tolist()
                assert found.value.tolist() == expected.value.tolist()
                assert remembered.last_before(series, end_us) == store.last_before(series, end_us)
                hours = (start_us // HOUR_US * HOUR_US, end_us // HOUR_US * HOUR_US + HOUR_US, HOUR_US)
                sums, expected_sums = (one.aggregate(series, *hours) for one in (remembered, store))
                for column in ("time_us", "count", "mean", "high", "flag"):
                    assert getattr(sums, column).tolist() == getattr(expected_sums, column).tolist()
