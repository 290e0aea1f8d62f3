"""Remembered readings are those of the store beneath."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.flags import Flag
from farm.readings import Columns, Reading, Series
from store.embedded import EmbeddedStore
from watch.remembering import Remembered

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


def test_a_stretch_is_read_once_until_told_to_forget(store, monkeypatch):
    asked, read = [], type(store).read
    monkeypatch.setattr(type(store), "read", lambda self, *span: (asked.append(span[1:]), read(self, *span))[1])
    remembered = Remembered(store)
    remembered.read(AIR, 100, 300)
    remembered.read(AIR, 150, 200)
    assert asked == [(100, 300)]
    remembered.read(AIR, 200, 400)
    assert asked == [(100, 300), (300, 400)]
    remembered.forget()
    remembered.read(AIR, 150, 200)
    assert asked[-1] == (150, 200)


def test_what_is_written_through_it_is_read_anew(tmp_path):
    with EmbeddedStore(tmp_path) as store:
        remembered = Remembered(store)
        assert len(remembered.read(DEW, 0, 100)) == 0
        remembered.replace(DEW, 0, 100, Columns.from_rows([(5, 9.0, 1)]))
        assert remembered.read(DEW, 0, 100).value.tolist() == [9.0]


def test_it_holds_no_more_than_it_may(store, monkeypatch):
    monkeypatch.setattr("watch.remembering.MOST_READINGS", 10)
    remembered = Remembered(store)
    for start_us in range(0, 900, 50):
        assert len(remembered.read(AIR, start_us, start_us + 49)) == len(store.read(AIR, start_us, start_us + 49))
