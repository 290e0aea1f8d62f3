"""Hourly means by hand, and the same bits in any window."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.hourly import HOUR_US, hourly_means

MINUTE = 60_000_000


def test_weighted_by_time_and_cut_at_the_hour():
    # 10 for 45 min, 20 for 15 min: 12.5. The last sample does not reach into the next hour, of which nothing is known.
    hours = hourly_means([0, 45 * MINUTE], [10.0, 20.0], 0, 2 * HOUR_US, HOUR_US)
    assert hours.mean[0] == pytest.approx(12.5)
    assert np.isnan(hours.mean[1])
    assert hours.coverage.tolist() == [1.0, 0.0]


def test_a_gap_is_not_covered_and_a_nan_never_came():
    hours = hourly_means([0, MINUTE, 30 * MINUTE], [10.0, np.nan, 40.0], 0, HOUR_US, 3 * MINUTE)
    assert hours.mean.tolist() == [25.0]
    assert hours.coverage[0] == pytest.approx(6 / 60)


@given(st.lists(st.integers(0, 4 * 3600), unique=True, max_size=60), st.randoms(), st.integers(0, 3))
def test_the_same_bits_in_any_window(seconds, rng, first):
    at = np.array(sorted(seconds), np.int64) * 1_000_000
    value = np.array([rng.uniform(-40, 40) for _ in at])
    whole = hourly_means(at, value, 0, 4 * HOUR_US, 10 * MINUTE)
    part = slice(*np.searchsorted(at, [first * HOUR_US, 4 * HOUR_US]))
    alone = hourly_means(at[part], value[part], first * HOUR_US, 4 * HOUR_US, 10 * MINUTE)
    np.testing.assert_array_equal(alone.mean, whole.mean[first:])
    np.testing.assert_array_equal(alone.coverage, whole.coverage[first:])


def test_empty_and_wrong_calls():
    assert np.isnan(hourly_means([], [], 0, HOUR_US, 1).mean).all()
    assert len(hourly_means([0], [1.0], HOUR_US, HOUR_US, 1).mean) == 0
    with pytest.raises(ValueError, match="lasts 5 us: give a whole number of hours"):
        hourly_means([0], [1.0], 0, 5, 1)
    with pytest.raises(ValueError, match="must ascend"):
        hourly_means([1, 0], [1.0, 1.0], 0, HOUR_US, 1)
    with pytest.raises(ValueError, match="above 0"):
        hourly_means([0], [1.0], 0, HOUR_US, 0)
