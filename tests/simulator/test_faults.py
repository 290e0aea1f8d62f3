"""What each fault does to the readings, and that nothing but the fault does it."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.description import Farm
from farm.readings import microseconds
from simulator.demo import demo_farm
from simulator.fault_kinds import NATURES
from simulator.faults import Fault, FaultKind, FaultSlots, aimed, labels, write_labels

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
    assert run["room/compressor_on"][late].mean() > 0.7  # it hardly rests, beyond its shortest rests
    mask, _ = run.outside("room", "air_temperature", run["room/air_temperature"])
    assert mask[late].mean() < 0.1  # short dips while it cools in order to dry
    mask, _ = run.outside("room", "relative_humidity", run["room/relative_humidity"])
    assert mask[late].all()
    assert not mask[run.during(MENDED + HOUR, MENDED + 6 * HOUR)].any()


def test_a_smaller_size_is_a_milder_case(sound, faulty):
    late = sound.during(ONSET + 2 * HOUR, MENDED)
    whole, part = (
        faulty(Fault(FaultKind.DRYING_LOST, ONSET, MENDED, size))["room/relative_humidity"][late].mean()
        for size in (1.0, 0.8)
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
    run = faulty(Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START + 10 * HOUR, START + 50 * HOUR))
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
        faulty(Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START + 10 * HOUR, None, target=target))["reservoir/solution_ec"][
            -1
        ]
        for target in ("", "nutrient-a")
    )
    assert one > both + 0.2


def test_co2_runs_short_with_the_valve_open(sound, faulty):
    run = faulty(Fault(FaultKind.CO2_BOTTLE_EMPTY, ONSET, MENDED))
    late = run.during(ONSET + 3 * HOUR, MENDED)
    assert run["room/co2_mole_fraction"][late].max() < 800 < sound["room/co2_mole_fraction"][late].min()
    assert (run["room/co2_valve_open"][late] == 1).all()


def test_an_open_door_lets_the_winter_in(sound, faulty):
    run = faulty(Fault(FaultKind.OUTSIDE_AIR, ONSET, ONSET + HOUR, target="door"))
    during = run.during(ONSET + HOUR / 2, ONSET + HOUR)
    assert run["room/air_temperature"][during].mean() < sound["room/air_temperature"][during].mean() - 0.5
    assert run["room/co2_valve_open"][during].mean() > 2 * sound["room/co2_valve_open"][during].mean()
    assert (run["room/door_open"][during] == 1).all()


def test_a_frozen_sensor_repeats_and_an_offset_adds(sound, faulty):
    run = faulty(
        Fault(FaultKind.SENSOR_STUCK, ONSET, MENDED, target="row-1/air_temperature"),
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


def test_labels_are_in_order_end_with_the_window_and_keep_their_onset():
    faults = [
        Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START + 5 * HOUR),
        Fault(FaultKind.DRYING_LOST, START, START + 2 * HOUR),
        Fault(FaultKind.OUTSIDE_AIR, START + 20 * HOUR, START + 21 * HOUR, target="door"),
    ]
    found = labels(faults, START + HOUR, START + 10 * HOUR)
    assert [(one.kind, one.start, one.end) for one in found] == [
        (FaultKind.DRYING_LOST, START, START + 2 * HOUR),
        (FaultKind.NUTRIENT_STOCK_EMPTY, START + 5 * HOUR, START + 10 * HOUR),
    ]


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ((FaultKind.DRYING_LOST, datetime(2026, 1, 1)), "no time zone"),  # noqa: DTZ001
        ((FaultKind.DRYING_LOST, START, START), "must be later than"),
        ((FaultKind.DRYING_LOST, START, None, 1.5), r"size 1.5 \(.*\) must lie from 0 to 1"),
        ((FaultKind.DRYING_LOST, START, None, 0.0), "and not 0"),
        ((FaultKind.TIMER_SHIFT, START, None, -13.0), r"size -13 \(hours\) must lie from -12 to 12"),
        ((FaultKind.LAMP_FADE, START, None, 0.5, "row-1", -1.0), "ramp_s -1 must be 0 or more seconds"),
    ],
)
def test_an_impossible_fault_is_refused(arguments, complaint):
    with pytest.raises(ValueError, match=complaint):
        Fault(*arguments)


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        (Fault(FaultKind.LAMP_GROUP_LOST, START, target="row-9"), "unknown target 'row-9'; there is: row-1"),
        (Fault(FaultKind.LAMP_GROUP_LOST, START), "needs a target, the name of one lamp group; there is: row-1"),
        (Fault(FaultKind.DRYING_LOST, START, target="row-1"), "leave the target out"),
        (
            Fault(FaultKind.HUMIDITY_SENSOR_WET, START, target="room/air_temperature"),
            "there is: room/relative_humidity",
        ),
    ],
)
def test_a_fault_on_what_does_not_exist_is_refused(fault, complaint):
    with pytest.raises(ValueError, match=complaint):
        aimed(demo_farm(), [fault])


def test_a_fault_that_the_farm_has_nothing_for_is_refused():
    raw = demo_farm().model_dump()
    raw["equipment"]["reverse_osmosis"] = None
    with pytest.raises(ValueError, match=r"ro_membrane_tired needs \[equipment.reverse_osmosis\]"):
        aimed(Farm.model_validate(raw), [Fault(FaultKind.RO_MEMBRANE_TIRED, START, None, 0.3)])


def test_the_only_one_of_a_kind_is_the_target_by_itself():
    [fault] = aimed(demo_farm(), [Fault(FaultKind.CO2_SENSOR_DRIFT, START, None, 100.0)])
    assert fault.target == "room/co2_mole_fraction"


def test_a_ramp_grows_evenly_and_ends_at_once():
    fault = Fault(FaultKind.LAMP_FADE, START, START + 4 * HOUR, 0.4, "row-1", 2 * 3600.0)
    times = np.array([microseconds(START + hours * HOUR) for hours in (-1, 0, 0.5, 1, 2, 3, 4, 5)])
    assert fault.sizes(times) == pytest.approx([0, 0, 0.1, 0.2, 0.4, 0.4, 0, 0])


def test_slots_hold_every_fault_on_its_targets_and_the_biggest_of_several():
    slots = FaultSlots(demo_farm())
    time_us = np.array([microseconds(START)])
    faults = [
        Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START, None, 0.4),
        Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START, None, 0.9, "nutrient-b"),
        Fault(FaultKind.TIMER_SHIFT, START, None, -2.0, "row-2"),
        Fault(FaultKind.SENSOR_STUCK, START, None, 1.0, "room/air_temperature"),
    ]
    found = slots.severities(faults, time_us)[0]
    wrong = {slots.names[index]: found[index] for index in np.flatnonzero(found)}
    assert wrong == {
        (FaultKind.NUTRIENT_STOCK_EMPTY, "nutrient-a"): 0.4,
        (FaultKind.NUTRIENT_STOCK_EMPTY, "nutrient-b"): 0.9,
        (FaultKind.TIMER_SHIFT, "row-2"): -2.0,
    }


def test_every_kind_has_usual_sizes_that_it_allows():
    assert set(NATURES) == set(FaultKind)
    for kind, nature in NATURES.items():
        assert list(nature.sizes) == sorted(nature.sizes), kind
        for size in nature.sizes:
            Fault(kind, START, None, size)


def test_labels_are_written_as_they_are(tmp_path):
    fault = Fault(FaultKind.FILTER_LOADING, START, START + 48 * HOUR, 0.35, "", 86_400.0)
    write_labels(tmp_path / "labels.csv", [("north", [fault])])
    [row] = csv.DictReader((tmp_path / "labels.csv").read_text().splitlines())
    assert row == {
        "farm": "north", "kind": "filter_loading", "target": "", "start": "2026-02-02T00:00:00Z",
        "full_from": "2026-02-03T00:00:00Z", "end": "2026-02-04T00:00:00Z", "size": "0.35",
        "size_means": "share of the pump's pressure that it takes",
    }  # fmt: skip
