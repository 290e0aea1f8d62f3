"""What calibrations and samples by hand say of a probe, and when things are due."""

import math

import numpy as np
import pytest
from scipy import stats

from analytics.due import days_left, days_until_due, days_until_limit
from analytics.grab_samples import Verdict, grab_comparison
from analytics.probe_health import Condition, cell_condition, cell_constant, electrode_condition
from analytics.probes import EcCalibration, GrabSample, cell_share
from farm.limits import CellLimits, ElectrodeLimits

DAY = 86_400_000_000


@pytest.mark.parametrize(
    ("slope", "condition"),
    [  # instrument practice (one source): 95-105 % ok, 90-95 maintain, 85-90 stop, below 85 reject
        (105.0, Condition.GOOD), (98.6, Condition.GOOD), (95.0, Condition.GOOD), (94.9, Condition.MAINTAIN),
        (90.0, Condition.MAINTAIN), (89.9, Condition.STOP), (85.0, Condition.STOP), (84.9, Condition.REJECT),
        (81.7, Condition.REJECT), (105.1, Condition.REPEAT), (math.nan, Condition.UNKNOWN),
    ],
)  # fmt: skip
def test_classes_of_slope(slope, condition):
    assert electrode_condition(slope, 0.0) is condition


def test_offset_within_30_mv_at_ph_7():
    # Another source: slope 85-105 % with +-30 mV at pH 7.
    assert electrode_condition(98.0, 30.0) is Condition.GOOD
    assert electrode_condition(98.0, -30.1) is Condition.STOP
    assert electrode_condition(80.0, 40.0) is Condition.REJECT


def test_limits_are_the_keepers():
    # A third source replaces below 91 % or beyond +-20 mV.
    strict = ElectrodeLimits(good_percent=95, maintain_percent=91, stop_percent=91, offset_mv=20)
    assert electrode_condition(90.9, 0.0, strict) is Condition.REJECT
    assert electrode_condition(98.0, 21.0, strict) is Condition.STOP


def test_cell_constant():
    # By definition conductivity over conductance: 1.413 mS/cm that conducts 1.500 mS is a cell of 0.942 /cm.
    assert float(cell_constant(1.413, 1.5)) == pytest.approx(0.942)
    assert np.isnan(cell_constant([np.nan, 0.0, 1.0, 1.0], [1.0, 1.0, np.nan, 0.0])).all()


def calibrated(reading, adjusted=False):
    return EcCalibration(0, standard=1.413, reading=reading, adjusted=adjusted)


def test_the_cell_constant_through_calibrations():
    # A cell of 1.000 /cm that fouls: it conducts 1/1.05 and then 1/1.12 of what it did, so K is 1.05 and then 1.12.
    first, second = 1.413 / 1.05, 1.413 * 1.05 / 1.12  # what the device shows, set to 1.00 and then to 1.05
    assert cell_share([calibrated(first, adjusted=True), calibrated(second)]) == pytest.approx(1.12)
    assert cell_share([calibrated(first), calibrated(1.413 / 1.12)]) == pytest.approx(1.12)  # never set: still 1.00
    assert math.isnan(cell_share([]))


@pytest.mark.parametrize(
    ("share", "condition"),
    [
        (100.0, Condition.GOOD), (110.0, Condition.GOOD), (90.0, Condition.GOOD), (110.1, Condition.MAINTAIN),
        (89.9, Condition.MAINTAIN), (130.0, Condition.MAINTAIN), (69.9, Condition.REJECT), (130.1, Condition.REJECT),
        (math.nan, Condition.UNKNOWN),
    ],
)  # fmt: skip
def test_classes_of_a_cell(share, condition):
    assert cell_condition(share) is condition


def test_the_limits_of_a_cell_are_the_keepers():
    strict = CellLimits(maintain_percent=3, reject_percent=5)
    assert [cell_condition(one, strict) for one in (103.0, 96.9, 94.9)] == ["good", "maintain", "reject"]


def grabs(values, plus_or_minus=0.05):
    return [GrabSample(place * DAY, value, plus_or_minus) for place, value in enumerate(values)]


def test_bias_and_interval_are_a_one_sample_t_test():
    shown = np.array([6.10, 6.15, 6.02, 6.20, 6.08])
    hand = np.array([6.00, 6.02, 6.00, 6.05, 6.01])
    found = grab_comparison(np.arange(5) * DAY, shown, grabs(hand), accuracy=0.1, max_age_us=60)
    interval = stats.ttest_1samp(shown - hand, 0.0).confidence_interval(0.95)
    assert found.bias.value - found.bias.plus_or_minus == pytest.approx(interval.low, rel=1e-4)
    assert found.bias.value + found.bias.plus_or_minus == pytest.approx(interval.high, rel=1e-4)
    assert found.allowed == pytest.approx(math.hypot(0.1, 0.05))
    np.testing.assert_allclose(found.differences, shown - hand)


@pytest.mark.parametrize(
    ("shown", "verdict"),
    [
        ([6.01, 6.00, 5.99, 6.00], Verdict.AGREES),
        ([6.30, 6.31, 6.29, 6.30], Verdict.DIFFERS),
        ([5.70, 5.69, 5.71, 5.70], Verdict.DIFFERS),
        ([6.00, 6.40, 5.70, 6.30], Verdict.UNCLEAR),
        ([6.05], Verdict.AGREES),
        ([6.15], Verdict.DIFFERS),
        ([5.85], Verdict.DIFFERS),
        ([math.nan], Verdict.UNKNOWN),
        ([], Verdict.UNKNOWN),
    ],
)
def test_verdicts(shown, verdict):
    at = np.arange(len(shown)) * DAY
    assert grab_comparison(at, shown, grabs([6.0] * len(shown)), accuracy=0.1, max_age_us=60).verdict is verdict


def test_a_sample_without_a_fresh_reading_is_left_out():
    found = grab_comparison([0, DAY], [6.3, 6.3], [GrabSample(30, 6.0, 0.05), GrabSample(DAY // 2, 5.0, 0.05)], 0.1, 60)
    assert found.differences == [pytest.approx(0.3), pytest.approx(math.nan, nan_ok=True)]
    assert found.bias.value == pytest.approx(0.3)
    assert found.bias.plus_or_minus == found.allowed


def test_days_until_due():
    assert days_until_due(0, 20 * DAY, 14.0) == pytest.approx(-6.0)  # overdue by six days
    with pytest.raises(ValueError, match="interval_days is 0: give the days"):
        days_until_due(0, DAY, 0)


def test_days_until_a_slope_reaches_its_limit():
    at, slope = np.array([0, 30, 60, 95]), np.array([99.0, 97.4, 95.1, 93.0])
    line = stats.linregress(at, slope)
    found = days_until_limit(at * DAY, slope, 90.0, 100 * DAY)
    assert found.days == pytest.approx((90 - line.intercept) / line.slope - 100)
    reach = stats.t.ppf(0.975, 2) * line.stderr
    ends = [(90 - slope.mean()) / (line.slope + sign * reach) + at.mean() - 100 for sign in (-1, 1)]
    assert [found.soonest, found.latest] == pytest.approx(ends, rel=1e-3)


def test_a_slope_that_does_not_fall_is_never_due():
    steady = days_until_limit([0, DAY, 2 * DAY], [95.0, 95.0, 95.0], 90.0, 2 * DAY)
    assert (steady.days, steady.latest) == (math.inf, math.inf)
    scattered = days_until_limit([0, DAY, 2 * DAY, 3 * DAY], [99.0, 97.0, 98.5, 96.0], 90.0, 3 * DAY)
    assert scattered.soonest < scattered.days < scattered.latest == math.inf


def test_too_few_calibrations():
    assert all(math.isnan(one) for one in days_until_limit([0, DAY], [99.0, 98.0], 90.0, DAY))
    assert all(math.isnan(one) for one in days_until_limit([], [], 90.0, DAY))


def test_days_left_of_a_bottle():
    used = np.array([0.31, 0.29, 0.35, 0.30, 0.33])
    interval = stats.ttest_1samp(used, 0.0).confidence_interval(0.95)
    found = days_left(6.0, used)
    assert found == pytest.approx((6 / used.mean(), 6 / interval.high, 6 / interval.low), rel=1e-4)


def test_days_left_where_little_is_known():
    one_day = days_left(6.0, [0.5, math.nan])
    assert one_day.days == 12.0
    assert math.isnan(one_day.soonest)
    assert math.isnan(one_day.latest)
    assert days_left(6.0, [0.0, 0.0]).days == math.inf
    assert days_left(6.0, [0.0, 1.0]).latest == math.inf  # the interval of the mean use reaches zero
    assert all(math.isnan(each) for each in days_left(6.0, []))
    assert all(math.isnan(each) for each in days_left(math.nan, [1.0, 1.0]))


@pytest.mark.parametrize(
    "call",
    [
        lambda: days_left(6.0, [], confidence=95),
        lambda: days_until_limit([], [], 90.0, 0, confidence=95),
        lambda: grab_comparison([], [], [], 0.1, 60, confidence=95),
    ],
)
def test_a_wrong_confidence_is_refused_whatever_the_data(call):
    with pytest.raises(ValueError, match="confidence is 95"):
        call()


def test_a_wrong_accuracy_is_refused():
    with pytest.raises(ValueError, match="accuracy is nan: give the sensor's plus or minus"):
        grab_comparison([0], [6.0], grabs([6.0]), math.nan, 60)
