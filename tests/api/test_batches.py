"""Batches over HTTP."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from farm.check import check_text
from farm.readings import microseconds
from store.entries import DaySheetEntry
from store.journal import Journal
from tests.api.conftest import NOW_US, SHEET, Client, assert_problem
from tests.conftest import SMALL_FARM

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)

BATCH = """
[[batches]]
name = "cress-1"
crop = "cress"
sown = 2026-03-01
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-01T00:00:00Z
left = 2026-03-02T00:00:00Z
"""


def test_batches_and_what_one_had(house):
    farm, mistakes = check_text(SMALL_FARM + BATCH)
    assert farm is not None, mistakes
    client = Client(house, farm=farm)
    assert client.json("batches")["batches"] == [
        {"batch": "cress-1", "crop": "cress", "sown": "2026-03-01", "zones": ["row"]}
    ]
    found = client.json("batches/cress-1")
    # 250 umol m-2 s-1 for 16 h are 14.40 mol m-2, by definition; the two ramps of a minute add one half each
    assert abs(found["total"]["mol"] - 14.40) < 0.01
    assert found["stays"][0]["light"]["series"] == ["row/ppfd"]
    assert found["total"]["degree_hours_k_h"] is None
    body = assert_problem(client("/api/v1/batches/cress-2"), 404)
    assert "cress-1" in body["detail"]


TWO = """
[[equipment.stocks]]
name = "nutrient-a"
label = "Stock A"
role = "nutrient"
bottle_l = 5
[[batches]]
name = "first"
crop = "cress"
sown = 2026-02-01
plants = 100
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-02-28T00:00:00+01:00
left = 2026-03-02T00:00:00+01:00
[[batches]]
name = "second"
crop = "cress"
sown = 2026-02-01
plants = 300
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-01T12:00:00+01:00
[[batches]]
name = "uncounted"
crop = "cress"
sown = 2026-02-01
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-05
"""


def day(litres, grams, millilitres):
    return SHEET | {
        "water_balance": [{"drunk": {"litres_l": litres}}],
        "carbon_dioxide": [{"enrichment": {"dosed_g": grams}}, {"enrichment": None}],
        "root_zone": [{"stocks": [{"stock": "nutrient-a", "used_ml": millilitres}]}],
    }


@pytest.fixture
def shared(house, tmp_path):
    """28 February: the first batch alone. 1 March: it for 24 h, the second for 12 h: 100 x 24 to 300 x 12, 2 to 3."""
    farm, mistakes = check_text(SMALL_FARM + TWO)
    assert farm is not None, mistakes
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        for number, sheet in ((28, day(40.0, 500.0, 100.0)), (1, day(50.0, None, 200.0))):
            when = date(2026, 2 if number == 28 else 3, number)
            journal.save_day_sheet("testfarm", DaySheetEntry(when, NOW_US, "feedfacecafe", sheet))
        yield Client(replace(house, farm=farm, journal=journal), clock=lambda: microseconds(NOON))


def test_water_stocks_and_co2_are_shared_by_plants_and_time_day_by_day(shared):
    use = shared.json("batches/first")["use"]
    assert use["water_l"] == pytest.approx(40.0 + 0.4 * 50.0)
    assert use["water_coverage"] == 1.0
    assert use["co2_g"] == pytest.approx(500.0), "of 1 March it is not known"
    assert use["co2_coverage"] == 0.5
    [stock] = use["stocks"]
    assert (stock["used_ml"], stock["coverage"]) == (pytest.approx(100.0 + 0.4 * 200.0), 1.0)
    second = shared.json("batches/second")["use"]
    assert second["water_l"] == pytest.approx(0.6 * 50.0)
    assert second["water_coverage"] == 0.5, "2 March, until noon, has no sheet yet"
    assert use["water_l"] + second["water_l"] == pytest.approx(90.0), "nothing is borne twice or by nobody"


def test_a_stock_that_is_dosed_in_two_zones_is_borne_with_both(house, tmp_path):
    farm, _ = check_text(SMALL_FARM + TWO)
    both = day(40.0, 500.0, 100.0)
    both["root_zone"] += [{"stocks": [{"stock": "nutrient-a", "used_ml": 30.0}]}]
    half = day(40.0, 500.0, 100.0)
    half["root_zone"] += [{"stocks": [{"stock": "nutrient-a", "used_ml": None}]}]
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 2, 28), NOW_US, "feedfacecafe", both))
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), NOW_US, "feedfacecafe", half))
        client = Client(replace(house, farm=farm, journal=journal), clock=lambda: microseconds(NOON))
        [stock] = client.json("batches/first")["use"]["stocks"]
    assert stock["used_ml"] == pytest.approx(130.0), "on 28 February it stood alone"
    assert stock["coverage"] == 0.5, "of 1 March one part is not known"


def test_what_nothing_tells_of_is_not_known(shared):
    use = shared.json("batches/uncounted")["use"]
    assert use["water_l"] is None
    assert use["stocks"][0]["used_ml"] is None
