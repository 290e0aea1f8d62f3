"""The day sheet's root zone: against the simulated farm's own ledger, and against small cases made by hand."""

from __future__ import annotations

import json
import random
from datetime import UTC, date, datetime
from itertools import pairwise

import numpy as np
import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading, Series
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation
from store.embedded import EmbeddedStore
from store.entries import DaySheetEntry, FindingEntry
from store.journal import Journal
from store.log_entries import Drained, Refill, ToppedUp
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from watch import cautions
from watch.day_by_day import balances, stocks_now
from watch.day_data import day_data
from watch.root_zone_of_day import root_zone

HOUR_US = 60 * MINUTE_US


class Farmhouse:
    """A farm with a real store and journal, from which sections of day sheets are made."""

    def __init__(self, farm, folder):
        folder.mkdir(parents=True, exist_ok=True)
        self.farm = farm
        self.store = EmbeddedStore(folder)
        self.journal = Journal(f"sqlite:///{folder}/journal.sqlite")

    def put(self, key, at_us, values):
        series = Series.parse(self.farm.name, key)
        rows = [
            Reading(series, int(at), float(value), Flag.NOT_EVALUATED) for at, value in zip(at_us, values, strict=True)
        ]
        self.store.append(rows)

    def write(self, at_us, detail):
        self.journal.log.add(self.farm.name, at_us, "somebody", detail, at_us)

    def section(self, day, now_us=2**60):
        found = root_zone(day_data(self.farm, self.store, self.journal, day, now_us))
        json.dumps(found, allow_nan=False)
        return found

    def close(self):
        self.store.close()
        self.journal.close()


# --- Against the simulated farm's own ledger -----------------------------------------------------


class Simulated:
    """Some days of the demonstration farm's reservoir in a store, with the truth at each instant."""

    def __init__(self, folder, faults=(), seed=11):
        self.house = Farmhouse(demo_farm(), folder)
        farm = self.house.farm
        simulation = Simulation(farm, seed=seed, start=datetime(2026, 2, 1, 22, tzinfo=UTC), faults=faults)
        readings, self.truth = simulation.run_with_truth(round(3.2 * 1440))
        rows = [
            Reading(Series.parse(farm.name, key), one.time_us, value, Flag.NOT_EVALUATED)
            for one in readings.snapshots()
            for key, value in one.values
            if key.startswith("reservoir/") or key.endswith("lights_on")
        ]
        self.house.store.append(rows)

    def day(self, day):
        """Return a day's section, and what the ledger says of that day."""
        house = self.house
        data = day_data(house.farm, house.store, house.journal, day, 2**60)
        first, last = (
            int(np.flatnonzero(self.truth.time_s == one // 1_000_000)[0]) for one in (data.start_us, data.end_us)
        )
        books = self.books()
        [section] = root_zone(data)
        part = {name: column[first : last + 1] for name, column in books.items()}
        return section, {name: one[0] for name, one in part.items()}, Passed(part)

    def books(self):
        """Return what was true: litres, mS/cm, mS/cm times litres, and sums since the start."""
        truth = self.truth
        given = {name: truth[f"water.given_ml.{name}"] for name in STOCKS}
        volume, ec = truth["water.volume"], truth["water.ec"]
        stock = 0.11 * (given["nutrient-a"] + given["nutrient-b"])  # their strength, from the description
        return {
            "volume_l": volume, "ec": ec, "salt": ec * volume, "ph": truth["water.ph"], "acid_ml": given["acid"],
            "feed_l": truth["water.feed_made"], "dosed_l": sum(given.values()) / 1000, "stock": stock,
            "turned_l": sum(truth[f"water.dosed_ml.{name}"] for name in STOCKS) / 1000,
            "drunk_l": truth["water.feed_made"] + sum(given.values()) / 1000 - volume,
            "taken": stock + 0.03 * truth["water.feed_made"] - ec * volume,
            "held_l": sum(truth[f"water.held_l.row-{row}"] for row in (1, 2, 3, 4)), "filling": truth["water.filling"],
        }  # fmt: skip


class Passed(dict):
    """What the sums of a day did in it, and its columns."""

    def __init__(self, columns):
        super().__init__({name: one[-1] - one[0] for name, one in columns.items()})
        self.columns = columns


STOCKS = ("nutrient-a", "nutrient-b", "acid", "base")

DAYS = [date(2026, 2, 2), date(2026, 2, 3), date(2026, 2, 4)]


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    made = Simulated(tmp_path_factory.mktemp("simulated"))
    yield made
    made.house.close()


def undisturbed_change(columns, away_min=15, least_min=40):
    """Return what EC would have moved in a day without doses and top-ups: slopes well away from them, by light."""
    came = np.diff(columns["feed_l"] + columns["dosed_l"]) > 0
    away = np.convolve(came, np.ones(away_min + 1))[: len(came)] == 0
    lit = (np.arange(len(came)) >= 5 * 60) & (np.arange(len(came)) < 21 * 60)
    moved = 0.0
    for part, minutes in ((lit, 16 * 60), (~lit, 8 * 60)):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (away & part).astype(int), [0]])))
        stretches = [(a, b) for a, b in edges.reshape(-1, 2).tolist() if b - a >= least_min]
        slopes = [np.polyfit(np.arange(a, b), columns["ec"][a:b], 1)[0] for a, b in stretches]
        moved += minutes * np.average(slopes, weights=[b - a for a, b in stretches])
    return moved


def tank_share(first):
    """Return the share of a dose that stays in the tank: the next pump runs mix it with what the rows hold."""
    return first["volume_l"] / (first["volume_l"] + first["held_l"])


def within(row, name, unit, truth):
    """Whether a figure and the truth agree within the figure's give or take; and that this says something."""
    value, give_or_take = row[f"{name}_{unit}"], row[f"{name}_give_or_take_{unit}"]
    return abs(value - truth) <= give_or_take


@pytest.mark.parametrize("day", DAYS)
def test_water_agrees_with_the_ledger(simulated, day):
    section, first, passed = simulated.day(day)
    water = section["water"]
    assert within(water, "drunk", "l", passed["drunk_l"])
    # Not 5 %: rows take at pump runs what plants drank, so that each of some twelve ends of lines between events lies
    # anywhere on a stair of 0.8 L, which is ±2 L of 47 together.
    assert water["drunk_give_or_take_l"] < 0.06 * passed["drunk_l"]
    assert within(water, "topped_up", "l", passed["feed_l"])
    assert water["topped_up_give_or_take_l"] < 0.05 * passed["feed_l"]
    assert within(water, "start", "l", first["volume_l"])
    assert water["dosed_l"] == pytest.approx(
        passed["dosed_l"], abs=0.25
    )  # a dose over midnight counts on one side of it
    assert water["drained_l"] == 0
    assert water["closes"]
    assert water["closing_error_give_or_take_l"] < 3
    assert water["covered_h"] == pytest.approx(24)
    filled = int((np.diff(passed.columns["filling"]) > 0).sum())
    assert len(water["steps"]) == filled >= 5


@pytest.mark.parametrize("day", DAYS)
def test_salt_agrees_with_the_ledger(simulated, day):
    section, first, passed = simulated.day(day)
    salt = section["salt"]
    assert within(salt, "taken", "ms_cm_l", passed["taken"])
    assert salt["taken_give_or_take_ms_cm_l"] < 0.1 * passed["taken"]
    assert within(salt, "start", "ms_cm_l", first["salt"])
    assert salt["closes"]
    assert salt["closing_error_give_or_take_ms_cm_l"] < 0.1 * passed["taken"]


@pytest.mark.parametrize("day", DAYS)
def test_uptake_agrees_with_the_model(simulated, day):
    section, first, passed = simulated.day(day)
    uptake = section["uptake"]
    assert within(uptake, "concentration", "ms_cm", passed["taken"] / passed["drunk_l"])
    truth = (passed.columns["ec"].mean() - passed["taken"] / passed["drunk_l"]) / first["volume_l"]
    # As good as the concentration, known to 6 to 11 %: rows take their water at pump runs only, so that the tank
    # falls in stairs of 20 minutes by day and an hour by night.
    reach = uptake["concentration_give_or_take_ms_cm"]
    assert reach < 0.11 * uptake["concentration_ms_cm"]
    assert uptake["ec_change_ms_cm_per_l"] == pytest.approx(truth, abs=reach / first["volume_l"])


@pytest.mark.parametrize("day", DAYS)
def test_doses_do_what_they_should(simulated, day):
    section, first, passed = simulated.day(day)
    response = section["response"]
    assert abs(response["ratio"] - tank_share(first)) <= response["give_or_take"] < 0.08
    assert response["ratio"] == pytest.approx(1, abs=0.1)
    assert response["doses"] >= 2
    for dose in section["doses"]:
        if dose["ec_step_ms_cm"] is not None:
            assert abs(dose["ec_step_ms_cm"] - dose["ec_expected_ms_cm"]) < 2 * dose["ec_step_give_or_take_ms_cm"]
            assert dose["volumes_ml"]["nutrient-a"] == dose["volumes_ml"]["nutrient-b"] >= 80
    [acid] = section["ph_response"]
    assert acid["stock"] == "acid"
    steps = np.diff(passed.columns["acid_ml"])
    truth = np.diff(passed.columns["ph"])[steps > 0].sum() / steps.sum() * tank_share(first)
    assert truth < 0
    assert abs(acid["ph_per_ml"] - truth) <= acid["ph_per_ml_give_or_take"] < 0.3 * abs(truth)
    assert section["caution"] == cautions.ACID_AND_BASE


@pytest.mark.parametrize("day", DAYS)
def test_drift_agrees_with_the_model(simulated, day):
    section, _first, passed = simulated.day(day)
    drifts = {row["key"]: row for row in section["drift"]}
    ph = drifts["reservoir/solution_ph"]
    undosed = np.diff(passed.columns["acid_ml"]) == 0
    truth = np.diff(passed.columns["ph"])[undosed].mean() * 1440
    assert abs(ph["per_day"] - truth) <= ph["give_or_take"] < abs(truth) / 2
    ec = drifts["reservoir/solution_ec"]
    assert abs(ec["per_day"] - undisturbed_change(passed.columns)) <= ec["give_or_take"]
    assert ec["give_or_take"] < abs(ec["per_day"]) / 2
    assert ec["covered_h"] == pytest.approx(24)
    assert ec["stretches"] > 5


def test_a_line_that_draws_half_air_shows_in_the_response_and_in_the_salt(tmp_path):
    fault = Fault(
        FaultKind.NUTRIENT_STOCK_EMPTY, datetime(2026, 2, 3, 2, tzinfo=UTC), datetime(2026, 2, 6, tzinfo=UTC), 0.5
    )
    simulated = Simulated(tmp_path / "air", faults=[fault])
    section, first, passed = simulated.day(date(2026, 2, 4))
    response, salt = section["response"], section["salt"]
    # The doser now pulses twice as often, for hours: what plants drank meanwhile is known from none to twice it only.
    assert abs(response["ratio"] - 0.5 * tank_share(first)) <= response["give_or_take"] < 0.2
    assert within(salt, "taken", "ms_cm_l", passed["taken"])
    # As much again was counted as came.
    assert within(salt, "closing_error", "ms_cm_l", passed["stock"])
    assert salt["closes"] is False
    simulated.house.close()


def test_an_empty_bottle_makes_the_doser_run_on_and_the_doses_show_nothing_coming(tmp_path):
    fault = Fault(FaultKind.NUTRIENT_STOCK_EMPTY, datetime(2026, 2, 3, 2, tzinfo=UTC), datetime(2026, 2, 6, tzinfo=UTC))
    simulated = Simulated(tmp_path / "empty", faults=[fault])
    section, _, passed = simulated.day(date(2026, 2, 4))
    assert passed["stock"] == 0
    response = section["response"]
    assert abs(response["ratio"]) <= response["give_or_take"] < 0.2
    assert response["doses"] == 12
    assert all(one["runs_on"] for one in section["doses"])
    for one in section["doses"]:
        assert abs(one["ec_step_ms_cm"]) <= one["ec_step_give_or_take_ms_cm"] < 0.25 * one["ec_expected_ms_cm"]
    assert (section["salt"]["closes"], section["uptake"]) == (None, None)
    # What the pumps turned and did not come is taken for drunk.
    air_l = passed["turned_l"] - passed["dosed_l"]
    assert air_l > 5
    assert within(section["water"], "drunk", "l", passed["drunk_l"] + air_l)
    simulated.house.close()


@pytest.fixture(scope="module")
def changed_bottles(tmp_path_factory):
    """Bottles that run empty on the evening of the second and are changed on the morning of the fourth."""
    times = [datetime(2026, 2, 2, 18, tzinfo=UTC), datetime(2026, 2, 4, 6, tzinfo=UTC)]
    made = Simulated(tmp_path_factory.mktemp("changed"), faults=[Fault(FaultKind.NUTRIENT_STOCK_EMPTY, *times)])
    yield made
    made.house.close()


def test_a_doser_that_ran_on_shows_when_the_stock_came_again(changed_bottles):
    section, _, _ = changed_bottles.day(date(2026, 2, 4))
    running = {one["start"][11:13]: one for one in section["doses"] if one["runs_on"]}
    shares = {
        hour: (one["ec_step_ms_cm"] / one["ec_expected_ms_cm"], one["ec_step_give_or_take_ms_cm"])
        for hour, one in running.items()
    }
    assert max(shares[hour][0] for hour in ("23", "01", "03")) < 0.1
    share, give_or_take = shares["07"]
    assert (
        abs(share - 1) * running["07"]["ec_expected_ms_cm"] <= give_or_take < 0.2 * running["07"]["ec_expected_ms_cm"]
    )


def test_each_pulse_counts_in_one_dose_of_one_day(changed_bottles):
    volumes, turned_l, seen = 0.0, 0.0, []
    for day in DAYS:
        section, _, passed = changed_bottles.day(day)
        turned_l += passed["turned_l"]
        volumes += sum(sum(one["volumes_ml"].values()) for one in section["doses"])
        seen += [(one["start"], one["end"]) for one in section["doses"]]
    assert seen == sorted(set(seen))
    assert all(end <= start for (_, end), (start, _) in pairwise(seen))
    assert volumes / 1000 == pytest.approx(turned_l, abs=1e-6)


def test_a_drain_or_silence_leaves_a_running_dose_unknown(build):
    pulses = 1000 + 10.0 * np.clip((MINUTE - 605) // 10 + 1, 0, 34)  # 10 mL every 10 minutes
    ec = 1.5 + 0.000625 * np.clip(MINUTE - 605, 0, 340) + noise(0.004)  # 10 mL of 0.1 in 160 L: 0.00625 each
    for lost in (None, (700, 705)):
        house = build(TANK, LEVEL, COUNTER)
        seen = np.ones(len(AT), bool) if lost is None else (lost[0] > MINUTE) | (lost[1] < MINUTE)
        house.put("tank/solution_ec", AT[seen], ec[seen])
        house.put("tank/solution_level", AT, (160.0 - 20.0 * ((MINUTE >= 850) & (lost is None))) / 2 + noise(0.02))
        house.put("tank/dosed_volume/feed", AT, pulses)
        [section] = house.section(DAY)
        steps = [one["ec_step_ms_cm"] for one in section["doses"]]
        assert [one is None for one in steps] == ([False, False, True] if lost is None else [True, False, False])
        told = section["doses"][1]
        assert told["ec_expected_ms_cm"] == pytest.approx(12 * 0.1 * 10 / 160, rel=1e-3)
        assert told["ec_step_ms_cm"] == pytest.approx(0.075, abs=told["ec_step_give_or_take_ms_cm"])


def test_order_of_arrival_does_not_matter(simulated, tmp_path):
    house = simulated.house
    again = Farmhouse(house.farm, tmp_path / "again")
    rows = [
        Reading(series, int(at), float(value), int(flag))
        for series in house.farm.described
        for columns in [house.store.read(series, 0, 2**62)]
        for at, value, flag in zip(columns.time_us, columns.value, columns.flag, strict=True)
    ]
    random.Random(1).shuffle(rows)
    for place in range(0, len(rows), 9973):
        again.store.append(rows[place : place + 9973])
    assert again.section(DAYS[1]) == house.section(DAYS[1])
    again.close()


# --- Small cases -----------------------------------------------------------------------------------

TANK = """
[zones.tank]
kind = "reservoir"
label = "Tank"

[[series]]
zone = "tank"
quantity = "solution_ec"
[[series]]
zone = "tank"
quantity = "solution_ph"
"""
LEVEL = """
[[series]]
zone = "tank"
quantity = "solution_level"
[equipment.reservoir]
zone = "tank"
volume_l = 200
"""
COUNTER = """
[[series]]
zone = "tank"
quantity = "dosed_volume"
sensor = "feed"
[[equipment.stocks]]
name = "feed"
label = "Feed"
role = "nutrient"
bottle_l = 5
ec_per_ml_l = 0.1
"""
SWITCH = """
[[series]]
zone = "tank"
quantity = "doser_on"
"""
DAY = date(2026, 3, 2)
START_US = T0_US + 23 * HOUR_US  # of that day in Oslo
AT = START_US + np.arange(-120, 1560) * MINUTE_US  # from two hours before to two hours after
MINUTE = (AT - START_US) / MINUTE_US


@pytest.fixture
def build(tmp_path):
    made = []

    def build(*parts):
        farm, mistakes = check_text(SMALL_FARM + "".join(parts))
        assert farm is not None, mistakes
        made.append(Farmhouse(farm, tmp_path / str(len(made))))
        return made[-1]

    yield build
    for one in made:
        one.close()


def noise(size, seed=0):
    return np.random.default_rng(seed).normal(0, size, len(AT))


def test_a_farm_without_a_reservoir_has_no_root_zone(build):
    house = build()
    house.put("room/air_temperature", AT, np.full(len(AT), 22.0))
    assert house.section(DAY) == []


def test_a_reservoir_that_was_silent_has_none(build):
    assert build(TANK, LEVEL).section(DAY) == []


def test_a_dose_against_what_its_stock_and_volume_predict(build):
    # 400 mL of a stock of 0.1 mS/cm per mL/L in 160 L: 0.25 mS/cm by mass balance (0.24938 with the dose's own volume).
    house = build(TANK, LEVEL, COUNTER)
    house.put("tank/solution_ec", AT, 1.5 + 0.25 * (MINUTE >= 600) + noise(0.004))
    house.put("tank/solution_level", AT, np.full(len(AT), 80.0))
    house.put("tank/dosed_volume/feed", AT, 1000 + 400.0 * (MINUTE >= 600))
    [section] = house.section(DAY)
    [dose] = section["doses"]
    assert (dose["source"], dose["volumes_ml"]) == ("counter", {"feed": 400.0})
    assert dose["ec_step_ms_cm"] == pytest.approx(0.25, abs=dose["ec_step_give_or_take_ms_cm"])
    assert dose["ec_step_give_or_take_ms_cm"] < 0.01
    assert dose["ec_expected_ms_cm"] == pytest.approx(0.25, abs=1e-9)
    assert section["response"]["ratio"] == pytest.approx(1.0, abs=section["response"]["give_or_take"])


def test_a_stock_of_half_strength_is_told_from_a_good_one(build):
    house = build(TANK, LEVEL, COUNTER)
    house.put("tank/solution_ec", AT, 1.5 + 0.125 * (MINUTE >= 600) + noise(0.004))
    house.put("tank/solution_level", AT, np.full(len(AT), 80.0))
    house.put("tank/dosed_volume/feed", AT, 1000 + 400.0 * (MINUTE >= 600))
    [section] = house.section(DAY)
    assert section["response"]["ratio"] == pytest.approx(0.5, abs=0.1)
    assert section["response"]["ratio"] + section["response"]["give_or_take"] < 0.7
    assert section["salt"]["closing_error_ms_cm_l"] == pytest.approx(20, abs=3)  # 40 were counted, 20 came
    assert section["salt"]["closes"] is False


def test_a_drain_and_a_refill_are_seen_as_steps(build):
    house = build(TANK, LEVEL)
    litres = 160.0 - 0.02 * MINUTE - 50.0 * (MINUTE >= 400) + 60.0 * (MINUTE >= 900)
    house.put("tank/solution_level", AT, litres / 2 + noise(0.1))
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    house.write(START_US + 400 * MINUTE_US, Drained(volume_l=50))
    house.write(START_US + 900 * MINUTE_US, ToppedUp(volume_l=60, ec_ms_cm=0.0))
    [section] = house.section(DAY)
    water = section["water"]
    assert water["drained_l"] == pytest.approx(50, abs=water["drained_give_or_take_l"])
    assert water["topped_up_l"] == pytest.approx(60, abs=water["topped_up_give_or_take_l"])
    assert water["drunk_l"] == pytest.approx(0.02 * 1440, abs=water["drunk_give_or_take_l"])
    assert [row["volume_l"] > 0 for row in water["steps"]] == [False, True]
    assert [(row["kind"], row["volume_l"]) for row in water["written"]] == [("drained", 50), ("topped_up", 60)]
    assert water["closes"]


def test_water_that_went_while_nobody_looked_is_the_closing_error(build):
    house = build(TANK, LEVEL)
    litres = 160.0 - 0.02 * MINUTE - 30.0 * (MINUTE >= 500)
    seen = (MINUTE < 450) | (MINUTE > 750)  # five hours of silence, a drain of 30 L in them
    house.put("tank/solution_level", AT[seen], litres[seen] / 2 + noise(0.1)[seen])
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    [section] = house.section(DAY)
    water = section["water"]
    assert water["covered_h"] == pytest.approx(19, abs=0.1)
    assert water["closing_error_l"] == pytest.approx(30 + 0.02 * 300, abs=water["closing_error_give_or_take_l"])
    assert water["closes"] is False
    assert section["uptake"] is None  # too little of the day is known


PUMP = """
[[series]]
zone = "tank"
quantity = "pump_on"
"""


@pytest.mark.parametrize("pump", [True, False])
def test_water_under_way_while_the_pump_runs_is_not_gone(build, pump):
    # Six litres leave the tank for seven minutes of every twenty; 1.2 L an hour are drunk, all of it at pump runs.
    house = build(TANK, LEVEL, PUMP) if pump else build(TANK, LEVEL)
    cycle = MINUTE % 20
    litres = 160.0 - 0.4 * np.floor(MINUTE / 20) - 6.0 * (cycle < 7)
    house.put("tank/solution_level", AT, litres / 2 + noise(0.05))
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    if pump:
        house.put("tank/pump_on", AT, cycle < 5)
    [section] = house.section(DAY)
    water = section["water"]
    assert water["covered_h"] == pytest.approx(24)
    assert water["steps"] == []
    assert water["drunk_l"] == pytest.approx(28.8, abs=water["drunk_give_or_take_l"])
    assert (water["drunk_give_or_take_l"] < 1.0) is pump  # most of it the sensor's scale: some 3 % of 28.8
    if pump:
        assert water["start_l"] == pytest.approx(160.0, abs=0.5)


def test_silence_of_the_level_stays_silence_beside_pump_runs(build):
    house = build(TANK, LEVEL, PUMP)
    litres = 160.0 - 0.02 * MINUTE - 6.0 * (MINUTE % 20 < 5)
    seen = (MINUTE < 450) | (MINUTE > 750)
    house.put("tank/solution_level", AT[seen], litres[seen] / 2 + noise(0.05)[seen])
    house.put("tank/pump_on", AT, MINUTE % 20 < 5)
    [section] = house.section(DAY)
    assert section["water"]["covered_h"] == pytest.approx(19, abs=0.6)  # a pause may end in it


def test_a_pump_that_hardly_rests_leaves_the_level_as_it_comes(build):
    sections = []
    for pump in (True, False):
        house = build(TANK, LEVEL, PUMP) if pump else build(TANK, LEVEL)
        house.put("tank/solution_level", AT, (160.0 - 0.02 * MINUTE) / 2 + noise(0.05))
        if pump:
            house.put("tank/pump_on", AT, MINUTE % 60 > 2)
        sections.append(house.section(DAY)[0]["water"])
    assert sections[0] == sections[1]


def test_without_a_counter_the_dosers_switch_tells_when(build):
    house = build(TANK, LEVEL, SWITCH)
    house.put("tank/solution_ec", AT, 1.5 + 0.2 * (MINUTE >= 600) + noise(0.004))
    house.put("tank/solution_level", AT, np.full(len(AT), 80.0))
    house.put("tank/doser_on", AT, (MINUTE >= 599) & (MINUTE < 601))
    [section] = house.section(DAY)
    [dose] = section["doses"]
    assert (dose["source"], dose["volumes_ml"], dose["ec_expected_ms_cm"]) == ("switch", {}, None)
    assert dose["ec_step_ms_cm"] == pytest.approx(0.2, abs=dose["ec_step_give_or_take_ms_cm"])
    assert section["response"]["ratio"] is None
    assert section["stocks"] == []
    assert section["caution"] is None


def test_without_counter_switch_or_level_ec_itself_shows_doses(build):
    house = build(TANK)
    house.put("tank/solution_ec", AT, 1.5 + 0.2 * (MINUTE >= 600) + noise(0.004))
    house.put("tank/solution_ph", AT, 5.8 + 0.0002 * MINUTE + noise(0.01))
    [section] = house.section(DAY)
    [dose] = section["doses"]
    assert dose["source"] == "readings"
    assert dose["ec_step_ms_cm"] == pytest.approx(0.2, abs=dose["ec_step_give_or_take_ms_cm"])
    assert (section["water"], section["salt"], section["uptake"]) == (None, None, None)
    drifts = {row["key"]: row for row in section["drift"]}
    assert drifts["tank/solution_ph"]["per_day"] == pytest.approx(0.288, abs=drifts["tank/solution_ph"]["give_or_take"])


def test_what_goes_on_over_midnight_counts_on_the_day_of_its_middle(build):
    house = build(TANK, LEVEL)
    rise = 8.0 * np.clip((MINUTE + 12) / 16, 0, 1)  # from 12 minutes before midnight to 4 after
    house.put("tank/solution_level", AT, (160.0 - 0.02 * MINUTE + rise) / 2 + noise(0.05))
    [section] = house.section(DAY)
    assert section["water"]["steps"] == []
    assert section["water"]["topped_up_l"] == 0
    assert section["water"]["drunk_l"] == pytest.approx(28.8, abs=section["water"]["drunk_give_or_take_l"])
    [yesterday] = house.section(date(2026, 3, 1))
    assert len(yesterday["water"]["steps"]) == 1


def test_a_flagged_reading_is_no_data(build):
    house = build(TANK, LEVEL)
    house.put("tank/solution_level", AT, (160.0 - 0.02 * MINUTE) / 2)
    series = Series.parse(house.farm.name, "tank/solution_level")
    bad = [Reading(series, int(at) + 1, 0.0, Flag.FAIL) for at in AT[500:560]]
    house.store.append(bad)
    [section] = house.section(DAY)
    assert section["water"]["steps"] == []
    assert section["water"]["drunk_l"] == pytest.approx(28.8, abs=0.5)


def test_a_day_that_still_lasts_is_told_until_now(build):
    house = build(TANK, LEVEL)
    now = MINUTE < 600
    house.put("tank/solution_level", AT[now], (160.0 - 0.02 * MINUTE[now]) / 2 + noise(0.05)[now])
    [section] = house.section(DAY, now_us=START_US + 600 * MINUTE_US)
    assert section["water"]["covered_h"] == pytest.approx(10)
    assert section["water"]["drunk_l"] == pytest.approx(12.0, abs=section["water"]["drunk_give_or_take_l"])


def test_days_left_of_a_bottle_from_its_last_refill(build):
    # 200 mL a day over five days; refilled with 4 L two days before the end of the last: 3.6 L or 18 days are left.
    house = build(TANK, COUNTER)
    at = START_US + np.arange(-4 * 1440 - 60, 1440) * MINUTE_US
    house.put("tank/dosed_volume/feed", at, 10.0 * np.floor((at - START_US) / (72 * MINUTE_US)) + 2000)
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    house.write(START_US - 24 * HOUR_US, Refill(stock="feed", holds_l=4.0))
    [section] = house.section(DAY)
    [bottle] = section["stocks"]
    assert bottle["used_ml"] == pytest.approx(200, abs=10)
    assert bottle["used_ml_per_day"] == pytest.approx(200, abs=5)
    assert bottle["days_counted"] == 5
    assert bottle["remaining_ml"] == pytest.approx(3600, abs=10)
    assert bottle["days_left"] == pytest.approx(18, abs=0.5)
    assert bottle["days_left_soonest"] <= bottle["days_left"] <= bottle["days_left_latest"]
    assert bottle["full_bottle_lasts_days"] == pytest.approx(25, abs=0.7)
    assert bottle["refilled"] == "2026-02-28T23:00:00Z"


@pytest.mark.parametrize(
    ("cause", "place", "probability", "usual"),
    [
        ("nutrient_stock_empty", (), 0.9, 200),
        ("nutrient_stock_empty", ("feed",), 0.9, 200),
        ("nutrient_stock_empty", ("another",), 0.9, 320),
        ("nutrient_stock_empty", (), 0.4, 320),
        ("acid_empty", (), 0.9, 320),
    ],
)
def test_what_an_empty_bottles_pump_turned_is_not_its_usual_use(build, cause, place, probability, usual):
    # 200 mL a day over five days; on the fourth the bottle is empty and the pump turns four times as much.
    house = build(TANK, COUNTER)
    minute = np.arange(-4 * 1440 - 60, 1440)
    empty = (minute >= -1440) & (minute < 0)
    house.put("tank/dosed_volume/feed", START_US + minute * MINUTE_US, np.cumsum(np.where(empty, 800, 200) / 1440))
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    first = {"cause": cause, "probability": probability, "places": place}
    begin_us, end_us = START_US - 20 * HOUR_US, START_US - 4 * HOUR_US
    told = FindingEntry("testfarm", "unusual", begin_us, end_us, end_us, {"causes": [first]})
    house.journal.findings.replace("testfarm", 0, [told])
    [section] = house.section(DAY)
    [bottle] = section["stocks"]
    assert bottle["used_ml_per_day"] == pytest.approx(usual, abs=5)
    assert bottle["days_counted"] == (4 if usual == 200 else 5)


def test_an_empty_bottle_is_empty_where_nothing_is_known_of_its_usual_use(build):
    house = build(TANK, COUNTER)
    at = START_US + np.arange(-4 * 1440 - 60, 1440) * MINUTE_US
    house.put("tank/dosed_volume/feed", at, np.arange(len(at)) * 800 / 1440)
    house.put("tank/solution_ec", AT, np.full(len(AT), 1.5))
    house.write(START_US - 24 * HOUR_US, Refill(stock="feed", holds_l=1.0))
    first = {"cause": "nutrient_stock_empty", "probability": 0.9, "places": []}
    begin_us = START_US - 30 * 24 * HOUR_US
    told = FindingEntry("testfarm", "unusual", begin_us, None, begin_us, {"causes": [first]})
    house.journal.findings.replace("testfarm", 0, [told])
    [bottle] = house.section(DAY)[0]["stocks"]
    assert (bottle["used_ml_per_day"], bottle["remaining_ml"], bottle["days_left"]) == (None, 0.0, 0.0)


SECOND = """
[zones.seedlings]
kind = "reservoir"
label = "Seedlings' tank"
[[series]]
zone = "seedlings"
quantity = "solution_ec"
[[series]]
zone = "seedlings"
quantity = "dosed_volume"
sensor = "feed"
"""


def test_a_bottle_that_two_tanks_draw_on_is_one_bottle(build):
    # 200 mL a day into one tank, 100 mL into the other; refilled with 4 L two days before: 3.4 L or 11.3 days are left.
    house = build(TANK, COUNTER, SECOND)
    at = START_US + np.arange(-4 * 1440 - 60, 1440) * MINUTE_US
    for zone, ml in (("tank", 10.0), ("seedlings", 5.0)):
        house.put(f"{zone}/dosed_volume/feed", at, ml * np.floor((at - START_US) / (72 * MINUTE_US)) + 2000)
        house.put(f"{zone}/solution_ec", AT, np.full(len(AT), 1.5))
    house.write(START_US - 24 * HOUR_US, Refill(stock="feed", holds_l=4.0))
    sections = house.section(DAY)
    for section, own in zip(sections, (200, 100), strict=True):
        [bottle] = section["stocks"]
        assert bottle["used_ml"] == pytest.approx(own, abs=10)
        assert bottle["used_ml_per_day"] == pytest.approx(300, abs=8)
        assert bottle["remaining_ml"] == pytest.approx(3400, abs=15)
        assert bottle["days_left"] == pytest.approx(11.3, abs=0.5)
    sheet = {"root_zone": sections, "complete": True}
    house.journal.save_day_sheet("testfarm", DaySheetEntry(DAY, START_US, "x", sheet))
    [left] = stocks_now(house.journal, "testfarm", [DAY])
    assert (left["stock"], left["remaining_ml"]) == ("feed", sections[0]["stocks"][0]["remaining_ml"])
    [day] = balances(house.farm, house.journal, [DAY])
    [used] = day["stocks"]
    assert (used["stock"], used["label"]) == ("feed", "Feed")
    assert used["used_ml"] == pytest.approx(300, abs=15)


def test_a_bottle_nobody_wrote_down_has_no_days_left(build):
    house = build(TANK, COUNTER)
    house.put("tank/dosed_volume/feed", AT, np.full(len(AT), 5.0))
    [section] = house.section(DAY)
    [bottle] = section["stocks"]
    assert (bottle["remaining_ml"], bottle["days_left"], bottle["refilled"]) == (None, None, None)
    assert bottle["used_ml"] == 0
    assert bottle["full_bottle_lasts_days"] is None  # nothing is used: it lasts for ever
