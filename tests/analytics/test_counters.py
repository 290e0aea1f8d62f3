"""Counters against the total that they stand for: whole, reset, rolled over, and with readings missing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.counters import counted, increments, rate

NAN = math.nan


@pytest.mark.parametrize(
    ("value", "rolls_over_at", "expected"),
    [
        ([10, 12.5, 13], None, [NAN, 2.5, 0.5]),
        ([10, 12.5, 1, 2], None, [NAN, 2.5, 1, 1]),  # reset: what it shows was counted since
        ([9990, 9998, 3], 10_000, [NAN, 8, 5]),  # five digits: 9,998 to 10,000 and on to 3
        ([65_530, 4], 65_536, [NAN, 10]),  # a 16-bit register
        ([9990, 9000, 9005], 10_000, [NAN, 9000, 5]),  # a small fall is no roll-over
        ([100, 3], 10_000, [NAN, 3]),
        ([10, NAN, 12, NAN, 1], None, [NAN, NAN, 2, NAN, 1]),
        ([NAN, 5], None, [NAN, NAN]),
        ([5], None, [NAN]),
        ([], None, []),
        ([12_000, 3], 10_000, [NAN, 3]),  # a reading past the end: the description is wrong; never negative
    ],
)
def test_increments(value, rolls_over_at, expected):
    np.testing.assert_array_equal(increments(value, rolls_over_at), expected)
    known = [one for one in expected if not math.isnan(one)]
    assert counted(value, rolls_over_at) == pytest.approx(sum(known) if known else NAN, nan_ok=True)


@given(
    st.lists(st.integers(0, 499), min_size=1, max_size=60), st.integers(0, 999), st.data()
)  # fmt: skip
def test_a_register_that_turns_any_number_of_times_counts_what_was_counted(steps, start, data):
    """Steps below half a turn are told apart from resets, whatever is missed in between stays below it."""
    true = start + np.concatenate([[0], np.cumsum(steps)])
    shown = (true % 1000).astype(float)
    assert counted(shown, 1000) == true[-1] - true[0]
    missing = data.draw(st.sets(st.integers(1, len(shown) - 1), max_size=3))
    gaps_are_short = all(true[min(n + 1, len(true) - 1)] - true[n - 1] < 500 for n in missing)
    if gaps_are_short and not any(n + 1 in missing for n in missing):
        shown[list(missing)] = np.nan
        kept = np.flatnonzero(~np.isnan(shown))
        assert np.nansum(increments(shown, 1000)) == true[kept[-1]] - true[kept[0]]


@given(st.lists(st.floats(0, 1e6) | st.just(NAN), max_size=30), st.none() | st.floats(1, 1e6))
def test_nothing_is_ever_counted_backwards(value, rolls_over_at):
    steps = increments(value, rolls_over_at)
    assert not (steps < 0).any()
    assert len(steps) == len(value)


def test_a_rate_is_per_second_and_stops_at_a_gap():
    """0.05 kWh in a minute is 3 kW: 0.05 * 3600 / 60 (definition of the watt hour)."""
    time_us = np.array([0, 60, 120, 600, 660]) * 1_000_000
    kwh = [1.0, 1.05, NAN, 1.30, 1.35]
    per_second = rate(time_us, kwh, 180e6)
    np.testing.assert_allclose(per_second * 3600, [NAN, 3.0, NAN, NAN, 3.0], rtol=1e-9)


def test_wrong_calls_are_told():
    with pytest.raises(ValueError, match="rolls_over_at is 0"):
        increments([1, 2], 0)
    with pytest.raises(ValueError, match="do not belong together"):
        rate([1, 2], [1], 1e6)
