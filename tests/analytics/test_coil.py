"""Sensible and latent heat of a coil, against PsychroLib, in both conventions."""

import math

import psychrolib
import pytest

from analytics.air_states import AirState
from analytics.coil import coil_heat, coil_heat_uncertainty
from analytics.moisture import latent_energy, moisture_removal_rate
from tests.analytics.test_moisture import differences

psychrolib.SetUnitSystem(psychrolib.SI)

SEA_LEVEL = 101.325
ROOM, DUCT = AirState(24.0, 65.0, 0.3, 2.0), AirState(12.0, 95.0, 0.3, 3.0)
HALF_A_KILOGRAM = 0.5 * 3600 * 0.85823  # m3/h of room air that hold 0.5 kg/s of dry air; PsychroLib's volume

# PsychroLib 2.5.0: 24 degC, 65 % (h 55.054 kJ/kg) to 12 degC, 95 % (h 32.985). Sensible-only point 12 degC at the
# entering humidity ratio (h 42.711), or 24 degC at the leaving one (h 45.242). Stated tolerance 0.001 within a
# convention, 0.005 between the two.
RATIO = {"entering_humidity": 0.5593, "leaving_humidity": 0.5554}


def test_a_coil_of_half_a_kilogram_a_second():
    heat = coil_heat(ROOM, DUCT, HALF_A_KILOGRAM, SEA_LEVEL)
    assert float(heat.total) == pytest.approx(11.03, abs=0.01)
    assert float(heat.sensible) == pytest.approx(6.17, abs=0.01)
    assert float(heat.latent) == pytest.approx(11.03 - 6.17, abs=0.015)


@pytest.mark.parametrize("convention", RATIO)
def test_the_two_conventions(convention):
    heat = coil_heat(ROOM, DUCT, HALF_A_KILOGRAM, SEA_LEVEL, convention)
    assert float(heat.sensible_heat_ratio) == pytest.approx(RATIO[convention], abs=1e-4)  # printed digits
    assert float(heat.sensible + heat.latent) == pytest.approx(float(heat.total), rel=1e-12)
    assert float(heat.total) == pytest.approx(11.03, abs=0.01)
    assert float(heat.total) == pytest.approx(11.058, rel=0.006)  # CoolProp 8.0.0 HAPropsSI, a real gas
    other = coil_heat(ROOM, DUCT, HALF_A_KILOGRAM, SEA_LEVEL)
    assert float(heat.sensible_heat_ratio) == pytest.approx(float(other.sensible_heat_ratio), abs=0.005)


def test_the_default_convention_is_cooling_at_the_entering_humidity():
    assert coil_heat(ROOM, DUCT, 500.0, SEA_LEVEL) == coil_heat(ROOM, DUCT, 500.0, SEA_LEVEL, "entering_humidity")


@pytest.mark.parametrize(("room", "duct"), [((22.0, 70.0), (8.0, 98.0)), ((30.0, 40.0), (14.0, 90.0))])
def test_the_total_is_psychrolibs_difference_of_enthalpies(room, duct):
    enthalpy = [
        psychrolib.GetMoistAirEnthalpy(t, psychrolib.GetHumRatioFromRelHum(t, rh / 100, 90_000))
        for t, rh in (room, duct)
    ]
    ratio = psychrolib.GetHumRatioFromRelHum(room[0], room[1] / 100, 90_000)
    mass = 700.0 / psychrolib.GetMoistAirVolume(room[0], ratio, 90_000)
    ours = coil_heat(AirState(*room), AirState(*duct), 700.0, 90.0)
    assert float(ours.total) == pytest.approx(mass * (enthalpy[0] - enthalpy[1]) / 3.6e6, rel=1e-9)


def test_latent_heat_is_that_of_the_water_removed():
    # FAO-56's latent heat at the coil is the enthalpy's 2501 + 1.86 T less the liquid's 4.19 T: 2 % at 12 degC.
    water = moisture_removal_rate(ROOM, DUCT, 500.0, SEA_LEVEL)
    heat = coil_heat(ROOM, DUCT, 500.0, SEA_LEVEL)
    assert float(heat.latent) == pytest.approx(float(latent_energy(water, 12.0)), rel=0.025)


def test_a_coil_that_does_nothing_has_no_ratio():
    for heat in (coil_heat(ROOM, ROOM, 500.0, SEA_LEVEL), coil_heat(ROOM, DUCT, 0.0, SEA_LEVEL)):
        assert float(heat.total) == 0.0
        assert math.isnan(heat.sensible_heat_ratio)
    assert coil_heat(DUCT, ROOM, 500.0, SEA_LEVEL).total < 0
    assert math.isnan(coil_heat(DUCT, ROOM, 500.0, SEA_LEVEL).sensible_heat_ratio)


def test_give_or_take_is_what_moving_the_inputs_does():
    def total(return_t, return_rh, supply_t, supply_rh, flow):
        entering = psychrolib.GetHumRatioFromRelHum(return_t, return_rh / 100, 101325)
        leaving = psychrolib.GetHumRatioFromRelHum(supply_t, supply_rh / 100, 101325)
        mass = flow / psychrolib.GetMoistAirVolume(return_t, entering, 101325)
        kilojoules = psychrolib.GetMoistAirEnthalpy(return_t, entering) - psychrolib.GetMoistAirEnthalpy(
            supply_t, leaving
        )
        return mass * kilojoules / 3.6e6

    expected = differences(total, (24.0, 65.0, 12.0, 95.0, 1545.0), (0.3, 2.0, 0.3, 3.0, 154.5))
    ours = float(coil_heat_uncertainty(ROOM, DUCT, 1545.0, SEA_LEVEL, 154.5))
    assert ours == pytest.approx(expected, rel=0.01)
    assert float(coil_heat_uncertainty(ROOM, DUCT, 0.0, SEA_LEVEL, 154.5)) == 0.0


def test_nan_in_nan_out():
    nan = math.nan
    for bad in (AirState(nan, 65.0, 0.3, 2.0), AirState(24.0, nan, 0.3, 2.0)):
        for heat in (coil_heat(bad, DUCT, 500.0, SEA_LEVEL), coil_heat(ROOM, bad, 500.0, SEA_LEVEL)):
            assert math.isnan(heat.total)
            assert math.isnan(heat.latent)
        assert math.isnan(coil_heat_uncertainty(bad, DUCT, 500.0, SEA_LEVEL, 50.0))
        assert math.isnan(coil_heat_uncertainty(ROOM, bad, 500.0, SEA_LEVEL, 50.0))
    assert math.isnan(coil_heat(ROOM, DUCT, -1.0, SEA_LEVEL).total)


def test_wrong_calls():
    with pytest.raises(ValueError, match="convention is 'dry': give one of entering_humidity, leaving_humidity"):
        coil_heat(ROOM, DUCT, 500.0, SEA_LEVEL, "dry")
    with pytest.raises(ValueError, match="which do not broadcast to one shape"):
        coil_heat(AirState([20.0, 21.0], 50.0), AirState([10.0, 11.0, 12.0], 50.0), 500.0, SEA_LEVEL)
    with pytest.raises(ValueError, match="which do not broadcast to one shape"):
        coil_heat_uncertainty(AirState([20.0, 21.0], 50.0), DUCT, 500.0, SEA_LEVEL, [1.0, 2.0, 3.0])
