"""The day sheet's quality: counts by test, gaps, siblings, drift and what cannot be, in any order of arrival."""

from __future__ import annotations

import json
import random
from datetime import date

import pytest

from farm.check import check_text
from farm.flags import Flag
from store.log_entries import EcCalibration
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House

HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
DAY = date(2026, 3, 2)
DAY_STARTS_US = T0_US + 23 * HOUR_US  # midnight in Oslo

ROWS = """
[zones.row-b]
kind = "growing_row"
label = "Row B"
[zones.duct]
kind = "supply_duct"
label = "Duct"
[[equipment.lamp_groups]]
name = "lamps"
zones = ["row"]
commissioning_ppfd = 250
power_w = 600
""" + "".join(
    f'[[series]]\nzone = "{zone}"\nquantity = "{quantity}"\n'
    for zone, quantity in (
        ("row", "air_temperature"), ("row", "relative_humidity"), ("row-b", "air_temperature"),
        ("row-b", "relative_humidity"), ("duct", "air_temperature"), ("duct", "relative_humidity"),
        ("room", "compressor_on"), ("row-b", "solution_ec"),
    )
)  # fmt: skip


@pytest.fixture
def house(tmp_path):
    farm, mistakes = check_text(SMALL_FARM + ROWS)
    assert not mistakes
    made = House(farm, tmp_path / "house")
    made.now_us = DAY_STARTS_US + DAY_US + HOUR_US
    yield made
    made.close()


def quality_of_day(house, day=DAY):
    section = house.journal.day_sheet(house.farm.name, day).sheet["quality"]
    assert json.loads(json.dumps(section, allow_nan=False)) == section
    return {row["key"]: row for row in section["series"]}, section["impossible"]


def day_of(text, **more):
    return samples(text, start_us=DAY_STARTS_US, **more)


def wavy(level, n=1440, step=0.1):
    """A level that goes up and down by a step from minute to minute: nothing stands still, nothing jumps."""
    return [(DAY_STARTS_US + m * MINUTE_US, level + step * (m % 2)) for m in range(n)]


def test_counts_by_test_gaps_and_what_is_missing(house):
    """By hand: 1440 minutes, 60 lost in one gap of 61 min; one spike of 5 K is suspect, one of 20 K fails."""
    rows = [one for m, one in enumerate(wavy(20.0)) if not 600 <= m < 660]
    rows[100] = (rows[100][0], 25.05)
    rows[200] = (rows[200][0], 40.05)
    house.put("room/air_temperature", rows)
    house.work()
    row = quality_of_day(house)[0]["room/air_temperature"]
    assert (row["count"], row["expected_count"], row["missing_count"]) == (1380, 1440, 60)
    assert (row["good_count"], row["fail_count"], row["not_evaluated_count"]) == (1380 - 3, 1, 0)
    assert row["suspect_count"] == 2, "the spike of 5 K, and the fall of 20 K in a minute after the other one"
    assert row["missing_share"] == pytest.approx(60 / 1440)
    assert row["tests"]["spike"] == {"good": 1380 - 2 - 4, "suspect": 1, "fail": 1}
    assert row["tests"]["rate_of_change"]["suspect"] == 2
    assert set(row["tests"]) == {"gross_range", "spike", "rate_of_change", "flat_line"}
    assert (row["gap_count"], row["longest_gap_s"], row["gaps_s"]) == (1, 61 * 60, 61 * 60)
    assert row["noise"] > 0
    assert row["noise_before"] is None


def test_the_flags_reach_the_readings_that_are_used(house):
    rows = wavy(20.0, 60)
    rows[20] = (rows[20][0], 40.05)
    house.put("room/air_temperature", rows)
    house.work()
    used = house.watch.readings.read(house.series("room/air_temperature"), 0, 2**62)
    assert used.flag.tolist()[19:22] == [Flag.GOOD, Flag.FAIL, Flag.SUSPECT]
    assert set(used.flag.tolist()[:19]) == {Flag.GOOD}
    assert set(house.store.read(house.series("room/air_temperature"), 0, 2**62).flag.tolist()) == {2}, "as it arrived"


def test_a_sensor_that_stands_since_yesterday_is_told_today(house):
    """Stands for nine hours, five of them in the day: the last of them is suspect; a switch may stand for ever."""
    house.put("room/air_temperature", samples("20 21.5*540 21", start_us=DAY_STARTS_US - 4 * HOUR_US))
    house.put("room/compressor_on", samples("1*540", start_us=DAY_STARTS_US - 4 * HOUR_US))
    house.work()
    rows, _ = quality_of_day(house)
    assert rows["room/air_temperature"]["tests"]["flat_line"] == {"good": 242, "suspect": 60, "fail": 0}
    assert rows["room/compressor_on"]["tests"] == {"gross_range": {"good": 300, "suspect": 0, "fail": 0}}


def test_what_arrived_is_tested_not_what_a_calibration_makes_of_it(house):
    """6 mS/cm is expected, 9 would not be: the reading's own test is about the sensor, not about its correction."""
    house.put("row-b/solution_ec", wavy(6.0, 60))
    calibration = EcCalibration(series="row-b/solution_ec", standard_ms_cm=1.5, reading_ms_cm=1.0)
    house.journal.log.add(house.farm.name, T0_US, "kim", calibration, 1)
    house.work()
    series = house.series("row-b/solution_ec")
    assert house.watch.readings.read(series, 0, 2**62).value[0] == pytest.approx(9.0)
    rows, _ = quality_of_day(house)
    assert rows[series.key]["tests"]["gross_range"] == {"good": 60, "suspect": 0, "fail": 0}


def test_silent_series_have_a_row_too(house):
    house.put("room/air_temperature", wavy(20.0))
    house.work()
    row = quality_of_day(house)[0]["outdoors/air_temperature"]
    assert (row["count"], row["missing_share"], row["longest_gap_s"]) == (0, 1.0, 86_400)
    assert (row["noise"], row["siblings"], row["drift"]) == (None, None, None)


def test_siblings_that_disagree_for_half_an_hour(house):
    """The limit is 1.5 K and 0.3 K twice (1.92 K); four hours at 3 K more count from half an hour on."""
    house.put("room/air_temperature", wavy(20.0))
    house.put("row/air_temperature", wavy(20.2))
    house.put("row-b/air_temperature", [(at, v + 3 * (300 <= m < 540)) for m, (at, v) in enumerate(wavy(20.1))])
    house.work()
    rows, _ = quality_of_day(house)
    found = rows["row-b/air_temperature"]["siblings"]
    assert found["count"] == 2
    assert found["limit"] == pytest.approx(1.5 + 0.3 * 2**0.5)
    assert found["disagrees_h"] == pytest.approx(3.5, abs=0.02)
    assert found["covered_h"] == pytest.approx(24, abs=0.05)
    assert found["greatest_difference"] == pytest.approx(2.9, abs=0.01)  # from row's 0.2
    assert found["mean_difference"] == pytest.approx(2.9 / 6, abs=0.01)  # in a sixth of the day, else it is the median
    assert rows["row/air_temperature"]["siblings"]["disagrees_h"] == 0
    assert rows["outdoors/air_temperature"]["siblings"] is None


def test_a_sensor_that_drifts_against_its_siblings(house):
    """Ten days, an hour apart; row-b rises by 0.3 K (its accuracy) a day from the sixth day on, the others do not."""
    start_us = DAY_STARTS_US - 9 * DAY_US
    for zone, place in (("room", 0.0), ("row", 0.4), ("row-b", -0.4)):
        house.put(
            f"{zone}/air_temperature",
            [
                (start_us + h * HOUR_US, 20 + place + h % 24 / 10 + (zone == "row-b") * 0.3 * max(0, h / 24 - 6))
                for h in range(240)
            ],
        )
    house.work()
    rows, _ = quality_of_day(house)
    drift = rows["row-b/air_temperature"]["drift"]
    assert drift["drifts"]
    assert drift["place_difference"] == pytest.approx(-0.4, abs=0.01)
    assert drift["shift"] == pytest.approx(0.3 * 3.5, abs=0.02)  # the middle of the last day
    # by hand: accuracies 1/24 an hour, at most 1, less 0.5 of slack from the 12th hour on, n = 13..95
    assert drift["sum_high"] == pytest.approx(sum(min(n / 24, 1) - 0.5 for n in range(13, 96)), rel=0.02)
    assert drift["since"] == "2026-02-27T12:00:00Z"
    for zone in ("room", "row"):
        assert not rows[f"{zone}/air_temperature"]["drift"]["drifts"]
        assert rows[f"{zone}/air_temperature"]["drift"]["shift"] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(("dark_h", "drifts"), [(10, False), (30, True)])
def test_a_place_that_lamps_warm_by_day_does_not_drift_nor_one_whose_lamps_are_dark_for_hours(house, dark_h, drifts):
    """By day row and row-b are 1 K warmer than the room, by night as warm; then row's lamps are dark for some hours."""
    start_us = DAY_STARTS_US - 9 * DAY_US
    lit = [h % 24 >= 8 for h in range(240)]
    for zone in ("room", "row", "row-b"):
        house.put(
            f"{zone}/air_temperature",
            [
                (
                    start_us + h * HOUR_US,
                    20 + h % 3 / 50 + (zone != "room" and lit[h]) - 1.1 * (zone == "row" and h >= 240 - dark_h),
                )
                for h in range(240)
            ],
        )
    house.work()
    rows, _ = quality_of_day(house)
    told = {zone: rows[f"{zone}/air_temperature"]["drift"]["drifts"] for zone in ("room", "row", "row-b")}
    assert told == {"room": False, "row": drifts, "row-b": False}


def test_humidity_that_stays_wet_and_light_in_the_dark(house):
    for zone in ("room", "row", "row-b"):
        house.put(f"{zone}/air_temperature", wavy(22.0))
        house.put(f"{zone}/relative_humidity", wavy(60.0 if zone != "row" else 99.5, step=0.2))
    house.put("row/lights_on", day_of("0*120 1*1320"))
    house.put("row/ppfd", day_of("0*30 250*1410"))
    house.work()
    found = {one["what"]: one for one in quality_of_day(house)[1]}
    assert set(found) == {"humidity_sensor_stuck_wet", "light_while_the_lamps_are_off"}
    wet, light = found["humidity_sensor_stuck_wet"], found["light_while_the_lamps_are_off"]
    assert (wet["key"], wet["since"]) == ("row/relative_humidity", "2026-03-01T23:30:00Z")
    assert wet["lasted_h"] == pytest.approx(23.5, abs=0.1)
    assert (light["key"], light["since"]) == ("row/ppfd", "2026-03-02T00:00:00Z")  # on since 23:30, for half an hour
    assert light["lasted_h"] == pytest.approx(1.0, abs=0.05)


def test_supply_air_cannot_be_moister_than_the_room(house):
    """PsychroLib's dew points: 13.9 degC of 22 degC and 60 %; 14.3 degC of 14.5 degC and 99 %, within the accuracies
    (0.7 K); 15.8 degC of 16 degC and 99 %: not."""
    house.put("room/air_temperature", wavy(22.0))
    house.put("room/relative_humidity", wavy(60.0, step=0.2))
    house.put("duct/air_temperature", wavy(14.5, 600) + wavy(16.0)[600:])
    house.put("duct/relative_humidity", wavy(99.0, step=0.2))
    house.put("room/compressor_on", day_of("1*900 0*540"))
    house.work()
    [found] = quality_of_day(house)[1]
    assert (found["what"], found["key"]) == ("supply_air_moister_than_the_room", "duct/relative_humidity")
    assert found["since"] == "2026-03-02T09:30:00Z"  # ten hours into the day, and half an hour more
    assert found["lasted_h"] == pytest.approx(4.5, abs=0.05)


@pytest.mark.parametrize(("pressure", "told"), [(84.6, False), (81.5, False), (101.3, True), (8.46 * 9, True)])
def test_a_pressure_reduced_to_sea_level_is_not_that_of_1500_m(tmp_path, pressure, told):
    """Standard atmosphere at 1500 m: 84.56 kPa (its published tables, from memory); 5 % to either side."""
    text = SMALL_FARM.replace("elevation_m = 120", "elevation_m = 1500")
    farm, mistakes = check_text(text + '[[series]]\nzone = "room"\nquantity = "air_pressure"\n')
    assert farm is not None, mistakes
    high = House(farm, tmp_path / "high")
    high.put("room/air_pressure", wavy(pressure, step=0.01))
    high.work()
    found = [(one["what"], one["key"]) for one in quality_of_day(high)[1]]
    assert found == ([("pressure_not_of_this_elevation", "room/air_pressure")] if told else [])
    high.close()


def test_air_below_the_dew_point_and_more_light_than_lamps_have(house):
    """22 degC and 60 % is 13.9 degC of dew point (PsychroLib); 250 for 24 h is 21.6 mol, a quarter more 27."""
    for zone in ("room", "row-b"):
        house.put(f"{zone}/air_temperature", wavy(22.0))
        house.put(f"{zone}/relative_humidity", wavy(60.0, step=0.2))
    house.put("row/air_temperature", wavy(11.0))
    house.put("row/relative_humidity", wavy(60.0, step=0.2))
    house.put("row/ppfd", wavy(330.0, step=1.0))
    house.work()
    found = {one["what"]: one for one in quality_of_day(house)[1]}
    assert set(found) == {"air_below_the_rooms_dew_point", "more_light_than_the_lamps_have"}
    assert found["air_below_the_rooms_dew_point"]["key"] == "row/air_temperature"
    excess = 330.5 * 86_400e-6 - 27.0
    assert found["more_light_than_the_lamps_have"]["excess_mol"] == pytest.approx(excess, abs=0.1)


def test_any_order_of_arrival_gives_the_same_section_to_the_bit(house, small_farm, tmp_path):
    draw = random.Random(4)
    rows = []
    for zone in ("room", "row", "row-b"):
        rows += [(f"{zone}/air_temperature", at, round(v + draw.gauss(0, 0.1), 2)) for at, v in wavy(20.0)]
        rows += [(f"{zone}/relative_humidity", at, round(v + draw.gauss(0, 1), 1)) for at, v in wavy(70.0)]
    rows = [(key, at, v + 9 * (draw.random() < 0.01)) for key, at, v in rows if draw.random() > 0.02]
    rows += [("row/air_temperature", at - DAY_US, 21.0) for at, _ in wavy(0)]  # stood all day before
    late = rows[:]
    draw.shuffle(late)
    other = House(house.farm, tmp_path / "other")
    other.now_us = house.now_us
    put_all(house, rows)
    house.work()
    for piece in range(0, len(late), 3000):
        put_all(other, late[piece : piece + 3000])
        other.work()
        other.now_us += 61_000_000
    in_order, _ = quality_of_day(house)
    shuffled, _ = quality_of_day(other)
    assert shuffled == in_order
    assert in_order["row/air_temperature"]["suspect_count"] > 0
    other.close()


def put_all(house, rows):
    for key in sorted({key for key, _, _ in rows}):
        house.put(key, [(at, v) for one, at, v in rows if one == key])
