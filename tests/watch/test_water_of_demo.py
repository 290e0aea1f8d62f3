"""The day sheet's water against what the simulated farm itself knows: within the give or take that it states."""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from farm.readings import microseconds
from simulator.demo import demo_farm
from simulator.simulation import Simulation
from tests.watch.conftest import House

FIRST = date(2026, 3, 2)  # a Monday: the keeper cleans the filter at 9:40
START = datetime(2026, 3, 1, 23, tzinfo=UTC)  # its local midnight in Oslo
DAYS = 9
WATER = ("flow_rate", "pump_on", "line_pressure_before_filter", "line_pressure_after_filter", "solution_level",
         "metered_volume", "condensate_volume", "dosed_volume")  # fmt: skip


class Truth:
    """What the model did on each day, minute by minute."""

    def __init__(self, folder):
        farm = demo_farm()
        simulation = Simulation(farm, seed=3, start=START)
        kept = [one.key for one in farm.series if one.quantity in WATER or one.zone == "feed"]
        self.house = House(farm, folder)
        readings, truth = simulation.run_with_truth(DAYS * 1440)
        for key in kept:
            values = readings.value[readings.keys.index(key)]
            self.house.put(key, list(zip(readings.time_us.tolist(), values.tolist(), strict=True)))
        self.house.now_us = microseconds(simulation.now) + 1
        self.house.fresh_watch()
        self.house.work()
        running = truth["water.pump_on"] > 0
        drop = truth["water.pressure_before"] - truth["water.pressure_after"]
        self.loading = [(int(minute), float(drop[minute])) for minute in np.flatnonzero(running)]
        self.flow, self.feed_l = truth["water.flow"], truth["water.feed_made"]
        self.feed_rate, self.feed_c = truth["water.feed_rate"], truth["water.feed_temperature"]
        dosed = sum(truth[f"water.given_ml.{stock.name}"] for stock in farm.equipment.stocks) / 1000
        volume = truth["water.volume"]
        sums = {
            "fed": self.feed_l,
            "dosed": dosed,
            "volume": volume,
            "drunk": self.feed_l + dosed - truth["water.drained"] - volume,
            "condensed": truth["farm.condensate_volume"],
            "irrigated": np.cumsum(np.concatenate(([0.0], self.flow[:-1]))),
            "runs": np.cumsum(np.diff(running, prepend=False) & running),
        }
        nights = np.concatenate(([0], np.arange(1, DAYS + 1) * 1440 - 1))
        self.days = [{name: float(column[night]) for name, column in sums.items()} for night in nights]
        self.days[0]["runs"] = 0.0  # the first instant's own cycle belongs to the first day

    def on(self, day, what):
        return self.days[day + 1][what] - self.days[day][what]

    def sheet(self, day):
        return self.house.journal.day_sheet("northern-demo", FIRST + timedelta(days=day)).sheet


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    made = Truth(tmp_path_factory.mktemp("demo") / "house")
    yield made
    made.house.close()


def near(columns, true):
    return abs(columns["litres_l"] - true) <= columns["give_or_take_l"]


def test_nothing_failed_and_all_of_it_is_json(truth):
    assert truth.house.watch.counts.broken == {}
    json.dumps(truth.sheet(DAYS - 1), allow_nan=False)


@pytest.mark.parametrize("day", range(DAYS))
def test_irrigation(truth, day):
    [line] = truth.sheet(day)["irrigation"]
    assert line["rows"] == ["row-1", "row-2", "row-3", "row-4"]
    # the first day's first cycle was under way at its first reading: nobody saw it begin, but it counts
    assert line["cycles"] == truth.on(day, "runs") == 56
    assert abs(line["litres_l"] - truth.on(day, "irrigated")) <= line["litres_give_or_take_l"]
    assert line["litres_give_or_take_l"] < 0.03 * line["litres_l"]
    assert line["per_plant_site_l"] == pytest.approx(line["litres_l"] / 480)
    assert line["rated_l"] == pytest.approx(640 / 60 * line["running_min"])  # 160 emitters of 4 L/h
    assert line["running_min"] == pytest.approx(280, abs=1)
    assert line["share_of_rating"] == pytest.approx(0.985, abs=0.03)
    assert line["missed"] == line["faults"] == []
    assert line["coverage"] == pytest.approx(1.0, abs=0.001)
    assert line["usual_cycles"] == (56 if day >= 3 else None)
    assert line["fewer_than_planned"] == 0


@pytest.mark.parametrize("day", range(DAYS))
def test_the_balance_finds_what_the_plants_drank(truth, day):
    [balance] = truth.sheet(day)["water_balance"]
    terms = {one["name"]: one for one in balance["terms"]}
    assert near(terms["feed water"], truth.on(day, "fed"))
    assert terms["doses"]["litres_l"] == pytest.approx(truth.on(day, "dosed"), abs=0.02)
    assert near(terms["reservoir"], truth.on(day, "volume"))
    assert near(balance["drunk"], truth.on(day, "drunk"))
    assert balance["drunk"]["give_or_take_l"] < 4
    assert near(balance["condensate"], truth.on(day, "condensed"))
    assert near(balance["drunk_less_condensate"], truth.on(day, "drunk") - truth.on(day, "condensed"))
    assert balance["unknown"] == []
    assert balance["assumed"] == ["nothing is drained: no meter of it is described"]


@pytest.mark.parametrize("day", range(DAYS))
def test_meters_and_the_level_tell_the_same_of_what_was_drunk(truth, day):
    """By its meters (water_balance) and by its level (root_zone): within the give or take of both together."""
    [balance] = truth.sheet(day)["water_balance"]
    [root_zone] = truth.sheet(day)["root_zone"]  # the feed water is no reservoir of solution
    by_level, plus_or_minus = (root_zone["water"][name] for name in ("drunk_l", "drunk_give_or_take_l"))
    assert abs(by_level - truth.on(day, "drunk")) <= plus_or_minus
    together = math.hypot(balance["drunk"]["give_or_take_l"], plus_or_minus)
    assert abs(balance["drunk"]["litres_l"] - by_level) <= together


@pytest.mark.parametrize("day", range(1, DAYS))
def test_feed_water(truth, day):
    [feed] = truth.sheet(day)["feed_water"]
    assert abs(feed["litres_l"] - truth.on(day, "fed")) <= feed["litres_give_or_take_l"]
    part = slice(day * 1440, (day + 1) * 1440)
    rate, temperature = truth.feed_rate[part], truth.feed_c[part].mean()
    output = rate[rate > 0].mean()
    assert feed["output_l_min"] == pytest.approx(output, rel=0.015)
    # temperature correction of a thin-film membrane, by a published table; rated 1000 L/d at 25 degC
    true = 100 * output * 1.440 * np.interp(temperature, [10, 12, 15, 18, 20], [1.711, 1.588, 1.422, 1.276, 1.189])
    assert abs(feed["normalised_output_percent"] - true) <= feed["normalised_output_give_or_take_percent"]
    assert feed["normalised_output_give_or_take_percent"] < 3
    assert feed["feed_temperature_degc"] == pytest.approx(temperature, abs=0.3)
    assert feed["unknown"] == []
    if day >= 4:
        assert feed["per_day_low_percent"] <= 0 <= feed["per_day_high_percent"]  # this membrane does not wear
        assert abs(feed["per_day_percent"]) < 0.05


@pytest.mark.parametrize("day", [2, 4, 6])
def test_the_filter_loads_as_the_model_loads_it(truth, day):
    [line] = truth.sheet(day)["filters"]
    minutes, drops = np.array([one for one in truth.loading if one[0] < (day + 1) * 1440]).T
    today = drops[minutes >= day * 1440]
    assert abs(line["drop_kpa"] - np.median(today)) <= line["drop_give_or_take_kpa"]
    # at the reference flow: emitters pass the root of 190 kPa less the drop, over that of 182 (the model's filter)
    cleaned = 9 * 60 + 40
    here = minutes >= cleaned
    true = np.polyfit(minutes[here] / 1440, drops[here] * 182 / (190 - drops[here]), 1)[0]
    assert line["per_day_low_kpa"] * 0.95 <= true <= line["per_day_high_kpa"] * 1.05
    # flow sensor: 1 % twice; and what loads a filter gives way by flow, not by its square
    left = (25 - true * (day + 1) - 8) / true
    assert line["due_earliest_d"] < line["due_in_d"] < line["due_latest_d"]
    assert line["due_in_d"] == pytest.approx(left, abs=4.3 / true + 1)  # the sensors' give or take, in days


def test_the_cleaning_is_found(truth):
    [line] = truth.sheet(8)["filters"]
    assert line["cleaned"] in ("2026-03-09T08:00:00Z", "2026-03-09T09:00:00Z")  # at 08:40 UTC: that hour or the next


def test_a_farm_without_such_equipment_has_empty_sections(house):
    house.put("room/air_temperature", [(house.now_us - 1, 20.0)])
    house.work()
    day = house.journal.days("testfarm")[-1]
    sheet = house.journal.day_sheet("testfarm", day).sheet
    for section in ("irrigation", "filters", "flood_shelves", "feed_water", "water_balance"):
        assert sheet[section] == []
