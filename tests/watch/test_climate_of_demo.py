"""The climate section held to what the simulated farm truly did: its sensors lag and are off, its ledger knows."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest

from analytics.amounts import agreement
from farm.flags import Flag
from farm.readings import Reading, Series, microseconds
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation
from store.embedded import EmbeddedStore
from store.journal import Journal
from watch.air_conditioner_of_day import UnitDay, drying, unit_day
from watch.day_data import day_data

DAY = date(2026, 2, 10)
BEGIN = datetime(2026, 2, 9, 23, tzinfo=UTC)  # of that day in the demonstration farm's time zone
EARLIER = timedelta(hours=3)
MINUTE = timedelta(minutes=1)
J_PER_KWH = 3.6e6


class DemoDay(NamedTuple):
    """What the day sheet's figures rest on, and the truth: water [kg], heat [kWh], hours of run, starts."""

    found: UnitDay
    water: float
    heat: float
    on_h: float
    starts: int


def demo_day(folder, seed, faults=()):
    farm = demo_farm()
    simulation = Simulation(farm, seed=seed, start=BEGIN - EARLIER, faults=faults)
    earlier, _ = simulation.run_with_truth(EARLIER // MINUTE)
    day, truth = simulation.run_with_truth(1440)
    readings = [
        Reading(Series.parse(farm.name, key), one.time_us, value, Flag.GOOD)
        for block in (earlier, day)
        for one in block.snapshots()
        for key, value in one.values
    ]
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        store.append(readings)
        now_us = microseconds(BEGIN + timedelta(days=1, minutes=5))
        found = unit_day(day_data(farm, store, journal, DAY, now_us), farm.equipment.air_conditioner)
    runs = truth["room.compressor_on"][:-1]
    heat = np.ptp(truth["ledger.refrigerant_heat"]) + np.ptp(truth["ledger.drained_heat"])
    return DemoDay(
        found,
        np.ptp(truth["farm.condensate_volume"]),
        heat / J_PER_KWH,
        runs.sum() / 60,
        sum(now and not before for before, now in pairwise(runs > 0)),
    )


@pytest.mark.parametrize("seed", [1, 4])
def test_a_day_of_the_demonstration_farm(tmp_path, seed):
    """Its sensors are off by a fraction of their stated accuracy, so the truth lies well within the give or take."""
    day = demo_day(tmp_path, seed)
    cycles, taken = day.found.cycles, day.found.taken
    assert cycles.on_s / 3600 == pytest.approx(day.on_h, abs=1.5 / 60)
    assert abs(cycles.starts - day.starts) <= 1
    assert cycles.shortest_off_s >= 120.0  # the demonstration's compressor rests two minutes at least
    assert cycles.short_offs == 0
    assert day.found.condensate.value == pytest.approx(day.water, rel=0.005)
    assert day.water > 20
    for amount, truth in ((taken.water, day.water), (taken.heat, day.heat)):
        assert abs(amount.value - truth) <= amount.give_or_take
        assert amount.value == pytest.approx(truth, rel=0.12)
        assert amount.give_or_take < 0.3 * truth
        assert amount.coverage > 0.99
    # The compressor draws its rated power whenever it runs: nothing else of the room counts.
    assert day.found.electricity.value == pytest.approx(1.4 * day.on_h, abs=0.05)
    assert taken.sensible.value + taken.latent.value == pytest.approx(taken.heat.value)


def test_a_blocked_drain_is_told_by_the_two_measurements(tmp_path):
    """The coil takes as much water, but most evaporates again behind the sensors: the drain sees little of it."""
    (tmp_path / "well").mkdir()
    (tmp_path / "ill").mkdir()
    well = demo_day(tmp_path / "well", 1).found
    blocked = Fault(FaultKind.DRYING_LOST, BEGIN, BEGIN + timedelta(days=1), size=0.7)
    ill = demo_day(tmp_path / "ill", 1, [blocked]).found
    assert agreement(well.taken.water, well.condensate).agrees is True
    assert agreement(ill.taken.water, ill.condensate).agrees is False
    assert ill.taken.water.value > ill.condensate.value
    assert drying(ill).value < 0.6 * drying(well).value
