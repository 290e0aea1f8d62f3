"""Moist air against PsychroLib, CoolProp and a handbook's chart."""

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analytics import psychrometrics
from analytics.psychrometrics import (
    absolute_humidity,
    air_density,
    air_pressure_at,
    dew_point_temperature,
    enthalpy,
    humidity_ratio,
    saturation_temperature,
    specific_volume,
    vapour_pressure,
    wet_bulb_temperature,
)

psychrolib.SetUnitSystem(psychrolib.SI)

AIR, HUMIDITY = np.meshgrid(np.arange(-60, 60.01, 1.5), [1, 2, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 99, 100.0])
OF_AIR_AT_A_PRESSURE = [humidity_ratio, wet_bulb_temperature, enthalpy, specific_volume, air_density]
OF_AIR = [vapour_pressure, dew_point_temperature, absolute_humidity]


def theirs(function, *arrays):
    return np.vectorize(function)(*arrays)


# --- state points of the reference table -------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "function", "half_a_digit"),
    [
        ("w_p", humidity_ratio, 6e-7),
        ("twb_p", wet_bulb_temperature, 1e-3),  # PsychroLib's own bisection stops within 0.001 K
        ("h_p", enthalpy, 6e-4),
        ("v", specific_volume, 6e-6),
    ],
)
def test_state_points_of_psychrolib(reference, name, function, half_a_digit):
    table = reference("state_points")
    ours = function(table["air_temperature"], table["relative_humidity"], table["air_pressure"])
    np.testing.assert_allclose(ours, table[name], rtol=0, atol=half_a_digit)


@pytest.mark.parametrize(
    ("name", "function", "half_a_digit"), [("td_p", dew_point_temperature, 6e-4), ("ah", absolute_humidity, 6e-4)]
)
def test_state_points_without_pressure(reference, name, function, half_a_digit):
    table = reference("state_points")
    table = table[~np.isnan(table[name])]
    ours = function(table["air_temperature"], table["relative_humidity"])
    np.testing.assert_allclose(ours, table[name], rtol=0, atol=half_a_digit)


def test_state_points_of_coolprop(reference):
    table = reference("state_points")
    state = (table["air_temperature"], table["relative_humidity"], table["air_pressure"])
    known = ~np.isnan(table["td_c"])
    np.testing.assert_allclose(dew_point_temperature(*state[:2])[known], table["td_c"][known], rtol=0, atol=0.02)
    np.testing.assert_allclose(wet_bulb_temperature(*state), table["twb_c"], rtol=0, atol=0.02)
    np.testing.assert_allclose(humidity_ratio(*state), table["w_c"], rtol=6e-3, atol=6e-7)
    np.testing.assert_allclose(enthalpy(*state), table["h_c"], rtol=0, atol=0.2)


def test_ashrae_chart_example():
    # ASHRAE psychrometric chart no. 1, example: 40 degC dry bulb, 20 degC wet bulb, sea level. W 6.5 g/kg seen in a
    # secondary copy; h 56.7, td 7, RH 14 %, v 0.896 from memory. Reading a chart: 0.15 g/kg, 0.5 K. RH by PsychroLib.
    state = (40.0, psychrolib.GetRelHumFromTWetBulb(40.0, 20.0, 101325.0) * 100, 101.325)
    assert state[1] == pytest.approx(14.0, abs=0.5)
    assert float(wet_bulb_temperature(*state)) == pytest.approx(20.0, abs=1e-3)
    assert float(humidity_ratio(*state)) * 1000 == pytest.approx(6.5, abs=0.15)
    assert float(dew_point_temperature(*state[:2])) == pytest.approx(7.0, abs=0.5)
    assert float(enthalpy(*state)) == pytest.approx(56.7, abs=0.4)  # 0.15 g/kg of vapour carries 0.4 kJ/kg
    assert float(specific_volume(*state)) == pytest.approx(0.896, abs=5e-4)
    # The same state by PsychroLib 2.5.0, printed digits.
    assert state[1] == pytest.approx(13.98, abs=0.006)
    assert float(humidity_ratio(*state)) * 1000 == pytest.approx(6.401, abs=6e-4)
    assert float(dew_point_temperature(*state[:2])) == pytest.approx(7.434, abs=6e-4)
    assert float(enthalpy(*state)) == pytest.approx(56.725, abs=6e-4)
    assert float(specific_volume(*state)) == pytest.approx(0.89625, abs=6e-6)


def test_fao_56_example_4():
    # FAO-56 example 4 (from memory): 25.6 degC dry, 19.5 degC wet, aspirated, at 1200 m: ea 1.91 kPa. Its psychrometer
    # constant 0.000662 P is an instrument's, 2 % above the thermodynamic one: 0.01 kPa here, which is 0.07 K.
    pressure = float(air_pressure_at(1200.0))
    humidity = 100 * 1.91 / psychrolib.GetSatVapPres(25.6) * 1000
    assert float(vapour_pressure(25.6, humidity)) == pytest.approx(1.91, rel=1e-9)
    assert float(wet_bulb_temperature(25.6, humidity, pressure)) == pytest.approx(19.5, abs=0.07)


# --- PsychroLib over a dense grid ---------------------------------------------------------------


def test_dew_point_is_psychrolib_s():
    air, humidity = np.meshgrid(np.arange(-60, 60.01, 1.0), np.arange(1.0, 101.0, 2.0))
    expected = theirs(lambda t, rh: psychrolib.GetTDewPointFromRelHum(t, rh / 100), air, humidity)
    np.testing.assert_allclose(dew_point_temperature(air, humidity), expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("function", "expected"),
    [
        (humidity_ratio, lambda t, rh, p: psychrolib.GetHumRatioFromRelHum(t, rh / 100, p * 1000)),
        (enthalpy, lambda t, rh, p: psychrolib.GetMoistAirEnthalpy(t, _ratio(t, rh, p)) / 1000),
        (specific_volume, lambda t, rh, p: psychrolib.GetMoistAirVolume(t, _ratio(t, rh, p), p * 1000)),
        (air_density, lambda t, rh, p: psychrolib.GetMoistAirDensity(t, _ratio(t, rh, p), p * 1000)),
    ],
)
@pytest.mark.parametrize("air_pressure", [101.325, 84.5559, 55.0])
def test_is_psychrolib_s(function, expected, air_pressure):
    dry = AIR < -55  # below 1e-7 kg/kg PsychroLib rounds the humidity ratio up: its rule, not physics
    ours = function(AIR, HUMIDITY, air_pressure)[~dry]
    np.testing.assert_allclose(ours, theirs(expected, AIR, HUMIDITY, air_pressure)[~dry], rtol=1e-9, atol=1.2e-7)


def _ratio(air, humidity, pressure):
    return psychrolib.GetHumRatioFromRelHum(air, humidity / 100, pressure * 1000)


@pytest.mark.parametrize("air_pressure", [101.325, 84.5559, 60.0])
def test_wet_bulb_is_psychrolib_s(air_pressure):
    # Within 1e-3 K (PsychroLib stops its bisection there), except in dry air near freezing, where its equations
    # have a second solution below 0 degC: there ours is the one with liquid water, and solves its equation too.
    ours = wet_bulb_temperature(AIR, HUMIDITY, air_pressure)
    expected = theirs(lambda t, rh: psychrolib.GetTWetBulbFromRelHum(t, rh / 100, air_pressure * 1000), AIR, HUMIDITY)
    differs = np.abs(ours - expected) > 1e-3
    assert differs.mean() < 0.01
    for air, humidity, bulb, other in zip(
        AIR[differs], HUMIDITY[differs], ours[differs], expected[differs], strict=True
    ):
        assert other < 0 <= bulb
        ratio = psychrolib.GetHumRatioFromTWetBulb(air, bulb, air_pressure * 1000)
        assert ratio == pytest.approx(_ratio(air, humidity, air_pressure), rel=1e-4)


@pytest.mark.parametrize("air_pressure", [60.0, 84.556, 101.325])
def test_the_wet_bulb_solves_the_equations_as_psychrolib_has_them(air_pressure):
    """Its GetHumRatioFromTWetBulb, ASHRAE eq. 33 and 35 written out, without a bisection: the digits of both."""
    for air in (-30.0, -12.5, -1.0, 3.0, 12.0, 24.0, 38.0):
        for share in (0.05, 0.4, 0.8, 0.99):
            bulb = float(wet_bulb_temperature(air, 100.0 * share, air_pressure))
            if not -0.01 < bulb < 0.02:  # there PsychroLib's saturation is still that over ice
                ratio = psychrolib.GetHumRatioFromTWetBulb(air, bulb, air_pressure * 1000)
                expected = psychrolib.GetHumRatioFromRelHum(air, share, air_pressure * 1000)
                assert ratio == pytest.approx(expected, abs=2e-11), (air, share)


def test_wet_bulb_with_two_solutions_is_liquid():
    # 12 degC and 1 %: PsychroLib finds both, -0.218 degC by bisection, and confirms ours by its eq. 33.
    bulb = float(wet_bulb_temperature(12.0, 1.0, 84.556))
    assert bulb > 0
    ratio = psychrolib.GetHumRatioFromTWetBulb(12.0, bulb, 84556.0)
    assert ratio == pytest.approx(_ratio(12.0, 1.0, 84.556), rel=1e-5)


# --- CoolProp: an independent real-gas model ----------------------------------------------------


@pytest.mark.parametrize("air_pressure", [101.325, 84.5559])
def test_coolprop(air_pressure):
    air, humidity = np.meshgrid([-20.0, -5.0, 5.0, 12.0, 20.0, 28.0, 35.0], [15.0, 40.0, 65.0, 90.0])

    def coolprop(name):
        return theirs(
            lambda t, rh: HAPropsSI(name, "T", t + 273.15, "P", air_pressure * 1000, "R", rh / 100), air, humidity
        )

    state = (air, humidity, air_pressure)
    np.testing.assert_allclose(dew_point_temperature(air, humidity), coolprop("D") - 273.15, rtol=0, atol=0.02)
    np.testing.assert_allclose(humidity_ratio(*state), coolprop("W"), rtol=6e-3)
    # Its enhancement factor raises W by up to 0.6 %, and each kg of vapour carries 2501 kJ; 0.1 kJ/kg for the rest.
    allowed = 0.1 + 6e-3 * coolprop("W") * 2501
    assert np.all(np.abs(enthalpy(*state) - coolprop("H") / 1000) <= allowed)
    np.testing.assert_allclose(specific_volume(*state), coolprop("V"), rtol=1e-3)
    wet = coolprop("B") - 273.15
    clear = np.abs(wet) > 1.5  # near freezing there are two solutions; CoolProp has a rule of its own
    # 0.02 K is the stated tolerance for 40 % RH and more; in drier air evaporation, and with it the enhancement
    # factor, counts for more.
    allowed = np.where(humidity >= 40, 0.02, 0.03)
    assert np.all(np.abs(wet_bulb_temperature(*state) - wet)[clear] <= allowed[clear])


# --- pressure of the standard atmosphere --------------------------------------------------------


def test_absolute_humidity_is_the_gas_law_with_the_molar_mass_of_water():
    # CoolProp's molar mass of water (IAPWS-95), SciPy's gas constant (CODATA): to the ten digits that ours has.
    molar_mass = PropsSI("M", "Water")
    moles = float(vapour_pressure(20.0, 50.0)) * 1000 / (constants.R * 293.15)
    assert float(absolute_humidity(20.0, 50.0)) == pytest.approx(1000 * moles * molar_mass, rel=3e-11)


def test_air_pressure_is_psychrolib_s():
    elevation = np.arange(-430.0, 5500.0, 35.0)
    expected = np.array([psychrolib.GetStandardAtmPressure(z) for z in elevation]) / 1000
    np.testing.assert_allclose(air_pressure_at(elevation), expected, rtol=1e-14)


@pytest.mark.parametrize(("elevation", "kilopascals", "tolerance"), [(1500.0, 84.781, 3e-3), (1800.0, 81.8, 4e-3)])
def test_air_pressure_of_fao_56(elevation, kilopascals, tolerance):
    # FAO-56 eq. 7 and its example 2 (both from memory). Its atmosphere is 293 K at sea level, the standard one
    # 288.15 K: they part by z g/R (1/288.15 - 1/293), 0.29 % at 1500 m and 0.35 % at 1800 m.
    assert float(air_pressure_at(elevation)) == pytest.approx(kilopascals, rel=tolerance)


def test_air_pressure_out_of_range_is_nan():
    assert np.isnan(air_pressure_at([np.nan, -5000.1, 11_000.1, 60_000.0])).all()
    assert np.isfinite(air_pressure_at([-5000.0, 11_000.0])).all()  # the range that ASHRAE gives for eq. 3


# --- rules for data -----------------------------------------------------------------------------


def test_humidity_just_over_100_counts_as_100():
    assert float(dew_point_temperature(20.0, 103.0)) == pytest.approx(20.0, abs=1e-9)
    assert vapour_pressure(20.0, 105.0) == vapour_pressure(20.0, 100.0)
    assert np.isnan(vapour_pressure(20.0, [105.1, -0.1, np.inf])).all()


def test_dry_air_has_no_dew_point_but_a_vapour_pressure():
    assert np.isnan(dew_point_temperature(20.0, [0.0, -1.0])).all()
    assert vapour_pressure(20.0, 0.0) == 0.0
    assert humidity_ratio(20.0, 0.0, 101.325) == 0.0
    assert np.isfinite(wet_bulb_temperature(20.0, 0.0, 101.325))


def test_dew_point_over_water_everywhere(reference):
    table = reference("dew_point_over_water")
    ours = dew_point_temperature(table["air_temperature"], table["relative_humidity"], "water")
    assert np.all(np.abs(ours - table["dew_point"]) <= table["tolerance"])
    # At -20 degC and 70 % that is -24.09, where over ice it is -23.66 (PsychroLib).
    assert float(dew_point_temperature(-20.0, 70.0)) == pytest.approx(-23.66, abs=0.005)


def test_frost_point_from_a_sensor_that_counts_over_water():
    # Saturated over water is supersaturated over ice: the frost point lies above the air temperature.
    assert saturation_temperature(vapour_pressure(-20.0, 100.0, "water")) > -20.0


def test_phase_makes_no_difference_above_freezing():
    np.testing.assert_array_equal(
        dew_point_temperature(25.0, [50.0, 90.0], "water"), dew_point_temperature(25.0, [50.0, 90.0])
    )


def test_boiling_is_nan():
    assert np.isnan(humidity_ratio(100.0, 100.0, 90.0))
    assert np.isnan(wet_bulb_temperature(110.0, 5.0, 101.325))


@pytest.mark.parametrize("function", OF_AIR_AT_A_PRESSURE)
def test_nan_in_nan_out(function):
    ours = function([np.nan, 20.0, 20.0, 20.0], [50.0, np.nan, 50.0, 50.0], [101.0, 101.0, np.nan, 101.0])
    np.testing.assert_array_equal(np.isnan(ours), [True, True, True, False])


@pytest.mark.parametrize("function", OF_AIR)
def test_nan_in_nan_out_without_pressure(function):
    np.testing.assert_array_equal(np.isnan(function([np.nan, 20.0, 20.0], [50.0, np.nan, 50.0])), [True, True, False])


@pytest.mark.parametrize("function", OF_AIR_AT_A_PRESSURE)
def test_inputs_broadcast(function):
    assert np.shape(function(20.0, 50.0, 101.325)) == ()
    assert np.shape(function([20.0, 21.0], [[50.0], [60.0], [70.0]], 101.325)) == (3, 2)
    assert np.shape(function([], 50.0, 101.325)) == (0,)
    with pytest.raises(ValueError, match=r"shapes \(2,\), \(3,\), \(\), which do not broadcast"):
        function([20.0, 21.0], [50.0, 60.0, 70.0], 101.325)


@pytest.mark.parametrize("function", OF_AIR)
def test_inputs_that_do_not_broadcast(function):
    with pytest.raises(ValueError, match=r"shapes \(2,\), \(3,\), which do not broadcast to one shape: give"):
        function([20.0, 21.0], [50.0, 60.0, 70.0])


@pytest.mark.parametrize("function", [vapour_pressure, dew_point_temperature])
def test_unknown_phase(function):
    with pytest.raises(ValueError, match="phase is 'liquid': give 'auto'"):
        function(20.0, 50.0, "liquid")


@given(st.floats(-60, 70), st.floats(1, 100))
def test_dew_point_and_wet_bulb_stay_in_order(air, humidity):
    dew_point, wet_bulb = dew_point_temperature(air, humidity), wet_bulb_temperature(air, humidity, 101.325)
    assert dew_point - 1e-6 <= wet_bulb <= air + 1e-6


@given(st.floats(-60, 70), st.floats(1, 100))
def test_vapour_pressure_at_the_dew_point_is_the_air_s(air, humidity):
    at_dew_point = psychrometrics.saturation_vapour_pressure(dew_point_temperature(air, humidity))
    assert float(at_dew_point) == pytest.approx(float(vapour_pressure(air, humidity)), rel=1e-8)


def test_everything_listed_exists():
    assert all(callable(getattr(psychrometrics, name)) for name in psychrometrics.__all__)
