from __future__ import annotations

import numpy as np
import pytest

from analytics.findings.scene import counted_by_hour, hourly, median_over, pace, per_minute, quiet_after, settled, share

HOUR = 60


def test_an_hours_mean_takes_only_the_minutes_where_something_holds():
    value = np.arange(2.0 * HOUR)
    where = np.arange(2 * HOUR) % HOUR < 10
    assert hourly(value, where).tolist() == [4.5, 64.5]
    assert np.isnan(hourly(value, np.arange(2 * HOUR) < 3)).tolist() == [True, True]  # three minutes are too few


def test_a_missing_reading_is_not_zero():
    value = np.full(HOUR, 5.0)
    value[:30] = np.nan
    assert hourly(value).tolist() == [5.0]
    assert np.isnan(hourly(np.full(HOUR, np.nan)))[0]


def test_a_share_counts_what_was_heard():
    state = np.full(HOUR, np.nan)
    state[:45] = 0.0
    state[:15] = 1.0
    assert share(state > 0.5, state)[0] == pytest.approx(15 / 45)


def test_a_counter_that_was_reset_counts_nothing_at_the_reset():
    counter = np.concatenate([np.arange(100.0, 130.0), np.arange(0.0, 30.0)])
    assert np.isnan(per_minute(counter)[30])
    assert counted_by_hour(counter)[0] == pytest.approx(60 * 58 / 59)


def test_a_pace_is_a_change_an_hour_over_undisturbed_minutes():
    value = np.arange(HOUR) * 0.1
    value[30:] += 50.0  # a dose
    clear = quiet_after(np.arange(HOUR) == 30, 5)
    assert pace(value, clear)[0] == pytest.approx(6.0)


def test_settled_and_quiet_look_back_whole_minutes():
    on = np.array([0, 1, 1, 1, 1, 0, 1], bool)
    assert settled(on, 2).tolist() == [False, False, False, True, True, False, False]
    assert quiet_after(on, 1).tolist() == [True, False, False, False, False, False, False]


def test_the_median_leaves_out_what_is_not_known():
    nan = np.nan
    several = [np.array([1.0, nan, nan]), np.array([3.0, 4.0, nan]), np.array([8.0, 6.0, nan])]
    assert median_over(several)[:2].tolist() == [3.0, 5.0]
    assert np.isnan(median_over(several)[2])
