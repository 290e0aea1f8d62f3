"""Stretches of silence: longer than three cadences, over the edges of a range, and up to now."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from farm.readings import Series
from tests.conftest import MINUTE_US, T0_US, samples
from tests.watch.conftest import House
from watch.silence import gaps

KEY = "room/air_temperature"  # cadence 60 s: silent after 180 s


def told(house, start_min, end_min, now_min=10_000):
    series = house.series(KEY)
    found = gaps(house.farm, house.store, series, at(start_min), at(end_min), at(now_min))
    return [((one.start_us - T0_US) / MINUTE_US, (one.end_us - T0_US) / MINUTE_US, one.open) for one in found]


def at(minute):
    return T0_US + int(minute * MINUTE_US)


def test_three_missing_are_no_gap_and_four_are(house):
    house.put(KEY, samples("1*3 _*2 1 _*3 1 1"))  # readings at 0 1 2, 5, 9 10
    assert told(house, 0, 11, now_min=11) == [(5, 9, False)]
    [gap] = gaps(house.farm, house.store, house.series(KEY), at(0), at(11), at(11))
    assert gap.missed == 4


def test_a_gap_is_cut_to_the_range_and_known_by_the_readings_outside(house):
    house.put(KEY, samples("1 _*9 1"))
    assert told(house, 2, 7) == [(2, 7, False)]
    assert told(house, 9.5, 10) == [(9.5, 10, False)]
    assert told(house, 0, 2) == [(0, 2, False)]


def test_a_short_stretch_at_the_end_is_no_gap_if_the_next_reading_comes_in_time(house):
    house.put(KEY, samples("1 _*2 1 1 _*3 1"))
    assert told(house, 0, 2) == []
    assert told(house, 0, 5) == [(4, 5, False)], "the gap to minute 8 reaches into it"


def test_now_is_the_end_of_every_range_and_an_open_gap_says_so(house):
    house.put(KEY, samples("1 1"))
    assert told(house, 0, 100, now_min=4) == []
    assert told(house, 0, 100, now_min=4.5) == [(1, 4.5, True)]
    assert told(house, 50, 100, now_min=40) == []
    assert told(house, 20, 100, now_min=40) == [(20, 40, True)]


def test_before_the_first_reading_it_was_silent_too(house):
    assert told(house, 0, 10) == [(0, 10, False)]
    assert told(house, 0, 10, now_min=10) == [(0, 10, True)]
    house.put(KEY, samples("_*6 1 1 1 1"))
    assert told(house, 0, 10, now_min=10) == [(0, 6, False)]


def test_a_series_without_a_cadence_is_refused(house):
    with pytest.raises(ValueError, match="derived or not described"):
        gaps(house.farm, house.store, Series.parse("testfarm", "room/dew_point_temperature"), 0, 1, 2)


@pytest.mark.slow
@settings(max_examples=40)
@example({0}, 0, 1, 2)  # not silent yet: the range ends before now, and it may still report
@given(st.sets(st.integers(0, 60), max_size=40), st.integers(0, 50), st.integers(1, 40), st.integers(1, 80))
def test_gaps_are_where_a_walk_over_the_minutes_finds_them(small_farm, tmp_path_factory, minutes, start, length, now):
    """An instant is silent if the readings around it (or now) are more than three minutes apart."""
    house = House(small_farm, tmp_path_factory.mktemp("house"))
    minutes = {minute for minute in minutes if minute <= now}
    house.put(KEY, [(at(minute), 1.0) for minute in minutes])
    found = told(house, start, start + length, now)
    house.close()
    end = min(start + length, now)
    for half in range(start * 2, end * 2):
        instant = half / 2 + 0.25
        before = max((minute for minute in minutes if minute <= instant), default=float("-inf"))
        after = min((minute for minute in minutes if minute > instant), default=now if now > instant else None)
        if not minutes or after is None:
            continue
        silent = after - before > 3
        assert any(a <= instant < b for a, b, _ in found) == silent, (instant, found)
