"""Exposure averages, limits, a sensor's pressure and the gas in grams, against 29 CFR, NIOSH and CoolProp."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analytics.carbon_dioxide import (
    carbon_dioxide_mass,
    leak_rate,
    pressure_corrected_mole_fraction,
    steady_mole_fraction,
)
from analytics.carbon_dioxide_exposure import (
    LimitStanding,
    eight_hour_average,
    fifteen_minute_average,
    limit_standing,
)
from analytics.integrals import time_integral
from analytics.psychrometrics import air_pressure_at
from farm.limits import IMMEDIATE_DANGER, LONG_TERM_LIMIT, SHORT_TERM_LIMIT

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def stepped(*steps):
    """Return minute readings of (minutes, level) steps, and one more at the end, in which the last averages end."""
    levels = np.concatenate([np.full(minutes, float(level)) for minutes, level in steps] + [[0.0]])
    return np.arange(len(levels)) * MINUTE, levels


@pytest.mark.parametrize(
    ("steps", "average"),
    [
        (((120, 150), (120, 75), (240, 50)), 81.25),  # the worked example of 29 CFR 1910.1000(d)(1)(i), exact
        (((120, 1200), (240, 5000), (120, 8000)), 4800.0),  # the same formula, arithmetic, exact
    ],
)
def test_eight_hours_by_the_formula_of_29_cfr_1910_1000(steps, average):
    found = eight_hour_average(*stepped(*steps), 3 * MINUTE)
    assert found.value[-1] == average
    assert found.coverage[-1] == 1.0


def test_fifteen_minutes():
    # 5 min at 20,000 and 10 min at 35,000 ppm are exactly the short-term limit (arithmetic).
    found = fifteen_minute_average(*stepped((5, 20_000), (10, 35_000)), 3 * MINUTE)
    assert found.value[-1] == SHORT_TERM_LIMIT
    assert limit_standing(found.value[-1], 1.0, SHORT_TERM_LIMIT, 0.0) is LimitStanding.NEAR  # not exceeded


def test_time_without_readings_is_told_not_filled():
    # Two hours at 6000 ppm, then silence: by the formula at least 2 x 6000 / 8 = 1500, of a quarter of the window;
    # the last reading holds for three minutes.
    times, levels = stepped((121, 6000))
    times, levels = np.append(times[:-1], 8 * HOUR), np.append(levels[:-1], 400.0)
    found = eight_hour_average(times, levels, 3 * MINUTE)
    assert found.value[-1] == 6000.0
    assert found.coverage[-1] == pytest.approx(123 / 480)
    assert found.at_least[-1] == pytest.approx(6000 * 123 / 480)


def test_readings_that_are_no_mole_fraction_never_came():
    times, levels = stepped((20, 1000))
    levels[5], levels[6], levels[7] = -1.0, 2e6, np.nan
    found = fifteen_minute_average(times, levels, MINUTE)
    assert found.value[-1] == 1000.0
    assert found.coverage[-1] == pytest.approx(12 / 15)
    assert eight_hour_average([], [], MINUTE).value.size == 0


def test_published_limits():
    # NIOSH Pocket Guide and IDLH documentation 124-38-9: REL 5,000 ppm (9,000 mg/m3) and 30,000 ppm (54,000 mg/m3),
    # OSHA PEL 5,000 ppm, IDLH 40,000 ppm. The mg/m3 are rounded: 0.1 %.
    assert (LONG_TERM_LIMIT, SHORT_TERM_LIMIT, IMMEDIATE_DANGER) == (5000.0, 30_000.0, 40_000.0)
    for limit, milligrams in ((LONG_TERM_LIMIT, 9000.0), (SHORT_TERM_LIMIT, 54_000.0)):
        assert float(carbon_dioxide_mass(limit, 1.0, 25.0, 101.325)) * 1000 == pytest.approx(milligrams, rel=1e-3)
    # 1 ppm is 1.7988 mg/m3 at 25 degC: ideal gas law; four decimals printed (1.79887 with today's constants).
    assert float(carbon_dioxide_mass(1.0, 1.0, 25.0, 101.325)) * 1000 == pytest.approx(1.7988, abs=1e-4)
    assert float(carbon_dioxide_mass(5000.0, 1.0, 25.0, 101.325)) * 1000 == pytest.approx(8994, abs=0.6)


@pytest.mark.parametrize(
    ("average", "coverage", "standing"),
    [
        (4949.0, 1.0, "below"),
        (4950.0, 1.0, "near"),
        (5050.0, 0.9, "near"),
        (5051.0, 0.9, "above"),
        (5051.0, 0.89, "near"),  # 4495 if there was nothing in the gaps
        (20_000.0, 0.3, "above"),  # 6000 whatever was in them
        (4949.0, 0.89, "unknown"),
        (np.nan, 0.0, "unknown"),
    ],
)
def test_standing_against_a_limit(average, coverage, standing):
    assert limit_standing(average, coverage, 5000.0, 50.0) == standing


def test_grams_by_the_gas_law_to_the_last_digit():
    """x p V M / (R T) with SciPy's R (CODATA) and carbon's 12.0107 and twice oxygen's 15.9994 g/mol (IUPAC)."""
    expected = 1e-6 * 1000 * 95_000 * 30 * (12.0107 + 2 * 15.9994) / (constants.R * 295.15)
    assert float(carbon_dioxide_mass(1000.0, 30.0, 22.0, 95.0)) == pytest.approx(expected, rel=5e-11)


def test_sensor_pressure_table(reference):
    table = reference("co2_sensor_pressure")
    ours = pressure_corrected_mole_fraction(1.0, air_pressure_at(table["elevation"]))
    np.testing.assert_allclose(ours, table["factor"], rtol=0, atol=6e-5)


def test_sensor_pressure_and_temperature():
    # Ideal gas law at 22 degC and 845.56 hPa: x 1.1860. It was worked out with 1013 hPa and 273 K, which is 0.03 % off.
    assert float(pressure_corrected_mole_fraction(1.0, 84.556, 22.0)) == pytest.approx(1.1860, rel=3e-4)
    # A sea-level sensor at 632 mmHg reads 332.6 (about 332 in a published note) where there are 400 ppm.
    read = 400.0 * 632 / 760
    assert float(pressure_corrected_mole_fraction(read, 101.325 * 632 / 760)) == pytest.approx(400.0, abs=1e-6)
    assert read == pytest.approx(332.6, abs=0.05)
    assert float(pressure_corrected_mole_fraction(500.0, 90.0, calibration_pressure=90.0)) == pytest.approx(500.0)


@pytest.mark.parametrize("celsius", [5.0, 25.0, 35.0])
@pytest.mark.parametrize("pascal", [70_000.0, 101_325.0])
def test_mass_is_coolprops(celsius, pascal):
    # CoolProp (Span and Wagner) at the gas's partial pressure, where it is ideal to 0.01 %.
    density = PropsSI("D", "T", celsius + 273.15, "P", 580e-6 * pascal, "CO2")
    ours = float(carbon_dioxide_mass(580.0, 30.0, celsius, pascal / 1000))
    assert ours == pytest.approx(30 * density * 1000, rel=1e-4)


def test_mass_of_a_charge():
    # 420 to 1000 ppm in 30 m3 is 31.5 g with the density of pure CO2 at 25 degC (CoolProp, 1.80797 kg/m3), which at
    # 1 atm is 0.5 % above the ideal gas: tolerance 0.6 %.
    assert PropsSI("D", "T", 298.15, "P", 101_325, "CO2") == pytest.approx(1.80797, abs=1e-5)
    assert float(carbon_dioxide_mass(580.0, 30.0, 25.0, 101.325)) == pytest.approx(31.5, rel=7e-3)


def test_steady_level():
    # 0.1 m3/h into 30 m3 at one air change an hour: 420 + 3333 = 3753 ppm (arithmetic). Grams by the ideal gas law.
    grams = float(carbon_dioxide_mass(1e6, 0.1, 22.0, 95.0))
    assert float(steady_mole_fraction(420.0, grams, 1.0, 30.0, 22.0, 95.0)) == pytest.approx(3753, abs=0.5)
    assert float(steady_mole_fraction(420.0, 0.0, 0.0, 30.0, 22.0, 95.0)) == 420.0
    assert float(steady_mole_fraction(420.0, 1.0, 0.0, 30.0, 22.0, 95.0)) == 1e6


@given(st.floats(0.05, 5.0), st.floats(500.0, 20_000.0))
def test_what_a_decay_loses_is_what_its_levels_show(changes, level):
    """A decaying room loses, summed up over time, the mass by which its level falls."""
    times = np.arange(0, 2 * 3600 + 1, 20) * 1_000_000
    levels = 420.0 + (level - 420.0) * np.exp(-changes * times / HOUR)
    lost = time_integral(times, leak_rate(levels, 420.0, changes, 70.0, 21.0, 99.0), 0, 2 * HOUR, MINUTE).total / 3600
    fell = float(carbon_dioxide_mass(levels[0] - levels[-1], 70.0, 21.0, 99.0))
    assert lost == pytest.approx(fell, rel=1e-4)


def test_out_of_range_is_nan():
    assert np.isnan(
        carbon_dioxide_mass([np.nan, 1, 1, 1, 1], [1, 0, 1, 1, 1], [20, 20, -300, np.nan, 20], [1, 1, 1, 1, 0])
    ).all()
    assert np.isnan(pressure_corrected_mole_fraction([np.nan, 1, 1], [90, 0, 90], [20, 20, -274])).all()
    assert np.isnan(leak_rate(1000.0, 420.0, [-0.1, np.nan], 30.0, 20.0, 100.0)).all()
    assert np.isnan(steady_mole_fraction(420.0, [1.0, 0.0, np.nan], [-0.1, -0.1, 1.0], 30.0, 20.0, 100.0)).all()
    assert float(leak_rate(400.0, 420.0, 1.0, 30.0, 20.0, 100.0)) < 0


def test_refused_calls():
    with pytest.raises(ValueError, match="calibration_pressure is 0 kPa"):
        pressure_corrected_mole_fraction(400.0, 90.0, calibration_pressure=0)
    with pytest.raises(ValueError, match="do not broadcast"):
        carbon_dioxide_mass([1.0, 2.0], [1.0, 2.0, 3.0], 20.0, 100.0)
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        eight_hour_average([0], [400.0], 0)
