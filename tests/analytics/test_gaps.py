"""Silences in a window, counted by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.gaps import Gaps, gaps

MINUTE = 60_000_000


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        ([], (1, 600, 600)),
        ([-1, 0, 2, 4, 6, 8, 10], (0, 0, 0)),
        ([0, 3, 6, 9], (0, 0, 0)),  # three minutes are not longer than three minutes
        ([-20, 5, 7], (1, 300, 300)),  # began before the window; the last three minutes are no gap yet
        ([5, 7], (1, 300, 300)),  # nobody knows when it began
        ([-1, 2, 6], (2, 240, 480)),  # 2..6 and 6..10
        ([-1, 1, 30], (1, 540, 540)),
        ([-30, 30], (1, 600, 600)),
        ([-30, -20], (1, 600, 600)),  # the silence goes on
        ([20, 30], (1, 600, 600)),
    ],
)
def test_by_hand(minutes, expected):
    assert gaps([one * MINUTE for one in minutes], 0, 10 * MINUTE, 180) == Gaps(*expected)


@given(st.lists(st.integers(0, 99), unique=True).map(sorted))
def test_adjoining_windows_add_up(minutes):
    times = [one * MINUTE for one in minutes]
    whole = gaps(times, 0, 100 * MINUTE, 180)
    cut = next((one for one in minutes if one > 50), 100) * MINUTE  # at a sample no gap is cut
    parts = gaps(times, 0, cut, 180), gaps(times, cut, 100 * MINUTE, 180)
    assert sum(one.total_s for one in parts) == whole.total_s
    assert sum(one.number for one in parts) == whole.number
    assert max(one.longest_s for one in parts) == whole.longest_s


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: gaps([0], 5, 0, 180), "swap the two"),
        (lambda: gaps([0], 0, 5, 0), "gap_s is 0 s"),
        (lambda: gaps([5, 5], 0, 5, 1), "time_us must ascend"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()
