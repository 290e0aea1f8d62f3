"""The excursion machine, by samples in and excursions out."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.excursions import INSIDE, Excursion, Rule, Stage, excursions, step
from tests.conftest import MINUTE_US, T0_US, samples

RULE = Rule(on_delay_us=3 * MINUTE_US, off_delay_us=2 * MINUTE_US, deadband=2.0, max_gap_us=3 * MINUTE_US)
LOW, HIGH = 50.0, 75.0


def run(text, rule=RULE, low=LOW, high=HIGH):
    """Return what a line of samples gives, as short rows: side, onset and end in minutes, extreme."""
    rows = samples(text)
    time_us = np.array([row[0] for row in rows], np.int64)
    ended, state = excursions(time_us, np.array([row[1] for row in rows]), low, high, rule)
    under_way = [state.open_excursion] if state.open_excursion else []
    return [(one.side, minute(one.onset_us), minute(one.end_us), one.extreme) for one in ended + under_way]


def minute(time_us):
    return None if time_us is None else (time_us - T0_US) // MINUTE_US


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("60*10", []),
        ("60 80*3 60*5", []),  # outside for 2 min: shorter than the on-delay
        ("60 80*4 60*5", [("high", 1, 5, 80.0)]),  # outside from minute 1 to 4, back at 5
        ("60 40*4 60*5", [("low", 1, 5, 40.0)]),
        ("60 80*4 60", [("high", 1, None, 80.0)]),  # back, but not for the off-delay yet
        ("60 80*9", [("high", 1, None, 80.0)]),  # still outside
        ("60 80 85 90 80 60*3", [("high", 1, 5, 90.0)]),  # the extreme is the furthest
        ("60 80*4 74*20", [("high", 1, None, 80.0)]),  # inside, but within the deadband: not back
        ("60 80*4 73*3", [("high", 1, 5, 80.0)]),  # exactly the deadband inside: back
        ("60 80*4 60 80 60*3", [("high", 1, 7, 80.0)]),  # a return that did not last
        ("60 80*2 60 80*2 60", []),  # never long enough at a stretch
        ("80*4 40*4 60*3", [("high", 0, 4, 80.0), ("low", 4, 8, 40.0)]),  # straight through
        ("60 80*4 _*30 80", [("high", 1, None, 80.0)]),  # no data never ends an excursion
        ("60 80*4 _*30 60", [("high", 1, None, 80.0)]),  # one reading back after a gap is not a return yet
        ("60 80*4 60 _*30 60 60", [("high", 1, None, 80.0)]),  # a gap does not confirm a return
        ("60 80*4 60 _*30 60*3", [("high", 1, 36, 80.0)]),
        ("60 80 _*30 80*2", []),  # a gap does not confirm an onset
        ("60 80 _*30 80*4", [("high", 32, None, 80.0)]),
    ],
)
def test_samples_in_excursions_out(text, expected):
    assert run(text) == expected


def test_without_delays_every_crossing_counts_at_once():
    rule = Rule(0, 0, 0.0, 3 * MINUTE_US)
    assert run("60 80 60 40 60", rule) == [("high", 1, 2, 80.0), ("low", 3, 4, 40.0)]


def test_nan_is_no_data():
    assert run("60 80*4 nan nan nan nan nan nan") == [("high", 1, None, 80.0)]
    assert step(INSIDE, T0_US, float("nan"), LOW, HIGH, RULE) == (INSIDE, None)


def test_the_dose_is_the_integral_of_the_deviation():
    """By hand: deviations 0 (before), 5, 5, 5, 5, 0 at steps of 1 h; trapezoids from the onset: 5+5+5+2.5."""
    hour = 60 * MINUTE_US
    rule = Rule(2 * hour, 0, 0.0, 3 * hour)
    time_us = np.arange(7) * hour
    [one], _ = excursions(time_us, np.array([60, 80, 80, 80, 80, 60, 60.0]), LOW, HIGH, rule)
    assert one.dose == pytest.approx(17.5)


def test_a_gap_adds_no_dose():
    hour = 60 * MINUTE_US
    rule = Rule(0, 0, 0.0, 2 * hour)
    time_us = np.array([0, 1, 11, 12]) * hour
    _, state = excursions(time_us, np.array([80, 80, 80, 80.0]), LOW, HIGH, rule)
    assert state.open_excursion is not None
    assert state.open_excursion.dose == pytest.approx(10.0)


def test_limits_may_change_with_time():
    """A reading of 22 is inside while lit (20 to 24) and outside in the dark (16 to 20)."""
    high = np.array([24.0] * 5 + [20.0] * 6)
    assert run("22*11", low=np.full(11, 16.0), high=high) == [("high", 5, None, 22.0)]


def test_no_limits_end_what_was_under_way():
    low = np.array([50.0] * 5 + [-np.inf] * 4)
    high = np.array([75.0] * 5 + [np.inf] * 4)
    assert run("80*9", low=low, high=high) == [("high", 0, 5, 80.0)]


@given(
    st.lists(st.sampled_from([40.0, 49.9, 51.0, 53.0, 60.0, 73.5, 76.0, 90.0, float("nan")]), max_size=60),
    st.lists(st.integers(1, 6), min_size=60, max_size=60),
    st.integers(0, 60),
)
def test_going_on_from_a_state_is_the_same_as_one_run(values, steps, cut):
    time_us = np.cumsum(steps[: len(values)], dtype=np.int64) * MINUTE_US
    value = np.array(values)
    whole, end = excursions(time_us, value, LOW, HIGH, RULE)
    first, state = excursions(time_us[:cut], value[:cut], LOW, HIGH, RULE)
    second, state = excursions(time_us[cut:], value[cut:], LOW, HIGH, RULE, state)
    assert first + second == whole
    assert state == end


@given(st.lists(st.sampled_from([40.0, 51.0, 53.0, 60.0, 73.5, 76.0, 90.0]), max_size=60))
def test_excursions_are_in_order_and_never_overlap(values):
    time_us = np.arange(len(values), dtype=np.int64) * MINUTE_US
    ended, state = excursions(time_us, np.array(values), LOW, HIGH, RULE)
    found: list[Excursion] = ended + ([state.open_excursion] if state.open_excursion else [])
    for one, other in pairwise(found):
        assert one.end_us is not None
        assert one.onset_us < one.end_us <= other.onset_us
    assert (state.stage is Stage.INSIDE) == (state.stretch is None)
    assert all(one.last_us - one.onset_us >= RULE.on_delay_us for one in found)


def test_wrong_calls_are_refused():
    with pytest.raises(ValueError, match="one time a reading"):
        excursions(np.array([1, 2]), np.array([1.0]), 0, 1, RULE)
    with pytest.raises(ValueError, match="ascend"):
        excursions(np.array([2, 1]), np.array([1.0, 1.0]), 0, 1, RULE)
    with pytest.raises(ValueError, match="max_gap_us"):
        Rule(0, 0, 0.0, 0)


@pytest.mark.parametrize("seed", range(40))
def test_long_runs_outside_are_what_step_after_step_gives_to_the_bit(seed):
    draw = np.random.default_rng(seed)
    size = 600
    time_us = np.cumsum(draw.choice([1, 1, 1, 1, 2, 5], size)) * MINUTE_US
    value = np.cumsum(draw.normal(0, 0.4, size)) + draw.normal(0, 0.05, size)
    value[draw.random(size) < 0.02] = np.nan
    low, high = -0.5 + 0.1 * np.sin(np.arange(size)), np.where(draw.random(size) < 0.5, 0.5, 0.6)
    rule = Rule(int(draw.integers(0, 4)) * MINUTE_US, int(draw.integers(0, 4)) * MINUTE_US, 0.1, 3 * MINUTE_US)
    state, ended = INSIDE, []
    for row in zip(time_us.tolist(), value.tolist(), low.tolist(), high.tolist(), strict=True):
        state, excursion = step(state, *row, rule)
        ended += [] if excursion is None else [excursion]
    assert excursions(time_us, value, low, high, rule) == (ended, state)
    cut = int(draw.integers(1, size))
    first, between = excursions(time_us[:cut], value[:cut], low[:cut], high[:cut], rule)
    second, at_end = excursions(time_us[cut:], value[cut:], low[cut:], high[cut:], rule, between)
    assert (first + second, at_end) == (ended, state)


def test_the_limits_at_the_onset_and_at_the_extreme_are_both_kept():
    """Dark until the fifth reading with 22 allowed, lit from then on with 26."""
    time_us = np.arange(40) * MINUTE_US
    high = np.where(np.arange(40) < 5, 22.0, 26.0)
    for value, extreme, limit in (
        (np.where(np.arange(40) < 5, 23.0, 29.0), 29.0, 26.0),
        (24.0 + 3.0 * (high > 22), 24.0, 22.0),
    ):
        _, state = excursions(time_us, value, 10.0, high, Rule(0, 0, 0.0, 3 * MINUTE_US))
        found = state.open_excursion
        assert found is not None
        assert (found.extreme, found.limit, found.onset_limit) == (extreme, limit, 22.0)
