"""Filter loading: comparable drops, cleanings, and when the limit is due; the trend against SciPy's."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.due import days_until_worn
from analytics.filter_loading import filter_cleanings, normalised_pressure_drop
from analytics.wear import Wear, wear

DAY = 86_400_000_000
HOUR = DAY // 24
NAN = math.nan


def test_drop_by_hand():
    # half the flow loses a quarter: 20 kPa at 10 L/min are 12.8 at 8 and 28.8 at 12
    flow = np.array([8.0, 10.0, 12.0])
    drop = normalised_pressure_drop(200.0, 200.0 - np.array([12.8, 20.0, 28.8]), flow, 10.0)
    np.testing.assert_allclose(drop, 20.0, rtol=1e-12)


def test_flow_that_cannot_be_compared():
    drop = normalised_pressure_drop(200.0, 190.0, [6.9, 7.0, 13.0, 13.1, 0.0, -8.0], 10.0)
    assert np.isnan(drop).tolist() == [True, False, False, True, True, True]
    assert np.isnan(normalised_pressure_drop(200.0, 190.0, 10.0, [0.0, -1.0, NAN])).all()
    assert np.isnan(normalised_pressure_drop([NAN, 1.0, 1.0], [1.0, NAN, 1.0], [10.0, 10.0, NAN], 10.0)).all()
    with pytest.raises(ValueError, match="do not broadcast"):
        normalised_pressure_drop([1.0, 2.0], [1.0, 2.0, 3.0], 10.0, 10.0)


def hours(values):
    return np.arange(len(values)) * HOUR


def test_a_cleaning_is_a_fall_for_good():
    loading = np.array([10.0, 11, 12, 13, 14, 8, 9, 10, 11])
    assert filter_cleanings(hours(loading), loading, 3.0).tolist() == [5 * HOUR]
    wild = np.array([10.0, 11, 12, 13, 2, 14, 15, 16, 17, 30, 18, 19])  # single wild points are none
    assert filter_cleanings(hours(wild), wild, 3.0).tolist() == []
    assert filter_cleanings([0, 1], [9.0, 1.0], 3.0).tolist() == []  # too few to tell
    assert filter_cleanings([], [], 3.0).tolist() == []


def test_the_least_fall():
    step = np.array([12.0, 12, 12, 12, 8, 8, 8, 8])
    assert filter_cleanings(hours(step), step, 4.0).tolist() == [4 * HOUR]
    assert filter_cleanings(hours(step), step, 4.1).tolist() == []
    gappy = np.array([12.0, NAN, 12, 12, 12, 8, NAN, 8, 8])
    assert filter_cleanings(hours(gappy), gappy, 4.0).tolist() == [5 * HOUR]
    with pytest.raises(ValueError, match="least_fall is 0: give the least fall"):
        filter_cleanings([0], [1.0], 0)


@pytest.mark.parametrize("seed", range(3))
def test_two_made_up_weeks(seed):
    """2 kPa a day from 8 kPa, cleaned after 7 days and 10 h, noise 0.5 kPa an hour; the limit is 30 kPa."""
    random = np.random.default_rng(seed)
    at = np.arange(14 * 24)
    since = np.where(at < 7 * 24 + 10, at, at - 7 * 24 - 10) / 24
    drop = 8.0 + 2.0 * since + 0.5 * random.standard_normal(len(at))
    [cleaned] = filter_cleanings(at * HOUR, drop, 4.0)
    assert abs(cleaned / HOUR - (7 * 24 + 10)) <= 1
    here = at * HOUR >= cleaned
    trend = wear(at[here] * HOUR, drop[here])
    assert trend.per_day_low < 2.0 < trend.per_day_high
    assert trend.per_day == pytest.approx(2.0, abs=0.1)
    last = 8.0 + 2.0 * since[-1]
    assert trend.latest == pytest.approx(last, abs=0.5)
    reached = days_until_worn(trend, 30.0, rising=True)
    assert reached.soonest < reached.days < reached.latest
    assert reached.days == pytest.approx((30.0 - last) / 2.0, abs=0.6)


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(-20, 20)), min_size=4, max_size=40))
def test_wear_is_sens_slope_as_scipy_has_it(rows):
    at = np.cumsum([step for step, _ in rows])
    values = np.array([float(value) for _, value in rows])
    slope, _, low, high = stats.theilslopes(values, at / 24, 0.95)
    ours = wear(at * HOUR, values)
    assert (ours.per_day, ours.per_day_low, ours.per_day_high) == pytest.approx((slope, low, high), abs=1e-9)


def test_wear_by_hand():
    # slopes of (0,1) (1,2) (2,9) (3,4): 1 1 1 4 7 -5 -> median 1; line through the medians of the rest
    ours = wear(np.arange(4) * DAY, [1.0, 2.0, 9.0, 4.0])
    assert (ours.per_day, ours.latest, ours.count) == (1.0, 4.0, 4)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    random = np.random.default_rng(5)
    at = np.arange(20) * DAY
    hits = 0
    for _ in range(400):
        trend = wear(at, 0.3 * np.arange(20) + random.standard_normal(20))
        hits += trend.per_day_low <= 0.3 <= trend.per_day_high
    assert 0.92 <= hits / 400 <= 0.98  # 95 %, standard error 1.1 %


def test_wear_of_too_little():
    for values in ([], [1.0, 2.0, 3.0], [1.0, NAN, 2.0, 3.0]):
        assert math.isnan(wear(np.arange(len(values)) * DAY, values).per_day)
    with pytest.raises(ValueError, match="confidence is 95: give a share above 0 and below 1"):
        wear([0], [1.0], confidence=95)
    with pytest.raises(ValueError, match="time_us must ascend"):
        wear([1, 0], [1.0, 2.0])


def test_due_by_hand():
    rising = Wear(per_day=2.0, per_day_low=-1.0, per_day_high=4.0, latest=12.0, count=9)
    found = days_until_worn(rising, 20.0, rising=True)
    assert (found.days, found.soonest, found.latest) == (4.0, 2.0, math.inf)
    assert days_until_worn(rising, 12.0, rising=True).days == 0.0
    falling = Wear(per_day=-0.01, per_day_low=-0.02, per_day_high=0.005, latest=0.9, count=9)
    found = days_until_worn(falling, 0.8, rising=False)
    assert (found.days, found.soonest, found.latest) == (pytest.approx(10.0), pytest.approx(5.0), math.inf)
    assert days_until_worn(falling, 1.0, rising=True).days == math.inf
    unknown = days_until_worn(Wear(NAN, NAN, NAN, NAN, 0), 1.0, rising=True)
    assert math.isnan(unknown.days)
    assert math.isnan(unknown.latest)
