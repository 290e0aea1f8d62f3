"""Names, units, ranges and times of what arrives: readings, or the reason why not."""

from __future__ import annotations

import json

import cbor2
import pytest

from farm.check import check_text
from farm.flags import Flag
from ingest.arrival import LARGEST_PAYLOAD, Arrival
from store.entries import Reason
from tests.conftest import SMALL_FARM

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
DAY_US = 86_400_000_000


@pytest.fixture
def arrival(small_farm):
    return Arrival(small_farm)


def pack(*records):
    return json.dumps(records).encode()


def test_a_good_pack_becomes_readings_with_their_own_times(arrival):
    payload = pack({"bn": "room/", "bt": NOW_US / 1e6 - 60, "n": "air_temperature", "u": "Cel", "v": 21.5},
                   {"n": "relative_humidity", "u": "%RH", "v": 64})  # fmt: skip
    readings, faults = arrival.read("leafweather/x", payload, NOW_US)
    assert faults == []
    assert [(r.series.key, r.time_us, r.value, r.flag) for r in readings] == [
        ("room/air_temperature", NOW_US - 60_000_000, 21.5, Flag.NOT_EVALUATED),
        ("room/relative_humidity", NOW_US - 60_000_000, 64.0, Flag.NOT_EVALUATED),
    ]


def test_without_a_time_it_is_the_time_of_arrival(arrival):
    [reading], _ = arrival.read("t", pack({"n": "room/air_temperature", "v": 20}), NOW_US)
    assert reading.time_us == NOW_US


def test_units_are_converted_at_the_edge_and_a_stated_unit_holds_where_none_is_sent(arrival):
    [reading], _ = arrival.read("t", pack({"n": "room/air_temperature", "u": "K", "v": 293.15}), NOW_US)
    assert reading.value == pytest.approx(20.0)
    [yard], _ = arrival.read("t", pack({"n": "yard-1", "v": 14.0}), NOW_US)
    assert yard.series.key == "outdoors/air_temperature"
    assert yard.value == pytest.approx(-10.0)


def test_a_mapped_topic_carries_a_bare_number(arrival):
    [reading], _ = arrival.read("plain/co2", b"812", NOW_US)
    assert (reading.series.key, reading.value) == ("room/co2_mole_fraction", 812.0)


@pytest.mark.parametrize(
    ("record", "reason", "words"),
    [
        ({"n": "room/air_temprature", "v": 20}, Reason.UNKNOWN_NAME, "did you mean room/air_temperature?"),
        ({"n": "zzz", "v": 20}, Reason.UNKNOWN_NAME, "[[series]]"),
        ({"n": "outdoors/air_temperature", "v": 20}, Reason.UNKNOWN_NAME, "farm.toml"),
        ({"n": "room/air_temperature", "u": "%RH", "v": 20}, Reason.WRONG_UNIT, "send one of degC, Cel"),
        ({"n": "room/air_temperature", "v": 999}, Reason.OUT_OF_RANGE, "999 degC"),
        ({"n": "row/lights_on", "v": 2}, Reason.OUT_OF_RANGE, "0 to 1"),
        ({"n": "room/air_temperature", "t": NOW_US / 1e6 + 3600, "v": 20}, Reason.FUTURE, "2026-03-01T13:00:00Z"),
        ({"n": "room/air_temperature", "t": 3e8, "v": 20}, Reason.TOO_OLD, "1979"),
    ],
)
def test_a_refused_record_says_why_and_the_others_are_kept(arrival, record, reason, words):
    good = {"n": "room/relative_humidity", "v": 60}
    readings, [fault] = arrival.read("t", pack(good, record, good), NOW_US)
    assert [r.value for r in readings] == [60, 60]
    assert fault.reason is reason
    assert fault.name == record["n"]
    assert words in fault.detail


def test_a_little_in_the_future_and_long_ago_are_welcome(arrival):
    ahead = {"n": "room/air_temperature", "t": NOW_US / 1e6 + 60, "v": 20}
    late = {"n": "room/air_temperature", "t": (NOW_US - 365 * DAY_US) / 1e6, "v": 20}
    readings, faults = arrival.read("t", pack(ahead, late), NOW_US)
    assert len(readings) == 2
    assert faults == []


def test_ten_megabytes_are_refused_unread(arrival):
    payload = b"[" + b'{"n":"room/air_temperature","v":20},' * 300_000 + b"{}]"
    assert len(payload) > 10_000_000
    readings, [fault] = arrival.read("t", payload, NOW_US)
    assert readings == []
    assert fault.reason is Reason.TOO_LARGE
    assert f"{LARGEST_PAYLOAD:,}" in fault.detail


def test_a_bare_number_on_an_unknown_topic_tells_where_to_name_it(arrival):
    readings, [fault] = arrival.read("plain/temp", b"21.5", NOW_US)
    assert readings == []
    assert fault.reason is Reason.UNKNOWN_TOPIC
    assert "topic = 'plain/temp'" in fault.detail


def test_a_sum_becomes_a_reading_of_the_series_that_names_it(small_farm):
    """RFC 8428, 4.2: a sum is in the value's unit times seconds; 1 kWh = 3.6e6 W s by definition."""
    text = SMALL_FARM + '[[series]]\nzone = "room"\nquantity = "electrical_energy"\nwire = "meter#sum"\n'
    farm, mistakes = check_text(text)
    assert mistakes == []
    readings, faults = Arrival(farm).read("t", pack({"n": "meter", "u": "W", "s": 7.2e6}), NOW_US)
    assert faults == []
    assert [(r.series.key, r.value) for r in readings] == [("room/electrical_energy", pytest.approx(2.0))]
    payload = cbor2.dumps([{0: "meter", 1: "W", 5: 7.2e6}])
    assert Arrival(farm).read("t", payload, NOW_US) == (readings, [])


def test_an_absurd_time_loses_no_other_reading(arrival):
    absurd = {"n": "room/air_temperature", "v": 21, "t": -1e11}
    readings, [fault] = arrival.read("t", pack({"n": "room/relative_humidity", "v": 50}, absurd), NOW_US)
    assert [one.series.key for one in readings] == ["room/relative_humidity"]
    assert fault.reason is Reason.MALFORMED


def test_on_and_off_are_no_numbers(arrival):
    readings, [fault] = arrival.read("t", pack({"n": "room/air_temperature", "vb": True}), NOW_US)
    assert readings == []
    assert (fault.reason, "on/off" in fault.detail) == (Reason.WRONG_UNIT, True)
    readings, [fault] = arrival.read("plain/co2", b"on", NOW_US)
    assert readings == []
    [reading], faults = arrival.read("t", pack({"n": "row/lights_on", "vb": True}), NOW_US)
    assert (reading.value, faults) == (1.0, [])
