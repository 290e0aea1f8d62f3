"""A renamed or replaced sensor keeps one history: each wire name leads to a series for its time."""

from __future__ import annotations

import json

import pytest

from farm.check import check_text
from farm.readings import microseconds
from ingest.arrival import Arrival
from ingest.names import Names
from store.entries import Reason
from tests.conftest import SMALL_FARM

# probe-9 was the row's until 1 March (Oslo); then it moved outdoors, and probe-10 took its place.
MOVED = (
    SMALL_FARM.replace('wire = "yard-1"\n', 'wire = "probe-9"\n')
    + """
[[series]]
zone = "row"
quantity = "air_temperature"
wire = "probe-10"
[[series.was]]
wire = "probe-9"
unit = "K"
until = 2026-03-01
[[series.was]]
wire = "rowtemp"
"""
)
CHANGE_US = 1_772_319_600_000_000  # 2026-03-01T00:00 in Oslo, 2026-02-28T23:00:00Z


@pytest.fixture(scope="module")
def farm():
    farm, mistakes = check_text(MOVED)
    assert farm is not None, mistakes
    return farm


@pytest.mark.parametrize(
    ("name", "time_us", "key", "value"),
    [
        ("probe-9", CHANGE_US - 1, "row/air_temperature", 300 - 273.15),
        ("probe-9", CHANGE_US, "outdoors/air_temperature", None),
        ("probe-10", CHANGE_US - 1, "row/air_temperature", None),
        ("rowtemp", CHANGE_US + 1, "row/air_temperature", None),
    ],
)
def test_the_readings_own_time_decides_whose_a_name_was(farm, name, time_us, key, value):
    sent = 300 if value is not None else 21
    payload = f'[{{"n":"{name}","t":{time_us / 1e6:.6f},"v":{sent}}}]'.encode()
    [reading], faults = Arrival(farm).read("t", payload, CHANGE_US + 3_600_000_000)
    assert faults == []
    assert reading.series.key == key
    if value is not None:
        assert reading.value == pytest.approx(value)


def test_late_readings_go_where_they_belong_whatever_came_before(farm):
    arrival = Arrival(farm)
    change_s = CHANGE_US / 1e6
    pack = [{"n": "probe-9", "t": change_s + ago, "v": value} for ago, value in ((60, 21), (-60, 294), (61, 21))]
    payload = json.dumps(pack).encode()
    readings, _ = arrival.read("t", payload, CHANGE_US + 3_600_000_000)
    assert [one.series.zone for one in readings] == ["outdoors", "row", "outdoors"]


def test_a_name_after_its_end_says_whose_it_was():
    text = (
        SMALL_FARM
        + '[[series]]\nzone = "row"\nquantity = "air_temperature"\n[[series.was]]\nwire = "old"\nuntil = 2026-03-01\n'
    )
    farm, _ = check_text(text)
    names = Names(farm)
    fault = names.route("old", None, CHANGE_US)
    assert fault.reason is Reason.UNKNOWN_NAME
    assert "row/air_temperature until 2026-02-28T23:00:00Z" in fault.detail
    assert names.route("old", None, CHANGE_US - 1).series.key == "row/air_temperature"


def test_dates_are_the_farms_local_midnights(farm):
    assert microseconds(farm.moment(farm.series[-1].was[0].until)) == CHANGE_US


def test_an_ordinary_name_costs_one_look_up(farm):
    names = Names(farm)
    assert names.routes("probe-10", None) is names.routes("probe-10", None)
    assert names.route("rowtemp", "degF", 0).sent_unit == "degF"


def test_a_flood_of_unknown_names_does_not_look_for_close_ones_without_end(small_farm, monkeypatch):
    looked = []
    monkeypatch.setattr("ingest.names.get_close_matches", lambda *_, **__: looked.append(1) or [])
    names = Names(small_farm)
    for number in range(5000):
        names.route(f"row/probe-{number}", None, 0)
    assert len(looked) == 2000
