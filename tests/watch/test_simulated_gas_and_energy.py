"""What the watch says of the simulated farm's gas and energy, against the simulator's own books of both."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from farm.flags import Flag
from farm.readings import Reading, Series, microseconds
from simulator.building import Walls
from simulator.demo import demo_farm
from simulator.simulation import Simulation
from tests.watch.conftest import House

MINUTE = timedelta(minutes=1)
MOLAR_MASS = 44.01  # g/mol
BOOKS = ("co2_dosed", "co2_leaked", "co2_taken_up", "electricity")
NEEDED = (
    "co2_mole_fraction", "co2_valve_open", "lights_on", "door_open", "electrical_energy", "electrical_power",
)  # fmt: skip


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """Return the sheet of 2026-03-03 in Oslo, and what the simulator's ledger says of that day."""
    farm = demo_farm()
    house = House(farm, tmp_path_factory.mktemp("house"))
    run = Simulation(farm, seed=5, start=datetime(2026, 3, 2, 11, tzinfo=UTC))
    begin, end = datetime(2026, 3, 2, 23, tzinfo=UTC), datetime(2026, 3, 3, 23, tzinfo=UTC)
    whole, truth = run.run_with_truth((end - run.now) // MINUTE)
    first, last = (int(np.flatnonzero(whole.time_us == microseconds(one))[0]) for one in (begin, end))
    books = [truth[f"ledger.{name}"][last] - truth[f"ledger.{name}"][first] for name in BOOKS]
    readings = [
        Reading(Series.parse(farm.name, key), one.time_us, value, Flag.NOT_EVALUATED)
        for one in whole.snapshots()
        for key, value in one.values
        if key.split("/")[1] in NEEDED
    ]
    house.store.append(readings)
    house.now_us = microseconds(end) + 60_000_000
    house.work()
    sheet = house.journal.day_sheet(farm.name, date(2026, 3, 3)).sheet
    house.close()
    return sheet, [books[0], -books[1], *books[2:]]


def test_the_leak(told):
    [row] = told[0]["carbon_dioxide"]
    gas = row["enrichment"]
    assert gas["air_changes_per_h"] == pytest.approx(Walls().air_changes, abs=gas["air_changes_give_or_take_per_h"])
    assert gas["air_changes_give_or_take_per_h"] < 0.25 * gas["air_changes_per_h"]
    assert row["average_8h"]["standing"] == "below"


def test_the_gas(told):
    [row] = told[0]["carbon_dioxide"]
    gas = row["enrichment"]
    dosed, leaked, taken_up, _ = (MOLAR_MASS * mol for mol in told[1])
    assert gas["dosed_g"] == pytest.approx(dosed, abs=gas["dosed_give_or_take_g"])
    assert gas["dosed_g"] == pytest.approx(dosed, rel=0.01)  # minutes are whole there, the flow is 475.3 g/h
    assert gas["leaked_g"] == pytest.approx(leaked, abs=gas["leaked_give_or_take_g"])
    assert gas["rest_g"] == pytest.approx(taken_up, abs=gas["rest_give_or_take_g"])
    assert 0.0 < gas["leaked_share"] < 1.0


def test_the_energy(told):
    kwh = told[1][3] / 3.6e6
    energy = told[0]["energy"]
    assert energy["kwh"] == pytest.approx(kwh, rel=0.002)  # the last minute of a day belongs to the next
    assert abs(energy["power_meter_disagreement"]) < 0.02
    assert energy["peaks"]["standing"] == "below"
    lamps = sum(one["estimated_kwh"] for one in energy["lamps"])
    assert lamps == pytest.approx(4 * 0.6 * 16 + 0.11 * 18, rel=0.01)  # as the plan has them lit
    assert lamps < energy["kwh"]
