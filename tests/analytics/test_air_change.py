"""Air-change rate: the decay formula of ASTM E741, scipy's regression, and decays that do not tell."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from analytics.air_change import Doubt, Switch, air_change_rate, decays, smallest_difference

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def decay(rate, minutes=180, start=1600.0, background=420.0, noise=0.0, seed=1):
    times = np.arange(0, minutes + 1) * MINUTE
    levels = background + (start - background) * np.exp(-rate * times / HOUR)
    return times, levels + noise * np.random.default_rng(seed).standard_normal(len(times))


def test_two_levels(reference):
    table = reference("tracer_decay")
    for row in table:
        times = [0, int(row["hours"] * HOUR)]
        found = air_change_rate(times, [row["first"], row["second"]], row["background"])
        assert found.per_h == pytest.approx(row["per_h"], abs=6e-5)


def test_rounded_series_of_one_air_change_an_hour():
    # exp(-t) on 1580 ppm above 420, printed to 0.1 ppm (arithmetic): within 0.001.
    times = [0, HOUR // 4, HOUR // 2, 3 * HOUR // 4, HOUR]
    found = air_change_rate(times, [2000, 1650.5, 1378.3, 1166.3, 1001.2], 420)
    assert found.per_h == pytest.approx(1.0, abs=1e-3)
    assert found.r_squared == pytest.approx(1.0, abs=1e-6)


@given(st.floats(0.1, 3.0), st.integers(0, 50))
def test_fit_and_its_error_are_scipys(rate, seed):
    times, levels = decay(rate, minutes=40, noise=5.0, seed=seed)
    found = air_change_rate(times, levels, 420.0)
    fit = linregress(times / HOUR, np.log(levels - 420.0))
    assert found.per_h == pytest.approx(-fit.slope, rel=1e-9)
    assert found.standard_error_per_h == pytest.approx(fit.stderr, rel=1e-6)
    assert found.r_squared == pytest.approx(fit.rvalue**2, rel=1e-9)


def test_a_good_decay_is_usable():
    found = air_change_rate(*decay(0.5, noise=5.0), 420.0, offset_accuracy=20.0)
    assert found.usable
    assert found.per_h == pytest.approx(0.5, abs=2 * found.standard_error_per_h)
    assert (found.samples, found.duration_s) == (181, 3 * 3600)


def test_standard_error_is_the_spread_of_repeated_decays():
    fits = [air_change_rate(*decay(0.5, noise=5.0, seed=seed), 420.0) for seed in range(200)]
    # 200 draws tell a spread to 5 % (one sigma); noise grows along the decay, which the regression does not know
    spread = np.std([one.per_h for one in fits])
    assert np.mean([one.standard_error_per_h for one in fits]) == pytest.approx(spread, rel=0.25)


def test_give_or_take_covers_a_wrong_background():
    times, levels = decay(0.5)
    for wrong in (-40.0, 40.0):
        found = air_change_rate(times, levels, 420.0 + wrong, offset_accuracy=40.0)
        assert abs(found.per_h - 0.5) < 1.15 * found.give_or_take_per_h  # first order
        assert abs(found.per_h - 0.5) > 0.02  # and there was something to cover


def test_a_gain_error_cancels():
    times, levels = decay(0.5)
    assert air_change_rate(times, 1.2 * levels, 1.2 * 420.0).per_h == pytest.approx(0.5, rel=1e-9)


def test_background_may_change():
    times, levels = decay(0.5)
    background = np.linspace(400.0, 460.0, len(times))
    found = air_change_rate(times, levels - 420.0 + background, background)
    assert found.per_h == pytest.approx(0.5, rel=1e-9)


def doubts(times, levels, background=420.0, **more):
    return set(air_change_rate(times, levels, background, **more).doubts)


def test_each_doubt():
    times, levels = decay(0.5)
    assert doubts(times, levels) == set()
    assert doubts(times[:20], levels[:20]) == {Doubt.TOO_SHORT}
    assert doubts(times[::30], levels[::30]) == {Doubt.TOO_FEW}
    assert doubts(times, levels, np.nan) == {Doubt.BACKGROUND_UNKNOWN}
    assert doubts(times, levels, doubts=[Doubt.LIT, Doubt.DOOR]) == {Doubt.DOOR, Doubt.LIT}
    assert doubts(times, levels[::-1]) == {Doubt.NOT_FALLING}
    assert doubts(*decay(0.5, start=560.0)) == {Doubt.SMALL_DIFFERENCE}
    assert doubts(*decay(0.02, noise=30.0)) >= {Doubt.NOT_LINEAR}
    # a source that stays on: the level tends to another one than the background
    assert Doubt.NOT_LINEAR in doubts(times, levels + 300.0)
    # poor mixing: quick at first, slow later
    two = 420.0 + 590.0 * (np.exp(-3.0 * times / HOUR) + np.exp(-0.2 * times / HOUR))
    assert Doubt.NOT_LINEAR in doubts(times, two)
    # four times its give or take above the background, and rough: 23 % by the offset, 14 % by the fit
    few = np.arange(12) * 3 * MINUTE
    rough = 420.0 + 285.0 * np.exp(-0.15 * few / HOUR) * (1 + 0.004 * (-1) ** np.arange(12))
    assert doubts(few, rough, offset_accuracy=64.0) == {Doubt.UNCERTAIN}
    assert doubts(few, rough, offset_accuracy=30.0) == set()


def test_a_sample_below_the_background_gives_no_rate():
    times, levels = decay(0.5)
    levels[100] = 419.0
    found = air_change_rate(times, levels, 420.0)
    assert math.isnan(found.per_h)
    assert {Doubt.SMALL_DIFFERENCE, Doubt.NOT_FALLING} <= set(found.doubts)


def test_nothing_one_sample_and_missing_ones():
    assert air_change_rate([], [], 420.0).doubts == (Doubt.TOO_FEW,)
    one = air_change_rate([0], [900.0], 420.0)
    assert math.isnan(one.per_h)
    assert not one.usable
    times, levels = decay(0.5)
    levels[10:20] = np.nan
    found = air_change_rate(times, levels, 420.0)
    assert (found.samples, found.per_h) == (171, pytest.approx(0.5, rel=1e-9))


def test_refused_calls():
    with pytest.raises(ValueError, match="offset_accuracy is -1"):
        air_change_rate([0, 1], [1.0, 1.0], 420.0, offset_accuracy=-1)
    with pytest.raises(ValueError, match="one value, or one a sample"):
        air_change_rate([0, 1], [1.0, 1.0], [420.0] * 3)
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        decays([0, 1], [1.0, 1.0], 420.0, [], 0)
    with pytest.raises(ValueError, match="must ascend"):
        decays([1, 1], [1.0, 1.0], 420.0, [], 1)


def switch(rows, when_on=Doubt.DOSING, when_unknown=Doubt.DOSING_UNKNOWN, age=3 * MINUTE):
    times = np.array([time for time, _ in rows], np.int64)
    return Switch(times, np.array([on for _, on in rows], float), age, when_on, when_unknown)


def every_minute(state):
    return switch([(n * MINUTE, on) for n, on in enumerate(state)])


def found(times, levels, switches, **more):
    return [
        (one.first, one.last, one.seen_us // MINUTE)
        for one in decays(times, levels, 420.0, switches, 3 * MINUTE, **more)
    ]


def test_a_night_is_found_from_ten_minutes_after_the_valve_closed():
    times, levels = decay(0.3)
    valve = every_minute([1] * 30 + [0] * 120 + [1] * 31)
    assert found(times, levels, [valve]) == [(40, 149, 150)]  # closed at 30, the sample at 150 sees it open


def test_nothing_is_told_before_something_ends_it():
    times, levels = decay(0.3)
    assert found(times, levels, [every_minute([1] * 30 + [0] * 151)]) == []


def test_a_door_cuts_a_night_in_two():
    times, levels = decay(0.2)
    door = every_minute([0] * 70 + [1] + [0] * 109 + [1])
    assert found(times, levels, [door]) == [(10, 69, 70), (81, 179, 180)]


def test_a_switch_that_is_on_between_two_samples_is_seen():
    times, levels = decay(0.2)
    door = switch(sorted([(n * MINUTE, 0) for n in range(181)] + [(90 * MINUTE + 5, 1), (90 * MINUTE + 6, 0)]))
    times, levels = times[:-1], levels[:-1]
    assert found(times, levels, [door]) == [(10, 90, 91)]


def test_it_ends_near_the_background():
    times, levels = decay(1.0, minutes=600)
    floor = smallest_difference(30.0)
    assert (smallest_difference(0.0), floor) == (100.0, 120.0)
    first_below = int(np.argmax(levels < 420.0 + floor))
    assert found(times, levels, [], offset_accuracy=30.0) == [(10, first_below - 1, first_below)]


def test_a_gap_ends_it_and_short_ones_are_left_out():
    times, levels = decay(0.2)
    kept = np.r_[0:100, 110:145, 160:181]
    assert found(times[kept], levels[kept], []) == [(10, 99, 110)]


def test_only_the_last_twelve_hours_count():
    times, levels = decay(0.05, minutes=20 * 60, start=3000.0)
    state = [0] * 1200 + [1]
    assert found(times, levels, [every_minute(state)]) == [(480, 1199, 1200)]


def test_a_silent_switch_leaves_its_doubt():
    times, levels = decay(0.2)
    door = switch([(n * MINUTE, 0) for n in range(60)] + [(180 * MINUTE, 1)], Doubt.DOOR, Doubt.DOOR_UNKNOWN)
    [one] = decays(times, levels, 420.0, [door], 3 * MINUTE)
    assert one.doubts == (Doubt.DOOR_UNKNOWN,)
    assert decays([], [], 420.0, [door], 3 * MINUTE) == []


@given(st.lists(st.booleans(), min_size=100, max_size=100), st.integers(0, 1000))
def test_where_the_series_begins_changes_nothing(flips, cut):
    """Seen from 12 h and the settling before a decay's end, it is the same decay: tenth parts of hours, 100 h."""
    times, levels = decay(0.02, minutes=1200, start=5000.0)
    times = times * 5
    state = np.repeat(flips, 12)[:1200].astype(float) * (np.arange(1200) % 40 == 0)
    valve = Switch(times[:1200], state, 15 * MINUTE, Doubt.DOSING, Doubt.DOSING_UNKNOWN)
    whole = decays(times, levels, 420.0, [valve], 15 * MINUTE)
    begin = times[cut] - 13 * HOUR
    kept = times >= begin
    part = decays(times[kept], levels[kept], 420.0, [valve], 15 * MINUTE)
    late = [one for one in whole if one.seen_us >= times[cut]]
    shift = int(np.argmax(kept))
    assert [(one.first + shift, one.last + shift, one.seen_us) for one in part if one.seen_us >= times[cut]] == [
        (one.first, one.last, one.seen_us) for one in late
    ]
