"""What shares a cause, what follows from what, and floods; what follows from what is common practice, no source."""

from __future__ import annotations

import random

import pytest

from analytics.alarm_groups import Occurrence, Planned, arranged
from farm.alarm_words import AlarmKind

MINUTE = 60_000_000
ROOM = "the room's air"


def band(symptom, zone, begin, end=None, rank=2, air=ROOM, cause="", kind=AlarmKind.OUT_OF_BAND, delay=10):
    quantity, side = symptom.split()
    return Occurrence(
        f"{kind}/{zone}/{quantity}/{side}", kind, begin * MINUTE, (begin + delay) * MINUTE,
        None if end is None else end * MINUTE, rank, zone, air, symptom, cause, frozenset({cause} - {""}),
    )  # fmt: skip


def other(kind, begin, end=None, rank=0, zone="room", delay=1, name="", cause=""):
    return Occurrence(
        f"{kind}/{name or zone}", kind, begin * MINUTE, (begin + delay) * MINUTE, None if end is None else end * MINUTE,
        rank, zone, ROOM, "", cause, frozenset({cause} - {""}),
    )  # fmt: skip


def told(*several, planned=()):
    """Return condition -> (what suppresses it, group, minute of its release)."""
    found = arranged(several, planned)
    return {
        one.condition: (
            found[one.key].suppressed_by,
            found[one.key].group,
            None if found[one.key].released_us is None else found[one.key].released_us / MINUTE,
        )
        for one in several
    }


HUMID_1 = band("relative_humidity high", "row-1", 0, 100)
OF_1 = f"{HUMID_1.condition}@0"


def test_one_fault_is_told_once():
    vpd = band("vapour_pressure_deficit low", "row-1", 1, 99)
    humid_2 = band("relative_humidity high", "row-2", 5, 98)
    wet = band("condensation_margin low", "room", 30, 95)
    found = told(HUMID_1, vpd, humid_2, wet)
    assert found[HUMID_1.condition] == (None, OF_1, None)
    for one in (vpd, humid_2, wet):
        assert found[one.condition] == (HUMID_1.condition, OF_1, None)


def test_what_lasts_longer_than_its_cause_is_released_half_an_hour_after_it():
    longer = band("relative_humidity high", "row-2", 5, 200)
    still = band("relative_humidity high", "row-3", 5)
    found = told(HUMID_1, longer, still)
    assert found[longer.condition] == (None, OF_1, 130.0)
    assert found[still.condition] == (None, OF_1, 130.0)


def test_what_is_alike_but_begins_much_later_is_told():
    later = band("relative_humidity high", "row-2", 130, 190)
    found = told(band("relative_humidity high", "row-1", 0), later)
    assert found[later.condition][0] is None


def test_what_begins_after_the_end_is_told_and_so_is_the_same_again():
    again = band("relative_humidity high", "row-1", 110, 150)
    after = band("relative_humidity high", "row-2", 105, 150)
    found = arranged([HUMID_1, again, after])
    assert found[after.key].suppressed_by is None
    assert found[again.key].suppressed_by == after.condition


def test_a_less_urgent_cause_makes_a_group_and_suppresses_nothing():
    hot = band("air_temperature high", "row-1", 20, 90, rank=1)
    door = other(AlarmKind.DOOR_OPEN, 0, 100, rank=2)
    found = told(door, hot)
    assert found[hot.condition] == (None, f"{door.condition}@0", None)
    assert told(other(AlarmKind.DOOR_OPEN, 0, 100, rank=1), hot)[hot.condition][0] == door.condition


def test_mains_lost_suppresses_what_follows_and_neither_danger_nor_blindness():
    mains = other(AlarmKind.MAINS_LOST, 0, 60)
    cold = band("air_temperature low", "row-1", 40, 70)
    flow = band("flow_rate low", "reservoir", 5, 62, rank=1, air="reservoir")
    start = band("air_temperature low", "row-2", 70, 80)  # raised at 80: within half an hour of the end
    silent = other(AlarmKind.SILENCE, 10, 61, rank=3, name="row-1/ppfd")
    gas = other(AlarmKind.CO2_DANGER, 20, 50)
    blind = other(AlarmKind.NO_DATA, 20, 50, rank=1)
    found = told(mains, cold, flow, start, silent, gas, blind)
    for one in (cold, flow, start, silent):
        assert found[one.condition][0] == mains.condition
    assert found[gas.condition][0] is None
    assert found[blind.condition][0] is None


def test_a_cut_link_is_told_once_and_so_are_sensors_that_fall_silent_together():
    several = [other(AlarmKind.SILENCE, 0, 60, rank=3, name=f"room/s{n}", delay=13) for n in range(5)]
    cut = other(AlarmKind.NO_DATA, 0, 60, rank=1, delay=8)
    assert {told(cut, *several)[one.condition][0] for one in several} == {cut.condition}
    found = told(*several)
    assert [found[one.condition][0] for one in several] == [None, *[several[0].condition] * 4]


def test_dark_lamps_are_told_and_not_the_cold_they_leave():
    dark = band("ppfd low", "row-3", 0, 600, air=ROOM)
    cold = band("air_temperature low", "row-3", 340, 420)
    elsewhere = band("air_temperature low", "row-2", 340, 420)
    found = told(dark, cold, elsewhere)
    assert found[cold.condition][0] == dark.condition
    assert found[elsewhere.condition][0] is None


def test_danger_from_co2_is_told_once_and_the_band_not_beside_it():
    danger = other(AlarmKind.CO2_DANGER, 0, 60, name="room/co2_mole_fraction")
    average = other(AlarmKind.CO2_DANGER, 10, 80, name="room/co2_average_15min")
    high = band("co2_mole_fraction high", "room", 2, 90)
    found = told(danger, average, high)
    assert found[danger.condition][0] is None
    assert found[average.condition][0] == danger.condition
    assert found[high.condition] == (danger.condition, f"{danger.condition}@0", None)


def test_one_likely_cause_is_one_group():
    ec = band("solution_ec low", "reservoir", 0, None, air="reservoir", cause="nutrient_stock_empty")
    ph = band("solution_ph high", "reservoir", 50, None, air="reservoir", cause="nutrient_stock_empty")
    alone = band("dissolved_oxygen low", "reservoir", 50, None, air="reservoir")
    finding = other(AlarmKind.FINDING, 60, rank=3, name="nutrient_stock_empty", cause="nutrient_stock_empty")
    found = told(ec, ph, alone, finding)
    assert found[ph.condition] == (None, f"{ec.condition}@0", None)
    assert found[alone.condition][1] == f"{alone.condition}@{50 * MINUTE}"
    assert found[finding.condition][0] == ec.condition


def test_there_and_back_again_is_one_change_and_so_is_the_way_back_into_a_band():
    tank = {"kind": AlarmKind.CHANGE, "air": "tank", "delay": 2}
    up, down = band("solution_ph high", "tank", 0, 20, **tank), band("solution_ph low", "tank", 30, 60, **tank)
    later = band("solution_ph low", "tank", 200, 220, **tank)
    assert told(up, down)[down.condition][0] == up.condition
    assert told(up, later)[later.condition][0] is None
    outside = band("solution_ph high", "tank", 5, 100, air="tank")
    back = band("solution_ph low", "tank", 98, 120, **tank)
    found = told(up, outside, back)
    assert found[outside.condition] == (None, f"{up.condition}@0", None), "the band is left: told, in the same group"
    assert found[back.condition][0] == outside.condition


def test_a_tank_that_runs_empty_is_told_once_and_not_by_its_dry_probes():
    falls = band("solution_level low", "tank", 0, 120, 1, "tank", kind=AlarmKind.CHANGE, delay=2)
    jumps = band("solution_ph low", "tank", 60, 80, 2, "tank", kind=AlarmKind.CHANGE, delay=2)
    empty = other(AlarmKind.RUNNING_OUT, 50, 200, rank=2, zone="tank")
    diluted = band("solution_ec low", "tank", 100, 400, 2, "tank")
    found = told(falls, jumps, empty, diluted)
    assert found[jumps.condition][0] == falls.condition
    assert found[empty.condition] == (None, f"{falls.condition}@0", 150.0)
    assert found[diluted.condition][0] is None


def test_findings_of_what_an_alarm_tells_itself_are_no_news():
    fault = other(AlarmKind.SENSOR_FAULT, 0, 600, rank=3, name="row-2/air_temperature")
    stuck = other(AlarmKind.FINDING, 100, 700, rank=3, name="sensor_stuck", cause="sensor_stuck")
    dead = other(AlarmKind.FINDING, 100, 700, rank=3, name="fan", cause="circulation_fan_dead")
    found = told(fault, stuck, dead)
    assert found[stuck.condition][0] == fault.condition
    assert found[dead.condition][0] is None


def test_planned_work_is_no_alarm_until_half_an_hour_after_its_end():
    hot = band("air_temperature high", "row-1", 10, 70, rank=1)
    still = band("air_temperature low", "row-2", 10, None)
    gas = other(AlarmKind.CO2_DANGER, 20, 50)
    work = Planned("abc", 0, 60 * MINUTE, frozenset({hot.condition, still.condition, gas.condition}))
    found = told(hot, still, gas, planned=[work])
    assert found[hot.condition][0] == "planned_work/abc"
    assert found[still.condition] == (None, f"{still.condition}@{10 * MINUTE}", 90.0)
    assert found[gas.condition][0] is None


@pytest.mark.parametrize(("many", "in_flood"), [(9, 0), (10, 10)])
def test_more_than_ten_in_ten_minutes_are_a_flood(many, in_flood):
    """ISA-18.2: a flood begins with more than ten alarms in ten minutes; the urgent one counts, and stays apart."""
    several = [band("solution_ec low", f"tank-{n}", 0, 50, air=f"tank-{n}", delay=0) for n in range(many)]
    urgent = band("flow_rate low", "line", 0, 50, rank=1, air="line", delay=1)
    groups = [told(*several, urgent)[one.condition][1] for one in (*several, urgent)]
    assert sum(group.startswith("flood@") for group in groups) == in_flood
    assert not groups[-1].startswith("flood@")


def test_any_order_gives_the_same():
    several = [
        HUMID_1,
        *(band("relative_humidity high", f"row-{n}", n, 90 + n) for n in range(2, 6)),
        band("condensation_margin low", "room", 30, 95),
        other(AlarmKind.DOOR_OPEN, 3, 70, rank=2),
        band("air_temperature low", "row-1", 12, 80),
        other(AlarmKind.MAINS_LOST, 50, 60),
        band("flow_rate low", "reservoir", 51, 62, rank=1, air="reservoir"),
    ]
    expected = arranged(several)
    for seed in range(20):
        shuffled = several[:]
        random.Random(seed).shuffle(shuffled)
        assert arranged(shuffled) == expected
