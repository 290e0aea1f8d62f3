"""Rolling averages: by hand, and against a walk through the samples one by one."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.rolling import rolling_average

MINUTE = 60_000_000


def walked(times, values, window, gap, at):
    """Return average and coverage of one window, by walking through the samples."""
    exposure = covered = 0
    kept = [(time, value) for time, value in zip(times, values, strict=True) if not math.isnan(value)]
    for place, (time, value) in enumerate(kept):
        until = min(time + gap, kept[place + 1][0] if place + 1 < len(kept) else time + gap)
        held = max(0, min(until, at) - max(time, at - window))
        exposure += value * held
        covered += held
    return (exposure / covered if covered else math.nan), covered / window


@st.composite
def series(draw):
    steps = draw(st.lists(st.integers(1, 20 * MINUTE), min_size=1, max_size=40))
    values = draw(st.lists(st.one_of(st.just(math.nan), st.floats(0, 1e5)), min_size=len(steps), max_size=len(steps)))
    return np.cumsum(steps), np.array(values)


@given(series(), st.integers(MINUTE, 60 * MINUTE), st.integers(1, 30 * MINUTE))
def test_against_a_walk_through_the_samples(both, window, gap):
    times, values = both
    found = rolling_average(times, values, window, gap, 1e5)
    for place, at in enumerate(times.tolist()):
        average, coverage = walked(times.tolist(), values.tolist(), window, gap, at)
        assert found.coverage[place] == pytest.approx(coverage, abs=1e-12)
        np.testing.assert_allclose(found.value[place], average, rtol=1e-9, atol=1e-3)  # steps of 2**-9 at the coarsest


@given(series(), st.integers(0, 39))
def test_where_the_series_begins_changes_no_bit(both, cut):
    times, values = both
    window, gap = 10 * MINUTE, 7 * MINUTE
    whole = rolling_average(times, values, window, gap, 1e6)
    kept = times >= times[min(cut, len(times) - 1)] - window - gap
    part = rolling_average(times[kept], values[kept], window, gap, 1e6)
    same = times[kept] >= times[min(cut, len(times) - 1)]
    np.testing.assert_array_equal(part.value[same], whole.value[kept][same])
    np.testing.assert_array_equal(part.coverage[same], whole.coverage[kept][same])


def test_sums_that_wrap_around_stay_right():
    """Over 200 years the sum itself needs more than 64 bits; each window's difference does not."""
    times = np.arange(0, 200 * 365) * 86_400_000_000
    values = np.where(np.arange(len(times)) % 2, 999_999.0, 1.0)
    found = rolling_average(times, values, 8 * 60 * MINUTE, 86_400_000_000, 1e6)
    assert set(found.value[1:].tolist()) == {1.0, 999_999.0}


def test_at_least_counts_unknown_time_as_nothing():
    found = rolling_average([0, 10 * MINUTE], [300.0, 300.0], 10 * MINUTE, 4 * MINUTE, 1e3)
    assert (found.value[1], found.coverage[1]) == (300.0, 0.4)
    assert found.at_least.tolist() == [0.0, 120.0]


def test_no_samples_one_sample_and_values_beyond_what_can_occur():
    assert rolling_average([], [], MINUTE, MINUTE, 1.0).value.shape == (0,)
    one = rolling_average([5], [1.0], MINUTE, MINUTE, 1.0)
    assert np.isnan(one.value).all()
    assert one.coverage.tolist() == [0.0]
    found = rolling_average([0, MINUTE, 2 * MINUTE], [1.0, 3.0, np.nan], 2 * MINUTE, MINUTE, 2.0)
    assert (found.value[2], found.coverage[2]) == (1.0, 0.5)
    assert np.isnan(rolling_average([0, 1], [np.nan, np.inf], MINUTE, MINUTE, 1.0).value).all()


def test_refused_calls():
    for length in ("window_us", "max_gap_us", "highest"):
        arguments = {"window_us": 1, "max_gap_us": 1, "highest": 1.0} | {length: 0}
        with pytest.raises(ValueError, match=f"{length} is 0: give one above 0"):
            rolling_average([0], [1.0], **arguments)
    with pytest.raises(ValueError, match="no room for steps of one unit"):
        rolling_average([0], [1.0], 2**40, 1, 2.0**23)
    with pytest.raises(ValueError, match="time_us must ascend"):
        rolling_average([1, 0], [1.0, 1.0], 1, 1, 1.0)
