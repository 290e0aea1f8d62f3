"""Saturation pressure and its inverse against handbooks and two reference libraries."""

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from analytics.psychrometrics import saturation_temperature, saturation_vapour_pressure
from analytics.saturation import log_saturation_slope

psychrolib.SetUnitSystem(psychrolib.SI)


def murphy_koop(temperature):
    """Over liquid water, Pa: Murphy and Koop (2005), Q. J. R. Meteorol. Soc. 131, eq. 10, 123..332 K."""
    kelvin = temperature + 273.15
    log = np.log(kelvin)
    high = 54.842763 - 6763.22 / kelvin - 4.210 * log + 0.000367 * kelvin
    low = 53.878 - 1331.22 / kelvin - 9.44523 * log + 0.014025 * kelvin
    return np.exp(high + np.tanh(0.0415 * (kelvin - 218.8)) * low)


def sonntag(temperature):
    """Over liquid water, Pa: Sonntag (1994), Meteorol. Z. 3."""
    kelvin = temperature + 273.15
    polynomial = 21.2409642 - 2.711193e-2 * kelvin + 1.673952e-5 * kelvin**2
    return np.exp(-6096.9385 / kelvin + polynomial + 2.433502 * np.log(kelvin))


def test_table(reference):
    table = reference("saturation_pressure")
    ours = saturation_vapour_pressure(table["temperature"])
    np.testing.assert_allclose(ours, table["psychrolib"], rtol=1e-5, atol=6e-7)  # six decimals printed
    warm = table["temperature"] > 0
    np.testing.assert_allclose(ours[warm], table["coolprop"][warm], rtol=5e-4)
    np.testing.assert_allclose(ours[warm], table["tetens"][warm], rtol=1.5e-3)


def test_table_over_supercooled_water(reference):
    table = reference("saturation_pressure")
    ours = saturation_vapour_pressure(table["temperature"], "water")
    np.testing.assert_allclose(ours, table["water"], rtol=5e-3)


def test_fao_56(reference):
    table = reference("fao56_saturation_pressure")
    ours = saturation_vapour_pressure(table["temperature"])
    np.testing.assert_allclose(ours, table["saturation_vapour_pressure"], rtol=1.5e-3, atol=5e-4)


def test_fao_56_example_3():
    # es of 15 and 24.5 degC are 1.705 and 3.075 kPa as printed, their mean 2.39 (from memory); ea at a dew point of
    # 15 degC is 1.70535 by its eq. 11: 0.15 %.
    assert float(saturation_vapour_pressure([15.0, 24.5]).mean()) == pytest.approx(2.39, abs=0.005)
    assert float(saturation_vapour_pressure(15.0)) == pytest.approx(1.70535, rel=1.5e-3)


def test_iso_13788(reference):
    table = reference("iso13788_saturation_pressure")
    ours = saturation_vapour_pressure(table["temperature"]) * 1000
    warm = table["temperature"] > 0
    np.testing.assert_allclose(ours[warm], table["saturation_vapour_pressure_pa"][warm], rtol=1.5e-3)
    np.testing.assert_allclose(ours[~warm], table["saturation_vapour_pressure_pa"][~warm], rtol=0.02)


def test_water_over_ice(reference):
    table = reference("water_over_ice")
    cold = table["temperature"]
    ratio = saturation_vapour_pressure(cold, "water") / saturation_vapour_pressure(cold, "ice")
    assert np.all(np.abs(ratio / table["ratio"] - 1) <= table["tolerance"])


def test_is_psychrolib_s_to_rounding():
    temperature = np.concatenate((np.arange(-100, 200.01, 0.37), [-0.005, 0.0, 0.005, 0.01, 0.0101, 0.02]))
    theirs = np.array([psychrolib.GetSatVapPres(t) for t in temperature]) / 1000
    np.testing.assert_allclose(saturation_vapour_pressure(temperature), theirs, rtol=1e-12)


def test_coolprop_over_water():
    temperature = np.arange(0.5, 60, 0.5)
    theirs = np.array([PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in temperature]) / 1000
    np.testing.assert_allclose(saturation_vapour_pressure(temperature), theirs, rtol=5e-4)


@pytest.mark.parametrize(("kelvin", "pascals"), [(180, 0.011239), (240, 37.667), (273.15, 611.213), (300, 3536.8)])
def test_murphy_koop_is_written_down_right(kelvin, pascals):
    # The paper's table of check values (from memory), five digits printed: half a unit is up to 5e-5.
    assert murphy_koop(kelvin - 273.15) == pytest.approx(pascals, rel=5e-5)


@pytest.mark.parametrize(("lowest", "departure"), [(-20, 1e-3), (-40, 8e-3), (-60, 5e-2)])
def test_supercooled_water_departs_as_documented(lowest, departure):
    temperature = np.arange(lowest, 0.0, 0.5)
    ours = saturation_vapour_pressure(temperature, "water") * 1000
    np.testing.assert_allclose(ours, murphy_koop(temperature), rtol=departure)


def test_supercooled_water_against_sonntag():
    temperature = np.arange(-80.0, 0.0, 0.5)
    np.testing.assert_allclose(saturation_vapour_pressure(temperature, "water") * 1000, sonntag(temperature), rtol=4e-3)


@pytest.mark.parametrize(("phase", "low", "high"), [("auto", -100, 200), ("water", -80, 200), ("ice", -100, 0.01)])
def test_inverse_over_the_whole_range(phase, low, high):
    temperature = np.linspace(low, high, 20_001)
    back = saturation_temperature(saturation_vapour_pressure(temperature, phase), phase)
    inner = slice(1, -1)  # at the very ends rounding may fall outside
    np.testing.assert_allclose(back[inner], temperature[inner], rtol=0, atol=1e-9)


@given(st.floats(-99.9, 199.9))
def test_inverse_of_any_temperature(temperature):
    back = saturation_temperature(saturation_vapour_pressure(temperature))
    assert float(back) == pytest.approx(temperature, abs=1e-9)


@pytest.mark.parametrize("phase", ["auto", "water"])
def test_slope_is_the_derivative(phase):
    temperature = np.concatenate((np.arange(-60, -0.5, 0.7), np.arange(0.5, 60, 0.7)))
    step = 1e-3
    above, below = (np.log(saturation_vapour_pressure(temperature + s, phase)) for s in (step, -step))
    np.testing.assert_allclose(log_saturation_slope(temperature, phase), (above - below) / (2 * step), rtol=1e-6)


@pytest.mark.parametrize(
    ("phase", "outside"), [("auto", [-100.1, 200.1]), ("water", [-80.1, 200.1]), ("ice", [-100.1, 0.02])]
)
def test_out_of_range_is_nan(phase, outside):
    assert np.isnan(saturation_vapour_pressure([*outside, np.nan, np.inf, -np.inf, -300.0], phase)).all()


def test_inverse_of_nonsense_is_nan():
    assert np.isnan(saturation_temperature([0.0, -1.0, np.nan, np.inf, 1e-12, 1e6])).all()


def test_one_bad_value_leaves_the_others_alone():
    ours = saturation_temperature([np.nan, 2.338804, -1.0])
    assert ours[1] == pytest.approx(20.0, abs=1e-5)  # PsychroLib's value at 20 degC, six decimals
    assert np.isnan(ours[[0, 2]]).all()


def test_shapes_are_kept():
    assert saturation_vapour_pressure(20.0).shape == ()
    assert saturation_vapour_pressure([]).shape == (0,)
    assert saturation_vapour_pressure(np.zeros((2, 3))).shape == (2, 3)


def test_more_than_a_block_and_any_memory_order():
    temperature = np.linspace(-50, 50, 200_000)
    whole = saturation_vapour_pressure(temperature)
    np.testing.assert_array_equal(saturation_vapour_pressure(temperature[::-2]), whole[::-2])
    np.testing.assert_array_equal(saturation_vapour_pressure(temperature.reshape(2, -1).T), whole.reshape(2, -1).T)


@pytest.mark.parametrize("function", [saturation_vapour_pressure, saturation_temperature, log_saturation_slope])
def test_unknown_phase(function):
    with pytest.raises(ValueError, match="phase is 'steam': give 'auto'"):
        function(20.0, "steam")
