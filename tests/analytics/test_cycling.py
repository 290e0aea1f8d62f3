"""Cycling counted by hand, and held to a walk through the samples one by one."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.cycling import cycling

MINUTE = 60_000_000


def of(states, start=0, end=None, gap=2, min_off_s=0.0, threshold=0.5):
    """Cycling of a reading a minute; None is a missing one. Times in minutes."""
    rows = [(n * MINUTE, one) for n, one in enumerate(states) if one is not None]
    times, values = zip(*rows, strict=True) if rows else ((), ())
    end = len(states) if end is None else end
    return cycling(times, values, start * MINUTE, end * MINUTE, gap * MINUTE, min_off_s, threshold)


def test_a_day_by_hand():
    # off 2, on 3, off 1, on 5, off 4: fifteen minutes with two starts
    found = of([0] * 2 + [1] * 3 + [0] + [1] * 5 + [0] * 4, min_off_s=120.0)
    assert (found.starts, found.on_s, found.covered_s, found.span_s) == (2, 480.0, 900.0, 900.0)
    assert found.starts_per_hour == 8.0
    assert found.duty == pytest.approx(8 / 15)
    assert (found.mean_on_s, found.shortest_on_s) == (240.0, 180.0)
    # the rests at both ends were not seen whole
    assert (found.mean_off_s, found.shortest_off_s, found.short_offs) == (60.0, 60.0, 1)
    assert found.coverage == 1.0


def test_a_rest_as_long_as_allowed_is_not_short():
    states = [1, 0, 0, 0, 1, 0, 0, 1, 0]
    assert of(states, min_off_s=180.0).short_offs == 1
    assert of(states, min_off_s=180.1).short_offs == 2
    assert of(states).short_offs == 0


def test_power_above_a_threshold_is_on():
    found = of([5.0, 5.0, 1400.0, 1380.0, 5.0, 200.0], threshold=200.0)
    assert (found.starts, found.on_s, found.mean_on_s) == (2, 180.0, 120.0)


def test_a_run_belongs_to_the_window_in_which_it_ends_and_a_start_to_its_own():
    states = [0, 0, 1, 1, 1, 1, 0, 0, 1, 0]
    first, second = of(states, end=4), of(states, start=4)
    assert (first.starts, second.starts) == (1, 1)
    assert math.isnan(first.mean_on_s)
    assert second.mean_on_s == pytest.approx((240 + 60) / 2)
    assert (first.on_s, second.on_s) == (120.0, 180.0)


def test_nothing_is_known_behind_a_gap():
    # Off, five minutes missing, on: it came on unseen. The last reading before holds for two minutes.
    found = of([1, 0, None, None, None, None, None, 1, 1, 0, 1])
    assert found.starts == 1  # the last one
    assert found.covered_s == (1 + 2 + 4) * 60
    assert found.coverage == pytest.approx(7 / 11)
    assert math.isnan(found.mean_on_s)  # the run that began unseen has no length
    assert found.mean_off_s == 60.0
    assert found.starts_per_hour == pytest.approx(60 / 7)


def test_a_gap_inside_a_run_leaves_it_without_a_length():
    found = of([0, 1, None, None, None, None, 1, 0])
    assert (found.starts, found.on_s) == (1, 180.0)
    assert math.isnan(found.mean_on_s)


def test_nan_is_a_sample_that_never_came():
    assert of([0, 1, math.nan, 1, 0]) == of([0, 1, None, 1, 0])


def test_a_state_that_is_sent_on_change_holds_for_the_longest_gap():
    found = cycling([0, 30 * MINUTE, 40 * MINUTE], [1, 0, 1], 0, 60 * MINUTE, 30 * MINUTE)
    assert (found.starts, found.on_s, found.coverage) == (1, 3000.0, 1.0)


def test_little_or_nothing():
    for found in (of([]), of([], end=10), of([None] * 5)):
        assert (found.starts, found.on_s, found.covered_s, found.short_offs) == (0, 0.0, 0.0, 0)
        assert math.isnan(found.duty)
        assert math.isnan(found.starts_per_hour)
        assert math.isnan(found.mean_on_s)
        assert math.isnan(found.shortest_off_s)
    one = of([1], end=10)
    assert (one.starts, one.duty, one.covered_s) == (0, 1.0, 120.0)
    assert math.isnan(of([]).coverage)


@given(st.lists(st.sampled_from([0, 1, 0, 1, None]), max_size=60), st.integers(0, 60), st.integers(1, 4))
def test_against_a_walk_through_the_samples(states, start, gap):
    start = min(start, len(states))
    found = of(states, start=start, gap=gap, min_off_s=150.0)
    starts = on = covered = 0
    lengths = {0: [], 1: []}
    for n in range(start, len(states)):
        held = next((states[n - back] for back in range(gap) if n >= back and states[n - back] is not None), None)
        covered += held is not None
        on += held == 1
    last = last_at = since = None
    for n, state in enumerate(states):
        if state is None:
            continue
        joined = last is not None and n - last_at <= gap
        if joined and state != last:
            if n >= start:
                starts += state == 1
                if since is not None:
                    lengths[last].append((n - since) * 60.0)
            since = n
        elif not joined:
            since = None
        last, last_at = state, n
    assert (found.starts, found.on_s, found.covered_s) == (starts, on * 60.0, covered * 60.0)
    for state, mean, shortest in (
        (1, found.mean_on_s, found.shortest_on_s),
        (0, found.mean_off_s, found.shortest_off_s),
    ):
        if lengths[state]:
            assert mean == pytest.approx(np.mean(lengths[state]))
            assert shortest == min(lengths[state])
        else:
            assert math.isnan(mean)
    assert found.short_offs == sum(one < 150.0 for one in lengths[0])


def test_wrong_calls():
    with pytest.raises(ValueError, match="min_off_s is -1"):
        of([0, 1], min_off_s=-1.0)
    with pytest.raises(ValueError, match="min_off_s is nan"):
        of([0, 1], min_off_s=math.nan)
    with pytest.raises(ValueError, match="time_us must ascend"):
        cycling([1, 0], [0, 1], 0, 1, 1)
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        cycling([0, 1], [0, 1], 0, 1, 0)
    with pytest.raises(ValueError, match="before it starts"):
        cycling([0, 1], [0, 1], 1, 0, 1)
