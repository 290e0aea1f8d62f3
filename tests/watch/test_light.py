"""Photoperiod, estimated light and lamp output, from stored readings of three rows and a shelf without a sensor."""

from __future__ import annotations

import random
from datetime import date

import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.overview import zones_now

HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
FULL = {"row": 250.0, "row-2": 240.0, "row-3": 260.0}

ROWS = "".join(
    f"""
[zones.{zone}]
kind = "{kind}"
label = "{zone.title()}"
crop = "cress"
phase = "growing"
lights = "{zone}/lights_on"
[[series]]
zone = "{zone}"
quantity = "lights_on"
"""
    for zone, kind in (("row-2", "growing_row"), ("row-3", "growing_row"), ("shelf", "seedling_shelf"))
)
LIT_FARM = (
    SMALL_FARM
    + ROWS
    + "".join(f'[[series]]\nzone = "{zone}"\nquantity = "ppfd"\naccuracy = 10\n' for zone in ("row-2", "row-3"))
    + "".join(
        f'[[equipment.lamp_groups]]\nname = "{zone}"\nzones = ["{zone}"]\ncommissioning_ppfd = {ppfd}\npower_w = 600\n'
        for zone, ppfd in {**FULL, "shelf": 200.0}.items()
    )
)


@pytest.fixture(scope="module")
def lit_farm():
    farm, mistakes = check_text(LIT_FARM)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def lit_house(lit_farm, tmp_path):
    made = House(lit_farm, tmp_path / "house")
    yield made
    made.close()


def light(days, zones=("row", "row-2", "row-3", "shelf"), on_minute=300, lit_minutes=960, step=5, fade=0.0, seed=3):
    """Readings of lights and PPFD every ``step`` minutes; lit from 05:00 UTC (06:00 in Oslo) for 16 h."""
    noise, rows = random.Random(seed), []
    for minute in range(0, days * 1440, step):
        on = float(0 <= minute % 1440 - on_minute < lit_minutes)
        at = T0_US + minute * MINUTE_US
        for zone in zones:
            rows.append((f"{zone}/lights_on", at, on))
            if zone in FULL:
                share = 1.0 - fade * minute / 1440 + noise.gauss(0, 0.002)
                rows.append((f"{zone}/ppfd", at, on * FULL[zone] * share))
    return rows


def put(house, rows):
    house.store.append([Reading(house.series(key), at, value, Flag.GOOD) for key, at, value in rows])


@pytest.fixture(scope="module")
def slow_farm():
    """The same farm with a reading every five or ten minutes."""
    text = LIT_FARM.replace('quantity = "ppfd"', 'quantity = "ppfd"\ncadence_s = 300')
    return check_text(text.replace('quantity = "lights_on"', 'quantity = "lights_on"\ncadence_s = 300'))[0]


def sheet_of(house, day):
    return house.journal.day_sheet(house.farm.name, day).sheet


# --- estimated light ----------------------------------------------------------------------------


def test_a_zone_without_a_sensor_gets_light_from_its_switch(slow_farm, tmp_path):
    house = House(slow_farm, tmp_path / "house")
    put(house, light(3, zones=["shelf"]))
    house.work()
    ppfd = house.store.read(house.series("shelf/ppfd/estimated"), 0, 2**62)
    assert sorted(set(ppfd.value.tolist())) == [0.0, 200.0]
    integrals = house.store.read(house.series("shelf/daily_light_integral/estimated"), 0, 2**62)
    rows = zip(integrals.time_us.tolist(), integrals.value.tolist(), integrals.flag.tolist(), strict=True)
    found = {at: (mol, flag) for at, mol, flag in rows}
    # table of light integrals: 200 umol m-2 s-1 for 16 h are 11.52 mol m-2, without ramps exactly
    assert found[T0_US + 5 * HOUR_US] == (pytest.approx(11.52, rel=1e-12), Flag.NOT_EVALUATED)
    assert found[T0_US + 53 * HOUR_US][1] == Flag.SUSPECT  # still runs
    assert set(ppfd.flag.tolist()) == {Flag.NOT_EVALUATED}, "the switch's own flag was GOOD: nobody saw the light"
    house.close()


def test_measured_light_is_never_replaced_by_an_estimate(lit_house):
    put(lit_house, light(1, step=1))
    lit_house.work()
    assert lit_house.read("row/ppfd/estimated") == {}
    assert lit_house.read("shelf/ppfd/estimated") != {}
    assert lit_house.read("shelf/lamp_output") == {}


def test_an_estimate_opens_no_excursion_and_says_what_it_is(slow_farm, tmp_path):
    text = LIT_FARM.replace("air_temperature = { lit", "ppfd = { lit = [300, 400] }\nair_temperature = { lit")
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    put(house, light(2, step=1))
    house.work()
    zones = {one.series.zone for one in house.journal.excursions(farm.name)}
    assert zones == {"row", "row-2", "row-3"}
    assert house.farm.label_of(house.series("shelf/ppfd/estimated")) == "PPFD, estimated from the lamps"
    house.close()


def test_the_name_estimated_is_kept():
    bad = LIT_FARM + '[[series]]\nzone = "shelf"\nquantity = "ppfd"\nsensor = "estimated"\n'
    _, mistakes = check_text(bad)
    [mistake] = mistakes
    assert "kept for light estimated from lamps" in str(mistake)


# --- light days ---------------------------------------------------------------------------------


def test_light_day_rows(lit_house):
    put(lit_house, light(4, step=1))
    lit_house.now_us = T0_US + 4 * DAY_US
    lit_house.work()
    rows = {row["key"]: row for row in sheet_of(lit_house, date(2026, 3, 3))["light_days"]}
    row = rows["row-2/daily_light_integral"]
    assert row["estimated"] is False
    # 240 for 16 h are 13.824 mol by definition; the two ramps of a minute add one half each, noise averages out
    assert row["mol"] == pytest.approx(240 * 57.6e-3, abs=0.02)
    assert row["mol_plus_or_minus"] == pytest.approx(10 * 57.6e-3)  # an accuracy of 10 all through 16 h
    assert (row["lights_on"], row["lights_on_local"]) == ("2026-03-03T05:00:00Z", "06:00:00")
    assert (row["lights_off"], row["lights_off_local"]) == ("2026-03-03T21:00:00Z", "22:00:00")
    assert row["lights_on_within_s"] == 60
    assert (row["lit_h"], row["planned_h"], row["lit_from"]) == (pytest.approx(16), 16, "lights_on")
    assert (row["lights_on_shift_min"], row["length_shift_min"]) == (pytest.approx(0), pytest.approx(0))
    assert (row["usual_lights_on_local"], row["usual_days"]) == ("06:00:00", 2)
    estimated = rows["shelf/daily_light_integral/estimated"]
    assert estimated["estimated"] is True
    assert estimated["mol"] == pytest.approx(11.52)
    assert estimated["mol_plus_or_minus"] is None


def test_a_shifted_timer_and_a_short_day_are_told(lit_house):
    put(lit_house, light(2, zones=["row"], step=1))
    later = light(4, zones=["row"], step=1, on_minute=345, lit_minutes=900)
    put(lit_house, [row for row in later if row[1] >= T0_US + 2 * DAY_US])
    lit_house.work()
    [row] = sheet_of(lit_house, date(2026, 3, 3))["light_days"]
    assert row["lights_on_shift_min"] == pytest.approx(45)
    assert row["length_shift_min"] == pytest.approx(-60)
    assert row["usual_lights_on_local"] == "06:00:00"
    integral = lit_house.read("row/photoperiod")
    assert integral[T0_US + 2 * DAY_US + 345 * MINUTE_US] == pytest.approx(15)


def test_a_clock_change_is_no_shift_for_lamps_that_follow_the_clock(slow_farm, tmp_path):
    """Oslo's clocks went ahead on 29 March 2026: lights at 06:00 come on at 05:00 UTC before and 04:00 UTC after."""
    house = House(slow_farm, tmp_path / "house")
    start = T0_US + 25 * DAY_US
    rows = []
    for minute in range(0, 7 * 1440, 5):
        on_minute = 300 if minute < 3 * 1440 else 240
        at = start + minute * MINUTE_US
        rows.append(("row/lights_on", at, float(0 <= minute % 1440 - on_minute < 960)))
        rows.append(("row/ppfd", at, rows[-1][2] * 250.0))
    put(house, rows)
    house.now_us = start + 7 * DAY_US
    house.work()
    for day in (28, 29, 30, 31):
        [row] = sheet_of(house, date(2026, 3, day))["light_days"]
        assert (row["lights_on_local"], row["lights_on_shift_min"]) == ("06:00:00", pytest.approx(0))
        assert row["usual_lights_on_local"] == "06:00:00"
        assert row["length_shift_min"] == pytest.approx(0)
    house.close()


def test_photoperiod_from_ppfd_where_there_is_no_switch(tmp_path):
    text = LIT_FARM.replace('lights = "row-2/lights_on"\n', "")
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    put(house, [row for row in light(3, zones=["row-2"], step=1) if row[0] == "row-2/ppfd"])
    house.work()
    [row] = [row for row in sheet_of(house, date(2026, 3, 2))["light_days"] if row["zone"] == "row-2"]
    assert (row["lit_h"], row["lit_from"], row["lights_on_local"]) == (pytest.approx(16), "ppfd", "06:00:00")
    house.close()


# --- lamp output --------------------------------------------------------------------------------


def test_output_of_each_light_day(lit_house):
    rows = light(3, step=1)
    put(lit_house, [(key, at, value * (0.9 if key == "row/ppfd" else 1)) for key, at, value in rows])
    lit_house.work()
    output = lit_house.store.read(lit_house.series("row/lamp_output"), 0, 2**62)
    assert output.value.tolist() == pytest.approx([90, 90, 90], abs=0.1)
    assert output.flag.tolist() == [Flag.GOOD, Flag.GOOD, Flag.SUSPECT]  # the last one still runs
    assert list(lit_house.read("row-2/lamp_output").values()) == pytest.approx([100] * 3, abs=0.1)
    row = next(row for row in sheet_of(lit_house, date(2026, 3, 2))["lamps"] if row["key"] == "row-2/lamp_output")
    assert row["output_percent"] == pytest.approx(100, abs=0.1)
    assert row["plus_or_minus_percent"] == pytest.approx(10 / 240 * 100)
    assert row["full_light_h"] == pytest.approx(16 - 20 / 60)
    assert (row["dimmed_h"], row["trend"], row["steps"]) == (0, None, [])


def test_a_lux_sensor_carries_the_error_of_its_factor_too(tmp_path):
    """Published factors differ by up to 8 % (tests/reference/lux_per_ppfd.csv), in quadrature with the sensor's 10."""
    quantum = 'zone = "row-2"\nquantity = "ppfd"\naccuracy = 10\n'
    farm, mistakes = check_text(LIT_FARM.replace(quantum, quantum + 'unit = "lx"\nlux_per_ppfd = 54\n'))
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    put(house, light(2, step=1))
    house.work()
    sheet = sheet_of(house, date(2026, 3, 1))
    lamps = {row["key"]: row for row in sheet["lamps"]}
    share = (0.08**2 + (10 / 240) ** 2) ** 0.5
    assert lamps["row-2/lamp_output"]["plus_or_minus_percent"] == pytest.approx(100 * share, rel=0.01)
    assert lamps["row-3/lamp_output"]["plus_or_minus_percent"] == pytest.approx(100 * 10 / 260, rel=0.01)
    days = {row["zone"]: row for row in sheet["light_days"]}
    assert days["row-2"]["mol_plus_or_minus"] == pytest.approx(share * 240 * 57.6e-3, rel=0.01)
    house.close()


def test_a_band_of_lamp_output_spans_the_night_between_its_values(tmp_path):
    text = LIT_FARM.replace("air_temperature = { lit", "lamp_output = { always = [95, inf] }\nair_temperature = { lit")
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    rows = light(3, zones=["row", "row-2"], step=1)
    put(house, [(key, at, value * (0.9 if key == "row/ppfd" else 1)) for key, at, value in rows])
    house.work()
    [found] = house.journal.excursions(farm.name)
    assert (found.series.key, found.onset_us, found.end_us) == ("row/lamp_output", T0_US + 5 * HOUR_US, None)
    house.close()


def test_light_before_commissioning_is_not_compared(tmp_path):
    text = LIT_FARM.replace('name = "row-2"\n', 'name = "row-2"\ncommissioned = 2026-03-02\n')
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    put(house, light(3, zones=["row-2"], step=1))
    house.work()
    assert sorted(house.read("row-2/lamp_output")) == [T0_US + 29 * HOUR_US, T0_US + 53 * HOUR_US]
    house.close()


@pytest.mark.slow
def test_fading_lamps_have_a_trend_with_its_interval_and_date(slow_farm, tmp_path):
    house = House(slow_farm, tmp_path / "house")
    put(house, light(40, step=10, fade=0.0008))  # 0.08 % a day of 16 h: 5 % per 1000 h
    house.now_us = T0_US + 40 * DAY_US
    house.work()
    rows = {row["key"]: row for row in sheet_of(house, date(2026, 4, 8))["lamps"]}
    trend = rows["row-2/lamp_output"]["trend"]
    assert trend["percent_per_1000_h"] == pytest.approx(-5.0, abs=0.2)
    assert trend["low"] <= trend["percent_per_1000_h"] <= trend["high"] < 0
    assert trend["significant"]
    assert trend["days"] == 39  # 1 March to 8 April
    assert trend["lit_h_a_day"] == pytest.approx(16)
    # 99.96 % on the first light day (05:00 to 21:00, half a day in); 90 % after 124.5 more: 3 July
    assert trend["reaches_earliest"] <= trend["reaches_on"] <= trend["reaches_latest"]
    assert abs((date.fromisoformat(trend["reaches_on"]) - date(2026, 7, 3)).days) <= 5
    flat = House(slow_farm, tmp_path / "flat")
    put(flat, light(20))
    flat.work()
    trend = sheet_of(flat, date(2026, 3, 19))["lamps"][0]["trend"]
    assert not trend["significant"]
    assert trend["reaches_on"] is None
    flat.close()
    house.close()


def test_a_lost_part_of_a_row_is_told_with_when_and_how_much(lit_house):
    rows = light(3, step=1)
    lost_at = T0_US + DAY_US + 12 * HOUR_US
    put(lit_house, [(k, at, v * (0.7 if k == "row-2/ppfd" and at >= lost_at else 1)) for k, at, v in rows])
    lit_house.work()
    lamps = {row["key"]: row["steps"] for row in sheet_of(lit_house, date(2026, 3, 2))["lamps"]}
    assert lamps["row/lamp_output"] == lamps["row-3/lamp_output"] == []
    [step] = lamps["row-2/lamp_output"]
    assert step["between"] <= "2026-03-02T12:00:00Z" <= step["and"]
    assert step["change_percent"] == pytest.approx(-30, abs=0.5)
    assert step["confidence"] > 0.99
    # 30 % of the sensor's 10 of 240, and the noise
    assert step["plus_or_minus_percent"] == pytest.approx(30 * 10 / 240, rel=0.1)


def test_a_row_gone_dark_is_lost_give_or_take_what_its_sensor_may_show_in_the_dark(lit_house):
    rows = light(3, step=1)
    lost_at = T0_US + DAY_US + 12 * HOUR_US
    put(lit_house, [(k, at, v * (0 if k == "row-2/ppfd" and at >= lost_at else 1)) for k, at, v in rows])
    lit_house.work()
    lamps = {row["key"]: row["steps"] for row in sheet_of(lit_house, date(2026, 3, 2))["lamps"]}
    [step] = lamps["row-2/lamp_output"]
    assert step["change_percent"] == -100
    assert step["plus_or_minus_percent"] == pytest.approx(100 * 10 / 240, rel=0.01)


@pytest.mark.parametrize("what", ["dimmed", "shifted", "gap"])
def test_what_is_no_loss(lit_house, what):
    rows = light(3, step=1)
    noon = T0_US + DAY_US + 12 * HOUR_US
    if what == "dimmed":
        rows = [(k, at, v * (0.6 if k.endswith("ppfd") and at >= noon else 1)) for k, at, v in rows]
    elif what == "shifted":
        shift = 2 * HOUR_US
        own = [(k, at + shift, v) for k, at, v in rows if k.startswith("row-2/") and at >= T0_US + DAY_US]
        rows = [row for row in rows if not row[0].startswith("row-2/") or row[1] < T0_US + DAY_US] + own
    else:
        rows = [row for row in rows if row[0] != "row-2/ppfd" or not noon <= row[1] < noon + 3 * HOUR_US]
    put(lit_house, rows)
    lit_house.work()
    for day in (2, 3):
        assert [row["steps"] for row in sheet_of(lit_house, date(2026, 3, day))["lamps"]] == [[], [], []]


def test_evenness_of_the_rows_of_a_phase(lit_house):
    put(lit_house, light(3, step=1))
    lit_house.work()
    [row] = sheet_of(lit_house, date(2026, 3, 2))["light_evenness"]
    assert (row["crop"], row["phase"], row["zones"]) == ("cress", "growing", ["row", "row-2", "row-3", "shelf"])
    # 250, 240, 260 and 200 at 16 h: mean 237.5; lowest over mean 0.842; sample deviation 26.3
    assert row["min_over_mean"] == pytest.approx(200 / 237.5, abs=2e-3)
    assert row["coefficient_of_variation"] == pytest.approx(26.3 / 237.5, abs=2e-3)
    assert (row["lowest_zone"], row["zones_known"]) == ("shelf", 4)


def test_a_farm_without_lamps_has_empty_sections(house):
    house.put("room/air_temperature", samples("20*10"))
    house.work()
    sheet = sheet_of(house, date(2026, 3, 1))
    assert (sheet["lamps"], sheet["light_days"]) == ([], [])


def test_values_of_light_days_do_not_stand_for_now(lit_house):
    put(lit_house, light(2, step=1))
    lit_house.work()
    shown = {row.series.quantity for zone in zones_now(
        lit_house.farm, lit_house.store, lit_house.journal, T0_US + 2 * DAY_US
    ) for row in zone.series}  # fmt: skip
    assert "daily_light_integral" in shown
    assert not shown & {"lamp_output", "photoperiod"}


# --- order of arrival ---------------------------------------------------------------------------


@pytest.mark.slow
def test_late_and_shuffled_readings_give_the_same_to_the_bit(slow_farm, tmp_path):
    rows = light(17, step=10, fade=0.001)
    keys = [f"{zone}/{q}" for zone in FULL for q in ("daily_light_integral", "photoperiod", "lamp_output")]
    keys += ["shelf/ppfd/estimated", "shelf/daily_light_integral/estimated", "shelf/photoperiod"]
    results = []
    for trial in range(4):
        house = House(slow_farm, tmp_path / str(trial))
        house.now_us = T0_US + 17 * DAY_US
        order = rows if trial == 0 else random.Random(trial).sample(rows, len(rows))
        if trial >= 2:  # in order, but the first days of a row, or of the shelf without a sensor, come last
            late_zone = ("row-3/", "shelf/")[trial - 2]
            late = [row for row in rows if row[0].startswith(late_zone) and row[1] < T0_US + 3 * DAY_US]
            order = [row for row in rows if row not in set(late)] + late
        size = len(rows) if trial == 0 else len(rows) // 4
        for place in range(0, len(order), size):
            put(house, order[place : place + size])
            house.work()
        house.now_us += 120_000_000  # sheets are written at most once a minute
        house.work()
        found = []
        for key in keys:
            columns = house.store.read(house.series(key), 0, 2**62)
            assert len(columns) >= 15, key
            found.append((columns.time_us.tobytes(), columns.value.tobytes(), columns.flag.tobytes()))
        sheets = [
            {name: sheet_of(house, day)[name] for name in ("light_days", "lamps", "light_evenness")}
            for day in (date(2026, 3, 4), date(2026, 3, 6), date(2026, 3, 16), date(2026, 3, 17))
        ]
        results.append((found, sheets))
        house.close()
    assert results[0][1][2]["lamps"][0]["trend"] is not None
    assert results[1] == results[0]
    assert results[2] == results[0]
    assert results[3] == results[0]
