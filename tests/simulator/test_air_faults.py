"""Every fault of air, light, CO2 and power acts through the physics: what it changes, and that nothing else did."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.readings import microseconds
from simulator.demo import demo_farm
from simulator.farm_model import FarmModel
from simulator.faults import Fault, FaultKind, aimed

START = datetime(2026, 2, 2, tzinfo=UTC)  # lit from 04:00 to 20:00 UTC
HOUR = timedelta(hours=1)
DAYS = 3
ONSET, END = 31, 37  # hours: lit
LATE = slice((ONSET + 2) * 60, END * 60 - 1)
BEFORE = slice(0, ONSET * 60 - 1)


def truth(*faults):
    model = FarmModel(demo_farm(), 3, START, aimed(demo_farm(), faults))
    return model.run(microseconds(START) + 60_000_000 * np.arange(1, DAYS * 1440 + 1))


@pytest.fixture(scope="module")
def sound():
    return truth()


@pytest.fixture(scope="module")
def faulty():
    return lambda kind, size=1.0, target="", onset=ONSET, end=END: truth(
        Fault(kind, START + onset * HOUR, START + end * HOUR, size, target)
    )


def late(run, name):
    return run[name][LATE].mean()


def humidity(run):
    return late(run, "room.relative_humidity")


def drained(run, window=LATE):
    return np.ptp(run["farm.condensate_volume"][window])


AIR = [
    (FaultKind.DRYING_LOST, 1.0, ""),
    (FaultKind.COIL_SHORT_OF_CAPACITY, 0.6, ""),
    (FaultKind.FREE_WATER, 0.6, ""),
    (FaultKind.OUTSIDE_AIR, 1.0, "louvre"),
    (FaultKind.OUTSIDE_AIR, 1.0, "door"),
    (FaultKind.COOLING_AT_DEW_POINT, 1.0, ""),
    (FaultKind.CIRCULATION_FAN_DEAD, 1.0, "row-2"),
    (FaultKind.HEATER_STUCK, 1.0, ""),
    (FaultKind.HUMID_SOURCE_LOST, 1.0, ""),
    (FaultKind.PURGE_RUNNING, 1.0, ""),
    (FaultKind.COOLING_LOST, 1.0, ""),
    (FaultKind.WATER_UPTAKE_HIGH, 1.0, ""),
    (FaultKind.LAMP_GROUP_LOST, 1.0, "row-3"),
    (FaultKind.LAMP_FADE, 0.3, "row-1"),
    (FaultKind.TIMER_SHIFT, 2.0, "row-1"),
    (FaultKind.LAMPS_OUT_OF_PLACE, 0.4, "row-4"),
    (FaultKind.CO2_BOTTLE_EMPTY, 1.0, ""),
    (FaultKind.CO2_VALVE_STUCK_OPEN, 1.0, ""),
    (FaultKind.CO2_LEAK, 1.0, ""),
    (FaultKind.MAINS_LOST, 1.0, ""),
    *((FaultKind.CIRCUIT_LOST, 1.0, name) for name in ("lights", "air_conditioner", "heater", "fans", "pump", "doser")),
]


SLOW = (FaultKind.CIRCUIT_LOST, FaultKind.TIMER_SHIFT)  # a doser rests for hours, and lights only come and go


@pytest.mark.parametrize(("kind", "size", "target"), AIR, ids=lambda one: str(one))
def test_every_fault_changes_something_and_nothing_before_its_onset(sound, faulty, kind, size, target):
    onset, end = (12, 60) if kind in SLOW else (ONSET, END)
    run = faulty(kind, size, target, onset, end)
    assert (run.values[: onset * 60 - 1] == sound.values[: onset * 60 - 1]).all()
    assert (run.values[onset * 60 : end * 60] != sound.values[onset * 60 : end * 60]).any()
    assert np.isfinite(run.values).all()


def test_drying_lost_dries_nothing_and_still_cools(sound, faulty):
    run = faulty(FaultKind.DRYING_LOST)
    assert humidity(run) > humidity(sound) + 10
    assert drained(run) < 0.1 * drained(sound)
    assert abs(late(run, "room.air_temperature") - late(sound, "room.air_temperature")) < 1.5
    assert late(run, "supply.coil_temperature") < late(run, "room.air_temperature") - 4


def test_a_coil_short_of_capacity_runs_on_and_does_not_keep_up(sound, faulty):
    run = faulty(FaultKind.COIL_SHORT_OF_CAPACITY, 0.6)
    assert humidity(run) > humidity(sound) + 4
    assert drained(run) < 0.9 * drained(sound)
    assert late(run, "room.compressor_on") >= late(sound, "room.compressor_on")
    assert late(run, "supply.coil_temperature") > late(sound, "supply.coil_temperature") + 1


def test_free_water_brings_moisture_that_the_plants_did_not_give(sound, faulty):
    run = faulty(FaultKind.FREE_WATER, 0.6)
    assert np.ptp(run["ledger.floor_vapour"][LATE]) > 0.15 * np.ptp(run["ledger.transpired"][LATE])
    assert drained(run) > 1.05 * drained(sound)
    assert humidity(run) > humidity(sound)  # the unit takes most of it


def test_outside_air_of_winter_cools_dries_and_takes_the_co2(sound, faulty):
    for target, shows in (("louvre", 0.0), ("door", 1.0)):
        run = faulty(FaultKind.OUTSIDE_AIR, 1.0, target)
        assert humidity(run) < humidity(sound) - 3
        assert late(run, "room.air_temperature") < late(sound, "room.air_temperature")
        assert np.ptp(run["ledger.co2_dosed"][LATE]) > 2 * np.ptp(sound["ledger.co2_dosed"][LATE])
        assert late(run, "room.door_open") == shows


def test_cooling_at_the_dew_point_cools_and_does_not_dry(sound, faulty):
    run = faulty(FaultKind.COOLING_AT_DEW_POINT)
    # The air gets damper until even this coil is wet: then it gathers little from every cubic metre that passes.
    assert humidity(run) > humidity(sound) + 8
    assert late(run, "supply.coil_temperature") > late(sound, "supply.coil_temperature") + 3
    assert late(run, "room.compressor_on") > 0.9
    assert late(run, "supply.air_temperature") < late(run, "room.air_temperature") - 2
    assert abs(late(run, "room.air_temperature") - late(sound, "room.air_temperature")) < 3


def test_a_dead_fan_makes_its_row_differ_from_its_siblings(sound, faulty):
    run = faulty(FaultKind.CIRCULATION_FAN_DEAD, 1.0, "row-2")

    def apart(where, name):
        return late(where, f"row/row-2.{name}") - late(where, f"row/row-3.{name}")

    assert apart(run, "relative_humidity") > apart(sound, "relative_humidity") + 2
    assert late(run, "row/row-2.co2_mole_fraction") < late(run, "row/row-3.co2_mole_fraction") - 15
    assert late(run, "row/row-2.air_speed") < 0.2 * late(run, "row/row-3.air_speed")
    assert abs(late(run, "row/row-3.relative_humidity") - late(sound, "row/row-3.relative_humidity")) < 3


def test_a_stuck_heater_makes_it_hot_and_dry(sound, faulty):
    run = faulty(FaultKind.HEATER_STUCK)
    assert late(run, "room.air_temperature") > late(sound, "room.air_temperature") + 0.5
    assert humidity(run) < humidity(sound)
    assert late(run, "farm.electrical_power") > late(sound, "farm.electrical_power") + 500


def test_a_lost_canopy_gives_no_water_and_takes_no_co2(sound, faulty):
    run = faulty(FaultKind.HUMID_SOURCE_LOST)
    assert np.ptp(run["ledger.transpired"][LATE]) < 0.01 * np.ptp(sound["ledger.transpired"][LATE])
    assert humidity(run) < humidity(sound) - 3
    assert late(run, "room.co2_valve_open") < 0.7 * late(sound, "room.co2_valve_open")


def test_a_running_purge_changes_the_air(sound, faulty):
    run = faulty(FaultKind.PURGE_RUNNING)
    assert np.ptp(run["ledger.co2_dosed"][LATE]) > 2 * np.ptp(sound["ledger.co2_dosed"][LATE])
    assert humidity(run) < humidity(sound)


def test_cooling_lost_lets_it_get_hot_and_humid_with_the_compressor_still(sound, faulty):
    run = faulty(FaultKind.COOLING_LOST)
    assert late(run, "room.air_temperature") > late(sound, "room.air_temperature") + 1
    assert humidity(run) > humidity(sound) + 10
    assert late(run, "room.compressor_on") == 0
    part = faulty(FaultKind.COOLING_LOST, 0.8)
    assert late(part, "room.compressor_on") > 0.9


def test_plants_that_drink_more_give_more_to_the_air(sound, faulty):
    run = faulty(FaultKind.WATER_UPTAKE_HIGH)
    ratio = np.ptp(run["ledger.transpired"][LATE]) / np.ptp(sound["ledger.transpired"][LATE])
    assert 1.2 < ratio < 2.2


def test_lamps_lose_light_each_in_its_way(sound, faulty):
    lost = faulty(FaultKind.LAMP_GROUP_LOST, 1.0, "row-3")
    fade = faulty(FaultKind.LAMP_FADE, 0.3, "row-1")
    askew = faulty(FaultKind.LAMPS_OUT_OF_PLACE, 0.4, "row-4")
    assert late(lost, "row/row-3.ppfd") == 0
    assert late(lost, "group/row-3.lights_on") == 1
    assert late(lost, "group/row-3.electrical_power") == 0
    assert late(fade, "row/row-1.ppfd") == pytest.approx(0.7 * late(sound, "row/row-1.ppfd"))
    assert late(fade, "group/row-1.electrical_power") == late(sound, "group/row-1.electrical_power")
    assert late(askew, "row/row-4.ppfd") == pytest.approx(0.6 * late(sound, "row/row-4.ppfd"))
    for run, row in ((lost, "row-3"), (fade, "row-1"), (askew, "row-4")):
        assert np.ptp(run[f"row/{row}.dry_matter"][LATE]) < np.ptp(sound[f"row/{row}.dry_matter"][LATE])
        assert run["row/row-2.ppfd"][LATE] == pytest.approx(sound["row/row-2.ppfd"][LATE])


def test_a_shifted_timer_moves_the_light_day(sound, faulty):
    run = faulty(FaultKind.TIMER_SHIFT, 2.0, "row-1", 0, 72)

    def on_at(where, row):
        return np.flatnonzero(np.diff(where[f"row/{row}.ppfd"]) > 100)[-1]

    assert on_at(run, "row-1") - on_at(sound, "row-1") == 120
    assert on_at(run, "row-2") == on_at(sound, "row-2")


def test_an_empty_bottle_and_a_stuck_valve(sound, faulty):
    empty, stuck = faulty(FaultKind.CO2_BOTTLE_EMPTY), faulty(FaultKind.CO2_VALVE_STUCK_OPEN)
    assert np.ptp(empty["ledger.co2_dosed"][LATE]) == 0
    assert late(empty, "room.co2_valve_open") == 1
    assert late(empty, "room.co2_mole_fraction") < 700
    assert late(stuck, "room.co2_mole_fraction") > 1300
    assert late(stuck, "room.co2_valve_open") < 0.1


def test_a_leak_costs_co2(sound, faulty):
    run = faulty(FaultKind.CO2_LEAK)
    assert np.ptp(run["ledger.co2_leaked"][LATE]) > 4 * np.ptp(sound["ledger.co2_leaked"][LATE])
    assert late(run, "room.co2_valve_open") > 1.5 * late(sound, "room.co2_valve_open")


def test_a_lost_circuit_takes_what_hangs_on_it_and_nothing_else(faulty):
    lights, cold, fans = (faulty(FaultKind.CIRCUIT_LOST, 1.0, name) for name in ("lights", "air_conditioner", "fans"))
    assert late(lights, "row/row-1.ppfd") == 0
    assert late(lights, "group/row-1.lights_on") == 1
    assert late(cold, "room.compressor_on") == 0
    assert late(cold, "row/row-1.ppfd") > 200
    assert late(fans, "row/row-1.air_speed") < 0.1
    pump, doser = (faulty(FaultKind.CIRCUIT_LOST, 1.0, name) for name in ("pump", "doser"))
    assert late(pump, "water.flow") == 0
    assert late(doser, "water.flow") > 0
    assert np.ptp(doser["water.given_ml.acid"][LATE]) == 0


def test_a_mended_fault_leaves_the_air_as_it_would_be(sound, faulty):
    for kind in (FaultKind.DRYING_LOST, FaultKind.COOLING_LOST, FaultKind.OUTSIDE_AIR):
        run = faulty(kind, 1.0, "louvre" if kind == FaultKind.OUTSIDE_AIR else "")
        after = slice((END + 6) * 60, (END + 12) * 60)
        for name in ("room.air_temperature", "room.relative_humidity"):
            assert run[name][after].mean() == pytest.approx(sound[name][after].mean(), abs=1.5), (kind, name)


def test_a_coil_in_cold_air_freezes_and_is_defrosted():
    """A room kept at 6 degC: the coil falls below freezing, frost gathers, and a defrost lets it run off."""
    from dataclasses import replace

    from simulator.building import Building, Settings

    settings = replace(Settings(), temperature_lit_c=6.0, temperature_dark_c=6.0, humidity_lit=50.0, humidity_dark=50.0)
    model = FarmModel(demo_farm(), 3, START, (), Building(settings=settings))
    run = model.run(microseconds(START) + 60_000_000 * np.arange(1, 2 * 1440 + 1))
    frost = run["farm.frost"]
    assert frost.max() > 0.5
    assert run["supply.coil_temperature"].min() < -1
    defrosts = np.flatnonzero(np.diff(frost) < -0.3)
    assert len(defrosts) >= 1
