"""Recovery after an upset: settling time of a first-order system in closed form, and cases by hand."""

import math

import numpy as np
import pytest

from analytics.recovery import recovery_time, settled_value

MINUTE = 60_000_000


def of(values, low=18.0, high=24.0, start=0, end=None, gap=2, stay_s=120.0):
    rows = [(n * MINUTE, one) for n, one in enumerate(values) if one is not None]
    times, values_ = zip(*rows, strict=True) if rows else ((), ())
    end = len(values) if end is None else end
    return recovery_time(times, values_, low, high, start * MINUTE, end * MINUTE, gap * MINUTE, stay_s)


def test_a_first_order_system():
    # x = 22 + 6 exp(-t / tau) is within 0.5 K of 22 from t = tau ln(12) on (control engineering's settling time).
    tau = 20.0
    found = of(22.0 + 6.0 * np.exp(-np.arange(180) / tau), low=21.5, high=22.5)
    assert found.seconds / 60 == math.ceil(tau * math.log(12.0))
    assert found.coverage == 1.0


def test_it_must_stay_inside():
    assert of([25, 23, 25, 23, 23, 23, 23]).seconds == 180.0
    assert of([25, 23, 23, 23, 23, 23, 25]).seconds is None
    assert of([25, 25, 25, 25, 23]).seconds is None  # inside for a minute only
    assert of([25, 25, 25, 23, 23]).seconds == 180.0


def test_it_never_left():
    assert of([20, 21, 22, 23]).seconds == 0.0
    assert of([24.0, 18.0, 24.0]).seconds == 0.0  # limits are inside


def test_a_reading_before_the_window_holds_into_it():
    assert of([25, 25, 22, 22, 22, 22], start=1).seconds == 60.0
    assert of([25, 22, 22, 22, 22, 22], start=1).seconds == 0.0


def test_limits_that_change_with_the_lights():
    assert of([19, 19, 20, 21, 21, 21], low=[16, 16, 20, 20, 20, 20], high=[20, 20, 24, 24, 24, 24]).seconds == 0.0
    assert of([19, 19, 19, 21, 21, 21], low=[16, 16, 20, 20, 20, 20], high=[20, 20, 24, 24, 24, 24]).seconds == 180.0


def test_while_samples_are_missing_it_is_not_back():
    found = of([25, 25, None, None, None, 22, 22, 22])
    assert found.seconds == 300.0
    assert found.coverage == pytest.approx(6 / 8)
    # nothing is known at the start: it may have been back, so the time runs to the first sample
    assert of([None, None, None, 22, 22, 22]).seconds == 180.0
    assert of([25, math.nan, 22, 22, 22]) == of([25, None, 22, 22, 22])


def test_little_or_nothing():
    assert of([]).seconds is None
    assert math.isnan(of([]).coverage)
    assert of([None] * 9).seconds is None
    assert of([None] * 9).coverage == 0.0
    assert of([22], end=30).seconds == 0.0  # it holds for two minutes, as long as asked for
    assert of([22], end=30, stay_s=121.0).seconds is None
    assert of([22] * 9, low=math.nan).seconds is None


def test_settled_value_is_the_median_of_the_last_third():
    times = np.arange(90) * MINUTE
    swing = np.where(np.arange(90) % 2, 22.6, 21.8) + np.where(np.arange(90) < 60, 5.0, 0.0)
    assert settled_value(times, swing, 0, 90 * MINUTE) == pytest.approx(22.2)
    swing[75:] = math.nan
    swing[74] = 80.0
    assert settled_value(times, swing, 0, 90 * MINUTE) == pytest.approx(22.6)
    assert math.isnan(settled_value(times, np.full(90, math.nan), 0, 90 * MINUTE))
    assert math.isnan(settled_value([], [], 0, MINUTE))


def test_wrong_calls():
    with pytest.raises(ValueError, match="stay_s is 0"):
        of([22], stay_s=0)
    with pytest.raises(ValueError, match=r"low limit 24 is above the high limit 18: swap them"):
        of([22], low=24.0, high=18.0)
    with pytest.raises(ValueError, match="give one limit for all, or one for each sample"):
        of([22, 23, 24], low=[1.0, 2.0])
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        of([22], gap=0)
    with pytest.raises(ValueError, match="before it starts"):
        settled_value([0], [1.0], 1, 0)
