"""Sensors of one room aligned: one instant in ten seconds, each series as it stood then."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from farm.flags import Flag
from farm.readings import Columns
from tests.conftest import T0_US
from watch.room_air import aligned

KEYS = ("room/air_temperature", "room/relative_humidity")
SECOND_US = 1_000_000


class Given:
    """A store of what a test gives."""

    def __init__(self, by_key):
        self.by_key = by_key

    def read(self, series, start_us, end_us):
        rows = [(at, value, Flag.GOOD) for at, value in self.by_key.get(series.key, []) if start_us <= at < end_us]
        return Columns.from_rows(rows)


readings = st.lists(st.integers(-300, 900), unique=True, min_size=1, max_size=60).map(sorted)


@given(readings, readings)
def test_each_stands_at_the_first_instant_of_ten_seconds_as_its_newest_reading(small_farm, one, other):
    """By walking through all readings; a reading speaks for three minutes."""
    by_key = {
        key: [(T0_US + at * SECOND_US // 4, float(n)) for n, at in enumerate(times)]
        for key, times in zip(KEYS, (one, other), strict=True)
    }
    several = [next(series for series in small_farm.described if series.key == key) for key in KEYS]
    at_us, table = aligned(small_farm, Given(by_key), several, T0_US, T0_US + 200 * SECOND_US)
    instants = sorted({at for rows in by_key.values() for at, _ in rows if T0_US <= at < T0_US + 200 * SECOND_US})
    firsts = {at // (10 * SECOND_US): at for at in reversed(instants)}
    assert at_us.tolist() == sorted(firsts.values())
    for row, key in zip(table, KEYS, strict=True):
        for at, value in zip(at_us.tolist(), row.tolist(), strict=True):
            newest = max(((when, what) for when, what in by_key[key] if when <= at), default=None)
            if newest is None or at - newest[0] > 180 * SECOND_US:
                assert np.isnan(value)
            else:
                assert value == newest[1]
