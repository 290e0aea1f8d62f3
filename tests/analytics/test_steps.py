"""Events and steps: found where they were put, as large as they were made."""

import math

import numpy as np
import pytest
from scipy import stats

from analytics.events import Event, counted_events, joined, switched_events
from analytics.step_size import step_size
from analytics.steps import NORMAL_SPREAD, scatter, steps_found

MINUTE = 60_000_000
GAP = 5 * MINUTE


def minutes(count):
    return np.arange(count) * MINUTE


def test_pulses_with_mixing_between_are_one_dose():
    counter = np.cumsum([0, 0, 20, 0, 0, 20, 0, 0, 0, 0, 0, 0, 6])
    found = counted_events(minutes(13), counter, join_us=3 * MINUTE)
    assert [(one.start_us // MINUTE, one.end_us // MINUTE, one.amount) for one in found] == [(1, 5, 40), (11, 12, 6)]


def test_a_counter_that_was_reset_or_rolled_over_counts_on():
    found = counted_events(minutes(4), [90.0, 95.0, 3.0, 3.0], 0)
    assert [one.amount for one in found] == [8.0]  # 5, then 3 since a reset
    found = counted_events(minutes(3), [90.0, 98.0, 3.0], 0, rolls_over_at=100.0)
    assert [one.amount for one in found] == [13.0]


def test_missing_counts_are_bridged_by_what_was_counted_meanwhile():
    found = counted_events(minutes(5), [0.0, np.nan, np.nan, 20.0, 20.0], 0)
    assert found == [Event(0, 3 * MINUTE, 20.0)]


def test_a_switch_tells_when_but_not_how_much():
    found = switched_events(minutes(12), [0, 1, 1, 0, 0, 0, 0, 1, 0, 0, np.nan, 1], join_us=0)
    assert [(one.start_us // MINUTE, one.end_us // MINUTE) for one in found] == [(0, 3), (6, 8), (9, 11)]
    assert all(math.isnan(one.amount) for one in found)
    assert switched_events([0], [1], 0) == [Event(0, 0)]


def test_nothing_happened():
    for nothing in (counted_events([], [], 0), counted_events([0], [5.0], 0), switched_events([], [], 0),
                    counted_events(minutes(5), [5.0] * 5, 0), switched_events(minutes(3), [0, 0, 0], 0),
                    steps_found([], [], MINUTE, 1.0, GAP), steps_found([0], [1.0], MINUTE, 1.0, GAP)):  # fmt: skip
        assert nothing == []


def test_joined_events_add_up_in_any_order():
    first, second, third = Event(0, 10, 1.0), Event(12, 15, 2.0), Event(40, 50, 4.0)
    assert joined([third, first, second], 2) == [Event(0, 15, 3.0), third]
    assert joined([Event(0, 30, 1.0), Event(5, 6, 1.0)], 0) == [Event(0, 30, 2.0)]


def test_scatter_by_hand():
    # Differences of 0, 1, 2 ... 100 have the quartiles 25 and 75; two readings' scatter is in each.
    assert scatter(np.cumsum([0.0, *range(101)])) == pytest.approx(50.0 / 1.349 / 2**0.5, rel=1e-12)


def test_scatter_is_the_noise_and_not_the_steps():
    random = np.random.default_rng(5)
    value = random.normal(0, 0.4, 4000) + np.where(np.arange(4000) % 400 < 200, 0.0, 7.0)
    assert scatter(value) == pytest.approx(0.4, rel=0.05)  # quartiles of 4,000 differences scatter by 2 %
    assert math.isnan(scatter([1.0, np.nan, 2.0]))


def level(ramps, count=1440, per_minute=-0.033, noise=0.0, seed=2):
    """A reservoir that falls steadily, with ramps (minute, litres, minutes it takes)."""
    at = np.arange(count)
    value = 216.0 + per_minute * at
    for start, litres, takes in ramps:
        value = value + litres * np.clip((at - start) / takes, 0.0, 1.0)
    return minutes(count), value + np.random.default_rng(seed).normal(0, noise, count) if noise else value


def test_top_ups_and_drains_are_found_where_they_were():
    ramps = [(200, 7.0, 14), (520, 6.5, 1), (900, -20.0, 10), (1200, 7.5, 15)]
    at, value = level(ramps, noise=0.36)
    found = steps_found(at, value, 20 * MINUTE, 2.4, GAP)
    assert len(found) == len(ramps)
    for one, (start, litres, takes) in zip(found, ramps, strict=True):
        assert abs(one.start_us / MINUTE - start) <= 3  # the scatter of 0.36 L blurs the edges
        assert abs(one.end_us / MINUTE - start - takes) <= 3
        assert one.amount == pytest.approx(litres, abs=1.5)  # rough: drift, and edges some minutes off


def test_drift_and_noise_are_no_steps():
    for seed in range(10):
        assert steps_found(*level([], noise=0.36, seed=seed), 20 * MINUTE, 2.4, GAP) == []


def test_no_step_is_seen_across_silence():
    at, value = level([(200, 7.0, 1)])
    kept = (at < 195 * MINUTE) | (at > 205 * MINUTE)
    assert steps_found(at[kept], value[kept], 20 * MINUTE, 2.4, GAP) == []
    assert len(steps_found(at[kept], value[kept], 20 * MINUTE, 2.4, 15 * MINUTE)) == 1


def test_missing_values_are_as_if_they_had_not_come():
    at, value = level([(200, 7.0, 1)])
    value[[100, 198, 203]] = np.nan
    [one] = steps_found(at, value, 20 * MINUTE, 2.4, GAP)
    assert one.amount == pytest.approx(7.0, abs=0.5)  # drift of some ten minutes is 0.33 L


def test_size_of_a_step_with_drift_on_both_sides():
    at, value = level([(200, 7.0, 10)])
    found = step_size(at, value, 200 * MINUTE, 210 * MINUTE, 150 * MINUTE, 260 * MINUTE, 0)
    assert found.value == pytest.approx(7.0, abs=1e-9)  # without scatter it is what was put in


def test_size_is_a_least_squares_fit_with_an_indicator():
    # The same model by numpy's general least squares: level, common slope, step.
    at, value = level([(200, 7.0, 10)], noise=0.3, seed=11)
    chosen = ((at >= 150 * MINUTE) & (at <= 200 * MINUTE)) | ((at > 215 * MINUTE) & (at <= 260 * MINUTE))
    design = np.stack([np.ones(chosen.sum()), at[chosen] / MINUTE - 205, at[chosen] > 205 * MINUTE], axis=1)
    fit, squares, *_ = np.linalg.lstsq(design, value[chosen], rcond=None)
    residual = value[chosen] - design @ fit
    degrees = len(residual) - 3
    error = math.sqrt(squares[0] / degrees * np.linalg.inv(design.T @ design)[2, 2])
    left, right = residual[:51], residual[51:]
    likeness = max((left[:-1] @ left[1:] + right[:-1] @ right[1:]) / squares[0], 0.0)
    widening = (1 + likeness) / (1 - likeness)
    found = step_size(at, value, 200 * MINUTE, 210 * MINUTE, 150 * MINUTE, 260 * MINUTE, 5 * MINUTE)
    assert found.value == pytest.approx(fit[2], rel=1e-9)
    expected = stats.t.ppf(0.975, degrees / widening) * error * math.sqrt(widening)
    assert found.plus_or_minus == pytest.approx(expected, rel=1e-4)


def test_the_interval_of_a_step_holds_the_truth():
    held = 0
    for seed in range(300):
        at, value = level([(60, 7.0, 10)], count=130, noise=0.36, seed=seed)
        found = step_size(at, value, 60 * MINUTE, 70 * MINUTE, 0, 130 * MINUTE, 0)
        held += abs(found.value - 7.0) <= found.plus_or_minus
    assert 0.91 <= held / 300 <= 0.99  # 95 % is asked for; 300 trials scatter by 1.3 %


def test_unsure_steps_are_nan():
    at, value = level([(200, 7.0, 1)])
    assert math.isnan(
        step_size(at, value, 200 * MINUTE, 201 * MINUTE, 197 * MINUTE, 260 * MINUTE, 0).value
    )  # 4 readings
    assert math.isnan(step_size(at, value, 200 * MINUTE, 201 * MINUTE, 150 * MINUTE, 260 * MINUTE, 55 * MINUTE).value)
    assert math.isnan(step_size([], [], 0, 1, -5, 5, 0).value)
    # A fall that turns into a rise during the event: what of it was the step?
    at, value = level([(200, 7.0, 1)], noise=0.05)
    turned = np.where(at < 200 * MINUTE, 0.0, (at / MINUTE - 200) * 0.2)
    assert math.isnan(step_size(at, value - 7.0 * (at > 200 * MINUTE) + turned, 200 * MINUTE, 230 * MINUTE,
                                140 * MINUTE, 290 * MINUTE, 0).value)  # fmt: skip
    # The same turn beside a large step does not matter.
    assert step_size(at, value + 60.0 * (at > 200 * MINUTE) + turned, 200 * MINUTE, 201 * MINUTE, 190 * MINUTE,
                     212 * MINUTE, 0).value == pytest.approx(67.0, abs=2.0)  # fmt: skip


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: counted_events([0], [1.0], -1), "join_us is -1: give the longest pause within one event"),
        (lambda: switched_events([0], [1.0], -1), "join_us is -1"),
        (lambda: counted_events([1, 0], [1.0, 1.0], 0), "time_us must ascend"),
        (lambda: steps_found([0], [1.0], 0, 1.0, GAP), "window_us is 0"),
        (lambda: steps_found([0], [1.0], MINUTE, 0.0, GAP), "least 0.0"),
        (lambda: steps_found([0], [1.0], MINUTE, 1.0, 0), "max_gap_us 0: give all above 0"),
        (lambda: step_size([], [], 0, 1, 0, 1, 0, confidence=1.0), "confidence is 1.0"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_the_quartiles_of_normal_noise():
    assert pytest.approx(2 * stats.norm.ppf(0.75), abs=5e-4) == NORMAL_SPREAD  # four digits
