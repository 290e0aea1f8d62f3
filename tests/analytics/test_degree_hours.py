"""Degree-hours above a base, by hand and against the daily method of the source."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.degree_hours import degree_hours

MINUTE, HOUR = 60_000_000, 3_600_000_000
DAY = 24 * HOUR


def test_a_day_by_hand():
    # 16 h at 24 and 8 h at 18 above a base of 4: 16 x 20 + 8 x 14 = 432 K h, 18 degree-days
    times = np.arange(0, DAY, MINUTE, dtype=np.int64)
    air = np.where(times < 16 * HOUR, 24.0, 18.0)
    found = degree_hours(times, air, 4.0, 0, DAY, 3 * MINUTE)
    assert found.degree_hours == pytest.approx(432.0)
    assert (found.time.below_s, found.time.inside_s, found.time.above_s) == (0.0, 86_400.0, 0.0)


def test_limits_are_applied_before_subtracting():
    # McMaster and Wilhelm's second method: 2 counts as the base, 35 as the cap of 30
    times = np.array([0, 1, 2, 3]) * HOUR
    found = degree_hours(times, [2.0, 10.0, 35.0, 20.0], 10.0, 0, 4 * HOUR, HOUR, cap=30.0)
    assert found.degree_hours == pytest.approx(0 + 0 + 20 + 10)
    assert (found.time.below_s, found.time.inside_s, found.time.above_s) == (3600.0, 7200.0, 3600.0)


def test_a_steady_day_is_the_daily_formula():
    # ((Tmax + Tmin) / 2 - base) degree-days where nothing leaves the limits
    times = np.arange(0, DAY, MINUTE, dtype=np.int64)
    air = 20.0 + 5.0 * np.sin(2 * np.pi * times / DAY)
    found = degree_hours(times, air, 4.0, 0, DAY, MINUTE, cap=30.0)
    assert found.degree_hours / 24 == pytest.approx((25.0 + 15.0) / 2 - 4.0, abs=1e-6)


@pytest.mark.parametrize(("low", "high", "total", "by_the_mean"), [(0.0, 20.0, 120.0, 0.0), (20.0, 40.0, 360.0, 480.0)])
def test_a_day_across_a_limit_is_not_that_of_its_mean(low, high, total, by_the_mean):
    # By hand, base 10 and cap 30: half a day at 0, half at 20 is 12 x 10 K h, though the mean is the base; half at 20,
    # half at 40 is 12 x 10 + 12 x 20, though the mean is the cap.
    times = np.arange(24) * HOUR
    found, steady = (
        degree_hours(times, air, 10.0, 0, DAY, HOUR, 30.0).degree_hours
        for air in ([low] * 12 + [high] * 12, [(low + high) / 2] * 24)
    )
    assert (found, steady) == (pytest.approx(total), pytest.approx(by_the_mean))


def test_a_gap_adds_nothing_and_is_told():
    times = np.array([0, 1, 10, 11]) * HOUR
    found = degree_hours(times, [14.0] * 4, 4.0, 0, 12 * HOUR, HOUR)
    assert found.degree_hours == pytest.approx(40.0)
    assert found.time.coverage == pytest.approx(4 / 12)


def test_nothing_known_is_not_nought():
    for times, air in (([], []), ([0], [math.nan])):
        assert math.isnan(degree_hours(times, air, 4.0, 0, DAY, HOUR).degree_hours)
    assert degree_hours([0], [14.0], 4.0, 0, DAY, HOUR).degree_hours == pytest.approx(10.0)
    assert degree_hours([0], [-3.0], 4.0, 0, DAY, HOUR).degree_hours == 0.0


@given(
    st.lists(st.tuples(st.integers(1, 2 * HOUR), st.floats(-10, 45)), min_size=1, max_size=20),
    st.integers(0, 20 * HOUR),
    st.integers(0, 20 * HOUR),
)
def test_adjoining_windows_sum_to_the_whole(steps, one, other):
    times = np.cumsum([step for step, _ in steps], dtype=np.int64)
    air = [value for _, value in steps]
    first, last = sorted((one, other))
    whole = degree_hours(times, air, 4.0, 0, last, HOUR, 30.0).degree_hours
    parts = [degree_hours(times, air, 4.0, a, b, HOUR, 30.0).degree_hours for a, b in ((0, first), (first, last))]
    assert np.nansum(parts) == pytest.approx(np.nansum([whole]), abs=1e-9)


def test_wrong_calls():
    with pytest.raises(ValueError, match="the cap 4 is not above the base 4"):
        degree_hours([0], [1.0], 4.0, 0, 1, 1, cap=4.0)
    with pytest.raises(ValueError, match="must ascend"):
        degree_hours([1, 0], [1.0, 1.0], 4.0, 0, 1, 1)
