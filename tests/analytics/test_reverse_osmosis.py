"""Reverse osmosis against the published table of temperature factors, and by hand."""

import math

import numpy as np
import pytest

from analytics.reverse_osmosis import (
    expected_output,
    normalised_output_share,
    normalised_output_share_uncertainty,
    running_output,
    temperature_correction_factor,
)
from analytics.water_volumes import Litres, litres_from_meter
from farm.units import LITRES_PER_US_GALLON

MINUTE = 60_000_000


def test_the_published_table(reference):
    table = reference("temperature_correction_factor")
    ours = temperature_correction_factor(table["feed_temperature"])
    np.testing.assert_allclose(ours, table["factor"], rtol=0, atol=5e-4)


@pytest.mark.parametrize(
    ("feed", "factor"), [(5.0, 2.0731748258), (20.0, 1.1887936430), (25.5, 0.9852702626), (35.0, 0.7500376818)]
)
def test_every_digit_of_the_formula(feed, factor):
    # k 2640 and 3020 K (from memory) in decimal arithmetic of 40 digits apart from the program; three decimals of the
    # published table do not tell 2640 from 2641.
    assert float(temperature_correction_factor(feed)) == pytest.approx(factor, rel=1e-9)


def test_examples():
    # A worked example for such membranes, seen in secondary copies: 1800 gal/d at 15 degC, factor 1.422, gives 1266.
    assert float(expected_output(1800.0, 15.0)) == pytest.approx(1266, abs=0.5)
    # Another table, with 1.47 at 15 degC: 1800 -> 1224 and 100 -> 68; the two tables differ by 3.4 %.
    assert float(expected_output(1800.0, 15.0)) == pytest.approx(1224, rel=0.035)
    assert float(expected_output(100.0, 15.0)) == pytest.approx(68, rel=0.035)


def test_flow_facts(reference):
    table = reference("water_flow_conversions")
    np.testing.assert_array_less(
        np.abs(table["us_gallons"] * LITRES_PER_US_GALLON - table["litres"]), table["digit"] * 0.501
    )
    per_hour = 300 * LITRES_PER_US_GALLON / 24
    assert per_hour == pytest.approx(47.32, abs=0.005)
    cold = float(expected_output(300.0, 10.0))  # gal/d
    assert cold == pytest.approx(175.3, abs=0.05)
    assert cold * LITRES_PER_US_GALLON == pytest.approx(663.7, abs=0.2)


def test_a_membrane_feels_the_cold_more_than_water_does(reference):
    CoolProp = pytest.importorskip("CoolProp.CoolProp")
    table = reference("water_viscosity_ratio")

    def viscosity(celsius):
        return CoolProp.PropsSI("V", "T", 273.15 + celsius, "P", 101_325, "Water")

    ratio = np.array([viscosity(one) / viscosity(25.0) for one in table["temperature"]])
    np.testing.assert_allclose(ratio, table["ratio"], rtol=0, atol=6e-5)
    assert np.all(temperature_correction_factor(table["temperature"]) > table["ratio"])


def test_share_is_the_inverse_of_the_expected_output():
    feed = np.array([0.0, 5.0, 15.0, 24.9, 25.0, 40.0, 45.0])
    np.testing.assert_allclose(normalised_output_share(0.9 * expected_output(700.0, feed), 700.0, feed), 0.9)
    assert float(temperature_correction_factor(25.0)) == pytest.approx(1.0, abs=1e-15)


def test_outside_of_what_is_known():
    assert np.isnan(temperature_correction_factor([-0.1, 45.1, math.nan])).all()
    assert np.isnan(normalised_output_share([1.0, 1.0, math.nan], [0.0, -1.0, 1.0], 20.0)).all()
    assert np.isnan(normalised_output_share_uncertainty(0.9, [-1.0, 46.0, math.nan], 0.02, 0.5)).all()
    with pytest.raises(ValueError, match="do not broadcast"):
        normalised_output_share([1.0, 2.0], [1.0, 2.0, 3.0], 20.0)


@pytest.mark.parametrize("feed", [6.0, 16.0, 27.0])
def test_uncertainty_against_random_errors(feed):
    # Monte Carlo (JCGM 101:2008), clear of the bend at 25 degC
    draw = np.random.default_rng(20_260_301).normal
    n = 200_000
    share = normalised_output_share(500.0 * draw(1.0, 0.02, n), 700.0, draw(feed, 0.4, n))
    middle = normalised_output_share(500.0, 700.0, feed)
    ours = float(normalised_output_share_uncertainty(middle, feed, 0.02, 0.4))
    assert ours == pytest.approx(float(share.std()), rel=0.02)


def blocks(*litres, seconds=600.0, covered=None):
    n = len(litres)
    covered = np.full(n, seconds) if covered is None else np.array(covered, float)
    return np.arange(n) * 10 * MINUTE, Litres(np.array(litres, float), covered, np.full(n, seconds))


def test_running_output_by_hand():
    found = running_output(*blocks(0, 2, 6, 7, 3, 0, 6, 6, 0), least_output=0.1)
    assert found.output == pytest.approx(0.65)  # 6 and 7 L in 10 min each; the run of two tells nothing
    assert found.blocks_us.tolist() == [20 * MINUTE, 30 * MINUTE]


def test_running_output_of_too_little():
    assert math.isnan(running_output(*blocks(), least_output=0.1).output)
    assert math.isnan(running_output(*blocks(6, 6), least_output=0.1).output)
    assert math.isnan(running_output(*blocks(6, 6, 6), least_output=0.7).output)
    assert running_output(*blocks(6, 6, 6), least_output=0.6).output == pytest.approx(0.6)  # the limit itself runs
    gap = running_output(*blocks(6, 6, 6, covered=[600, 300, 600]), least_output=0.1)
    assert math.isnan(gap.output)
    unknown = running_output(*blocks(6, math.nan, 6, 6, 6), least_output=0.1)
    assert unknown.blocks_us.tolist() == [30 * MINUTE]
    with pytest.raises(ValueError, match="give one each"):
        running_output([0], blocks(1, 2)[1], 0.1)
    with pytest.raises(ValueError, match="least_output is 0"):
        running_output(*blocks(1, 2), least_output=0)


def test_a_coarse_meter_over_a_day():
    """0.7 L/min for 3 h, counted in whole litres: stretches of 20 min hold 14 steps and find it to 2 %."""
    at = np.arange(1440) * MINUTE
    made = 0.7 * np.clip(np.arange(1440) - 613, 0, 180)
    edges = np.arange(0, 1440, 20) * MINUTE
    litres = litres_from_meter(at, np.floor(made), edges[:-1], edges[1:], 3 * MINUTE)
    assert np.nansum(litres.litres) == pytest.approx(126.0, abs=1.0)
    found = running_output(edges[:-1], litres, least_output=0.14)
    assert found.output == pytest.approx(0.7, rel=0.02)
    assert (found.blocks_us // MINUTE).tolist() == list(range(620, 780, 20))  # whole between minutes 613 and 793
