"""Peak demand by hand, and ratings by the NEC's rule for continuous loads."""

import math

import numpy as np
import pytest

from analytics.demand import (
    FIFTEEN_MINUTES_US,
    THREE_HOURS_US,
    Demand,
    breaker_for_continuous_current,
    continuous_rating,
    peak_demand,
    service_rating,
)

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def test_continuous_loads(reference):
    table = reference("continuous_load")
    for row in table:
        assert breaker_for_continuous_current(row["continuous_current"]) == pytest.approx(row["breaker"], rel=1e-12)
        if not math.isnan(row["voltage"]):
            rating = continuous_rating(row["voltage"], row["breaker"])
            assert rating == pytest.approx(row["continuous_power"], rel=1e-12)


def test_the_other_listed_rating():
    assert continuous_rating(240.0, 30.0) == pytest.approx(5760.0, rel=1e-12)  # NEC 80 %, arithmetic


def test_three_phases():
    # sqrt(3) V I with the voltage between phases (definition of a balanced three-phase load): 400 V, 32 A, 22.17 kVA.
    assert service_rating(400.0, 32.0, 3) == pytest.approx(22_170, abs=1)
    assert service_rating(400.0, 32.0, 3) == pytest.approx(3 * (400.0 / math.sqrt(3)) * 32.0)
    assert service_rating(230.0, 20.0, power_factor=0.9) == pytest.approx(4140.0)  # W = V A cos phi
    assert continuous_rating(400.0, 32.0, 3, 1.0) == service_rating(400.0, 32.0, 3)


def test_the_highest_quarter_of_an_hour():
    power = np.full(240, 1000.0)
    power[100:110] = 4000.0  # ten minutes: (10 x 4000 + 5 x 1000) / 15 = 3000
    times = np.arange(240) * MINUTE
    found = peak_demand(times, power, 0, 4 * HOUR, FIFTEEN_MINUTES_US, 3 * MINUTE)
    assert found == Demand(3000.0, 110 * MINUTE)
    found = peak_demand(times, power, 3 * HOUR, 4 * HOUR, THREE_HOURS_US, 3 * MINUTE)
    assert found.power_w == pytest.approx((170 * 1000 + 10 * 4000) / 180, abs=0.1)


def test_the_highest_window_may_begin_at_a_reading():
    # By hand: 5 kW for 10 min, then 1 kW. The quarter of an hour from the first reading on holds (10 x 5 + 5 x 1)/15.
    found = peak_demand([0, 10 * MINUTE, 30 * MINUTE], [5000.0, 1000.0, 0.0], 0, HOUR, FIFTEEN_MINUTES_US, 20 * MINUTE)
    assert found.power_w == pytest.approx(55_000 / 15)
    assert found.end_us == 15 * MINUTE


def test_no_window_is_higher():
    """Against every window that ends at a whole second, walked through second by second."""
    random = np.random.default_rng(4)
    for _ in range(30):
        times = np.cumsum(random.integers(1, 60, 40))
        power = random.integers(0, 5000, 40).astype(float)
        every_second = np.repeat(power[:-1], np.diff(times))
        summed = np.concatenate(([0.0], np.cumsum(every_second)))
        highest = float(np.max(summed[100:] - summed[:-100])) / 100
        second = 1_000_000
        found = peak_demand(times * second, power, 0, 10_000 * second, 100 * second, 100 * second)
        assert found.power_w >= highest - 1e-3


def test_windows_end_within_the_stretch_and_are_covered():
    power = np.full(240, 1000.0)
    power[50:55] = 5000.0
    times = np.arange(240) * MINUTE
    later = peak_demand(times, power, 2 * HOUR, 4 * HOUR, FIFTEEN_MINUTES_US, 3 * MINUTE)
    assert later.power_w == 1000.0
    gone = np.r_[0:52, 70:240]
    found = peak_demand(times[gone], power[gone], 0, HOUR, FIFTEEN_MINUTES_US, 3 * MINUTE)
    # From minute 40 to 55: ten minutes of 1 kW, four of 5 kW (the reading of minute 51 holds to 54), one unknown.
    assert found.power_w == pytest.approx((10 * 1000 + 4 * 5000) / 14)
    many = np.r_[0:52, 55:240]  # two minutes of fifteen are missing: 87 % is too little
    found = peak_demand(times[many], power[many], 55 * MINUTE, HOUR, FIFTEEN_MINUTES_US, MINUTE)
    assert found.end_us is None
    nothing = peak_demand([0, MINUTE], [1.0, 1.0], 0, HOUR, FIFTEEN_MINUTES_US, MINUTE)
    assert math.isnan(nothing.power_w)
    assert nothing.end_us is None
    assert peak_demand([], [], 0, HOUR, FIFTEEN_MINUTES_US, MINUTE).end_us is None


def test_refused_calls():
    with pytest.raises(ValueError, match="phases is 2: give 1 or 3"):
        service_rating(230.0, 16.0, 2)
    for share in (0.0, 1.1, math.nan):
        with pytest.raises(ValueError, match="power_factor is"):
            continuous_rating(230.0, 16.0, power_factor=share)
        with pytest.raises(ValueError, match="continuous_share is"):
            continuous_rating(230.0, 16.0, 1, share)
        with pytest.raises(ValueError, match="continuous_share is"):
            breaker_for_continuous_current(16.0, share)
    with pytest.raises(ValueError, match="before it starts"):
        peak_demand([0], [1.0], 5, 1, MINUTE, MINUTE)
