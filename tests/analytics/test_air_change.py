"""Air-change rate: the decay formula of ASTM E741, scipy's regression, and decays that do not tell."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import linregress

from analytics.air_change import Doubt, air_change_rate, air_change_rate_with_source

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
    # exp(-t) on 1580 ppm above 420, printed to 0.1 ppm; NumPy's polyfit of ln(C - 420) has the slope -1.00009.
    times = [0, HOUR // 4, HOUR // 2, 3 * HOUR // 4, HOUR]
    found = air_change_rate(times, [2000, 1650.5, 1378.3, 1166.3, 1001.2], 420)
    assert found.per_h == pytest.approx(1.00009, abs=6e-6)
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
    with pytest.raises(ValueError, match="must ascend"):
        air_change_rate_with_source([1, 1], [1.0, 1.0])


def breathing(rate, level=560.0, fall=320.0, minutes=360, noise=0.0, seed=1):
    times = np.arange(0, minutes + 1) * MINUTE
    rough = noise * np.random.default_rng(seed).standard_normal(len(times))
    return times, level + fall * np.exp(-rate * times / HOUR) + rough


@given(st.floats(0.2, 3.0), st.integers(0, 50))
def test_fit_with_a_source_and_its_error_are_scipys(rate, seed):
    times, levels = breathing(rate, noise=5.0, seed=seed)
    found = air_change_rate_with_source(times, levels)
    hours = times / HOUR
    best, spread = curve_fit(lambda t, level, fall, a: level + fall * np.exp(-a * t), hours, levels, (500, 300, rate))
    assert found.per_h == pytest.approx(best[2], rel=1e-4)
    assert found.tends_to == pytest.approx(best[0], rel=1e-4)
    assert found.standard_error_per_h == pytest.approx(np.sqrt(spread[2, 2]), rel=1e-3)


def test_plants_in_the_dark_do_not_fool_the_fit_with_a_source():
    """A source that keeps the room 140 ppm above the 420 outdoors (balance in closed form)."""
    times, levels = breathing(0.25, noise=5.0)
    assert air_change_rate(times, levels, 420.0).per_h < 0.15
    found = air_change_rate_with_source(times, levels)
    assert found.usable
    assert found.per_h == pytest.approx(0.25, abs=found.give_or_take_per_h)
    assert found.tends_to == pytest.approx(560.0, abs=15.0)


@pytest.mark.parametrize("count", [10, 20, 60])
def test_give_or_take_holds_the_rate_as_often_as_the_docs_say(count):
    """Noise of 5 ppm on a decay from 1600 ppm with one air change an hour, for one hour (two for 60 readings)."""
    random = np.random.default_rng(2)
    hours = np.linspace(0.0, 2.0 if count == 60 else 1.0, count)
    times = (hours * HOUR).astype(np.int64)
    first = second = 0
    for _ in range(400):
        levels = 420.0 + 1180.0 * np.exp(-hours) + random.normal(0.0, 5.0, count)
        by_logarithm, by_curve = air_change_rate(times, levels, 420.0), air_change_rate_with_source(times, levels)
        first += abs(by_logarithm.per_h - 1.0) <= by_logarithm.give_or_take_per_h
        second += abs(by_curve.per_h - 1.0) <= by_curve.give_or_take_per_h
    # 400 trials tell a share of 0.9 to 0.03 and one of 0.95 to 0.022 (twice the binomial standard error)
    assert first / 400 == pytest.approx(0.915, abs=0.015 + 0.03)
    assert second / 400 == pytest.approx(0.945, abs=0.015 + 0.022)


def test_errors_that_neighbours_share_widen_the_give_or_take():
    rng = np.random.default_rng(4)
    rates, widths, narrow = [], [], []
    for _ in range(200):
        times, levels = breathing(0.4)
        wander = np.zeros(len(times))
        for n, shock in enumerate(3.0 * rng.standard_normal(len(times))):
            wander[n] = (0.8 * wander[n - 1] if n else 0.0) + shock
        found = air_change_rate_with_source(times, levels + wander)
        rates.append(found.per_h)
        widths.append(found.give_or_take_per_h)
        narrow.append(2 * found.standard_error_per_h)
    off = np.abs(np.array(rates) - 0.4)
    assert 0.90 <= np.mean(off <= widths) <= 0.99  # two sigma cover 95 %
    assert np.mean(off <= narrow) < 0.65  # as if independent, they would be far too sure


def test_doubts_of_the_fit_with_a_source():
    assert air_change_rate_with_source(*breathing(0.25)).doubts == ()
    assert air_change_rate_with_source(*breathing(0.25, minutes=60, noise=5.0)).doubts == (Doubt.UNCERTAIN,)
    assert Doubt.NOT_LINEAR in air_change_rate_with_source(*breathing(0.5, fall=20.0, noise=20.0)).doubts
    assert Doubt.NOT_FALLING in air_change_rate_with_source(*breathing(0.25, fall=-200.0)).doubts
    assert Doubt.TOO_SHORT in air_change_rate_with_source(*breathing(3.0, minutes=20)).doubts
    few = air_change_rate_with_source(*(column[::60] for column in breathing(0.25)))
    assert Doubt.TOO_FEW in few.doubts
    assert math.isnan(few.per_h)
    assert Doubt.NOT_FALLING in air_change_rate_with_source(np.arange(60) * MINUTE, np.full(60, 900.0)).doubts
    assert Doubt.LIT in air_change_rate_with_source(*breathing(0.25), doubts=[Doubt.LIT]).doubts
    assert air_change_rate_with_source([], []).doubts == (Doubt.TOO_SHORT, Doubt.TOO_FEW, Doubt.NOT_FALLING)
    straight = air_change_rate_with_source(np.arange(60) * MINUTE, 900.0 - np.arange(60.0))
    assert not straight.usable
    times, levels = breathing(0.25)
    levels[5:9] = np.nan
    assert air_change_rate_with_source(times, levels).per_h == pytest.approx(0.25, rel=1e-6)
