"""Hot derived readings in blocks: how many there are, and that cutting into them loses nothing."""

from __future__ import annotations

import contextlib
import sqlite3

import pytest

from store import hot_readings
from store.embedded import FILE_NAME, EmbeddedStore
from tests.store.words import DAY, MINUTE, VPD, columns, everything

MOST = hot_readings.MOST_IN_BLOCK


@pytest.fixture
def store(tmp_path):
    with EmbeddedStore(tmp_path) as opened:
        yield opened


def rows(count, first=0, value=0.5):
    return [(minute * MINUTE, value + minute, 1) for minute in range(first, first + count)]


def counts(folder):
    with contextlib.closing(sqlite3.connect(folder / FILE_NAME)) as file:
        return [row[0] for row in file.execute("SELECT count FROM block ORDER BY first")]


def test_a_long_stretch_is_a_few_blocks(store, tmp_path):
    store.replace(VPD, 0, DAY, columns(*rows(2 * MOST + 5)))
    assert counts(tmp_path) == [MOST, MOST, 5]
    assert everything(store, VPD) == rows(2 * MOST + 5)


def test_a_stretch_that_grows_reading_by_reading_fills_its_last_block(store, tmp_path):
    for one in rows(MOST + 3):
        store.replace(VPD, one[0], one[0] + 1, columns(one))
    assert counts(tmp_path) == [MOST, 3]
    assert everything(store, VPD) == rows(MOST + 3)


def test_a_change_within_blocks_leaves_what_is_around_it(store, tmp_path):
    store.replace(VPD, 0, DAY, columns(*rows(3 * MOST)))
    cut = slice(MOST - 2, 2 * MOST + 2)
    store.replace(VPD, cut.start * MINUTE, cut.stop * MINUTE, columns(*rows(2, MOST, value=0.25)))
    wanted = rows(3 * MOST)
    wanted[cut] = rows(2, MOST, value=0.25)
    assert everything(store, VPD) == wanted
    assert sum(counts(tmp_path)) == len(wanted)


def test_a_range_that_ends_before_it_begins_holds_nothing_to_replace(store, tmp_path):
    store.replace(VPD, 0, DAY, columns(*rows(10)))
    store.replace(VPD, 8 * MINUTE, 2 * MINUTE, columns())
    assert everything(store, VPD) == rows(10)
    assert counts(tmp_path) == [10]


def test_instants_are_removed_from_blocks_and_rows_alike(store, tmp_path):
    store.replace(VPD, 0, DAY, columns(*rows(10)))
    with contextlib.closing(sqlite3.connect(tmp_path / FILE_NAME)) as file, file:
        file.executemany("INSERT INTO reading VALUES (1, ?, ?, ?)", [(one[0] + 1, *one[1:]) for one in rows(10)])
        times = columns(*rows(4, 3)).time_us
        hot_readings.remove(file, 1, times)
        hot_readings.remove(file, 1, times[:2] + 1)
    gone = {*times.tolist(), *(times[:2] + 1).tolist()}
    wanted = sorted([*rows(10), *((one[0] + 1, *one[1:]) for one in rows(10))])
    assert everything(store, VPD) == [one for one in wanted if one[0] not in gone]
