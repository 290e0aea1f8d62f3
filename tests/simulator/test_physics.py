"""The simulated farm's formulas against published values. Its formulas are not the analytics' ones."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.building import Climate
from simulator.crop import (
    boundary_resistance,
    exchange,
    gross_photosynthesis,
    leaf_area_index,
    steady_stored,
    stomatal_resistance,
    structural_matter,
    transpiration,
)
from simulator.moist_air import (
    enthalpy,
    humidity_ratio,
    saturation_pressure,
    standard_pressure,
    temperature_from_enthalpy,
    vapour_pressure,
)
from simulator.weather import Weather, sine_of_sun


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


# Graamans et al. 2017, from memory.
@pytest.mark.parametrize(("ppfd", "resistance"), [(100, 320.0), (200, 255.0), (250, 233.3), (500, 171.4)])
def test_stomata_open_with_light(ppfd, resistance):
    assert stomatal_resistance(ppfd) == pytest.approx(resistance, abs=0.05)


SEA_LEVEL_PA = 101_325.0


def grown(ppfd, days=29, lit_h=16, co2=1000.0, temperature=24.0):
    """Dry matter [g/m2] gained by young plants, and the light [mol/m2] that fell on them meanwhile."""
    structural = structural_matter(0.1)
    stored = steady_stored(structural)
    start, light = stored + structural, 0.0
    for minute in range(days * 1440):
        now = ppfd if minute % 1440 < lit_h * 60 else 0.0
        change = exchange(stored, structural, 1.0, now, co2, temperature, SEA_LEVEL_PA)
        stored += 60 * change.stored
        structural += 60 * change.structural
        light += 60e-6 * now
    return stored + structural - start, light


# Carotti et al., "Plant Factories Are Heating Up", Frontiers in Plant Science 11:592171, 2021: dry shoot matter of
# lettuce by incident light over 29 days of 16 h, CO2 not limiting, mean of many temperatures; 1.23 g/mol at best.
@pytest.mark.parametrize(("ppfd", "gram_per_mol"), [(200, 1.01), (400, 0.87), (750, 0.76)])
def test_growth_by_light_is_that_of_lettuce(ppfd, gram_per_mol):
    dry, light = grown(ppfd)
    shoot = 0.93 * dry  # van Henten's share of roots is 7 %
    assert shoot / light == pytest.approx(gram_per_mol, rel=0.2)  # size of the young plants is not known here


# Frantz et al., "Exploring the limits of crop productivity", J. Amer. Soc. Hort. Sci. 129(3), 2004: at best 19 g of dry
# matter a square metre and day, with 57.6 mol of light a day and 1200 ppm of CO2.
def test_growth_stays_below_the_best_ever_seen_where_light_is_that_of_a_farm():
    dry, _ = grown(250)
    assert dry / 29 < 19


# Table 1 of PMC10322904, lettuce under lamps at 12 to 20 h of light: leaves took up 4.74 to 8.60 umol m-2 s-1 of CO2
# and gave 1.38 to 1.89 mmol m-2 s-1 of water; 11.5 mol a day in 16 h is 200 umol m-2 s-1.
def test_co2_uptake_in_the_range_of_published_leaves():
    structural = structural_matter(3.0)  # a closed canopy: as much by ground as a leaf in full light
    change = exchange(steady_stored(structural), structural, 1.0, 200.0, 450.0, 22.0, SEA_LEVEL_PA)
    assert 4.74 < change.co2_taken * 1e6 < 8.60


@pytest.mark.parametrize("humidity", [50, 60])
def test_transpiration_in_the_range_of_published_leaves(humidity):
    vapour = saturation_pressure(24.0) * humidity / 100  # a deficit of 1.2 to 1.5 kPa; the table tells none
    light = 0.94 * 200 / 4.6
    speed = boundary_resistance(2.0)  # in a leaf chamber air moves fast; our choice
    given, _ = transpiration(24.0, vapour, light, 1.2 * 1006 / speed, 1 / (stomatal_resistance(200.0) + speed), 1.0)
    assert 1.38 * 0.8 < given / 0.018 * 1000 < 1.89 * 1.2  # kg to mmol; a fifth for what the table leaves open


def test_transpiration_meets_the_energy_balance_of_leaves():
    """What leaves take in as light leaves as vapour and as heat to the air, with the true saturation curve."""
    air, humidity, light = 24.0, 0.7, 100.0
    to_air, to_vapour = 1.2 * 1006 * 2 / 100, 2 / (233.3 + 100)
    vapour = saturation_pressure(air) * humidity
    given, warmer = transpiration(air, vapour, light, to_air, to_vapour, 1.0)
    latent = 2_501_000 + (1860 - 4186) * air
    assert given * latent + to_air * warmer == pytest.approx(light, rel=1e-9)
    density = 1 / (461.5 * (273.15 + air))
    assert given == pytest.approx(to_vapour * (saturation_pressure(air + warmer) - vapour) * density, rel=0.02)


def test_transpiration_answers_to_light_deficit_air_speed_and_roots():
    def given(light=50.0, humidity=70, speed=0.5, ppfd=250.0, roots=1.0):
        still = boundary_resistance(speed)
        conductances = 1.2 * 1006 / still, 1 / (stomatal_resistance(ppfd) + still)
        return transpiration(23.0, saturation_pressure(23.0) * humidity / 100, light, *conductances, roots)[0]

    assert given(humidity=60) > given() > given(humidity=85) > 0
    assert given(light=80.0) > given()
    assert given(light=0.0, ppfd=0.0) < given()
    assert given(speed=0.05) < given()
    assert given(roots=0.5) < 0.7 * given()
    assert given(light=0.0, humidity=101) == 0.0


def test_crop_takes_up_co2_by_light_and_breathes_it_out_in_the_dark():
    structural = structural_matter(2.0)
    assert leaf_area_index(structural) == pytest.approx(2.0)

    def taken(ppfd, co2, living=1.0):
        return exchange(steady_stored(structural), structural, living, ppfd, co2, 20.0, SEA_LEVEL_PA).co2_taken

    assert taken(0, 1000) < 0 < taken(100, 1000) < taken(250, 1000)
    assert taken(250, 400) < taken(250, 1000)
    assert taken(250, 1000, living=0.5) == pytest.approx(0.5 * taken(250, 1000), rel=1e-6)
    assert gross_photosynthesis(250.0, 30.0, 20.0, SEA_LEVEL_PA) == 0.0  # below the compensation point


def test_carbon_of_the_crop_closes():
    structural = structural_matter(2.0)
    for ppfd in (0.0, 250.0):
        change = exchange(steady_stored(structural), structural, 1.0, ppfd, 1000.0, 20.0, SEA_LEVEL_PA)
        assert change.stored + change.structural == pytest.approx(change.co2_taken * 44.01 * 0.68, rel=1e-9)


def hourly(climate, seed=5, days=365):
    start_s = 1_767_225_600  # 2026-01-01
    time_s = start_s + 3600 * np.arange(days * 24)
    return time_s, Weather(climate, seed, float(start_s)).at(time_s)


def test_weather_has_cold_winters_and_warm_afternoons():
    _, air = hourly(Climate())
    hour = np.arange(365 * 24) % 24
    month = np.arange(365 * 24) // 24 // 30.4
    assert air.temperature[month == 0].mean() < -3
    assert air.temperature[month == 6].mean() > 12
    # twice the daily swing it is told to have; coldest at 6 by the sun, which is 5:20 UTC at 10 degrees east
    assert air.temperature[hour == 17].mean() - air.temperature[hour == 5].mean() == pytest.approx(5.0, abs=0.5)
    assert ((air.humidity >= 30) & (air.humidity <= 98)).all()
    assert (air.solar[hour == 0] == 0).all()
    assert air.solar[(hour == 11) & (month == 5)].mean() > 3 * air.solar[(hour == 11) & (month == 0)].mean()


def test_weather_goes_down_to_forty_below():
    _, air = hourly(Climate(mean_c=-10.0, year_swing_k=20.0, slow_noise_k=5.0))
    assert -50 < air.temperature.min() < -38


def test_weather_of_a_seed_is_the_same_in_any_pieces():
    time_s, whole = hourly(Climate(), days=60)
    weather = Weather(Climate(), 5, float(time_s[0]))
    pieces = [weather.at(time_s[first : first + 7]) for first in range(0, len(time_s), 7)]
    for name in whole._fields:
        assert (np.concatenate([getattr(one, name) for one in pieces]) == getattr(whole, name)).all()
    _, other = hourly(Climate(), seed=6, days=60)
    assert (other.temperature != whole.temperature).any()


def test_the_sun_stands_where_astronomy_has_it():
    """At noon its height is 90 degrees less latitude, more or less the tilt of the earth's axis at the solstices."""
    for day, tilt in ((172.0, 23.44), (354.6, -23.44)):
        noon = sine_of_sun(50.0, np.array([day]), np.array([12.0]))
        assert noon == pytest.approx(np.sin(np.radians(90 - 50 + tilt)), abs=1e-3)
    assert sine_of_sun(50.0, np.array([354.6]), np.array([0.0])) == 0.0
