"""A level at rest: cases made by hand, where it is known what is under way and for how long."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.at_rest import at_rest, means_of_pauses, settling_time
from analytics.lines import change_between, lines_between
from tests.conftest import MINUTE_US as MINUTE

AT = np.arange(1440) * MINUTE
CYCLE = AT // MINUTE % 20
STARTS = np.arange(0, 1440, 20) * MINUTE  # 5 minutes of every 20
ENDS = STARTS + 5 * MINUTE


def level(returns_min, under_way=6.0, scatter=0.1):
    """A level of 200 that lacks what is under way while the pump runs; it comes back evenly afterwards."""
    missing = np.where(CYCLE < 5, 1.0, np.clip(1.0 - (CYCLE - 5.0) / max(returns_min, 1e-9), 0.0, 1.0))
    return 200.0 - under_way * missing + np.random.default_rng(5).normal(0.0, scatter, len(AT))


@pytest.mark.parametrize("returns_min", [0, 2, 4, 8])
def test_settling_is_as_long_as_the_return_takes(returns_min):
    found = settling_time(AT, level(returns_min), STARTS, ENDS, MINUTE, 10 * MINUTE)
    assert found == pytest.approx(returns_min * MINUTE, abs=MINUTE)


def test_settling_is_the_longest_where_the_level_still_rises_then():
    assert settling_time(AT, level(14.0), STARTS, ENDS, MINUTE, 10 * MINUTE) == 10 * MINUTE


def test_settling_is_not_known_from_few_pauses_or_too_short_ones():
    assert settling_time(AT, level(2.0), STARTS[:8], ENDS[:8], MINUTE, 10 * MINUTE) is None  # seven pauses
    assert settling_time(AT, level(2.0), STARTS[:9], ENDS[:9], MINUTE, 10 * MINUTE) is not None
    assert settling_time(AT, level(2.0), STARTS, STARTS + 9 * MINUTE, MINUTE, 10 * MINUTE) is None
    assert settling_time([], [], [], [], MINUTE, 10 * MINUTE) is None


def test_at_rest_is_outside_runs_their_return_and_their_unseen_beginning():
    found = at_rest(AT, STARTS, ENDS, MINUTE, 3 * MINUTE)
    # A run may have begun after the last reading without it: that reading is at rest.
    assert np.array_equal(found, (CYCLE >= 8))
    between = at_rest(AT + MINUTE // 2, STARTS, ENDS, MINUTE, 3 * MINUTE)
    assert np.array_equal(between[:-1], ((CYCLE >= 8) & (CYCLE < 19))[:-1])  # no run follows the last


def test_at_rest_of_overlapping_runs_in_any_order():
    found = at_rest(np.arange(10), [4, 1], [5, 8], 0, 0)
    assert found.tolist() == [True, True, False, False, False, False, False, False, True, True]
    assert at_rest([1, 2], [], [], 0, 0).all()


def test_means_of_pauses_know_a_staircase_where_single_readings_do_not():
    # Every 20 minutes the level falls by 0.8 at once: 2.4 an hour.
    cycle = AT // MINUTE // 20
    value = 200.0 - 0.8 * cycle + np.random.default_rng(3).normal(0.0, 0.3, len(AT))
    rests = CYCLE >= 6
    at, mean = means_of_pauses(AT[rests], value[rests], cycle[rests], 20 * MINUTE, 3)
    assert len(at) == 72
    through_means, through_all = (
        change_between(
            lines_between(times, values, [], 0, 60 * MINUTE, seen_us=AT[rests]), 6 * MINUTE, 1440 * MINUTE, 120 * MINUTE
        )
        for times, values in ((at, mean), (AT[rests], value[rests]))
    )
    assert through_means.amount == pytest.approx(-2.4 * 1434 / 60, abs=through_means.plus_or_minus)
    assert through_means.plus_or_minus < 0.8 * through_all.plus_or_minus
    assert through_means.plus_or_minus < 0.3


def test_a_long_pause_gives_several_means_and_a_poor_one_none():
    at = np.arange(60) * MINUTE
    found, mean = means_of_pauses(at, np.arange(60.0), np.zeros(60, int), 20 * MINUTE, 3)
    assert mean.tolist() == [9.5, 29.5, 49.5]
    assert (found / MINUTE).tolist() == [9.5, 29.5, 49.5]
    found, mean = means_of_pauses(at[:5], [1.0, np.nan, 3.0, 9.0, 9.0], [0, 0, 0, 1, 1], 20 * MINUTE, 2)
    assert (mean.tolist(), (found / MINUTE).tolist()) == ([2.0, 9.0], [1.0, 3.5])
    assert means_of_pauses(at[:5], [1.0, np.nan, 3.0, 9.0, 9.0], [0, 0, 0, 1, 1], 20 * MINUTE, 3)[0].size == 0
    assert means_of_pauses([], [], [], 1, 1)[0].size == 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: settling_time([0], [1.0], [], [], 0, 1), "step_us is 0"),
        (lambda: settling_time([0], [1.0], [0, 5], [6, 7], 1, 1), "2 starts and 2 ends"),
        (lambda: settling_time([0], [1.0], [0], [], 1, 1), "1 starts and 0 ends"),
        (lambda: at_rest([0], [5], [4], 0, 0), "1 starts and 1 ends of runs, 0 before"),
        (lambda: at_rest([0], [], [], -1, 0), "-1 before"),
        (lambda: means_of_pauses([0, 1], [1.0, 1.0], [1, 0], 1, 1), "2 readings in 2 pauses"),
        (lambda: means_of_pauses([0], [1.0], [0], 0, 1), "longest_us 0"),
    ],
)
def test_a_wrong_call_says_so(call, message):
    with pytest.raises(ValueError, match=message):
        call()
