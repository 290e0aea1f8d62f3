"""Every derived series and day sheet of the simulated farm, the same to the bit however its readings arrived."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from farm.flags import Flag
from farm.readings import Reading, Series, microseconds
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation
from tests.watch.conftest import House
from watch.derived import derived_series

START, HOURS = datetime(2026, 3, 1, 20, tzinfo=UTC), 36
DAY = date(2026, 3, 2)  # in Oslo, an hour ahead of UTC then
LOST_LAMP = Fault(FaultKind.LAMP_GROUP_LOST, START + timedelta(hours=14), START + timedelta(hours=17), 1.0, "row-3")
SILENT = ("room/relative_humidity", "reservoir/solution_volume", "room/co2_mole_fraction")
SILENCE = (microseconds(START + timedelta(hours=9)), microseconds(START + timedelta(hours=10)))
MADE_DAILY = ("daily_light_integral", "photoperiod", "lamp_output")


@pytest.fixture(scope="module")
def readings():
    farm = demo_farm()
    run = Simulation(farm, seed=8, start=START, faults=[LOST_LAMP])
    block, _ = run.run_with_truth(HOURS * 60)
    return [
        Reading(Series.parse(farm.name, key), one.time_us, value, Flag.NOT_EVALUATED)
        for one in block.snapshots()
        for key, value in one.values
        if key not in SILENT or not SILENCE[0] <= one.time_us < SILENCE[1]
    ]


def in_packs_as_it_comes(readings):
    """Return the readings hour by hour, as a farm sends them."""
    packs = {}
    for one in readings:
        packs.setdefault(one.time_us // 3_600_000_000, []).append(one)
    return list(packs.values())


def shuffled(readings):
    """Return them in four packs of which each holds readings of every hour and sensor, in no order."""
    mixed = random.Random(3).sample(readings, len(readings))
    return [mixed[part::4] for part in range(4)]


def outcome(folder, packs):
    """Return what a house makes of packs: each derived series' times, values and flags, and the day's sheet."""
    house = House(demo_farm(), folder)
    house.now_us = microseconds(START)
    for pack in packs:
        house.store.append(pack)
        house.now_us = max(house.now_us + 61_000_000, max(one.time_us for one in pack) + 1)
        house.work()
    house.now_us = microseconds(START + timedelta(hours=HOURS + 12))
    house.fresh_watch()
    house.work()
    made = {series.key: house.store.read(series, 0, 2**62) for series in derived_series(house.farm)}
    sheet = house.journal.day_sheet(house.farm.name, DAY).sheet
    house.close()
    return made, sheet


@pytest.mark.slow
def test_any_order_of_arrival_gives_every_derived_series_and_the_sheet_to_the_bit(readings, tmp_path):
    at_once = outcome(tmp_path / "at once", [readings])
    for name, packs in (("as it comes", in_packs_as_it_comes(readings)), ("shuffled", shuffled(readings))):
        made, sheet = outcome(tmp_path / name, packs)
        for key, expected in at_once[0].items():
            assert made[key].time_us.tobytes() == expected.time_us.tobytes(), (name, key)
            assert made[key].value.tobytes() == expected.value.tobytes(), (name, key)
            assert made[key].flag.tobytes() == expected.flag.tobytes(), (name, key)
        assert sheet == at_once[1], name
    few = [key for key, one in at_once[0].items() if len(one.time_us) < 100]
    assert {key.split("/")[1] for key in few} <= {*MADE_DAILY, "air_change_rate", "mould_index", "normalised_output"}
    assert sum(len(one.time_us) for one in at_once[0].values()) > 50_000
    assert all(np.isfinite(one.value).all() for one in at_once[0].values())
