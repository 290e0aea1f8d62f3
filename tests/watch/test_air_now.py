"""The state of a zone's air now, against PsychroLib."""

from __future__ import annotations

import psychrolib
import pytest

from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from tests.watch.conftest import House
from watch.air_now import air_now

psychrolib.SetUnitSystem(psychrolib.SI)

WITH_PRESSURE = """
[[series]]
zone = "room"
quantity = "air_pressure"
[[series]]
zone = "outdoors"
quantity = "relative_humidity"
"""
NOW_US = T0_US + MINUTE_US


@pytest.fixture
def house(tmp_path):
    indoors = 'zone = "room"\nquantity = "relative_humidity"\n'
    text = SMALL_FARM.replace(indoors, f'{indoors}humidity_over = "ice"\n')
    farm, mistakes = check_text(text + WITH_PRESSURE)
    assert not mistakes
    made = House(farm, tmp_path / "house")
    yield made
    made.close()


def put(house, zone, air, humidity, at_us=T0_US):
    house.put(f"{zone}/air_temperature", [(at_us, air)])
    house.put(f"{zone}/relative_humidity", [(at_us, humidity)])


def now(house, zone="room", now_us=NOW_US):
    return air_now(house.farm, house.store, house.store.latest("testfarm"), zone, now_us)


@pytest.mark.parametrize(("air", "humidity"), [(24.0, 65.0), (4.0, 90.0), (-5.0, 80.0)])
def test_it_is_psychrolibs(house, air, humidity):
    put(house, "room", air, humidity)
    house.put("room/air_pressure", [(T0_US, 97.0)])
    found = now(house)
    ratio = psychrolib.GetHumRatioFromRelHum(air, humidity / 100, 97_000)
    moles = psychrolib.GetVapPresFromRelHum(air, humidity / 100) / (8.314462618 * (air + 273.15))  # CODATA 2018
    assert found.air_pressure_kpa == 97.0
    assert found.wet_bulb_degc == pytest.approx(psychrolib.GetTWetBulbFromRelHum(air, humidity / 100, 97_000), abs=1e-3)
    assert found.enthalpy_kj_kg == pytest.approx(psychrolib.GetMoistAirEnthalpy(air, ratio) / 1000, rel=1e-9)
    assert found.density_kg_m3 == pytest.approx(psychrolib.GetMoistAirDensity(air, ratio, 97_000), rel=1e-9)
    assert found.absolute_humidity_g_m3 == pytest.approx(18.015268 * moles, rel=1e-6)
    assert found.time_us == T0_US


def test_without_a_pressure_sensor_the_elevation_stands_for_it(house):
    put(house, "room", 24.0, 65.0)
    assert now(house).air_pressure_kpa == pytest.approx(psychrolib.GetStandardAtmPressure(120.0) / 1000, rel=1e-12)


def test_stale_or_missing_readings_are_no_air(house):
    assert now(house) is None
    house.put("room/air_temperature", [(T0_US, 24.0)])
    assert now(house) is None
    put(house, "room", 24.0, 65.0, T0_US + MINUTE_US)
    assert now(house, now_us=T0_US + 4 * MINUTE_US) is not None  # three cadences
    assert now(house, now_us=T0_US + 5 * MINUTE_US) is None
    assert now(house, "row") is None, "no such sensors there"


def test_frost_of_a_sensor_that_counts_over_water_is_left_unsaid(house):
    put(house, "outdoors", -8.0, 90.0)
    assert now(house, "outdoors") is None
    put(house, "outdoors", 3.0, 90.0, NOW_US)
    assert now(house, "outdoors").wet_bulb_degc < 3.0


def test_humidity_beyond_what_is_possible_says_nothing(house):
    put(house, "room", 24.0, 104.0)
    assert now(house).wet_bulb_degc == pytest.approx(24.0, abs=1e-3)  # counts as 100 %
