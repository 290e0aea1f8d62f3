"""Water through the air, against CoolProp, PsychroLib and FAO-56."""

import math

import numpy as np
import psychrolib
import pytest

from analytics.air_states import AirState, dry_air_mass, enthalpy_uncertainty, humidity_ratio_uncertainty
from analytics.amounts import Amount
from analytics.humidity import humidity_ratio, vapour_pressure
from analytics.moisture import (
    inferred_transpiration,
    latent_energy,
    latent_heat_of_vaporisation,
    moisture_removal_rate,
    moisture_removal_rate_uncertainty,
    moisture_stored,
    ventilation_moisture_loss,
)
from analytics.psychrometrics import air_pressure_at
from analytics.saturation import log_saturation_slope, saturation_vapour_pressure

psychrolib.SetUnitSystem(psychrolib.SI)

SEA_LEVEL = 101.325
ROOM, DUCT = AirState(24.0, 65.0, 0.3, 2.0), AirState(10.0, 97.0, 0.3, 3.0)


def psychrolib_removal(return_t, return_rh, supply_t, supply_rh, flow, pressure=SEA_LEVEL):
    entering = psychrolib.GetHumRatioFromRelHum(return_t, return_rh / 100, pressure * 1000)
    leaving = psychrolib.GetHumRatioFromRelHum(supply_t, supply_rh / 100, pressure * 1000)
    return flow / psychrolib.GetMoistAirVolume(return_t, entering, pressure * 1000) * (entering - leaving)


def test_latent_heat_table(reference):
    table = reference("latent_heat")
    error = np.abs(latent_heat_of_vaporisation(table["temperature"]) - table["latent_heat"])
    assert np.all(error <= table["tolerance"])


def test_latent_heat_is_the_formula_of_fao_56():
    # FAO-56 annex 3, eq. 3-1 (from memory); 2.45 MJ/kg is what FAO-56 uses at 20 degC.
    assert float(latent_heat_of_vaporisation(0.0)) == 2.501
    assert float(latent_heat_of_vaporisation(20.0)) == pytest.approx(2.45378, abs=1e-9)
    assert round(float(latent_heat_of_vaporisation(20.0)), 2) == 2.45


def test_latent_heat_outside_its_range():
    assert np.isnan(latent_heat_of_vaporisation([-0.1, 40.1, np.nan])).all()
    assert not np.isnan(latent_heat_of_vaporisation([0.0, 40.0])).any()


def test_what_a_litre_takes():
    # Arithmetic on CoolProp's 2.449 MJ/kg at 22 degC; printed digits.
    assert float(latent_energy(1.0, 22.0)) == pytest.approx(0.680, abs=5e-4)
    assert float(latent_energy(1.0 / 24.0, 22.0)) * 1000 == pytest.approx(28.3, abs=0.05)  # a litre a day, in W
    assert float(latent_energy(20.0 / 24.0, 22.0)) * 1000 == pytest.approx(567, abs=0.5)


def test_a_coil():
    # PsychroLib 2.5.0: 24 degC, 65 % to a dew point of 10 degC, 500 m3/h at the inlet: 2.629 kg/h, printed digits.
    rate = moisture_removal_rate(AirState(24.0, 65.0), AirState(10.0, 100.0), 500.0, SEA_LEVEL)
    assert float(rate) == pytest.approx(2.629, abs=5e-4)
    # CoolProp 8.0.0 HAPropsSI, a real gas that holds 0.45 % more water at both ends: 2.643 kg/h.
    assert float(rate) == pytest.approx(2.643, rel=0.006)
    # Its humidity ratios: 0.012143 less 0.007630 of saturated air of 10 degC are 0.004512 kg/kg, at 0.85823 m3/kg.
    entering, leaving = (float(humidity_ratio(*air, SEA_LEVEL)) for air in ((24.0, 65.0), (10.0, 100.0)))
    assert leaving == pytest.approx(0.007630, abs=6e-7)
    assert entering - leaving == pytest.approx(0.004512, abs=6e-7)
    assert float(rate) == pytest.approx(500.0 / 0.85823 * (entering - leaving), rel=1e-5)


def test_coils_of_all_sorts_are_psychrolibs():
    random = np.random.default_rng(7)
    for return_t, drop, return_rh, supply_rh, flow, pressure in zip(
        random.uniform(5, 35, 50), random.uniform(0, 30, 50), random.uniform(10, 100, 50),
        random.uniform(10, 100, 50), random.uniform(1, 2000, 50), random.uniform(60, 105, 50), strict=True,
    ):  # fmt: skip
        ours = moisture_removal_rate(
            AirState(return_t, return_rh), AirState(return_t - drop, supply_rh), flow, pressure
        )
        theirs = psychrolib_removal(return_t, return_rh, return_t - drop, supply_rh, flow, pressure)
        assert float(ours) == pytest.approx(theirs, rel=1e-9, abs=1e-12)


def test_a_coil_that_gives_its_water_back_and_one_without_air():
    assert moisture_removal_rate(AirState(20.0, 50.0), AirState(20.0, 90.0), 500.0, SEA_LEVEL) < 0
    assert float(moisture_removal_rate(ROOM, DUCT, 0.0, SEA_LEVEL)) == 0.0
    assert float(moisture_removal_rate_uncertainty(ROOM, DUCT, 0.0, SEA_LEVEL, 50.0)) == 0.0
    assert math.isnan(moisture_removal_rate(ROOM, DUCT, -1.0, SEA_LEVEL))


def test_dry_air(reference):
    table = reference("state_points")
    ours = dry_air_mass(500.0, table["air_temperature"], table["relative_humidity"], table["air_pressure"])
    np.testing.assert_allclose(ours, 500.0 / table["v"], rtol=1e-4)  # the table prints five decimals
    assert np.isnan(dry_air_mass([-1.0, np.nan], 20.0, 50.0, SEA_LEVEL)).all()


def test_ventilation():
    # PsychroLib 2.5.0: 22 degC, 65 % inside, -20 degC, 80 % (over ice) outside, 6 m3/h: 72.1 g/h, printed digits.
    loss = ventilation_moisture_loss(AirState(22.0, 65.0), AirState(-20.0, 80.0), 6.0, SEA_LEVEL)
    assert float(loss) * 1000 == pytest.approx(72.1, abs=0.05)
    assert ventilation_moisture_loss(AirState(18.0, 50.0), AirState(30.0, 80.0), 6.0, SEA_LEVEL) < 0


def test_what_the_air_stores():
    # 70 m3 from 20 to 22 degC at 60 %: by PsychroLib's volume and humidity ratios.
    entering = psychrolib.GetHumRatioFromRelHum(20.0, 0.6, 101325)
    later = psychrolib.GetHumRatioFromRelHum(22.0, 0.6, 101325)
    expected = 70.0 / psychrolib.GetMoistAirVolume(20.0, entering, 101325) * (later - entering)
    ours = moisture_stored(70.0, AirState(20.0, 60.0), AirState(22.0, 60.0), SEA_LEVEL)
    assert float(ours) == pytest.approx(expected, rel=1e-9)
    assert expected > 0


def test_the_vapour_balance():
    balance = inferred_transpiration(Amount(20.0, 3.0, 0.9), Amount(1.7, 0.0), Amount(-0.2, 4.0, 0.95))
    assert balance.value == pytest.approx(21.5)
    assert (balance.give_or_take, balance.coverage) == (5.0, 0.9)
    assert math.isnan(inferred_transpiration(Amount(20.0), Amount(math.nan), Amount(0.0)).value)


def test_a_room_that_is_fed_water_gives_it_back_in_the_balance():
    """m dW/dt = E - ventilation - coil, stepped for a day with a known E: what the balance infers is E."""
    fed, volume, pressure, outside = 0.8, 70.0, 99.0, AirState(5.0, 70.0)
    mass = float(dry_air_mass(volume, 20.0, 60.0, pressure))
    ratio = psychrolib.GetHumRatioFromRelHum(20.0, 0.6, 99_000)
    removed = vented = 0.0
    start = AirState(20.0, 60.0)
    step_h = 1 / 360
    for n in range(24 * 360):
        room = AirState(20.0, 100 * psychrolib.GetRelHumFromHumRatio(20.0, ratio, 99_000))
        coil = AirState(8.0, 100.0) if n % 360 < 120 else room
        taken = float(moisture_removal_rate(room, coil, 400.0, pressure)) * step_h
        leaked = float(ventilation_moisture_loss(room, outside, 15.0, pressure)) * step_h
        removed, vented = removed + taken, vented + leaked
        ratio += (fed * step_h - taken - leaked) / mass
    stored = float(moisture_stored(volume, start, room, pressure))
    inferred = inferred_transpiration(Amount(removed), Amount(vented), Amount(stored)).value
    assert inferred == pytest.approx(24 * fed, rel=5e-4)
    assert removed > vented > 1.0


def test_a_published_example_of_evapotranspiration():
    """FAO-56 example 18 (Brussels, 6 July; from memory): 3.9 mm a day by its eq. 6, from our pressures and slope."""
    warmest, coolest, mean = 21.5, 12.3, 16.9
    saturated = float(saturation_vapour_pressure([warmest, coolest]).mean())
    actual = float((vapour_pressure([coolest, warmest], [84.0, 63.0])).mean())
    assert saturated == pytest.approx(1.997, abs=0.003)
    assert actual == pytest.approx(1.409, abs=0.003)
    slope = float(saturation_vapour_pressure(mean) * log_saturation_slope(mean))
    gamma, wind, radiation = 0.665e-3 * float(air_pressure_at(100.0)), 2.078, 13.28
    drying = gamma * 900.0 / (mean + 273.0) * wind * (saturated - actual)
    daily = (0.408 * slope * radiation + drying) / (slope + gamma * (1.0 + 0.34 * wind))
    assert daily == pytest.approx(3.9, abs=0.05)
    assert daily == pytest.approx(3.879, abs=0.005)  # the same by its own eq. 11 (arithmetic); ours differ by 0.15 %
    # 0.408 is one over its latent heat of 2.45 MJ/kg, ours at 20 degC
    assert 1.0 / float(latent_heat_of_vaporisation(20.0)) == pytest.approx(0.408, abs=5e-4)


def test_slope_and_psychrometric_constant_of_fao_56():
    # FAO-56 eq. 13 (Tetens), 10..30 degC; its fit lies within 0.15 % of saturation pressure, and 0.3 % of the slope.
    at = [10.0, 15.0, 20.0, 25.0, 30.0]
    ours = saturation_vapour_pressure(at) * log_saturation_slope(at)
    np.testing.assert_allclose(ours, [0.0823, 0.1098, 0.1447, 0.1887, 0.2434], rtol=3e-3)
    # FAO-56 eq. 8: cp P / (0.622 L), 0.0674 kPa/K at sea level and 0.0544 at 81.8 kPa (its example 2), L = 2.45 MJ/kg
    latent = float(latent_heat_of_vaporisation(20.0))
    for pressure, printed in ((101.325, 0.0674), (81.8, 0.0544)):
        assert 1.013e-3 * pressure / (0.622 * latent) == pytest.approx(printed, rel=3e-3)


def differences(function, inputs, accuracies):
    """Give or take by moving each input half its accuracy both ways (JCGM 100:2008, 5.1.3, note 2)."""
    total = 0.0
    for place, accuracy in enumerate(accuracies):
        up, down = list(inputs), list(inputs)
        up[place] += accuracy / 2
        down[place] -= accuracy / 2
        total += (function(*up) - function(*down)) ** 2
    return math.sqrt(total)


@pytest.mark.parametrize("state", [(24.0, 65.0), (8.0, 96.0), (22.0, 40.0), (-10.0, 60.0)])
def test_give_or_take_of_a_state_is_what_moving_its_inputs_does(state):
    def ratio(temperature, humidity):
        return psychrolib.GetHumRatioFromRelHum(temperature, humidity / 100, 101325)

    def enthalpy(temperature, humidity):
        return psychrolib.GetMoistAirEnthalpy(temperature, ratio(temperature, humidity)) / 1000

    ours = float(humidity_ratio_uncertainty(*state, SEA_LEVEL, 0.3, 2.0))
    assert ours == pytest.approx(differences(ratio, state, (0.3, 2.0)), rel=1e-3)
    ours = float(enthalpy_uncertainty(*state, SEA_LEVEL, 0.3, 2.0))
    assert ours == pytest.approx(differences(enthalpy, state, (0.3, 2.0)), rel=1e-3)


def test_give_or_take_of_a_coil_is_what_moving_its_inputs_does():
    expected = differences(psychrolib_removal, (24.0, 65.0, 10.0, 97.0, 500.0), (0.3, 2.0, 0.3, 3.0, 50.0))
    ours = float(moisture_removal_rate_uncertainty(ROOM, DUCT, 500.0, SEA_LEVEL, 50.0))
    assert ours == pytest.approx(expected, rel=0.01)  # the volume's own error is left out


def test_give_or_take_of_a_coil_against_random_errors():
    # Monte Carlo, JCGM 101:2008.
    draw = np.random.default_rng(20_260_101).normal
    n = 100_000
    rates = moisture_removal_rate(
        AirState(draw(24.0, 0.3, n), draw(65.0, 2.0, n)),
        AirState(draw(10.0, 0.3, n), draw(80.0, 3.0, n)),
        draw(500.0, 50.0, n),
        SEA_LEVEL,
    )
    supply = AirState(10.0, 80.0, 0.3, 3.0)
    ours = float(moisture_removal_rate_uncertainty(ROOM, supply, 500.0, SEA_LEVEL, 50.0))
    assert ours == pytest.approx(float(rates.std()), rel=0.02)


def test_nan_in_nan_out():
    nan = math.nan
    states = [AirState(nan, 65.0, 0.3, 2.0), AirState(24.0, nan, 0.3, 2.0), AirState(24.0, 106.0, 0.3, 2.0)]
    for bad in states:
        assert math.isnan(moisture_removal_rate(bad, DUCT, 500.0, SEA_LEVEL))
        assert math.isnan(moisture_removal_rate(ROOM, bad, 500.0, SEA_LEVEL))
        assert math.isnan(moisture_removal_rate_uncertainty(bad, DUCT, 500.0, SEA_LEVEL, 50.0))
        assert math.isnan(moisture_removal_rate_uncertainty(ROOM, bad, 500.0, SEA_LEVEL, 50.0))
    assert math.isnan(moisture_removal_rate(ROOM, DUCT, nan, SEA_LEVEL))
    assert math.isnan(moisture_removal_rate(ROOM, DUCT, 500.0, nan))
    assert math.isnan(moisture_removal_rate_uncertainty(ROOM, DUCT, 500.0, SEA_LEVEL, nan))
    assert math.isnan(enthalpy_uncertainty(24.0, nan, SEA_LEVEL, 0.3, 2.0))
    assert moisture_removal_rate(AirState([], []), AirState([], []), 500.0, SEA_LEVEL).shape == (0,)


def test_inputs_that_do_not_broadcast():
    two, three = [20.0, 21.0], [20.0, 21.0, 22.0]
    for call in (
        lambda: moisture_removal_rate(AirState(two, 50.0), AirState(three, 50.0), 500.0, SEA_LEVEL),
        lambda: moisture_removal_rate_uncertainty(AirState(two, 50.0), DUCT, 500.0, SEA_LEVEL, three),
        lambda: dry_air_mass(two, three, 50.0, SEA_LEVEL),
        lambda: latent_energy(two, three),
        lambda: humidity_ratio_uncertainty(two, 50.0, SEA_LEVEL, three, 2.0),
        lambda: enthalpy_uncertainty(two, 50.0, SEA_LEVEL, three, 2.0),
    ):
        with pytest.raises(ValueError, match="which do not broadcast to one shape"):
            call()
