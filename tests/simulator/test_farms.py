"""Invented farms: sound descriptions, each its own, the same for the same seed."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from farm.check import check_text
from farm.description import ZoneKind
from farm.readings import Series, microseconds
from simulator.cases import Case, simulated
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


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 7, 16, 20, 31, 38])
def test_nothing_stays_outside_its_band_while_nothing_is_wrong(seed):
    one = invented_farm(seed)
    farm = one.farm
    case = Case(
        farm, one.text, seed, one.start, one.start + timedelta(days=6), building=one.building, climate=one.climate
    )
    readings = simulated(case)
    checked = set()
    for series, columns in readings.items():
        phase = farm.phase_at(series.zone, one.start)
        band = phase.bands.get(series.quantity) if phase else None
        if band is None:
            continue
        lights = readings[Series.parse(farm.name, farm.zones[series.zone].lights or "row-1/lights_on")]
        lit = lights.value[np.searchsorted(lights.time_us, columns.time_us, side="right") - 1] > 0
        outside = np.zeros(len(lit), bool)
        for when, limits in ((lit, band.limits(True)), (~lit, band.limits(False))):
            if limits is not None:
                outside |= when & ((columns.value < limits[0]) | (columns.value > limits[1]))
        settled = columns.time_us > microseconds(one.start + timedelta(hours=6))
        edges = np.flatnonzero(np.diff(np.concatenate(([0], (outside & settled).view(np.int8), [0]))))
        longest_s = (edges[1::2] - edges[::2]).max(initial=0) * farm.described[series].cadence_s
        assert longest_s < band.on_delay_s, series.key
        checked.add(series.quantity)
    assert {"air_temperature", "relative_humidity", "solution_ec", "solution_ph"} <= checked
