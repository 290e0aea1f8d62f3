"""The books of the root zone, against arithmetic."""

import math

import numpy as np
import pytest

from analytics.lines import NOTHING, Estimate
from analytics.root_zone import account, ec_change_per_litre, expected_ec, response_ratio, uptake_concentration


def test_a_dose_by_mass_balance_reaches_its_target(reference):
    # 0.1 mS/cm per mL/L is a stock of 100 mS/cm: the doses of the table bring the reservoir to where they say.
    for row in reference("ec_doses")[:2]:
        ec = expected_ec(row["from_ms_cm"], row["volume_l"], row["added_l"] * 1000, 0.1)
        assert ec == pytest.approx(row["to_ms_cm"], abs=5e-5)  # four decimals of a litre are 0.00005 mS/cm


def test_expected_ec_without_data():
    assert math.isnan(expected_ec(math.nan, 200.0, 10.0, 0.1))
    assert math.isnan(expected_ec(1.2, 0.0, 10.0, 0.1))
    assert math.isnan(expected_ec(1.2, math.nan, 10.0, 0.1))


def test_response_is_the_ratio_of_the_sums():
    steps = [Estimate(0.12, 0.01), NOTHING, Estimate(0.03, 0.02), Estimate(0.5, 0.1)]
    found = response_ratio(steps, [0.10, 0.10, 0.10, math.nan], relative_accuracy=0.03)
    assert found.value == pytest.approx(0.15 / 0.20)
    by_scatter = math.sqrt(0.01**2 + 0.02**2) / 0.20
    assert found.plus_or_minus == pytest.approx(math.sqrt(by_scatter**2 + (0.75 * 0.03) ** 2))


def test_nothing_expected_is_no_ratio():
    assert math.isnan(response_ratio([], []).value)
    assert math.isnan(response_ratio([Estimate(0.1, 0.01)], [0.0]).value)
    with pytest.raises(ValueError, match="1 steps and 2 expectations: give one expectation a step"):
        response_ratio([NOTHING], [1.0, 2.0])


def test_uptake_against_random_errors():
    # Monte Carlo (JCGM 101:2008): the spread of the ratio when salt, water and the probe's scale are drawn at random.
    draw, n = np.random.default_rng(9).normal, 200_000
    ratio = draw(69.0, 1.5, n) * draw(1.0, 0.02, n) / draw(48.0, 0.9, n)
    found = uptake_concentration(Estimate(69.0, 1.5), Estimate(48.0, 0.9), relative_accuracy=0.02)
    assert found.value == pytest.approx(float(ratio.mean()), rel=1e-3)
    assert found.plus_or_minus == pytest.approx(float(ratio.std()), rel=0.01)


def test_no_uptake_concentration_where_hardly_anything_was_drunk():
    assert math.isnan(uptake_concentration(Estimate(1.0, 0.5), Estimate(0.5, 0.9)).value)
    assert math.isnan(uptake_concentration(Estimate(1.0, 0.5), NOTHING).value)
    assert math.isnan(uptake_concentration(NOTHING, Estimate(48.0, 0.9)).value)


def test_ec_rises_where_plants_drink_weaker_solution():
    # One litre of 1.44 drunk from 216 L of 1.80: (216 x 1.80 - 1.44)/215 is 1.80167.
    after = (216 * 1.80 - 1.44) / 215
    assert ec_change_per_litre(1.80, 1.44, 216.0) == pytest.approx(after - 1.80, rel=0.01)  # a litre of 216 is no limit
    assert ec_change_per_litre(1.80, 2.00, 216.0) < 0
    assert ec_change_per_litre(1.80, 1.80, 216.0) == 0
    assert math.isnan(ec_change_per_litre(1.8, 1.44, 0.0))


def test_books_that_close_and_books_that_do_not():
    start, end = Estimate(216.0, 0.3), Estimate(217.5, 0.4)
    gained, lost = [Estimate(47.5, 1.0), Estimate(0.7, 0.0)], [Estimate(46.7, 0.8)]
    books = account(start, end, gained, lost)
    assert books.error.value == pytest.approx(0.0)
    assert books.error.plus_or_minus == pytest.approx(math.sqrt(0.09 + 0.16 + 1.0 + 0.64))
    assert (books.gained.value, books.lost.value) == (pytest.approx(48.2), pytest.approx(46.7))
    leak = account(start, Estimate(207.5, 0.4), gained, lost)
    assert leak.error.value == pytest.approx(10.0)  # ten litres are gone that nobody drank
    assert math.isnan(account(start, end, [NOTHING], lost).error.value)
    assert account(start, start, [], []).error.value == 0.0
