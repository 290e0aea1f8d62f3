"""The demonstration farm's thirty days: each of its faults is told by one alarm, in time, and nothing else is."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from farm.flags import Flag
from farm.readings import Reading, Series, microseconds
from simulator.demo import demo_farm, demo_faults
from simulator.faults import FaultKind
from simulator.simulation import Simulation
from tests.watch.conftest import House
from watch.alarm_report import alarm_report
from watch.alarm_texts import sentence
from watch.needs_of_alarms import SHOWN
from watch.overview import needs

DAYS, STEP_H = 30, 24
NOW = datetime(2026, 11, 28, 14, 30, tzinfo=UTC)
START = NOW - timedelta(days=DAYS)
HOUR_US = 3_600_000_000
# Kind of fault -> what its alarm is about, how soon it is to be told [h], and the cause that a grower reads beside it.
# A tank lives on what is dissolved in it: how soon its EC leaves the band hangs on the plants.
TOLD = {
    FaultKind.DRYING_LOST: ("relative_humidity/high", 0.6, "drying_lost"),
    FaultKind.LAMP_GROUP_LOST: ("ppfd/low", 0.3, "lamp_group_lost"),
    FaultKind.NUTRIENT_STOCK_EMPTY: ("solution_ec/low", 24.0, "nutrient_stock_empty"),
}

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def replayed(tmp_path_factory):
    """Play the thirty days day by day, as they would have been watched; day sheets are left out."""
    farm = demo_farm()
    house = House(farm, tmp_path_factory.mktemp("demo"))
    house.now_us = microseconds(START)
    house.fresh_watch()
    house.watch._write_sheets = lambda waiting: None
    simulation = Simulation(farm, seed=20260301, start=START, faults=demo_faults(START, NOW))
    series = {one.key: Series.parse(farm.name, one.key) for one in farm.series}
    for _ in range(DAYS * 24 // STEP_H):
        house.store.append(
            [
                Reading(series[key], one.time_us, value, Flag.NOT_EVALUATED)
                for one in simulation.run(STEP_H * 60).snapshots()
                for key, value in one.values
            ]
        )
        house.now_us += STEP_H * HOUR_US
        house.work()
    assert house.watch.counts.broken == {}
    yield house
    house.close()


def told(house):
    return [one for one in house.journal.alarms.between(house.farm.name) if one.suppressed_by is None]


def test_each_fault_is_told_once_and_nothing_else_is(replayed):
    faults = demo_faults(START, NOW)
    assert Counter(one.kind for one in faults) == {
        FaultKind.DRYING_LOST: 3, FaultKind.LAMP_GROUP_LOST: 2, FaultKind.NUTRIENT_STOCK_EMPTY: 2
    }  # fmt: skip
    left = told(replayed)
    for fault in faults:
        what, within_h, cause = TOLD[fault.kind]
        begin_us, end_us = microseconds(fault.start), microseconds(fault.end)
        mine = [
            one
            for one in left
            if one.condition.endswith(what)
            and (not fault.target or f"/{fault.target}/" in one.condition)
            and begin_us <= one.alarm_us <= begin_us + within_h * HOUR_US
        ]
        assert len(mine) == 1, (fault, [one.condition for one in left])
        [alarm] = mine
        left.remove(alarm)
        assert alarm.detail["likely"][0]["cause"] == cause
        assert alarm.detail["first_step"]
        if end_us < microseconds(NOW):
            assert end_us <= alarm.returned_us <= end_us + (2 if within_h < 1 else 24) * HOUR_US
        else:
            assert alarm.returned_us is None
    assert left == [], "an alarm that no fault explains"


def test_how_many_of_each_priority(replayed):
    assert Counter(str(one.priority) for one in told(replayed)) == {"medium": 7}


def test_what_follows_is_suppressed_and_named_beside_its_cause(replayed):
    """Three times rows, room and shelf are humid by two measures and a surface wet: a grower reads one line each."""
    every = replayed.journal.alarms.between(replayed.farm.name)
    suppressed = [one for one in every if one.suppressed_by is not None]
    assert len(suppressed) > 30
    assert {one.group for one in suppressed} <= {one.group for one in told(replayed)}
    first = min(told(replayed), key=lambda one: one.alarm_us)
    assert sentence(first.detail).startswith("Relative humidity in Row 1 is too high: ")
    assert "Also in Room, Row 2, Row 3 and 2 more." in sentence(first.detail)


def test_the_first_screen_says_the_one_thing_that_stands_once(replayed):
    found = needs(replayed.farm, replayed.watch.readings, replayed.journal, replayed.now_us)
    about = [one for one in found if one.excursion or one.alarm]
    assert [one.zone for one in about] == ["reservoir"]
    assert about[0].state in SHOWN
    assert "EC at 25 °C in Reservoir is too low" in about[0].sentence


def test_the_figures_are_far_below_isa_s_benchmarks(replayed):
    report = alarm_report(replayed.journal, replayed.farm.name, microseconds(START), microseconds(NOW))
    assert report.figures.alarms == 7
    assert report.figures.per_day == pytest.approx(7 / 30)
    assert report.figures.most_in_an_hour <= 2
    assert report.figures.floods == ()
    assert report.figures.chattering == ()
