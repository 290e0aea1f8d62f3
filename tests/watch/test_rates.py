"""Power and flow from counters, as derived series that follow their readings; totals on the day sheet."""

from __future__ import annotations

import random
from datetime import date

import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from tests.watch.conftest import House

METERS = (
    SMALL_FARM
    + """
[[series]]
zone = "room"
quantity = "electrical_energy"
rolls_over_at = 1000
[[series]]
zone = "room"
quantity = "metered_volume"
sensor = "feed"
per_count = 0.5
rolls_over_at = 65536
[[series]]
zone = "room"
quantity = "condensate_volume"
[[series]]
zone = "row"
quantity = "electrical_energy"
[[series]]
zone = "row"
quantity = "electrical_power"
"""
)


@pytest.fixture(scope="module")
def farm():
    farm, mistakes = check_text(METERS)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def house(farm, tmp_path):
    made = House(farm, tmp_path / "house")
    yield made
    made.close()


def minutes(*values):
    return [(T0_US + n * MINUTE_US, value) for n, value in enumerate(values) if value is not None]


def test_power_follows_from_energy_and_flow_from_litres(house):
    """0.05 kWh a minute is 3 kW, 2 L between two readings a minute apart 2 L/min (definitions)."""
    house.put("room/electrical_energy", minutes(999.90, 999.95, 0.0, 0.05))
    house.put("room/metered_volume/feed", minutes(32_766.0, 32_767.0, 1.0))  # rolls over at 65,536 counts, 32,768 L
    house.put("room/condensate_volume", minutes(10.0, 10.5, 0.1))  # emptied: what it shows was counted since
    house.work()
    assert list(house.read("room/electrical_power").values()) == pytest.approx([3000.0, 3000.0, 3000.0])
    assert list(house.read("room/flow_rate/feed").values()) == pytest.approx([1.0, 2.0])
    assert list(house.read("room/flow_rate/condensate").values()) == pytest.approx([0.5, 0.1])


def test_a_sensor_of_its_own_goes_before_the_counter(house):
    house.put("row/electrical_energy", minutes(1.0, 1.1))
    house.put("row/electrical_power", minutes(500.0))
    house.work()
    assert list(house.read("row/electrical_power").values()) == [500.0]


def test_the_order_of_arrival_changes_nothing(farm, tmp_path):
    rows = minutes(*(None if n % 17 == 0 else n * 0.02 % 0.9 for n in range(120)))
    results = []
    for turn, seed in enumerate((None, 1, 2)):
        house = House(farm, tmp_path / str(turn))
        order = rows if seed is None else random.Random(seed).sample(rows, len(rows))
        for start in range(0, len(order), 23):
            house.put("room/electrical_energy", order[start : start + 23])
            house.work()
        results.append(house.read("room/electrical_power"))
        house.close()
    assert results[0] == results[1] == results[2]
    assert len(results[0]) > 100


def test_a_rate_carries_the_worse_flag_of_its_two_readings_and_none_spans_a_failed_one_too_far(house):
    series = house.series("room/electrical_energy")
    flags = [Flag.GOOD, Flag.SUSPECT, Flag.GOOD, Flag.GOOD, Flag.FAIL, Flag.GOOD]
    house.store.append([Reading(series, T0_US + n * MINUTE_US, n * 0.05, flag) for n, flag in enumerate(flags)])
    house.work()
    power = house.store.read(house.series("room/electrical_power"), 0, 2**62)
    assert power.flag.tolist() == [Flag.SUSPECT, Flag.SUSPECT, Flag.GOOD, Flag.GOOD]
    assert power.value.tolist() == pytest.approx([3000.0] * 4)


def test_the_day_sheet_counts_over_roll_overs(house):
    house.put("room/electrical_energy", minutes(999.0, 2.0))
    house.now_us = T0_US + 3 * MINUTE_US
    house.work()
    house.now_us += 24 * 60 * MINUTE_US
    house.fresh_watch()
    house.put("room/electrical_energy", [(T0_US + 2 * MINUTE_US, 3.5)])
    house.work()
    [total] = house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["totals"]
    assert (total["key"], total["total"]) == ("room/electrical_energy", pytest.approx(4.5))
