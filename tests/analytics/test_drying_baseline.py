"""Performance against the first healthy weeks: by hand, and against random days."""

import math

import numpy as np
import pytest

from analytics.drying_baseline import against_baseline


def test_by_hand():
    days = [3.0, 9.9, 3.2, math.nan, 2.8, 3.1, 2.9, 2.0, 2.4, 2.2, 2.3, 2.1, 2.2]
    healthy = [True, False, True, True, True, True, True, True, True, True, True, True, True]
    found = against_baseline(days, healthy, baseline_days=5, recent_days=6)
    # Healthy: 3.0 3.2 2.8 3.1 2.9, median 3.0, median absolute deviation 0.1; last six: median 2.2, deviation 0.1.
    assert found.baseline.value == 3.0
    # Student's t of 4 and 5 degrees of freedom (tables: 2.776, 2.571), deviation times n/(n - 0.8).
    assert found.baseline.give_or_take == pytest.approx(2.776445 * 1.253314 * 0.1482602 * 5 / 4.2 / math.sqrt(5))
    assert found.now.value == 2.2
    assert found.now.give_or_take == pytest.approx(2.570582 * 1.253314 * 0.1482602 * 6 / 5.2 / math.sqrt(6))
    assert found.ratio.value == pytest.approx(2.2 / 3.0)
    relative = math.hypot(found.baseline.give_or_take / 3.0, found.now.give_or_take / 2.2)
    assert found.ratio.give_or_take == pytest.approx(found.ratio.value * relative)


@pytest.mark.parametrize("recent", [5, 6, 7, 14, 21])
def test_give_or_take_covers_the_truth_in_nineteen_of_twenty_farms(recent):
    random = np.random.default_rng(9)
    held = 0
    for _ in range(2000):
        days = np.concatenate((random.normal(3.0, 0.2, 21), random.normal(2.4, 0.2, recent)))
        ratio = against_baseline(days, np.ones(21 + recent, bool), recent_days=recent).ratio
        held += abs(ratio.value - 0.8) <= ratio.give_or_take
    # 95 %; 2000 farms tell that to 1 % (twice the standard error), and 1 % for a deviation that is not quite normal
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_the_baseline_stays_what_it_was():
    days = np.linspace(3.0, 1.0, 60)
    early = against_baseline(days[:40], np.ones(40, bool))
    late = against_baseline(days, np.ones(60, bool))
    assert early.baseline == late.baseline
    assert late.ratio.value < early.ratio.value < 1.0


def test_a_sick_day_counts_as_now_but_not_as_baseline():
    days, healthy = [3.0] * 5 + [1.0] * 5, [True] * 5 + [False] * 5
    found = against_baseline(days, healthy, baseline_days=21)
    assert (found.baseline.value, found.now.value) == (3.0, 1.0)


def test_too_few_days():
    for count in (0, 1, 4, 9):
        found = against_baseline([3.0] * count, [True] * count, baseline_days=5)
        assert math.isnan(found.ratio.value)
        assert math.isnan(found.ratio.give_or_take)
    assert math.isnan(against_baseline([math.nan] * 30, [True] * 30).ratio.value)
    assert math.isnan(against_baseline([3.0] * 30, [False] * 30).ratio.value)
    assert against_baseline([3.0] * 10, [True] * 10, baseline_days=5).ratio.value == 1.0


def test_three_weeks_make_the_baseline_and_one_week_is_now():
    """Our choices: the twenty-one first healthy days, the seven last ones; rising figures tell how many were taken."""
    found = against_baseline(np.arange(100.0), np.ones(100, bool))
    assert (found.baseline.value, found.now.value) == (10.0, 96.0)


def test_a_machine_that_stood_still_makes_no_ratio():
    assert math.isnan(against_baseline([0.0] * 5 + [3.0] * 5, [True] * 10, 5, 5).ratio.value)


def test_wrong_calls():
    with pytest.raises(ValueError, match="two one-dimensional arrays of one length"):
        against_baseline([1.0, 2.0], [True])
    with pytest.raises(ValueError, match="baseline_days is 0"):
        against_baseline([1.0], [True], baseline_days=0)
    with pytest.raises(ValueError, match="recent_days is 0"):
        against_baseline([1.0], [True], recent_days=0)
