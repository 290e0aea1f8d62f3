"""Light days, day sheets and what is said about now, on a small farm with hand-made readings."""

from __future__ import annotations

from datetime import date

import pytest

from farm.check import check_text
from farm.readings import iso_time
from store.entries import FindingEntry, Reason, Reject
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from watch import cautions
from watch.day_data import day_range
from watch.day_sheet import SECTIONS
from watch.jobs import Stopped
from watch.light_days import light_days
from watch.outlook import Standing, Urgency
from watch.overview import needs, zones_now

HOUR_US = 60 * MINUTE_US
FIVE = 5 * MINUTE_US


def lit_week(house, ppfd="250", days=3):
    """Lights on at 05:00 UTC (06:00 in Oslo) for 16 h, from T0 (00:00 UTC) on, a reading a minute."""
    day = "0*300 1*960 0*180 "
    house.put("row/lights_on", samples(day * days))
    house.put("row/ppfd", samples(day.replace("1*", f"{ppfd}*") * days))
    house.now_us = T0_US + days * 24 * HOUR_US
    house.work()


def test_a_light_day_runs_from_lights_on_to_lights_on(house):
    lit_week(house)
    days = light_days(house.farm, house.store, "row", T0_US + 6 * HOUR_US, T0_US + 60 * HOUR_US)
    assert [((day.start_us - T0_US) / HOUR_US, (day.end_us - T0_US) / HOUR_US) for day in days[:2]] == [
        (5, 29),
        (29, 53),
    ]
    assert [day.complete for day in days] == [True, True, False]


def test_the_light_integral_of_a_light_day(house):
    """Check book: 250 umol m-2 s-1 for 16 h is 14.40 mol m-2; the two ramps of a minute add one half each."""
    lit_week(house)
    integrals = house.read("row/daily_light_integral")
    assert integrals[T0_US + 5 * HOUR_US] == pytest.approx(14.40, abs=0.02)
    assert integrals[T0_US + 29 * HOUR_US] == pytest.approx(14.40, abs=0.02)


def test_a_late_hour_of_light_is_added_to_its_day(house):
    lit_week(house)
    before = house.read("row/daily_light_integral")[T0_US + 5 * HOUR_US]
    late = [(at + 30_000_000, 500.0) for at, _ in samples("1*60", start_us=T0_US + 10 * HOUR_US)]
    house.put("row/ppfd", late)
    house.work()
    after = house.read("row/daily_light_integral")
    # an hour in which every second reading is 500 instead of 250: 125 more on average, 0.45 mol
    assert after[T0_US + 5 * HOUR_US] - before == pytest.approx(0.45, abs=0.01)


def test_a_light_day_is_not_cut_by_the_change_of_the_clocks(house):
    """In Oslo the clocks go forward on 2026-03-29 at 01:00 UTC; lights-on by UTC stays the cut."""
    start_us = T0_US + 27 * 24 * HOUR_US
    house.put("row/lights_on", samples("0*300 1*960 0*180 " * 3, start_us=start_us))
    house.put("row/ppfd", samples("0*300 250*960 0*180 " * 3, start_us=start_us))
    house.now_us = start_us + 72 * HOUR_US
    house.work()
    spans = [day.end_us - day.start_us for day in light_days(house.farm, house.store, "row", start_us, house.now_us)]
    assert spans[1] == 24 * HOUR_US
    day = day_range(house.farm, date(2026, 3, 29))
    assert day[1] - day[0] == 23 * HOUR_US


def test_lamps_lost_make_a_short_light_day_that_needs_a_person(house):
    lit_week(house, days=2)
    day = 24 * HOUR_US
    dark = samples("0*300 0*960 0*180 0*310", start_us=T0_US + 2 * day)
    house.put("row/ppfd", dark)
    house.put("row/lights_on", samples("0*300 1*960 0*180 0*300 1*10", start_us=T0_US + 2 * day))
    house.now_us = T0_US + 3 * day + 310 * MINUTE_US
    house.work()
    [need] = [one for one in needs(house.farm, house.store, house.journal, house.now_us) if "light" in one.sentence]
    assert "Row had too little light in the light day that began on 03 Mar at 06:00: 0.0 mol" in need.sentence
    assert need.series[0].quantity == "ppfd", "the chart that shows why comes first"
    assert "at least 12.0 mol" in need.sentence
    assert need.sentence.endswith("the sensor's place.")
    assert need.finding is None
    assert need.since_us == T0_US + 2 * day + 300 * MINUTE_US
    dark_us = T0_US + 2 * day + 420 * MINUTE_US

    def told(probability):
        cause = {"cause": "lamp_group_lost", "label": "A lamp group is dark", "probability": probability}
        behind = {"causes": [cause], "series": "row/ppfd", "side": "low", "next_check": "Look at the driver."}
        end_us = dark_us + 2 * HOUR_US
        entry = FindingEntry(house.farm.name, "its-excursion", dark_us, end_us, end_us, behind)
        house.journal.findings.replace(house.farm.name, 0, [entry])
        [need] = [one for one in needs(house.farm, house.store, house.journal, house.now_us) if "light" in one.sentence]
        return need, entry

    need, entry = told(0.97)
    assert need.sentence.endswith(
        "wanted. Likely (97 %): A lamp group is dark. It is over since 03 Mar at 10:00. Look at the driver."
    )
    assert need.finding == entry.identity
    assert need.since_us == dark_us, "not since the light day began"
    assert need.caution == cautions.MAINS
    assert told(0.4)[0].finding is None, "no cause that is less likely than not"


def test_the_day_sheet_says_what_the_crop_had(house):
    lit_week(house)
    house.put("room/relative_humidity", samples("60*600 80*60 60*780", start_us=T0_US + 23 * HOUR_US))
    house.put("room/co2_mole_fraction", samples("900*100", start_us=T0_US + 23 * HOUR_US))
    house.now_us += 10 * HOUR_US
    house.work()
    assert house.journal.stale_days(house.farm.name) == []
    entry = house.journal.day_sheet(house.farm.name, date(2026, 3, 2))
    sheet = entry.sheet
    assert (sheet["start"], sheet["end"], sheet["complete"]) == ("2026-03-01T23:00:00Z", "2026-03-02T23:00:00Z", True)
    rows = {row["key"]: row for zone in sheet["zones"] for row in zone["series"]}
    humidity = rows["room/relative_humidity"]
    assert (humidity["count"], humidity["low"], humidity["high"]) == (1440, 60, 80)
    assert humidity["mean"] == pytest.approx((1380 * 60 + 60 * 80) / 1440)
    assert humidity["coverage"] == pytest.approx(1.0)
    assert humidity["band"] == pytest.approx({"inside_h": 23, "below_h": 0, "above_h": 1, "covered_h": 24})
    # 100 readings a minute apart, the last one holding for three cadences at most
    assert rows["room/co2_mole_fraction"]["coverage"] == pytest.approx(102 / 1440)
    [excursion] = sheet["excursions"]
    assert excursion["series"] == "room/relative_humidity"
    assert (excursion["onset"], excursion["end"]) == ("2026-03-02T09:00:00Z", "2026-03-02T10:00:00Z")
    assert excursion["dose"] == pytest.approx(5 * 59.5 / 60, abs=0.05)
    [light] = sheet["light_days"]
    assert light["start"] == "2026-03-02T05:00:00Z"
    assert (light["lit_h"], light["target"], light["complete"]) == (pytest.approx(16), [12, 17], True)
    assert cautions.ADVICE_ONLY in sheet["cautions"]


def standings(house):
    zones = zones_now(house.farm, house.store, house.journal, house.now_us)
    return {row.series.key: row.standing for zone in zones for row in zone.series}


def test_each_series_stands_against_its_band(house):
    house.now_us = T0_US + 10 * MINUTE_US
    house.put("room/relative_humidity", samples("80*11"))
    house.put("room/air_temperature", samples("18*11"))
    house.put("room/co2_mole_fraction", samples("800*5"))
    house.put("outdoors/air_temperature", samples("-5*11"))
    house.work()
    assert standings(house) == {
        "room/air_temperature": Standing.INSIDE,  # 01:00 in Oslo: dark, 16 to 20
        "room/relative_humidity": Standing.HIGH,
        "room/co2_mole_fraction": Standing.SILENT,  # last heard six minutes ago
        "room/dew_point_temperature": Standing.NO_BAND,
        "room/vapour_pressure_deficit": Standing.NO_BAND,
        "room/humidity_ratio": Standing.NO_BAND,
        "room/condensation_margin/north-wall": Standing.NO_BAND,
        "room/surface_relative_humidity/north-wall": Standing.NO_BAND,
        "room/mould_index/north-wall": Standing.NO_BAND,
        "room/surface_temperature/north-wall": Standing.NO_BAND,
        "row/ppfd": Standing.SILENT,
        "row/lights_on": Standing.SILENT,
        "outdoors/air_temperature": Standing.NO_BAND,
    }


def light_row(house):
    zones = zones_now(house.farm, house.store, house.journal, house.now_us)
    return next(row for zone in zones for row in zone.series if row.series.key == "row/daily_light_integral")


@pytest.mark.parametrize(
    ("ppfd", "standing", "so_far", "last", "needed"),
    [
        ("250", Standing.SO_FAR, 6.30, Standing.INSIDE, []),
        (
            "150",
            Standing.SO_FAR,
            3.78,
            Standing.LOW,
            ["Row had too little light in the light day that began on 01 Mar"],
        ),
        ("700", Standing.HIGH, 17.64, Standing.HIGH, ["Row had too much light in the light day that began on 01 Mar"]),
    ],
)
def test_a_running_light_day_is_told_apart_from_the_last_whole_one(house, ppfd, standing, so_far, last, needed):
    """Lit from 05:00 UTC: at noon 7 h x 3600 s x PPFD so far, and 16 h of it the day before; 12 to 17 wanted."""
    day = "0*300 1*960 0*180 "
    house.put("row/lights_on", samples(day + "0*300 1*421"))
    house.put("row/ppfd", samples((day + "0*300 1*421").replace("1*", f"{ppfd}*")))
    house.now_us = T0_US + 36 * HOUR_US
    house.work()
    row = light_row(house)
    assert (row.standing, row.low, row.high) == (standing, 12, 17)
    assert row.value == pytest.approx(so_far, abs=0.02)
    assert row.last_day.mol == pytest.approx(so_far * 16 / 7, abs=0.03)
    assert (row.last_day.standing, row.last_day.low, row.last_day.high) == (last, 12, 17)
    assert iso_time(row.last_day.start_us) == "2026-03-01T05:00:00Z"
    found = needs(house.farm, house.store, house.journal, house.now_us)
    assert [one.sentence.partition(" at 06:00")[0] for one in found if "light day" in one.sentence] == needed


def test_what_needs_a_person_in_order_of_urgency(house):
    house.now_us = T0_US + 10 * MINUTE_US
    house.put("room/relative_humidity", samples("80*11"))
    house.put("room/air_temperature", samples("18*11"))
    house.put("outdoors/air_temperature", samples("-5*11"))
    house.put("room/co2_mole_fraction", samples("800*10 5200"))
    house.journal.add_rejects(
        house.farm.name, [Reject(Reason.UNKNOWN_NAME, "t", "x/y", "mend it", b"[]", house.now_us, house.now_us)]
    )
    house.work()
    found = needs(house.farm, house.store, house.journal, house.now_us)
    assert [one.urgency for one in found] == [Urgency.NOW, Urgency.TODAY, Urgency.TODAY, Urgency.WHEN_CONVENIENT]
    assert "CO2 in Room reads 5,200 ppm" in found[0].sentence
    assert found[0].caution == cautions.CO2
    text = " ".join(one.sentence for one in found)
    assert (
        "Relative humidity in Room is too high: 80.0 % now, 80.0 % at worst, at most 75.0 % wanted, for 10 min." in text
    )
    assert "Row: no reading from PPFD and Lights" in text
    assert "unknown names" in text


def test_when_nothing_arrives_that_is_one_sentence(house):
    house.put("room/relative_humidity", samples("60*10"))
    house.work()
    [need] = needs(house.farm, house.store, house.journal, house.now_us)
    assert need.urgency is Urgency.NOW
    assert need.sentence.startswith("No reading has arrived for 29 days.")
    assert iso_time(need.since_us) == "2026-03-01T00:09:00Z"


def test_when_all_is_well_nothing_is_said(house):
    house.now_us = T0_US + 10 * MINUTE_US
    for key, value in {
        "room/air_temperature": 18, "room/relative_humidity": 60, "room/co2_mole_fraction": 800,
        "row/ppfd": 0, "row/lights_on": 0, "outdoors/air_temperature": -5,
    }.items():  # fmt: skip
        house.put(key, samples(f"{value}*11"))
    house.work()
    assert needs(house.farm, house.store, house.journal, house.now_us) == []


def test_zones_that_share_an_excursion_share_a_sentence(house):
    house.now_us = T0_US + 10 * MINUTE_US
    farm, _ = check_text(SMALL_FARM + '[[series]]\nzone = "row"\nquantity = "relative_humidity"\n')
    house.farm = farm
    house.fresh_watch()
    house.put("room/relative_humidity", samples("80*11"))
    house.put("row/relative_humidity", samples("90*11"))
    house.work()
    [need] = [one for one in needs(farm, house.store, house.journal, house.now_us) if "humidity" in one.sentence]
    assert need.sentence.startswith("Relative humidity in Room and Row is too high: 90.0 % at worst (Row), at most")
    assert {series.zone for series in need.series} == {"room", "row"}


def test_a_late_reading_near_midnight_renews_the_sheets_of_both_days(house):
    """Sheets look some hours over midnight; in Oslo it is at 23:00 UTC. A day without a sheet gets none by that."""
    midnight = T0_US + 23 * HOUR_US
    house.put("room/air_temperature", samples("20*2400", start_us=midnight - 20 * HOUR_US))
    house.now_us = midnight + 30 * HOUR_US
    house.work()
    days = [date(2026, 3, 1), date(2026, 3, 2)]
    assert house.journal.days(house.farm.name)[:2] == days
    house.now_us += HOUR_US
    house.put("room/air_temperature", [(midnight - 90 * MINUTE_US + 1, 21.0)])
    house.work()
    computed = [house.journal.day_sheet(house.farm.name, day).computed_us for day in days]
    assert computed == [house.now_us, house.now_us]
    house.put("room/air_temperature", [(midnight + 90 * MINUTE_US + 1, 21.0)])
    house.now_us += HOUR_US
    house.work()
    computed = [house.journal.day_sheet(house.farm.name, day).computed_us for day in days]
    assert computed == [house.now_us, house.now_us]


def test_a_sheet_is_left_off_between_its_sections_when_it_is_time_to_stop(house, monkeypatch):
    def stopping_meanwhile(_data):
        house.watch._stopping.set()
        return []

    monkeypatch.setitem(SECTIONS, "zones", stopping_meanwhile)
    monkeypatch.setitem(SECTIONS, "totals", lambda _data: pytest.fail("went on"))
    house.put("room/air_temperature", samples("22*3"))
    with pytest.raises(Stopped):
        house.work()
    assert house.watch.counts.broken == {}
    assert house.journal.days("testfarm") == []
    assert house.journal.stale_days("testfarm") != []
