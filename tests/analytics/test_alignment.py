"""Reading one series at another's times."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.alignment import hold_as_of

AGE = 90


def test_newest_at_or_before():
    held = hold_as_of([0, 60, 120], [1.0, 2.0, 3.0], [-1, 0, 59, 60, 119, 120, 210, 211], AGE)
    np.testing.assert_array_equal(held.value, [np.nan, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, np.nan])
    np.testing.assert_array_equal(held.position, [-1, 0, 0, 1, 1, 2, 2, -1])


def test_flags_can_be_carried_along():
    flags = np.array([1, 3], dtype=np.uint8)
    held = hold_as_of([0, 60], [1.0, 2.0], [10, 500, 70], AGE)
    assert np.where(held.position >= 0, flags[held.position], 9).tolist() == [1, 9, 3]


def test_a_nan_is_not_looked_behind():
    held = hold_as_of([0, 60], [1.0, np.nan], [61], AGE)
    assert np.isnan(held.value[0])
    assert held.position[0] == 1


def test_any_order_and_no_samples():
    assert hold_as_of([0, 60], [1.0, 2.0], [60, 0, 60], 0).value.tolist() == [2.0, 1.0, 2.0]
    empty = hold_as_of([], [], [1, 2], AGE)
    assert np.isnan(empty.value).all()
    assert (empty.position == -1).all()
    assert hold_as_of([0], [1.0], np.empty(0, np.int64), AGE).value.shape == (0,)


@given(
    st.lists(st.integers(-1000, 1000), unique=True, max_size=20).map(sorted),
    st.lists(st.integers(-1100, 1100), max_size=20),
    st.integers(0, 300),
)
def test_against_a_plain_search(times, at, max_age):
    held = hold_as_of(times, [float(t) for t in times], at, max_age)
    for instant, position in zip(at, held.position.tolist(), strict=True):
        candidates = [i for i, time in enumerate(times) if instant - max_age <= time <= instant]
        assert position == (candidates[-1] if candidates else -1)


def test_wrong_calls():
    with pytest.raises(ValueError, match="max_age_us is -1: give the greatest age"):
        hold_as_of([0], [1.0], [0], -1)
    with pytest.raises(ValueError, match="time_us must ascend, but 0 follows 60 at position 1"):
        hold_as_of([60, 0], [1.0, 1.0], [0], AGE)
    with pytest.raises(ValueError, match="give two one-dimensional arrays of one length"):
        hold_as_of([[0]], [[1.0]], [0], AGE)
