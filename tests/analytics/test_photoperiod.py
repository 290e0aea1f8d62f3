"""Photoperiod from readings, the mean of times of day, and the shift from the plan."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.light import light_integral
from analytics.photoperiod import mean_time_of_day, photoperiod, shift_from_plan

MINUTE, HOUR = 60_000_000, 3_600_000_000
DAY = 24 * HOUR


def lamps(on_minute=360, off_minute=1320, days=1, step=MINUTE):
    times = np.arange(0, days * DAY, step, dtype=np.int64)
    minute = times // MINUTE % 1440
    return times, ((minute >= on_minute) & (minute < off_minute)).astype(float)


def test_on_off_and_hours_of_a_plain_day():
    times, on = lamps()
    found = photoperiod(times, on, 0, DAY, 3 * MINUTE)
    assert (found.on_us, found.off_us) == (6 * HOUR, 22 * HOUR)
    assert (found.on_within_s, found.off_within_s) == (60.0, 60.0)
    assert (found.lit_s, found.coverage) == (16 * 3600.0, 1.0)


def test_ppfd_gives_the_same_as_the_switch():
    times, on = lamps()
    assert photoperiod(times, on * 250.0 + 0.4, 0, DAY, 3 * MINUTE, threshold=10.0) == photoperiod(
        times, on, 0, DAY, 3 * MINUTE
    )


def test_photoperiod_times_ppfd_is_the_light_integral_table(reference):
    # 1e-6 PPFD 3600 h, the table of light integrals; the two ramps of a step add half a step each (one in all).
    for row in reference("daily_light_integral"):
        if row["hours"] >= 24:
            continue
        times, on = lamps(120, 120 + 60 * int(row["hours"]))
        lit = photoperiod(times, on, 0, DAY, 3 * MINUTE)
        assert lit.lit_s * row["ppfd"] / 1e6 == pytest.approx(row["integral"], abs=0.005 + 1e-9)
        integral = light_integral(times, on * row["ppfd"], 0, DAY, 3 * MINUTE).mol
        assert integral == pytest.approx(lit.lit_s * row["ppfd"] / 1e6, rel=1e-9)


def test_a_change_that_nobody_saw_has_no_time():
    times, on = lamps()
    kept = (times < 5 * HOUR) | (times >= 7 * HOUR)
    found = photoperiod(times[kept], on[kept], 0, DAY, 3 * MINUTE)
    assert found.on_us is None
    assert math.isnan(found.on_within_s)
    assert found.off_us == 22 * HOUR
    assert found.lit_s == 15 * 3600.0  # what was seen: the hour from six to seven is not bridged
    assert found.coverage == pytest.approx(1 - (2 * 3600 - 2 * 60) / 86_400)  # the sample at 04:59 holds for 3 min


def test_a_long_gap_in_the_middle_lowers_the_coverage_only():
    times, on = lamps()
    on[(times >= 10 * HOUR) & (times < 12 * HOUR)] = np.nan
    found = photoperiod(times, on, 0, DAY, 3 * MINUTE)
    assert (found.on_us, found.off_us) == (6 * HOUR, 22 * HOUR)
    assert found.lit_s == 14 * 3600.0 + 120.0
    assert found.coverage == pytest.approx(found.covered_s / 86_400)


def test_first_on_and_last_off_of_a_day_with_a_break():
    times, on = lamps()
    on[(times >= 12 * HOUR) & (times < 13 * HOUR)] = 0
    found = photoperiod(times, on, 0, DAY, 3 * MINUTE)
    assert (found.on_us, found.off_us, found.lit_s) == (6 * HOUR, 22 * HOUR, 15 * 3600.0)


def test_light_day_that_begins_with_lights_on_finds_its_own_start():
    times, on = lamps(days=2)
    found = photoperiod(times, on, 6 * HOUR, 30 * HOUR, 3 * MINUTE)
    assert (found.on_us, found.off_us) == (6 * HOUR, 22 * HOUR)


def test_nothing_known():
    for times, on in (([], []), ([0], [math.nan]), ([0, MINUTE], [math.nan, math.nan])):
        found = photoperiod(times, on, 0, DAY, MINUTE)
        assert (found.on_us, found.off_us, found.lit_s, found.covered_s) == (None, None, 0.0, 0.0)
    alone = photoperiod([0], [1.0], 0, DAY, MINUTE)
    assert (alone.on_us, alone.lit_s) == (None, 60.0)
    assert math.isnan(photoperiod([], [], 0, 0, MINUTE).coverage)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: photoperiod([0, 0], [1, 1], 0, 1, 1), "must ascend"),
        (lambda: photoperiod([0], [1, 1], 0, 1, 1), "of one length"),
        (lambda: photoperiod([0], [1], 1, 0, 1), "swap the two"),
        (lambda: photoperiod([0], [1], 0, 1, 0), "max_gap_us is 0"),
        (lambda: shift_from_plan(0, [[0]]), "one-dimensional"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()


# --- mean time of day ---------------------------------------------------------------------------


@given(st.lists(st.floats(0, 86_399), min_size=1, max_size=20))
def test_mean_and_spread_are_scipys(times):
    ours = mean_time_of_day(times)
    if math.isnan(ours.mean_s):
        return  # they cancel out: a direction of nothing
    theirs = stats.circmean(times, high=86_400)
    assert abs((ours.mean_s - theirs + 43_200) % 86_400 - 43_200) < 0.01
    # near R = 1 the logarithm leaves about 1e-16, whose root is 1e-8 of a turn
    assert ours.spread_s == pytest.approx(stats.circstd(times, high=86_400), abs=0.01)


def test_midnight_does_no_harm():
    ours = mean_time_of_day([86_400 - 600, 300, 1200, math.nan])  # five past midnight, and a quarter of an hour
    assert ours.mean_s == pytest.approx(300, abs=0.01)  # either way
    assert ours.count == 3
    assert ours.spread_s < 1200


def test_opposite_times_have_no_mean():
    assert math.isnan(mean_time_of_day([0.0, 43_200.0]).mean_s)
    assert mean_time_of_day([]).count == 0
    assert math.isnan(mean_time_of_day([math.nan]).mean_s)


def test_a_clock_change_moves_nothing_for_lamps_that_follow_the_clock():
    berlin = ZoneInfo("Europe/Berlin")
    days = [datetime(2026, 3, 27, 6, tzinfo=berlin) + timedelta(days=n) for n in range(5)]  # changes on the 29th
    utc = [day.astimezone(UTC) for day in days]
    assert len({one.hour for one in utc}) == 2
    local = [one.astimezone(berlin) for one in utc]
    assert mean_time_of_day([one.hour * 3600 + one.minute * 60 for one in local]).mean_s == pytest.approx(6 * 3600)
    assert mean_time_of_day([one.hour * 3600 for one in local]).spread_s == pytest.approx(0, abs=0.01)


# --- shift from the plan ------------------------------------------------------------------------


@given(st.integers(-43_199, 43_200))
def test_shift_is_to_the_nearest_planned_instant(shift):
    planned = [n * DAY + 6 * HOUR for n in range(-1, 3)]
    assert shift_from_plan(DAY + 6 * HOUR + shift * 1_000_000, planned) == pytest.approx(shift)


def test_no_plan_no_shift():
    assert math.isnan(shift_from_plan(0, []))
