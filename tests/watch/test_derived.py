"""Derived series follow their inputs, in any order of arrival."""

from __future__ import annotations

import random

import psychrolib
import pytest

from farm.flags import Flag
from farm.readings import Reading
from tests.conftest import MINUTE_US, T0_US, samples
from tests.watch.conftest import House

psychrolib.SetUnitSystem(psychrolib.SI)


def test_dew_point_and_vpd_are_psychrolibs(house):
    house.put("room/air_temperature", [(T0_US, 24.0)])
    house.put("room/relative_humidity", [(T0_US, 65.0)])
    house.work()
    [dew_point] = house.read("room/dew_point_temperature").values()
    [vpd] = house.read("room/vapour_pressure_deficit").values()
    assert dew_point == pytest.approx(psychrolib.GetTDewPointFromRelHum(24.0, 0.65), abs=1e-6)
    assert vpd == pytest.approx(psychrolib.GetSatVapPres(24.0) * (1 - 0.65) / 1000, rel=1e-9)


def test_readings_need_not_come_at_the_same_instant(house):
    second = 1_000_000
    house.put("room/air_temperature", [(T0_US, 24.0), (T0_US + MINUTE_US, 25.0)])
    house.put("room/relative_humidity", [(T0_US + 2 * second, 65.0)])
    house.work()
    assert sorted(house.read("room/vapour_pressure_deficit")) == [T0_US + 2 * second, T0_US + MINUTE_US]


def test_an_old_reading_does_not_speak_for_now(house):
    house.put("room/relative_humidity", [(T0_US, 65.0)])
    house.put("room/air_temperature", [(T0_US + 3 * MINUTE_US, 24.0), (T0_US + 3 * MINUTE_US + 1, 24.0)])
    house.work()
    assert sorted(house.read("room/vapour_pressure_deficit")) == [T0_US + 3 * MINUTE_US]


def test_a_derived_value_carries_the_worst_flag_and_failed_inputs_give_none(house):
    series = house.series("room/air_temperature")
    house.put("room/relative_humidity", [(T0_US, 65.0), (T0_US + MINUTE_US, 65.0)])
    house.store.append(
        [Reading(series, T0_US, 24.0, Flag.SUSPECT), Reading(series, T0_US + MINUTE_US, 24.0, Flag.FAIL)]
    )
    house.work()
    columns = house.store.read(house.series("room/dew_point_temperature"), 0, 2**62)
    assert columns.flag.tolist()[0] == Flag.SUSPECT
    assert columns.time_us.tolist() == [T0_US]


def test_leaf_vpd_by_the_stated_offset_and_a_wall_by_its_r_value(house):
    house.put("room/air_temperature", [(T0_US, 22.0)])
    house.put("room/relative_humidity", [(T0_US, 70.0)])
    house.put("outdoors/air_temperature", [(T0_US, -40.0)])
    house.work()
    # ISO 6946 with R-22 (3.8744 m2K/W), Rsi 0.13, Rse 0.04: 20.007 degC, in the check table of docs/science.md
    [wall] = house.read("room/surface_temperature/north-wall").values()
    assert wall == pytest.approx(20.007, abs=0.002)
    [margin] = house.read("room/condensation_margin/north-wall").values()
    assert margin == pytest.approx(20.007 - psychrolib.GetTDewPointFromRelHum(22.0, 0.70), abs=0.002)


@pytest.mark.slow
def test_any_order_of_arrival_gives_the_same_derived_readings(small_farm, tmp_path):
    rng = random.Random(5)
    rows = [
        (key, time_us + rng.choice([0, 0, 500_000]), value + rng.random())
        for key, text in (("room/air_temperature", "22*200"), ("room/relative_humidity", "60*80 _*10 70*110"))
        for time_us, value in samples(text)
    ]
    results = []
    for trial in range(3):
        house = House(small_farm, tmp_path / str(trial))
        order = rows if trial == 0 else rng.sample(rows, len(rows))
        place = 0
        while place < len(order):
            size = len(order) if trial == 0 else rng.randint(1, 60)
            for key, time_us, value in order[place : place + size]:
                house.put(key, [(time_us, value)])
            house.work()
            place += size
        results.append([house.read(f"room/{q}") for q in ("dew_point_temperature", "vapour_pressure_deficit")])
        house.close()
    assert len(results[0][0]) > 190
    assert results[1] == results[0]
    assert results[2] == results[0]


def test_a_crash_before_the_notes_are_settled_loses_nothing(house, monkeypatch):
    house.put("room/air_temperature", [(T0_US, 24.0)])
    house.put("room/relative_humidity", [(T0_US, 65.0)])
    with monkeypatch.context() as patch:
        patch.setattr(house.store, "settle", lambda notes: (_ for _ in ()).throw(RuntimeError("killed here")))
        with pytest.raises(RuntimeError, match="killed here"):
            house.watch.round()
    house.fresh_watch()
    house.work()
    assert len(house.read("room/vapour_pressure_deficit")) == 1
    assert house.store.touched(house.farm.name, 10) == []
