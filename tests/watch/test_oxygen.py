"""Oxygen saturation follows oxygen, temperature and pressure, in any order of arrival."""

from __future__ import annotations

import random

import pytest

from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.pressure import pressure_series

RESERVOIR = """
[zones.tank]
kind = "reservoir"
label = "Tank"

[[series]]
zone = "tank"
quantity = "dissolved_oxygen"
[[series]]
zone = "tank"
quantity = "solution_temperature"
"""
PRESSURES = """
[[series]]
zone = "outdoors"
quantity = "air_pressure"
[[series]]
zone = "room"
quantity = "air_pressure"
"""


def farm_of(text):
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def at_1500_m(tmp_path):
    text = SMALL_FARM.replace("elevation_m = 120", "elevation_m = 1500") + RESERVOIR + PRESSURES
    made = House(farm_of(text), tmp_path / "house")
    yield made
    made.close()


def test_saturation_at_the_pressure_of_the_elevation(at_1500_m):
    # 7.553 mg/L saturates at 20 degC and 84.556 kPa: dissolved_oxygen.csv; atmospheres agree to 0.3 %.
    at_1500_m.put("tank/dissolved_oxygen", [(T0_US, 7.553)])
    at_1500_m.put("tank/solution_temperature", [(T0_US, 20.0)])
    at_1500_m.work()
    assert at_1500_m.read("tank/dissolved_oxygen_saturation") == {T0_US: pytest.approx(100.0, rel=0.003)}


def test_a_measured_pressure_counts_while_it_is_fresh(at_1500_m):
    # 9.092 mg/L at 1 atm: dissolved_oxygen.csv. The room's sensor is taken before the one outdoors.
    at_1500_m.put("tank/dissolved_oxygen", [(T0_US, 9.092), (T0_US + 10 * MINUTE_US, 7.553)])
    at_1500_m.put("tank/solution_temperature", [(T0_US, 20.0), (T0_US + 10 * MINUTE_US, 20.0)])
    at_1500_m.put("room/air_pressure", [(T0_US, 101.325)])
    at_1500_m.put("outdoors/air_pressure", [(T0_US, 60.0)])
    at_1500_m.work()
    assert at_1500_m.read("tank/dissolved_oxygen_saturation") == {
        T0_US: pytest.approx(100.0, rel=1e-4),
        T0_US + 10 * MINUTE_US: pytest.approx(100.0, rel=0.003),
    }


@pytest.mark.parametrize(
    ("described", "zone", "told_by"),
    [
        (("outdoors", "room"), "tank", "room"),
        (("outdoors", "room"), "outdoors", "outdoors"),
        (("outdoors",), "room", "outdoors"),
        ((), "room", None),
    ],
)
def test_the_nearest_pressure_counts_whatever_the_order_of_description(described, zone, told_by):
    text = "".join(f'[[series]]\nzone = "{one}"\nquantity = "air_pressure"\n' for one in described)
    found = pressure_series(farm_of(SMALL_FARM + RESERVOIR + text), zone)
    assert (found and found.zone) == told_by


def test_without_a_temperature_there_is_none(at_1500_m):
    at_1500_m.put("tank/dissolved_oxygen", [(T0_US, 7.5)])
    at_1500_m.put("room/air_pressure", [(T0_US, 101.0)])
    at_1500_m.work()
    assert at_1500_m.read("tank/dissolved_oxygen_saturation") == {}


@pytest.mark.slow
def test_any_order_of_arrival_gives_the_same(tmp_path):
    farm, rng = farm_of(SMALL_FARM + RESERVOIR + PRESSURES), random.Random(3)
    rows = [
        (key, time_us + rng.choice([0, 500_000]), value + rng.random())
        for key, text in (
            ("tank/dissolved_oxygen", "8*150"), ("tank/solution_temperature", "21*60 _*8 22*82"),
            ("room/air_pressure", "99*40 _*30 100*80"),
        )
        for time_us, value in samples(text)
    ]  # fmt: skip
    results = []
    for trial in range(3):
        house = House(farm, tmp_path / str(trial))
        order, place = rows if trial == 0 else rng.sample(rows, len(rows)), 0
        while place < len(order):
            size = len(order) if trial == 0 else rng.randint(1, 60)
            for key, time_us, value in order[place : place + size]:
                house.put(key, [(time_us, value)])
            house.work()
            place += size
        results.append(house.read("tank/dissolved_oxygen_saturation"))
        house.close()
    assert len(results[0]) > 200
    assert results[1] == results[0]
    assert results[2] == results[0]
