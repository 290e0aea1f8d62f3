"""Time in band."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.time_in_band import TimeInBand, time_in_band

SECOND = 1_000_000
MINUTE = 60 * SECOND


def test_a_day_counted_by_hand():
    # Ten samples a minute apart: 2 low, 5 inside, 3 high; each holds its minute.
    values = [17.0, 17.5, 18.0, 20.0, 22.0, 25.0, 28.0, 28.1, 30.0, 31.0]
    got = time_in_band(np.arange(10) * MINUTE, values, 18.0, 28.0, 0, 10 * MINUTE, MINUTE)
    assert got == TimeInBand(below_s=120.0, inside_s=300.0, above_s=180.0, span_s=600.0)
    assert (got.covered_s, got.coverage) == (600.0, 1.0)


def test_limits_of_each_sample():
    # The band moves with the lights: 20..26 lit, 15..20 dark. 18 degC is low when lit, inside when dark.
    got = time_in_band([0, MINUTE], [18.0, 18.0], [20.0, 15.0], [26.0, 20.0], 0, 2 * MINUTE, MINUTE)
    assert (got.below_s, got.inside_s) == (60.0, 60.0)


def test_a_sample_before_the_window_holds_into_it():
    got = time_in_band([0], [20.0], 18.0, 28.0, 30 * SECOND, 50 * SECOND, MINUTE)
    assert got.inside_s == 20.0


def test_nothing_is_known_beyond_the_gap():
    got = time_in_band([0, 60 * MINUTE], [20.0, 20.0], 18.0, 28.0, 0, 60 * MINUTE, 3 * MINUTE)
    assert got.inside_s == 180.0
    assert got.coverage == pytest.approx(0.05)


def test_a_nan_never_came():
    got = time_in_band([0, MINUTE, 2 * MINUTE], [20.0, np.nan, 30.0], 18.0, 28.0, 0, 3 * MINUTE, 90 * SECOND)
    assert (got.inside_s, got.above_s, got.covered_s) == (90.0, 60.0, 150.0)


def test_time_without_a_band_is_not_covered():
    got = time_in_band([0, MINUTE], [20.0, 20.0], [np.nan, 18.0], [28.0, 28.0], 0, 2 * MINUTE, MINUTE)
    assert (got.inside_s, got.covered_s) == (60.0, 60.0)
    half = time_in_band([0, MINUTE], [20.0, 20.0], [25.0, np.nan], [np.nan, 15.0], 0, 2 * MINUTE, MINUTE)
    assert half.covered_s == 0.0


def test_open_sides():
    got = time_in_band([0, MINUTE], [-50.0, 50.0], -np.inf, 28.0, 0, 2 * MINUTE, MINUTE)
    assert (got.below_s, got.inside_s, got.above_s) == (0.0, 60.0, 60.0)


def test_no_samples_and_no_window():
    assert time_in_band([], [], 0.0, 1.0, 0, MINUTE, MINUTE) == TimeInBand(0.0, 0.0, 0.0, 60.0)
    assert math.isnan(time_in_band([0], [1.0], 0.0, 1.0, 5, 5, MINUTE).coverage)


steps = st.lists(st.tuples(st.integers(1, 10 * MINUTE), st.floats(-5, 5) | st.just(math.nan)), max_size=40)


@given(steps, st.integers(0, 100 * MINUTE), st.integers(0, 100 * MINUTE), st.integers(1, 10 * MINUTE))
def test_parts_sum_to_the_covered_time(samples, one, other, max_gap):
    times = np.cumsum([step for step, _ in samples], dtype=np.int64)
    values = np.array([value for _, value in samples], dtype=float)
    start, end = sorted((one, other))
    got = time_in_band(times, values, -1.0, 1.0, start, end, max_gap)
    # Counted independently: walk the samples one by one.
    kept = [time for time, value in zip(times.tolist(), values.tolist(), strict=True) if not math.isnan(value)]
    covered = 0
    for position, time in enumerate(kept):
        until = min([time + max_gap, *kept[position + 1 : position + 2]])
        covered += max(0, min(until, end) - max(time, start))
    assert got.covered_s == pytest.approx(covered / SECOND, abs=1e-6)
    assert got.covered_s <= got.span_s + 1e-9
    everything = time_in_band(times, values, -np.inf, np.inf, start, end, max_gap)
    assert everything.inside_s == pytest.approx(got.covered_s, abs=1e-6)


def test_wrong_calls():
    with pytest.raises(ValueError, match="the low limit 28 is above the high limit 18: swap them"):
        time_in_band([0], [1.0], 28.0, 18.0, 0, 1, 1)
    with pytest.raises(ValueError, match=r"the limits have shapes \(3,\) and \(\), the values \(2,\)"):
        time_in_band([0, 1], [1.0, 1.0], [1.0, 2.0, 3.0], 18.0, 0, 1, 1)
    with pytest.raises(ValueError, match="time_us must ascend"):
        time_in_band([1, 0], [1.0, 1.0], 0.0, 1.0, 0, 1, 1)
    with pytest.raises(ValueError, match="before it starts"):
        time_in_band([0], [1.0], 0.0, 1.0, 1, 0, 1)
