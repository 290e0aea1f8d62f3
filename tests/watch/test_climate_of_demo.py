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
from watch.vapour_balance_of_day import vapour_balance

DAY = date(2026, 2, 10)
BEGIN = datetime(2026, 2, 9, 23, tzinfo=UTC)  # of that day in the demonstration farm's time zone
EARLIER = timedelta(hours=12)  # a night before, so that the room has settled
MINUTE = timedelta(minutes=1)
J_PER_KWH = 3.6e6


class DemoDay(NamedTuple):
    """What the day sheet's figures rest on, and the truth: water [kg], heat [kWh], hours of run, starts, vapour."""

    found: UnitDay
    balance: dict
    water: float
    heat: float
    on_h: float
    starts: int
    given_off: float
    leaked: float


def demo_day(folder, seed, faults=(), without=None):
    farm = demo_farm()
    simulation = Simulation(farm, seed=seed, start=BEGIN - EARLIER, faults=faults)
    earlier, _ = simulation.run_with_truth(EARLIER // MINUTE)
    day, truth = simulation.run_with_truth(1440)
    readings = [
        Reading(Series.parse(farm.name, key), one.time_us, value, Flag.GOOD)
        for block in (earlier, day)
        for one in block.snapshots()
        for key, value in one.values
        if key != without
    ]
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        store.append(readings)
        now_us = microseconds(BEGIN + timedelta(days=1, minutes=5))
        data = day_data(farm, store, journal, DAY, now_us)
        found = unit_day(data, farm.equipment.air_conditioner)
        balance = vapour_balance(data, found)
    runs = truth["room.compressor_on"][:-1]
    heat = np.ptp(truth["ledger.refrigerant_heat"]) + np.ptp(truth["ledger.drained_heat"])
    given = sum(np.ptp(truth[f"ledger.{name}"]) for name in ("transpired", "floor_vapour", "people_vapour"))
    return DemoDay(
        found,
        balance,
        np.ptp(truth["farm.condensate_volume"]),
        heat / J_PER_KWH,
        runs.sum() / 60,
        sum(now and not before for before, now in pairwise(runs > 0)),
        given,
        np.ptp(truth["ledger.leaked_vapour"]),
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
    # What leaves, floor and people gave to the air is what the drain, the leak and the air's own change make up.
    vented, given_off = (day.balance[name] for name in ("vented", "given_off"))
    assert day.balance["removed_by"] == "condensate"
    assert vented["kg"] == pytest.approx(day.leaked, abs=vented["give_or_take"])
    assert given_off["kg"] == pytest.approx(day.given_off, abs=given_off["give_or_take"])
    assert given_off["give_or_take"] < 0.05 * day.given_off
    assert day.given_off - day.water > 2 * given_off["give_or_take"], "the drain alone would not do"


@pytest.mark.parametrize("without", ["room/co2_mole_fraction", "outdoors/relative_humidity"])
def test_a_balance_with_an_unknown_term_says_nothing(tmp_path, without):
    balance = demo_day(tmp_path, 1, without=without).balance
    assert balance["removed"]["kg"] > 20
    assert (balance["vented"], balance["given_off"]) == (None, None)
    assert (balance["air_changes_per_h"] is None) == (without == "room/co2_mole_fraction")


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
