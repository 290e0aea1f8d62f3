"""Rates summed up over time: by hand, in closed form, and additive over windows."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.integral import hourly_integral

HOUR = 3_600_000_000
MINUTE = HOUR // 60


def test_a_constant_rate():
    # 1.0 kW for 16 h is 16 kWh, by definition.
    found = hourly_integral([0, 8 * HOUR, 16 * HOUR], [1.0, 1.0, 1.0], 0, 16 * HOUR, 8 * HOUR)
    assert (found.total, found.coverage) == (16.0, 1.0)


def test_half_a_sine():
    times = np.arange(0, 12 * 60 + 1) * MINUTE
    found = hourly_integral(times, np.sin(np.pi * np.arange(721) / 720), 0, 12 * HOUR, MINUTE)
    assert found.total == pytest.approx(12 * 2 / math.pi, rel=1e-5)


def test_a_ramp_cut_by_the_window():
    found = hourly_integral([0, 4 * HOUR], [0.0, 4.0], HOUR, 3 * HOUR, 4 * HOUR)
    assert (found.total, found.covered_s, found.span_s) == (4.0, 7200.0, 7200.0)


def test_gaps_and_nan_are_not_bridged():
    times = [n * HOUR for n in (0, 1, 2, 3, 6, 7)]
    found = hourly_integral(times, [2.0, 2.0, 2.0, 2.0, 2.0, 2.0], 0, 8 * HOUR, HOUR)
    assert (found.total, found.covered_s) == (8.0, 4 * 3600.0)
    found = hourly_integral(times, [2.0, math.nan, 2.0, 2.0, 2.0, 2.0], 0, 8 * HOUR, HOUR)
    assert (found.total, found.coverage) == (4.0, 0.25)


@pytest.mark.parametrize(("times", "values"), [([], []), ([0], [1.0]), ([0, HOUR], [math.nan, 1.0])])
def test_little_or_nothing(times, values):
    found = hourly_integral(times, values, 0, HOUR, HOUR)
    assert math.isnan(found.total)
    assert found.coverage == 0.0
    assert math.isnan(hourly_integral(times, values, 0, 0, HOUR).coverage)


@given(st.lists(st.tuples(st.integers(1, 20), st.floats(-5, 5)), min_size=2, max_size=30), st.integers(0, 300))
def test_adjoining_windows_sum(steps, cut):
    times = np.cumsum([step for step, _ in steps]) * MINUTE
    values = [value for _, value in steps]
    end = 600 * MINUTE
    whole = hourly_integral(times, values, 0, end, 10 * MINUTE)
    parts = [
        hourly_integral(times, values, *window, 10 * MINUTE) for window in ((0, cut * MINUTE), (cut * MINUTE, end))
    ]
    totals = [part.total for part in parts if not math.isnan(part.total)]
    assert sum(part.covered_s for part in parts) == whole.covered_s
    if totals:
        assert math.fsum(totals) == pytest.approx(whole.total, abs=1e-9)


def test_wrong_calls():
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        hourly_integral([0], [1.0], 0, 1, 0)
    with pytest.raises(ValueError, match="time_us must ascend"):
        hourly_integral([1, 1], [1.0, 1.0], 0, 1, 1)
