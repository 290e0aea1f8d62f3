"""Siblings that disagree, and conditions that must last: by hand, against a walk, and within their reach."""

import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.persistence import held_flags
from analytics.siblings import difference_from_siblings, disagreement_limits, median_over_series

S = 1_000_000
NAN = float("nan")


@given(st.lists(st.lists(st.one_of(st.integers(-9, 9), st.just(NAN)), min_size=3, max_size=3), min_size=1, max_size=6))
def test_difference_is_from_the_median(table):
    """Python's own statistics.median, series by series and time by time."""
    ours, medians = difference_from_siblings(table), median_over_series(table)
    for at in range(3):
        there = [row[at] for row in table if row[at] == row[at]]
        np.testing.assert_equal(medians[at], statistics.median(there) if there else NAN)
        for one, row in enumerate(table):
            others = [other[at] for n, other in enumerate(table) if n != one and other[at] == other[at]]
            compared = statistics.median(there if len(there) > 2 else others) if others else NAN
            np.testing.assert_equal(ours[one, at], row[at] - compared)


def test_one_bad_series_of_three_moves_no_other():
    good = [20.0, 20.1, 20.2]
    for bad in (0, 60):
        beside = difference_from_siblings([[20.0], [20.1], [bad]])[:, 0]
        assert np.abs(beside[:2]).max() <= 0.1 + 1e-9
        assert abs(beside[2]) > 19
    np.testing.assert_allclose(difference_from_siblings(np.array(good)[:, np.newaxis])[:, 0], [-0.1, 0, 0.1])
    np.testing.assert_allclose(difference_from_siblings([[20.0], [23.0]])[:, 0], [-3, 3])  # of two: both


def test_combined_accuracies():
    """Root of the sum of squares (GUM eq. 10): 3, 4 -> 5; with a spread of 1 added."""
    np.testing.assert_allclose(disagreement_limits([3.0, 4.0, 4.0], 1.0), [6.0, 1 + 32**0.5, 1 + 32**0.5])
    np.testing.assert_equal(disagreement_limits([4.0, NAN, 3.0, 3.0], 0.0), [5.0, NAN, 18**0.5, 18**0.5])


def test_no_siblings():
    assert np.isnan(difference_from_siblings([[1.0, 2.0]])).all()
    assert difference_from_siblings(np.empty((3, 0))).shape == (3, 0)


def test_what_is_wrong_must_last():
    at = np.arange(9) * 60 * S
    wrong = [1, 1, 1, 0, 1, NAN, 1, 1, 0]
    assert held_flags(at, wrong, 120, 120).tolist() == [2, 2, 3, 1, 2, 9, 3, 3, 1]
    assert held_flags(at, wrong, 120, 60).tolist() == [2, 2, 3, 1, 2, 9, 2, 2, 1], "the gap begins it anew"
    assert held_flags([], [], 60, 60).tolist() == []


records = st.lists(
    st.tuples(st.sampled_from([30, 60, 60, 150, 151]), st.sampled_from([1.0, 1.0, 0.0, NAN])), min_size=1
)


@given(records, st.data())
def test_held_flags_walked_and_cut(record, data):
    at = np.cumsum([step for step, _ in record]) * S
    wrong = np.array([one for _, one in record])
    expected, since, newest = [], None, None
    for time, one in zip(at.tolist(), wrong.tolist(), strict=True):
        if one != one:
            expected.append(9)
            continue
        if one == 0.0:
            since = None
        elif since is None or time - newest > 150 * S:
            since = time
        newest = time
        expected.append(1 if one == 0.0 else 3 if time - since >= 200 * S else 2)
    assert held_flags(at, wrong, 200, 150).tolist() == expected
    first = data.draw(st.integers(0, len(at) - 1))
    near = at >= at[first] - 350 * S
    assert held_flags(at[near], wrong[near], 200, 150)[-(len(at) - first) :].tolist() == expected[first:]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: difference_from_siblings([1.0]), "give two dimensions, series by times"),
        (lambda: median_over_series([1.0]), "give two dimensions, series by times"),
        (lambda: disagreement_limits([[1.0]], 0), "give one number a series"),
        (lambda: disagreement_limits([1.0], -1), "spread is -1: give 0 or more"),
        (lambda: held_flags([0], [1], 0, 60), "hold_s is 0 s: give a time above 0"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()
