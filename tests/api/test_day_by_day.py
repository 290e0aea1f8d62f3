"""Days side by side: what the day sheets hold, unchanged, and calibrations worked out by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import pytest

from api.examples import EXAMPLES
from store.entries import DaySheetEntry
from store.journal import Journal
from store.log_entries import EcCalibration, PhCalibration
from tests.api.conftest import HOUR_US, NOW_US, SHEET, T0_US, Client, assert_problem

SHORT = {
    **SHEET,
    "day": "2026-03-02",
    "complete": False,
    "light_days": [
        {**SHEET["light_days"][0], "start": "2026-03-02T05:00:00Z", "mol": 9.0},
        {**SHEET["light_days"][0], "zone": "shelf", "start": "2026-03-02T04:00:00Z", "mol": 11.9, "coverage": 0.8},
    ],
}


@pytest.fixture
def client(house, tmp_path) -> Iterator[Client]:
    """Two days: that of the shared house, and one that is dimmer."""
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        for day, sheet in ((date(2026, 3, 1), SHEET), (date(2026, 3, 2), SHORT)):
            journal.save_day_sheet("testfarm", DaySheetEntry(day, NOW_US, "feedfacecafe", sheet))
        yield Client(replace(house, journal=journal))


def test_light_stands_by_row_and_day_against_its_target(client):
    answer = client.json("light-days")
    assert answer["days"] == ["2026-03-01", "2026-03-02"]
    row, shelf = answer["zones"]
    assert [(one["day"], one["mol"], one["standing"]) for one in row["days"]] == [
        ("2026-03-01", 14.4, "inside"),
        ("2026-03-02", 9.0, "low"),
    ]
    assert (row["label"], row["days"][0]["target_low"], row["days"][0]["target_high"]) == ("Row", 12.0, 17.0)
    assert shelf["zone"] == "shelf", "a zone that the description does not have any more comes last"
    assert shelf["days"][0]["standing"] is None, "readings of 80 % of it say nothing of the whole"


def test_the_root_zone_is_that_of_the_sheets(client):
    [reservoir] = client.json("root-zone?last=2026-03-01")["reservoirs"]
    [day] = reservoir["days"]
    [sheet] = EXAMPLES["day"]["root_zone"]
    assert [one["volumes_ml"] for one in day["doses"]] == [one["volumes_ml"] for one in sheet["doses"]]
    assert day["drunk_l"] == sheet["water"]["drunk_l"]
    assert [one["volume_l"] for one in day["top_ups"]] == [one["volume_l"] for one in sheet["water"]["steps"]]
    assert day["ec_drift_ms_cm_d"] == sheet["drift"][0]["per_day"]
    assert day["ph_drift_d"] == sheet["drift"][1]["per_day"]
    assert day["complete"] is True


def test_calibrations_are_told_in_order_with_what_they_say_of_the_probe(client):
    """By hand: 171.7 mV over 2.99 pH is 57.42 mV/pH, 97.1 % of Nernst's 59.16 at 25 degC; 1.413 is 100.9 % of 1.40."""
    log = client.app.state.house.journal.log
    details = [
        PhCalibration(series="tank/solution_ph", buffers=(7.0, 4.01), readings=(-3.5, 168.2), reading_unit="mV"),
        EcCalibration(series="tank/solution_ec", standard_ms_cm=1.413, reading_ms_cm=1.40),
        PhCalibration(series="tank/solution_ph", buffers=(7.0, 4.01), readings=(7.1, 4.1), reading_unit="pH"),
    ]
    for hours, one in zip((5, 2, 1), details, strict=True):
        log.add("testfarm", T0_US + hours * HOUR_US, "kim", one, NOW_US)
    probes = {one["key"]: one["calibrations"] for one in client.json("root-zone")["probes"]}
    by_ph, by_mv = probes["tank/solution_ph"]
    assert (by_ph["time"], by_mv["time"]) == ("2026-03-01T01:00:00Z", "2026-03-01T05:00:00Z")
    assert by_ph["slope_percent"] is None
    # 7.1 and 4.1 are to be 7.0 and 4.01, which a buffer of that name is at 25 degC to within 0.005
    assert by_ph["scale"] == pytest.approx(2.99 / 3, abs=0.01 / 3)
    assert by_ph["offset"] == pytest.approx(7.0 - 7.1 * 2.99 / 3, abs=0.03)
    assert by_mv["slope_percent"] == pytest.approx(97.1, abs=0.3)
    assert by_mv["offset_mv"] == pytest.approx(-3.5, abs=0.3)
    [cell] = probes["tank/solution_ec"]
    assert cell["constant_percent"] == pytest.approx(100.93, abs=0.01)
    assert cell["scale"] == pytest.approx(1.413 / 1.40)


def test_balances_are_the_sheets_and_a_part_that_is_unknown_makes_the_sum_unknown(client):
    house = client.app.state.house
    answer = client.json("balances")
    first = answer["days"][0]
    sheet = EXAMPLES["day"]
    assert first["feed_water_l"] == 39.0
    assert first["drunk_l"] == sheet["water_balance"][0]["drunk"]["litres_l"]
    assert first["energy_kwh"] == 122.2
    assert first["co2_dosed_g"] == 633.3
    assert first["drained_l"] is None, "nobody meters it"
    assert {one["stock"] for one in answer["stocks"]} == {one["stock"] for one in sheet["root_zone"][0]["stocks"]}
    lamps = [{"name": "a", "estimated_kwh": 9.6}, {"name": "b", "estimated_kwh": None}]
    partly = SHEET | {"energy": {**sheet["energy"], "lamps": lamps}}
    house.journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 3), NOW_US, "feedfacecafe", partly))
    newest = client.json("balances?days=1")["days"]
    assert [one["day"] for one in newest] == ["2026-03-03"]
    assert newest[0]["lamps_kwh"] is None


@pytest.mark.parametrize("address", ["light-days", "root-zone", "balances"])
def test_days_are_bounded_and_sheets_from_before_a_section_was_made_still_show(client, address):
    house = client.app.state.house
    bare = {
        name: SHEET[name] for name in ("farm", "day", "start", "end", "complete", "excursions", "totals", "cautions")
    }
    house.journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 2, 27), NOW_US, "feedfacecafe", bare))
    assert client.json(f"{address}?last=2026-02-28")
    assert client.json(f"{address}?last=2020-01-01")["days"] == []
    for days in ("0", "93", "x"):
        assert "days" in assert_problem(client(f"/api/v1/{address}?days={days}"), 422)["detail"]
