"""Drafts for undescribed names: with a person's look over them, they make a good description."""

from __future__ import annotations

import pytest

from farm.check import check_text
from farm.suggestion import suggested_series
from tests.conftest import SMALL_FARM


@pytest.mark.parametrize(
    ("name", "topic", "unit", "key", "wire"),
    [
        ("row/temp", "t", "Cel", "row/air_temperature", "row/temp"),
        ("row/air_temprature", "t", "degF", "row/air_temperature", "row/air_temprature"),
        ("row/relative_humidity", "t", "%RH", "row/relative_humidity", None),
        ("room/temperature-2", "t", "Cel", "room/air_temperature/room-temperature-2", "room/temperature-2"),
        ("urn:dev:ow:10e2073a01080063:ph", "t", "pH", "room/solution_ph", "urn:dev:ow:10e2073a01080063:ph"),
        ("meter#sum", "t", "W.s", "room/electrical_energy", "meter#sum"),
        ("rwo/co2", "t", None, "row/co2_mole_fraction", "rwo/co2"),
        ("", "plain/outdoors/rh", None, "outdoors/relative_humidity", None),
    ],
)
def test_a_draft_added_to_the_description_makes_the_name_known(small_farm, name, topic, unit, key, wire):
    draft = suggested_series(small_farm, name, topic, unit)
    farm, mistakes = check_text(SMALL_FARM + draft)
    assert mistakes == [], draft
    assert farm.series[-1].key == key
    assert farm.series[-1].wire == wire
    assert farm.has_on_the_wire(name, topic)
    assert not small_farm.has_on_the_wire(name, topic)


def test_what_cannot_be_told_is_left_to_choose_and_farm_check_lists_it(small_farm):
    draft = suggested_series(small_farm, "xyz-1", "t", "mS/cm/unheard")
    assert "CHOOSE" in draft
    _, mistakes = check_text(SMALL_FARM + draft)
    assert [mistake.key for mistake in mistakes] == ["series[6].quantity"]
    assert "room, row, outdoors" in draft


def test_a_unit_that_does_not_fit_is_said(small_farm):
    assert "# it sends 'bananas'" in suggested_series(small_farm, "row/temp", "t", "bananas")


def test_names_of_any_characters_make_valid_toml(small_farm):
    draft = suggested_series(small_farm, 'room/"\\\n\x07temp', "t", "Cel")
    farm, mistakes = check_text(SMALL_FARM + draft)
    assert mistakes == [], draft
    assert farm.series[-1].wire == 'room/"\\\n\x07temp'
