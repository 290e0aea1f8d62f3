"""Cumulative sums against NIST, Montgomery, Lucas and Crosier; Page-Hinkley against river."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.drift import cumulative_sums, page_hinkley

NAN = float("nan")


def test_nist_example(reference):
    table = reference("cusum_nist")
    sums = cumulative_sums(table["value"], 325, 0.3175)
    known = ~np.isnan(table["high"])
    assert known.sum() == 5
    np.testing.assert_allclose(sums.high[known], table["high"][known], rtol=0, atol=6e-4)
    np.testing.assert_allclose(sums.high[[12, 13]], [3.01, 4.94], rtol=0, atol=0.005)  # as the handbook prints
    assert sums.first_signal(4.1959) == 13  # the 14th sample
    assert sums.low.argmax() == 7
    assert sums.low.max() == pytest.approx(0.715, abs=6e-4)


def test_lucas_and_crosier_out_of_control():
    """Lucas and Crosier 1982 (secondary copy); sums are arithmetic to one decimal. k 0.5, h 5 or 4, head start 2.5."""
    value = [0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6]
    plain = cumulative_sums(value, 0, 0.5)
    np.testing.assert_allclose(plain.high, [0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0], rtol=0, atol=1e-9)
    assert (plain.first_signal(5), plain.first_signal(4)) == (6, 3)
    fast = cumulative_sums(value, 0, 0.5, head_start=2.5)
    np.testing.assert_allclose(fast.high[:3], [2.8, 4.2, 5.1], rtol=0, atol=1e-9)
    assert fast.first_signal(5) == 2


def test_montgomery_table(reference):
    table = reference("cusum_montgomery")
    np.testing.assert_allclose(cumulative_sums(table["value"], 99, 0).deviation, table["sum"], rtol=0, atol=1e-9)


@pytest.mark.parametrize(("interval", "length"), [(4, 168), (5, 465)])
def test_average_run_length_in_control(interval, length):
    """Montgomery: 168 and 465 samples at k = 0.5 (from memory); 3000 random runs, three standard errors are 6 %."""
    draws = np.random.default_rng(3).standard_normal((3000, 12 * length))
    runs = [cumulative_sums(row, 0, 0.5).first_signal(interval) for row in draws]
    assert None not in runs
    assert np.mean(runs) + 1 == pytest.approx(length, rel=0.06)


numbers = st.lists(st.one_of(st.floats(-100, 100), st.just(NAN)), min_size=1, max_size=60)


@given(numbers, st.floats(0, 3), st.floats(0, 5))
def test_sums_are_the_recursion_of_the_textbook(value, slack, head_start):
    """max(0, S + x - target - k), step by step."""
    high = low = head_start
    sums = cumulative_sums(value, 1.0, slack, head_start)
    for n, x in enumerate(value):
        if x == x:
            high, low = max(0.0, high + x - 1.0 - slack), max(0.0, low + 1.0 - slack - x)
        assert sums.high[n] == pytest.approx(high, abs=1e-9)
        assert sums.low[n] == pytest.approx(low, abs=1e-9)


def test_page_hinkley_of_river(reference):
    table = reference("page_hinkley")
    for mode in ("up", "down"):
        np.testing.assert_allclose(page_hinkley(table["value"], 0.1, mode), table[mode], rtol=0, atol=1e-8)
        assert table[mode].max() > 5


def test_page_hinkley_first_detection_of_river():
    """river 0.26.1: delta 0.1, threshold 3, five samples at least, upward: index 14, at 3.3926."""
    value = [20, 20.1, 19.9, 20, 20.1, 19.9, 20, 20, 20.1, 19.9] + [21] * 6
    statistic = page_hinkley(value, 0.1)
    assert int(np.argmax((statistic > 3) & (np.arange(16) >= 4))) == 14
    assert statistic[14] == pytest.approx(3.3926, abs=6e-5)


def test_a_missing_sample_changes_nothing():
    value = [NAN, 20.0, NAN, 21.0, 20.0, NAN]
    kept = [20.0, 21.0, 20.0]
    assert page_hinkley(value, 0.1)[[1, 3, 4]].tolist() == page_hinkley(kept, 0.1).tolist()
    assert page_hinkley(value, 0.1)[[0, 2, 5]].tolist() == [0.0, *page_hinkley(kept, 0.1)[[0, 2]].tolist()]
    assert cumulative_sums(value, 20, 0.1).high[[1, 3, 4]].tolist() == cumulative_sums(kept, 20, 0.1).high.tolist()
    assert cumulative_sums(value, 20, 0.0).deviation[[0, 5]].tolist() == [0.0, 1.0]


def test_nothing_to_sum():
    for value in ([], [NAN]):
        assert cumulative_sums(value, 0, 1).high.tolist() == [0.0] * len(value)
        assert page_hinkley(value, 1).tolist() == [0.0] * len(value)
        assert cumulative_sums(value, 0, 1).first_signal(0) is None


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: cumulative_sums([1.0], 0, -1), "slack is -1 and head_start 0: give 0 or more"),
        (lambda: cumulative_sums([1.0], 0, 1, NAN), "head_start nan"),
        (lambda: cumulative_sums(1.0, 0, 1), "give a one-dimensional array"),
        (lambda: page_hinkley([1.0], -1), "slack is -1"),
        (lambda: page_hinkley([1.0], 1, "both"), "mode is 'both': give one of up, down"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_page_hinkley_by_hand():
    """Means 10, 10.5, 11; deviations 0, 0.5, 1; no slack."""
    assert page_hinkley([10.0, 11.0, 12.0], 0).tolist() == [0.0, 0.5, 1.5]
