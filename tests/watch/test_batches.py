"""What a batch has had in two stays, with figures worked out by hand."""

from __future__ import annotations

import random

import pytest

from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.batches import batch_record

HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
BATCH = (
    SMALL_FARM.replace('label = "Cress"\n', 'label = "Cress"\nbase_temperature_c = 4\ncap_temperature_c = 30\n')
    + """
[zones.shelf]
kind = "seedling_shelf"
label = "Shelf"
lights = "shelf/lights_on"
[[series]]
zone = "shelf"
quantity = "lights_on"
[[series]]
zone = "row"
quantity = "air_temperature"
[[equipment.lamp_groups]]
name = "shelf"
zones = ["shelf"]
commissioning_ppfd = 100
power_w = 100
[[batches]]
name = "cress-1"
crop = "cress"
sown = 2026-03-01
plants = 100
[[batches.stays]]
zone = "shelf"
phase = "growing"
entered = 2026-03-01T00:00:00Z
left = 2026-03-02T00:00:00Z
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-02T00:00:00Z
left = 2026-03-04T00:00:00Z
[[batches]]
name = "cress-2"
crop = "cress"
sown = 2026-03-03
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-03T12:00:00Z
"""
)


@pytest.fixture(scope="module")
def batch_farm():
    farm, mistakes = check_text(BATCH)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def batch_house(batch_farm, tmp_path):
    made = House(batch_farm, tmp_path / "house")
    yield made
    made.close()


def rows():
    """The shelf is lit for 18 h on day 1; the row for 16 h on days 2 and 3, at 24 degC lit and 18 dark."""
    shelf = samples("0*180 1*1080 0*180")
    on = samples("0*300 1*960 0*180 " * 4)
    return [
        *(("shelf/lights_on", at, value) for at, value in shelf),
        *(("row/lights_on", at, value) for at, value in on),
        *(("row/ppfd", at, 250.0 * value) for at, value in on),
        *(("row/air_temperature", at, 18.0 + 8.0 * value) for at, value in on),  # 26 lit: above the band's 24
    ]


def fill(house, chosen):
    for key in {key for key, _, _ in chosen}:
        house.put(key, [(at, value) for one, at, value in chosen if one == key])
    house.work()


def record(house, name="cress-1", now_us=T0_US + 5 * DAY_US):
    [batch] = [one for one in house.farm.batches if one.name == name]
    return batch_record(house.farm, house.store, batch, now_us)


def test_a_batch_of_two_stays(batch_house):
    fill(batch_house, rows())
    found = record(batch_house)
    shelf, row = found["stays"]
    # table of light integrals: 100 umol m-2 s-1 for 18 h are 6.48, 250 for 16 h are 14.40 mol m-2
    assert shelf["light"] == {
        "mol": pytest.approx(6.48), "covered_h": 24, "estimated": True, "series": ["shelf/ppfd/estimated"],
    }  # fmt: skip
    assert row["light"]["mol"] == pytest.approx(28.80, abs=0.001)
    assert row["light"]["estimated"] is False
    assert (shelf["hours"], row["hours"], shelf["complete"]) == (24, 48, True)
    # above a base of 4: two days of 16 h at 26 and 8 h at 18 are 2 x (352 + 112) K h
    assert shelf["warmth"] is None
    assert row["warmth"]["degree_hours_k_h"] == pytest.approx(928)
    assert (row["warmth"]["below_base_h"], row["warmth"]["above_cap_h"], row["warmth"]["covered_h"]) == (0, 0, 48)
    [band] = row["bands"]
    assert band["key"] == "row/air_temperature"
    assert (band["inside_h"], band["above_h"], band["covered_h"]) == pytest.approx((16, 32, 48))
    total = found["total"]
    assert total["mol"] == pytest.approx(6.48 + 28.80, abs=0.001)
    assert (total["mol_coverage"], total["mol_estimated"]) == (1, True)
    assert total["degree_hours_k_h"] == pytest.approx(928)
    assert total["degree_hours_coverage"] == pytest.approx(48 / 72)
    assert total["bands"][0]["coverage"] == pytest.approx(48 / 72)


def test_a_stay_that_lasts_ends_now(batch_house):
    fill(batch_house, rows())
    found = record(batch_house, "cress-2", T0_US + 3 * DAY_US)
    [stay] = found["stays"]
    assert (stay["complete"], stay["hours"], stay["end"]) == (False, 12, "2026-03-04T00:00:00Z")
    assert stay["light"]["mol"] == pytest.approx(250 * 9 * 3600 / 1e6, abs=0.02)  # from noon to nine in the evening


def test_a_batch_that_has_not_begun(batch_house):
    found = record(batch_house, "cress-2", T0_US)
    [stay] = found["stays"]
    assert (stay["hours"], stay["light"], stay["warmth"], stay["bands"]) == (0, None, None, [])
    assert found["total"] == {
        "hours": 0, "mol": None, "mol_coverage": None, "mol_estimated": False,
        "degree_hours_k_h": None, "degree_hours_coverage": None, "bands": [],
    }  # fmt: skip


def test_a_gap_is_told_and_adds_nothing(batch_house):
    gap = T0_US + 2 * DAY_US + 8 * HOUR_US
    fill(batch_house, [one for one in rows() if not gap <= one[1] < gap + 6 * HOUR_US])
    _, row = record(batch_house)["stays"]
    assert row["light"]["covered_h"] == pytest.approx(42, abs=0.1)
    assert row["light"]["mol"] == pytest.approx(28.80 - 250 * 6 * 3600 / 1e6, abs=0.05)
    assert row["warmth"]["degree_hours_k_h"] == pytest.approx(928 - 6 * 22, abs=2)


def test_a_crop_without_a_base_has_no_degree_hours(tmp_path):
    farm, mistakes = check_text(BATCH.replace("base_temperature_c = 4\ncap_temperature_c = 30\n", ""))
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    fill(house, rows())
    assert record(house)["stays"][1]["warmth"] is None
    house.close()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("cap_temperature_c = 30", "base_temperature_c beside cap_temperature_c"),
        ("base_temperature_c = 10\ncap_temperature_c = 10", "a cap_temperature_c above base_temperature_c"),
    ],
)
def test_wrong_base_and_cap_are_explained(text, message):
    _, mistakes = check_text(BATCH.replace("base_temperature_c = 4\ncap_temperature_c = 30", text))
    assert message in " ".join(str(mistake) for mistake in mistakes)


@pytest.mark.slow
def test_any_order_of_arrival_gives_the_same(batch_farm, tmp_path):
    found = []
    for trial in range(2):
        house = House(batch_farm, tmp_path / str(trial))
        chosen = rows() if trial == 0 else random.Random(1).sample(rows(), len(rows()))
        for place in range(0, len(chosen), len(chosen) // (1 + 2 * trial)):
            fill(house, chosen[place : place + len(chosen) // (1 + 2 * trial)])
        found.append(record(house))
        house.close()
    assert found[1] == found[0]
