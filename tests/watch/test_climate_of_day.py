"""The climate section of the day sheet, on a small farm whose figures can be reckoned by hand or by PsychroLib."""

from __future__ import annotations

import math
import random
from datetime import date, timedelta

import psychrolib
import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading, Series
from store.entries import DaySheetEntry
from tests.analytics.test_moisture import differences, psychrolib_removal
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.air_conditioner_of_day import unit_day
from watch.climate_of_day import climate
from watch.day_data import day_data
from watch.derived import derivations

psychrolib.SetUnitSystem(psychrolib.SI)

HOUR_US = 60 * MINUTE_US
DAY = date(2026, 3, 2)  # in Oslo it begins at 23:00 UTC the day before
START_US = T0_US + 23 * HOUR_US
PRESSURE_PA = 99_000.0

EQUIPPED = """
[[series]]
zone = "room"
quantity = "compressor_on"
[[series]]
zone = "room"
quantity = "electrical_power"
sensor = "unit"
accuracy = 10
[[series]]
zone = "room"
quantity = "condensate_volume"
accuracy = 0.01
[[series]]
zone = "room"
quantity = "air_pressure"
[zones.supply]
kind = "supply_duct"
label = "Supply duct"
[[series]]
zone = "supply"
quantity = "air_temperature"
[[series]]
zone = "supply"
quantity = "relative_humidity"
[zones.other]
kind = "growing_row"
label = "Other row"
lights = "row/lights_on"
[[series]]
zone = "other"
quantity = "air_temperature"
[[series]]
zone = "other"
quantity = "relative_humidity"
[[series]]
zone = "row"
quantity = "air_temperature"
[[series]]
zone = "row"
quantity = "relative_humidity"
"""
UNIT = """
[equipment.air_conditioner]
cooling_w = 3500
power_w = 1000
compressor = "room/compressor_on"
condensate = "room/condensate_volume"
min_off_s = 300
return_zone = "room"
supply_zone = "supply"
air_flow_m3_h = 500
"""
RUN = 20  # minutes of each hour that the compressor runs
ROOM, DUCT = (24.0, 65.0), (12.0, 95.0)


def farm_with(unit=UNIT):
    farm, mistakes = check_text(SMALL_FARM + EQUIPPED + unit)
    assert farm is not None, mistakes
    return farm


def psychrolib_coil():
    """Water [kg/h] and heat [kW] of the coil at the measured pressure, 500 m3/h: PsychroLib."""
    entering, leaving = (psychrolib.GetHumRatioFromRelHum(t, rh / 100, PRESSURE_PA) for t, rh in (ROOM, DUCT))
    mass = 500.0 / psychrolib.GetMoistAirVolume(ROOM[0], entering, PRESSURE_PA)
    heat = psychrolib.GetMoistAirEnthalpy(ROOM[0], entering) - psychrolib.GetMoistAirEnthalpy(DUCT[0], leaving)
    sensible = psychrolib.GetMoistAirEnthalpy(ROOM[0], entering) - psychrolib.GetMoistAirEnthalpy(DUCT[0], entering)
    return mass * (entering - leaving), mass * heat / 3.6e6, mass * sensible / 3.6e6


def a_day(start_us=START_US, hours=24):
    """Twenty minutes on and forty off each hour; the duct has cold air while it runs and for five minutes after."""
    rate = psychrolib_coil()[0]
    rows, litres = {}, 0.0
    for n in range(hours * 60 + 3):
        at, minute = start_us + n * MINUTE_US, n % 60
        runs = minute < RUN
        duct = DUCT if minute < RUN + 5 else ROOM
        litres += rate / 60 if 0 < minute < RUN + 5 else 0.0
        values = {
            "room/compressor_on": float(runs), "room/air_temperature": ROOM[0], "room/relative_humidity": ROOM[1],
            "supply/air_temperature": duct[0], "supply/relative_humidity": duct[1],
            "room/air_pressure": PRESSURE_PA / 1000, "room/condensate_volume": litres,
        }  # fmt: skip
        for key, value in values.items():
            rows.setdefault(key, []).append((at, value))
    return rows


def sheet_of(house, day=DAY):
    return climate(day_data(house.farm, house.watch.readings, house.journal, day, house.now_us))


@pytest.fixture
def house(tmp_path):
    made = House(farm_with(), tmp_path / "house")
    yield made
    made.close()


def put_all(house, rows):
    for key, several in rows.items():
        house.put(key, several)
    house.work()


def test_the_unit_of_a_day(house):
    put_all(house, a_day())
    [unit] = sheet_of(house)["air_conditioners"]
    assert unit["cycling"] == {
        "starts": 23, "starts_per_hour": pytest.approx(23 / 24), "duty": pytest.approx(1 / 3),
        "on_h": pytest.approx(8.0), "mean_on_s": 1200.0, "mean_off_s": 2400.0,
        "shortest_on_s": 1200.0, "shortest_off_s": 2400.0,
        "min_off_s": 300.0, "short_offs": 0, "coverage": pytest.approx(1.0),
    }  # fmt: skip
    rate, heat, sensible = psychrolib_coil()
    # Each hour: cold duct for 25 readings, the ramp down between the last of them and the next adds half a minute;
    # so does the ramp up of every hour but the first.
    hours = (24 * (24 + 0.5) + 23 * 0.5) / 60
    water = unit["water"]
    assert water["by_air"]["kg"] == pytest.approx(rate * hours, rel=2e-3)
    assert water["by_condensate"]["kg"] == pytest.approx(rate * 24 * 24 / 60, rel=1e-6)
    assert water["by_condensate"]["coverage"] == pytest.approx(1439 / 1440)
    # 2 % of what the meter counted, and its stated accuracy at both ends of the day (our choices)
    assert water["by_condensate"]["give_or_take"] == pytest.approx(math.hypot(0.02 * rate * 9.6, 0.01 * 2**0.5))
    # Offsets for as long as the coil works: moving each input by what is usual for its sensor (3.5 % RH at 95 %, our
    # line from 2 % at 80 to 4 % at saturation), the flow by a tenth
    expected = differences(psychrolib_removal, (*ROOM, *DUCT, 500.0, PRESSURE_PA / 1000), (0.3, 2.0, 0.3, 3.5, 50.0))
    assert water["by_air"]["give_or_take"] == pytest.approx(expected * hours, rel=0.03)
    assert water["agreement"]["agree"] is True
    assert water["agreement"]["difference_kg"] == pytest.approx(rate * (hours - 9.6), rel=0.05)
    assert water["per_run_hour"]["kg_per_h"] == pytest.approx(rate * 9.6 / 8, rel=1e-6)
    assert unit["heat"]["total"]["kwh"] == pytest.approx(heat * hours, rel=2e-3)
    assert unit["heat"]["sensible_heat_ratio"] == pytest.approx(sensible / heat, abs=1e-3)
    assert unit["heat"]["sensible_kwh"] + unit["heat"]["latent_kwh"] == pytest.approx(unit["heat"]["total"]["kwh"])
    assert unit["heat"]["convention"] == "entering_humidity"
    assert unit["electricity"]["used"] == {"kwh": pytest.approx(8.0), "give_or_take": None, "coverage": 1.0}
    assert unit["electricity"]["from"] == "rated power"
    cooling = unit["electricity"]["cooling_per_electricity"]
    assert cooling["kwh_per_kwh"] == pytest.approx(heat * hours / 8, rel=2e-3)


def test_the_removal_rate_is_a_series_of_the_supply_duct(house):
    put_all(house, a_day(hours=1))
    derived = house.read("supply/moisture_removal_rate")
    rate = psychrolib_coil()[0]
    assert derived[START_US + 5 * MINUTE_US] == pytest.approx(rate, rel=1e-9)
    assert derived[START_US + 30 * MINUTE_US] == 0.0


def test_without_a_pressure_sensor_the_elevation_stands_for_it(house):
    rows = a_day(hours=1)
    del rows["room/air_pressure"]
    put_all(house, rows)
    pressure = psychrolib.GetStandardAtmPressure(120.0)  # ASHRAE's standard atmosphere
    entering, leaving = (psychrolib.GetHumRatioFromRelHum(t, rh / 100, pressure) for t, rh in (ROOM, DUCT))
    expected = 500.0 / psychrolib.GetMoistAirVolume(ROOM[0], entering, pressure) * (entering - leaving)
    derived = house.read("supply/moisture_removal_rate")
    assert derived[START_US + 5 * MINUTE_US] == pytest.approx(expected, rel=1e-5)


def test_a_drain_that_loses_water_does_not_agree_with_the_air(house):
    rows = a_day()
    rows["room/condensate_volume"] = [(at, litres * 0.3) for at, litres in rows["room/condensate_volume"]]
    put_all(house, rows)
    water = sheet_of(house)["air_conditioners"][0]["water"]
    assert water["agreement"]["agree"] is False
    assert water["agreement"]["difference_kg"] > water["agreement"]["give_or_take_kg"]


def test_a_gap_lowers_the_coverage_and_nothing_is_compared(house):
    """Six hours of nothing: what is missing is neither on, nor off, nor dry."""
    rows = a_day()
    hole = (START_US + 6 * HOUR_US, START_US + 12 * HOUR_US)
    put_all(
        house, {key: [(at, v) for at, v in several if not hole[0] <= at < hole[1]] for key, several in rows.items()}
    )
    [unit] = sheet_of(house)["air_conditioners"]
    held = 2 / 60  # the last reading before holds for three minutes, one of which it would have held anyway
    assert unit["cycling"]["coverage"] == pytest.approx((18 + held) / 24)
    assert unit["cycling"]["starts"] == 5 + 11
    assert unit["water"]["by_air"]["coverage"] == pytest.approx(18 / 24, abs=0.003)
    assert unit["water"]["by_air"]["kg"] == pytest.approx(psychrolib_coil()[0] * 18 * 25 / 60, rel=0.01)
    assert unit["water"]["by_condensate"]["kg"] == pytest.approx(psychrolib_coil()[0] * 9.6, rel=1e-6)
    assert unit["water"]["agreement"] is None


def test_what_is_not_described_or_never_came_is_none(house, tmp_path):
    [unit] = sheet_of(house)["air_conditioners"]  # nothing has come yet
    assert (unit["cycling"]["duty"], unit["cycling"]["coverage"], unit["heat"]) == (None, 0.0, None)
    put_all(house, {"room/compressor_on": samples("1*60 0*60", start_us=START_US)})
    [unit] = sheet_of(house)["air_conditioners"]
    assert unit["cycling"]["starts"] == 0
    assert unit["water"] == {
        "by_condensate": None, "by_air": None, "agreement": None, "per_run_hour": None, "against_first_weeks": None
    }  # fmt: skip
    assert unit["heat"] is None
    bare = House(farm_with("[equipment.air_conditioner]\ncooling_w = 3500\npower_w = 1000\n"), tmp_path / "bare")
    put_all(bare, a_day(hours=2))
    assert sheet_of(bare) == {"air_conditioners": [], "vapour_balance": None, "recovery": [], "evenness": []}
    bare.close()


def test_power_above_its_threshold_is_the_compressor_and_the_electricity(tmp_path):
    keys = UNIT.replace('"room/compressor_on"', '"room/electrical_power/unit"\nrunning_above_w = 200')
    house = House(farm_with(keys), tmp_path / "metered")
    rows = a_day()
    rows["room/electrical_power/unit"] = [(at, 900.0 if on else 20.0) for at, on in rows.pop("room/compressor_on")]
    put_all(house, rows)
    [unit] = sheet_of(house)["air_conditioners"]
    assert unit["cycling"]["on_h"] == pytest.approx(8.0)
    used = unit["electricity"]["used"]
    assert unit["electricity"]["from"] == "meter"
    assert used["kwh"] == pytest.approx(8 * 0.9 + 16 * 0.02, abs=0.02)
    assert used["give_or_take"] == pytest.approx(0.24)  # 10 W, an offset, for a day
    assert unit["electricity"]["cooling_per_electricity"]["give_or_take"] > 0
    house.close()


def test_the_order_of_arrival_changes_nothing(tmp_path):
    rows = [(key, *one) for key, several in a_day(hours=3).items() for one in several]
    results = []
    for turn, seed in enumerate((None, 1, 2)):
        house = House(farm_with(), tmp_path / str(turn))
        order = rows if seed is None else random.Random(seed).sample(rows, len(rows))
        for start in range(0, len(order), 149):
            some = order[start : start + 149]
            house.store.append([Reading(house.series(key), at, value, Flag.NOT_EVALUATED) for key, at, value in some])
            house.work()
        derived = house.store.read(house.series("supply/moisture_removal_rate"), 0, 2**62)
        results.append((house.read("supply/moisture_removal_rate"), derived.flag.tolist(), sheet_of(house)))
        house.close()
    assert results[0] == results[1] == results[2]
    assert len(results[0][0]) > 180


def lit_day(house):
    """Lights on at 05:00 UTC; both rows then warm up, the other one a kelvin more and later back in the band."""
    house.put("row/lights_on", samples("0*360 1*960 0*120", start_us=START_US))
    house.put("row/air_temperature", samples("18*360 26*15 22*1065", start_us=START_US))
    house.put("other/air_temperature", samples("18.1*360 27*30 23*1050", start_us=START_US))
    for zone in ("row", "other"):
        house.put(f"{zone}/relative_humidity", samples("60*1440", start_us=START_US))
    house.work()


def test_recovery_after_lights_on(house):
    lit_day(house)
    found = {row["key"]: row for row in sheet_of(house)["recovery"]}
    row = found["row/air_temperature"]  # 20 to 24 degC while lit
    assert (row["recovery_h"], row["until"], row["settled"], row["complete"]) == (0.25, "band", None, True)
    assert (row["lights_on"], row["window_h"]) == ("2026-03-02T05:00:00Z", 3.0)
    other = found["other/air_temperature"]  # no band: within a kelvin of what it settled on
    assert (other["recovery_h"], other["until"], other["settled"]) == (0.5, "settled value", 23.0)
    assert (other["settled_within"], other["settled_within_unit"]) == (1.0, "K")
    assert found["row/vapour_pressure_deficit"]["until"] == "settled value"
    assert found["row/vapour_pressure_deficit"]["recovery_h"] == 0.25


def test_recovery_while_the_window_lasts_is_not_complete(house):
    lit_day(house)
    house.now_us = START_US + 6 * HOUR_US + 10 * MINUTE_US
    row = next(row for row in sheet_of(house)["recovery"] if row["key"] == "row/air_temperature")
    assert (row["recovery_h"], row["complete"]) == (None, False)


def test_evenness_of_the_rows_while_lit_and_dark(house):
    lit_day(house)
    found = {(row["quantity"], row["light"]): row for row in sheet_of(house)["evenness"]}
    assert len(found) == 4
    lit, dark = found["air_temperature", "lit"], found["air_temperature", "dark"]
    assert (lit["range_median"], lit["unit"], lit["zones"]) == (1.0, "K", ["row", "other"])
    # two sensors of 0.3 K, the trade's usual: 0.3 times the root of 2 (studentised range of two)
    assert lit["range_of_sensors"] == pytest.approx(0.4243, abs=1e-4)
    assert lit["distinguishable"] is True
    assert dark["range_median"] == pytest.approx(0.1)
    assert dark["distinguishable"] is False
    deficit = found["vapour_pressure_deficit", "lit"]
    warm, cool = (psychrolib.GetSatVapPres(t) * 0.4 / 1000 for t in (23.0, 22.0))
    assert deficit["range_median"] == pytest.approx(warm - cool, rel=1e-6)
    # moving 23 degC, 60 % by 0.3 K and 2 %: PsychroLib, times the root of 2
    by_air = (psychrolib.GetSatVapPres(23.15) - psychrolib.GetSatVapPres(22.85)) * 0.4 / 1000
    by_humidity = psychrolib.GetSatVapPres(23.0) * 0.02 / 1000
    assert deficit["range_of_sensors"] == pytest.approx((by_air**2 + by_humidity**2) ** 0.5 * 2**0.5, rel=1e-3)


def test_one_row_is_not_uneven(house):
    house.put("row/lights_on", samples("1*600", start_us=START_US))
    house.put("row/air_temperature", samples("22*600", start_us=START_US))
    house.put("row/relative_humidity", samples("60*600", start_us=START_US))
    house.work()
    assert sheet_of(house)["evenness"] == []


def test_the_section_stands_on_the_written_sheet(house):
    house.now_us = START_US + 24 * HOUR_US
    put_all(house, a_day())
    sheet = house.journal.day_sheet("testfarm", DAY).sheet
    assert sheet["climate"] == sheet_of(house)


def earlier_sheet(day, kg_per_h, agree=True, complete=True, coverage=1.0):
    drying = {"kg_per_h": kg_per_h, "give_or_take": 0.05, "coverage": coverage}
    water = {"per_run_hour": drying, "agreement": {"agree": agree}}
    sheet = {"complete": complete, "climate": {"air_conditioners": [{"water": water}]}}
    return DaySheetEntry(day, 0, "first", sheet)


def test_drying_against_the_first_healthy_weeks(house):
    """Twenty-one healthy days at twice today's drying make the baseline; sick, partial and empty sheets do not."""
    put_all(house, a_day())
    today = sheet_of(house)["air_conditioners"][0]["water"]["per_run_hour"]["kg_per_h"]
    start = DAY - timedelta(days=40)
    for n in range(40):
        drying = today * (2.0 if n < 25 else 1.0)
        sick = {3: {"agree": False}, 4: {"complete": False}, 5: {"coverage": 0.5}}.get(n, {})
        entry = earlier_sheet(start + timedelta(days=n), 99.0 if sick else drying, **sick)
        if n == 6:
            entry = DaySheetEntry(entry.day, 0, "first", {"complete": True})  # of a version without this section
        house.journal.save_day_sheet("testfarm", entry)
    found = sheet_of(house)["air_conditioners"][0]["water"]["against_first_weeks"]
    assert found["baseline_kg_per_h"] == pytest.approx(2.0 * today)
    assert found["now_kg_per_h"] == pytest.approx(today)
    assert (found["ratio"], found["ratio_give_or_take"]) == (pytest.approx(0.5), 0.0)
    house.now_us = START_US + 20 * HOUR_US
    assert sheet_of(house)["air_conditioners"][0]["water"]["against_first_weeks"] is None, "the day lasts"


def test_moisture_removal_rests_on_its_sensors_only(house):
    [made] = [one for one in derivations(house.farm) if one.output.quantity == "moisture_removal_rate"]
    assert {one.key for one in made.inputs} == {
        "room/air_temperature", "room/relative_humidity", "supply/air_temperature", "supply/relative_humidity",
        "room/air_pressure",
    }  # fmt: skip
    assert made.output == Series("testfarm", "supply", "moisture_removal_rate")


def test_zero_flow_is_no_drying(house):
    """Equal air on both sides moves nothing, whatever the compressor does."""
    rows = a_day(hours=4)
    rows["supply/air_temperature"] = [(at, ROOM[0]) for at, _ in rows["supply/air_temperature"]]
    rows["supply/relative_humidity"] = [(at, ROOM[1]) for at, _ in rows["supply/relative_humidity"]]
    put_all(house, rows)
    unit = unit_day(
        day_data(house.farm, house.watch.readings, house.journal, DAY, house.now_us),
        house.farm.equipment.air_conditioner,
    )
    assert unit.taken.water.value == 0.0
    assert unit.taken.water.give_or_take > 0.0
    assert sheet_of(house)["air_conditioners"][0]["heat"]["sensible_heat_ratio"] is None
