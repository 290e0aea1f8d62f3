"""The simulated farm's formulas against published values. Its formulas are not the analytics' ones."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from simulator.crop import Stand, co2_uptake, stomatal_resistance, water_kept
from simulator.moist_air import (
    enthalpy,
    humidity_ratio,
    saturation_pressure,
    standard_pressure,
    temperature_from_enthalpy,
    vapour_pressure,
)
from simulator.reservoir import oxygen_saturation
from simulator.weather import Weather


# FAO Irrigation and Drainage Paper 56, annex 2, from memory; three decimals. Magnus and Tetens agree to 0.3 %.
@pytest.mark.parametrize(
    ("temperature", "kilopascal"), [(1, 0.657), (5, 0.872), (10, 1.228), (20, 2.338), (30, 4.243), (40, 7.376)]
)
def test_saturation_pressure(temperature, kilopascal):
    assert saturation_pressure(temperature) / 1000 == pytest.approx(kilopascal, rel=3e-3)


# Psychrolib 2.5.0 at 101325 Pa: humidity ratio and enthalpy (kJ/kg). Magnus differs by up to 0.3 %.
@pytest.mark.parametrize(
    ("temperature", "humidity", "ratio", "heat"),
    [(20, 50, 0.007262, 38.552), (22, 70, 0.011575, 51.555), (25, 80, 0.015962, 65.813), (5, 80, 0.004314, 15.860)],
)
def test_state_of_moist_air(temperature, humidity, ratio, heat):
    found = humidity_ratio(saturation_pressure(temperature) * humidity / 100, 101_325)
    assert found == pytest.approx(ratio, rel=4e-3)
    assert enthalpy(temperature, found) / 1000 == pytest.approx(heat, abs=0.2)
    assert temperature_from_enthalpy(enthalpy(temperature, found), found) == pytest.approx(temperature)
    assert humidity_ratio(vapour_pressure(found, 101_325), 101_325) == pytest.approx(found)


def test_standard_pressure():
    # Psychrolib 2.5.0, standard atmosphere at 1500 m: 84555.9 Pa; other standards differ by 0.3 %.
    assert standard_pressure(1500) == pytest.approx(84_555.9, rel=1e-3)


# Oxygen in fresh water at 1 atm by APHA's equation (Benson and Krause); the cubic used here is a coarser fit.
@pytest.mark.parametrize(("temperature", "milligrams"), [(10, 11.288), (15, 10.084), (20, 9.092), (25, 8.263)])
def test_oxygen_saturation(temperature, milligrams):
    assert oxygen_saturation(temperature) == pytest.approx(milligrams, abs=0.1)


# Graamans et al. 2017, from memory.
@pytest.mark.parametrize(("ppfd", "resistance"), [(100, 320.0), (200, 255.0), (250, 233.3), (500, 171.4)])
def test_stomata_open_with_light(ppfd, resistance):
    assert stomatal_resistance(ppfd) == pytest.approx(resistance, abs=0.05)


def test_crop_takes_up_co2_by_light_and_breathes_it_out_in_the_dark():
    stand = Stand("row", area_m2=1.0, leaf_area_index=2.0)
    dark = co2_uptake(stand, 0.0, 1000.0, 20.0)
    dim, bright, short = (
        co2_uptake(stand, *light_and_co2, 20.0) for light_and_co2 in ((100, 1000), (250, 1000), (250, 400))
    )
    assert dark < 0 < dim < bright
    assert short < bright
    # Lettuce under 200-250 umol m-2 s-1 takes up some 5 to 12 umol m-2 s-1; from memory.
    assert 5e-6 < bright < 12e-6
    assert water_kept(dark) == 0.0


def test_weather_has_cold_winters_and_warm_afternoons():
    start = datetime(2026, 1, 1, tzinfo=UTC)
    weather = Weather(start, seed=5)
    hourly = [(start + timedelta(hours=hour), weather.at(start + timedelta(hours=hour))) for hour in range(365 * 24)]

    def mean(chosen):
        chosen = list(chosen)
        return sum(chosen) / len(chosen)

    january = mean(air.temperature for when, air in hourly if when.month == 1)
    july = mean(air.temperature for when, air in hourly if when.month == 7)
    night = mean(air.temperature for when, air in hourly if when.hour == 5)
    afternoon = mean(air.temperature for when, air in hourly if when.hour == 17)
    assert january < -3
    assert july > 12
    assert afternoon - night == pytest.approx(5.0, abs=0.5)  # twice the daily swing it is told to have
    assert all(30 <= air.relative_humidity <= 98 for _, air in hourly)
