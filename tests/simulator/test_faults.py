"""What each fault does to the readings, and that nothing but the fault does it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind, labels
from simulator.simulation import Simulation

START = datetime(2026, 2, 2, tzinfo=UTC)  # lit from 04:00 to 20:00 UTC
HOUR = timedelta(hours=1)
ONSET = START + 31 * HOUR
MENDED = ONSET + 5 * HOUR


@pytest.fixture(scope="module")
def sound(demo_run):
    return demo_run(START, days=3)


@pytest.fixture(scope="module")
def faulty(demo_run):
    return lambda *faults: demo_run(START, days=3, faults=faults)


def test_a_fault_changes_nothing_before_its_onset(sound, faulty):
    run = faulty(Fault(FaultKind.DRYING_LOST, ONSET, MENDED))
    before = run.during(START, ONSET)
    for key, values in run.columns.items():
        assert (values[before] == sound[key][before]).all(), key


def test_drying_lost_makes_the_room_humid_and_leaves_it_cool(sound, faulty):
    run = faulty(Fault(FaultKind.DRYING_LOST, ONSET, MENDED))
    late = run.during(ONSET + HOUR, MENDED)
    assert run["room/relative_humidity"][late].min() > sound["room/relative_humidity"][late].max() + 5
    assert run.vapour_pressure_deficit("row-2")[late].max() < 0.5
    assert np.ptp(run["room/condensate_volume"][late]) < 0.1
    assert np.ptp(sound["room/condensate_volume"][late]) > 3.0
    assert run["room/compressor_on"][late].mean() > 0.9
    mask, _ = run.outside("room", "air_temperature", run["room/air_temperature"])
    assert not mask[late].any()
    mask, _ = run.outside("room", "relative_humidity", run["room/relative_humidity"])
    assert mask[late].all()
    assert not mask[run.during(MENDED + HOUR, MENDED + 6 * HOUR)].any()


def test_half_the_severity_is_a_milder_case(sound, faulty):
    late = sound.during(ONSET + 2 * HOUR, MENDED)
    whole, part = (
        faulty(Fault(FaultKind.DRYING_LOST, ONSET, MENDED, severity))["room/relative_humidity"][late].mean()
        for severity in (1.0, 0.8)
    )
    assert sound["room/relative_humidity"][late].mean() < part < whole


def test_a_lost_lamp_group_is_dark_while_its_state_says_on(sound, faulty):
    run = faulty(Fault(FaultKind.LAMP_GROUP_LOST, ONSET, MENDED, target="row-3"))
    during = run.during(ONSET, MENDED)
    assert (run["row-3/ppfd"][during] == 0).all()
    assert (run["row-3/lights_on"][during] == 1).all()
    assert (run["row-2/ppfd"] == sound["row-2/ppfd"]).all()
    assert run["room/electrical_power"][during].mean() < sound["room/electrical_power"][during].mean()
    lit = run.during(START + 28 * HOUR, START + 44 * HOUR)
    low, _ = demo_farm().phase_at("row-3", ONSET).daily_light_integral
    assert run["row-3/ppfd"][lit].sum() * 60 / 1e6 < low < sound["row-3/ppfd"][lit].sum() * 60 / 1e6


def test_an_empty_stock_lets_the_ec_sink_while_the_counter_runs(sound, faulty):
    run = faulty(Fault(FaultKind.STOCK_EMPTY, START + 10 * HOUR, START + 50 * HOUR))
    mask, _ = run.outside("reservoir", "solution_ec", run["reservoir/solution_ec"])
    during = run.during(START + 10 * HOUR, START + 50 * HOUR)
    assert mask[during].sum() >= 10 * 60
    assert run["reservoir/solution_ec"][during].max() < sound["reservoir/solution_ec"].max() + 0.05
    for stock in ("nutrient-a", "nutrient-b"):
        key = f"reservoir/dosed_volume/{stock}"
        assert np.ptp(run[key][during]) > 2 * np.ptp(sound[key][during])
    acid = "reservoir/dosed_volume/acid"
    assert np.ptp(run[acid]) == pytest.approx(np.ptp(sound[acid]), rel=0.25)  # other bottles go on
    assert not mask[run.during(START + 62 * HOUR, START + 72 * HOUR)].any()


def test_one_empty_bottle_of_two_halves_what_a_dose_does(faulty):
    both, one = (
        faulty(Fault(FaultKind.STOCK_EMPTY, START + 10 * HOUR, None, target=target))["reservoir/solution_ec"][-1]
        for target in ("", "nutrient-a")
    )
    assert one > both + 0.2


def test_co2_runs_short_with_the_valve_open(sound, faulty):
    run = faulty(Fault(FaultKind.CO2_SUPPLY_EMPTY, ONSET, MENDED))
    late = run.during(ONSET + 3 * HOUR, MENDED)
    assert run["room/co2_mole_fraction"][late].max() < 800 < sound["room/co2_mole_fraction"][late].min()
    assert (run["room/co2_valve_open"][late] == 1).all()


def test_an_open_door_lets_the_winter_in(sound, faulty):
    run = faulty(Fault(FaultKind.DOOR_LEFT_OPEN, ONSET, ONSET + HOUR))
    during = run.during(ONSET + HOUR / 2, ONSET + HOUR)
    assert run["room/air_temperature"][during].mean() < sound["room/air_temperature"][during].mean() - 0.5
    assert run["room/co2_valve_open"][during].mean() > 2 * sound["room/co2_valve_open"][during].mean()
    assert (run["room/door_open"][during] == 1).all()


def test_a_frozen_sensor_repeats_and_an_offset_adds(sound, faulty):
    run = faulty(
        Fault(FaultKind.SENSOR_FROZEN, ONSET, MENDED, target="row-1/air_temperature"),
        Fault(FaultKind.SENSOR_OFFSET, ONSET, MENDED, -0.3, target="reservoir/solution_ph"),
    )
    during = run.during(ONSET, MENDED)
    assert len(set(run["row-1/air_temperature"][during])) == 1
    assert len(set(sound["row-1/air_temperature"][during])) > 20
    assert run["reservoir/solution_ph"][during] == pytest.approx(sound["reservoir/solution_ph"][during] - 0.3)
    for key in run.columns:  # nothing physical changed, and both sensors are well again
        rest = np.ones(len(run.times), bool)
        rest[during] = key not in ("row-1/air_temperature", "reservoir/solution_ph")
        assert (run[key][rest] == sound[key][rest]).all(), key


def test_labels_are_cut_to_the_window_and_in_order():
    faults = [
        Fault(FaultKind.STOCK_EMPTY, START + 5 * HOUR),
        Fault(FaultKind.DRYING_LOST, START, START + 2 * HOUR),
        Fault(FaultKind.DOOR_LEFT_OPEN, START + 20 * HOUR, START + 21 * HOUR),
    ]
    found = labels(faults, START + HOUR, START + 10 * HOUR)
    assert [(one.kind, one.start, one.end) for one in found] == [
        (FaultKind.DRYING_LOST, START + HOUR, START + 2 * HOUR),
        (FaultKind.STOCK_EMPTY, START + 5 * HOUR, START + 10 * HOUR),
    ]


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ((FaultKind.DRYING_LOST, datetime(2026, 1, 1)), "no time zone"),  # noqa: DTZ001
        ((FaultKind.DRYING_LOST, START, START), "must be later than"),
        ((FaultKind.DRYING_LOST, START, None, 1.5), "severity 1.5"),
        ((FaultKind.LAMP_GROUP_LOST, START), "needs a target: a lamp group's name"),
    ],
)
def test_an_impossible_fault_is_refused(arguments, complaint):
    with pytest.raises(ValueError, match=complaint):
        Fault(*arguments)


def test_a_fault_on_what_does_not_exist_is_refused():
    fault = Fault(FaultKind.LAMP_GROUP_LOST, START, target="row-9")
    with pytest.raises(ValueError, match="unknown target 'row-9'; there is: row-1"):
        Simulation(demo_farm(), seed=1, start=START, faults=[fault])
    with pytest.raises(ValueError, match="leave the target out"):
        Simulation(demo_farm(), seed=1, start=START, faults=[Fault(FaultKind.DRYING_LOST, START, target="row-1")])
