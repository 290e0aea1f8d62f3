"""Decays in the record: where they begin and end, what cuts them, and that a reading reaches no further than told."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.air_change import Doubt, smallest_difference
from analytics.tracer_decays import Switch, decays, may_have_ended

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def decay(rate, minutes=180, start=1600.0, background=420.0):
    times = np.arange(0, minutes + 1) * MINUTE
    return times, background + (start - background) * np.exp(-rate * times / HOUR)


def test_refused_calls():
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        decays([0, 1], [1.0, 1.0], 420.0, [], 0)
    with pytest.raises(ValueError, match="must ascend"):
        decays([1, 1], [1.0, 1.0], 420.0, [], 1)


def switch(rows, when_on=Doubt.DOSING, when_unknown=Doubt.DOSING_UNKNOWN, age=3 * MINUTE):
    times = np.array([time for time, _ in rows], np.int64)
    return Switch(times, np.array([on for _, on in rows], float), age, when_on, when_unknown)


def every_minute(state):
    return switch([(n * MINUTE, on) for n, on in enumerate(state)])


def found(times, levels, switches, **more):
    return [
        (one.first, one.last, one.seen_us // MINUTE)
        for one in decays(times, levels, 420.0, switches, 3 * MINUTE, **more)
    ]


def test_a_night_is_found_from_ten_minutes_after_the_valve_closed():
    times, levels = decay(0.3)
    valve = every_minute([1] * 30 + [0] * 120 + [1] * 31)
    assert found(times, levels, [valve]) == [(40, 149, 150)]  # closed at 30, the sample at 150 sees it open


def test_nothing_is_told_before_something_ends_it():
    times, levels = decay(0.3)
    assert found(times, levels, [every_minute([1] * 30 + [0] * 151)]) == []


def test_a_door_cuts_a_night_in_two():
    times, levels = decay(0.2)
    door = every_minute([0] * 70 + [1] + [0] * 109 + [1])
    assert found(times, levels, [door]) == [(10, 69, 70), (81, 179, 180)]


def test_a_switch_that_is_on_between_two_samples_is_seen():
    times, levels = decay(0.2)
    door = switch(sorted([(n * MINUTE, 0) for n in range(181)] + [(90 * MINUTE + 5, 1), (90 * MINUTE + 6, 0)]))
    times, levels = times[:-1], levels[:-1]
    assert found(times, levels, [door]) == [(10, 90, 91)]


def test_it_ends_near_the_background():
    times, levels = decay(1.0, minutes=600)
    floor = smallest_difference(30.0)
    assert (smallest_difference(0.0), floor) == (100.0, 120.0)
    first_below = int(np.argmax(levels < 420.0 + floor))
    assert found(times, levels, [], offset_accuracy=30.0) == [(10, first_below - 1, first_below)]


def test_a_gap_ends_it_and_short_ones_are_left_out():
    times, levels = decay(0.2)
    kept = np.r_[0:100, 110:145, 160:181]
    assert found(times[kept], levels[kept], []) == [(10, 99, 110)]


def test_only_the_last_twelve_hours_count():
    times, levels = decay(0.05, minutes=20 * 60, start=3000.0)
    state = [0] * 1200 + [1]
    assert found(times, levels, [every_minute(state)]) == [(480, 1199, 1200)]


def test_a_silent_switch_leaves_its_doubt():
    times, levels = decay(0.2)
    door = switch([(n * MINUTE, 0) for n in range(60)] + [(180 * MINUTE, 1)], Doubt.DOOR, Doubt.DOOR_UNKNOWN)
    [one] = decays(times, levels, 420.0, [door], 3 * MINUTE)
    assert one.doubts == (Doubt.DOOR_UNKNOWN,)
    assert decays([], [], 420.0, [door], 3 * MINUTE) == []


@given(st.lists(st.booleans(), min_size=100, max_size=100), st.integers(0, 1000))
def test_where_the_series_begins_changes_nothing(flips, cut):
    """Seen from 12 h and the settling before a decay's end, it is the same decay: tenth parts of hours, 100 h."""
    times, levels = decay(0.02, minutes=1200, start=5000.0)
    times = times * 5
    state = np.repeat(flips, 12)[:1200].astype(float) * (np.arange(1200) % 40 == 0)
    valve = Switch(times[:1200], state, 15 * MINUTE, Doubt.DOSING, Doubt.DOSING_UNKNOWN)
    whole = decays(times, levels, 420.0, [valve], 15 * MINUTE)
    begin = times[cut] - 13 * HOUR
    kept = times >= begin
    part = decays(times[kept], levels[kept], 420.0, [valve], 15 * MINUTE)
    late = [one for one in whole if one.seen_us >= times[cut]]
    shift = int(np.argmax(kept))
    assert [(one.first + shift, one.last + shift, one.seen_us) for one in part if one.seen_us >= times[cut]] == [
        (one.first, one.last, one.seen_us) for one in late
    ]


@given(st.lists(st.booleans(), min_size=60, max_size=60), st.integers(1, 700), st.integers(0, 5))
def test_a_look_at_a_few_readings_misses_no_end(flips, cut, lost):
    times, levels = decay(0.02, minutes=719, start=5000.0)
    levels[cut - lost : cut] = np.nan
    valve = every_minute(np.repeat(flips, 12).astype(int) * (np.arange(720) % 60 == 0))
    ended = [one for one in decays(times, levels, 420.0, [valve], 3 * MINUTE) if one.seen_us >= times[cut]]
    kept = times >= times[cut] - 6 * MINUTE
    near = switch([(int(at), on) for at, on in zip(valve.time_us, valve.on, strict=True) if at >= times[kept][0]])
    look = may_have_ended(times[kept], levels[kept], 420.0, [near], 3 * MINUTE, 0.0, int(times[cut]))
    assert look or not ended


def test_a_quiet_night_has_not_ended():
    times, levels = decay(0.2)
    assert not may_have_ended(times[-10:], levels[-10:], 420.0, [], 3 * MINUTE, 0.0, int(times[-1]))
    assert not may_have_ended([], [], 420.0, [], 3 * MINUTE, 0.0, 0)
