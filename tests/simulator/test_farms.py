"""Invented farms: sound descriptions, each its own, the same for the same seed."""

from __future__ import annotations

import pytest

from farm.check import check_text
from farm.description import ZoneKind
from simulator.farms import invented_farm

SEEDS = range(60)


@pytest.fixture(scope="module")
def made():
    return [invented_farm(seed) for seed in SEEDS]


def test_every_farm_passes_the_check_and_its_text_is_the_farm(made):
    for one in made:
        farm, mistakes = check_text(one.text)
        assert mistakes == [], one.farm.name
        assert farm == one.farm
        assert farm.farm.invented
        assert "invented" in farm.farm.title


def test_farms_differ(made):
    assert len({one.text for one in made}) == len(made)
    for what in (
        lambda one: sum(zone.kind == ZoneKind.GROWING_ROW for zone in one.farm.zones.values()),
        lambda one: one.building.walls.air_volume_m3,
        lambda one: one.farm.farm.timezone,
        lambda one: next(iter(one.farm.crops)),
        lambda one: one.start.month,
        lambda one: len(one.farm.series),
        lambda one: one.farm.series[0].cadence_s,
    ):
        assert len({what(one) for one in made}) >= 3


def test_the_same_seed_makes_the_same_farm():
    assert invented_farm(11) == invented_farm(11)


def test_some_farms_lack_what_others_have(made):
    for quantity in ("ppfd", "condensate_volume", "flow_rate", "co2_mole_fraction", "dosed_volume"):
        having = sum(any(series.quantity == quantity for series in one.farm.series) for one in made)
        assert 0 < having < len(made), quantity
