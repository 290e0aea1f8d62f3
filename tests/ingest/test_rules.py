"""JSON of devices' own form: what a rule takes out of a message, and what it says of the rest."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.check import check_text
from ingest.arrival import Arrival
from ingest.rules import Rules, decode_by_rule
from store.entries import Reason
from tests.conftest import SMALL_FARM

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
RULES = """
[[wire.rules]]
topic = "boxes/{device}/{channel}"
time = "ts"
time_format = "ms"
parts = { device = { esp-7f3a = "room" } }
[[wire.rules.values]]
path = "data.probes[1].temp"
name = "{device}/air_temperature"
unit = "degF"
scale = 0.1
offset = -2.0
[[wire.rules.values]]
path = "data.rh"
name = "{device}/relative_humidity"

[[wire.rules]]
topic = "plain/{zone}/ppfd"
[[wire.rules.values]]
path = "$"
name = "{zone}/ppfd"

[[wire.rules]]
topic = "clock/iso"
time = "[0].when"
time_format = "iso8601"
[[wire.rules.values]]
path = "[0].on"
name = "row/lights_on"

[[wire.rules]]
topic = "clock/s"
time = "t"
[[wire.rules.values]]
path = "co2"
name = "room/co2_mole_fraction"
"""


@pytest.fixture(scope="module")
def farm():
    farm, mistakes = check_text(SMALL_FARM + RULES)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def read(farm):
    arrival = Arrival(farm)

    def read(topic, message):
        return arrival.read(topic, message if isinstance(message, bytes) else json.dumps(message).encode(), NOW_US)

    return read


def test_topic_parts_name_the_series_and_scale_offset_and_unit_make_the_value(read):
    message = {"ts": 1_772_366_340_000, "data": {"probes": [{}, {"temp": 720.0}], "rh": 61}}
    readings, faults = read("boxes/esp-7f3a/state", message)
    assert faults == []
    assert [(one.series.key, one.time_us) for one in readings] == [
        ("room/air_temperature", NOW_US - 60_000_000), ("room/relative_humidity", NOW_US - 60_000_000)
    ]  # fmt: skip
    # 720.0 * 0.1 - 2 = 70 degF = 21.1 degC (arithmetic: (70 - 32) / 1.8)
    assert [one.value for one in readings] == [pytest.approx((70 - 32) / 1.8), 61.0]


def test_a_part_without_a_translation_stands_as_it_is(read):
    readings, faults = read("plain/row/ppfd", b"251.5")
    assert ([(one.series.key, one.value, one.time_us) for one in readings], faults) == (
        [("row/ppfd", 251.5, NOW_US)],
        [],
    )


@pytest.mark.parametrize(("sent", "value"), [(12, 12.0), ("12.5", 12.5), (True, 1.0), ("off", 0.0)])
def test_numbers_states_and_texts_that_are_numbers_are_taken(read, sent, value):
    [reading], faults = read("plain/row/ppfd", {"$": 1} if sent is None else sent)
    assert (reading.value, faults) == (value, [])


def test_iso_times_with_their_zone_and_seconds(read):
    [lights], _ = read("clock/iso", [{"when": "2026-03-01T13:00:00.250+01:00", "on": True}])
    assert (lights.time_us, lights.value) == (NOW_US + 250_000, 1.0)
    [co2], _ = read("clock/s", {"t": 1_772_366_399.5, "co2": 800})
    assert co2.time_us == NOW_US - 500_000


def test_a_value_that_is_absent_or_null_is_passed_over_and_the_others_are_taken(read):
    readings, faults = read("boxes/esp-7f3a/x", {"ts": 1_772_366_340_000, "data": {"probes": None, "rh": 61}})
    assert ([one.series.key for one in readings], faults) == (["room/relative_humidity"], [])


@pytest.mark.parametrize(
    ("topic", "message", "reason", "words"),
    [
        ("plain/row/ppfd", b"{", Reason.MALFORMED, "no valid JSON"),
        ("plain/row/ppfd", {"v": 1}, Reason.WRONG_TYPE, "is no number"),
        ("plain/row/ppfd", "12,5", Reason.WRONG_TYPE, '"12,5" at $ is no number'),
        ("plain/row/ppfd", b"NaN", Reason.NOT_FINITE, "leave a missing value out"),
        ("plain/row/ppfd", b"1e999", Reason.NOT_FINITE, "leave a missing value out"),
        ("plain/nowhere/ppfd", 3, Reason.UNKNOWN_NAME, "did you mean row/ppfd"),
        ("boxes/esp-7f3a/x", {"ts": 1_772_366_340_000}, Reason.MALFORMED, "none of data.probes[1].temp, data.rh"),
        ("boxes/esp-7f3a/x", {"data": {"rh": 1}}, Reason.MALFORMED, "no time at ts"),
        ("boxes/esp-7f3a/x", {"ts": "noon", "data": {"rh": 1}}, Reason.MALFORMED, "send ms since 1970"),
        ("boxes/esp-7f3a/x", {"ts": True, "data": {"rh": 1}}, Reason.MALFORMED, "send ms since 1970"),
        ("clock/s", {"t": 1_772_366_399_500, "co2": 1}, Reason.MALFORMED, "mend time_format"),
        ("clock/s", {"t": 0, "co2": 800}, Reason.TOO_OLD, "set the device's clock"),
        ("clock/iso", [{"when": "2026-03-01T12:00:00", "on": 1}], Reason.MALFORMED, "with its zone"),
        ("clock/iso", [{"when": 5, "on": 1}], Reason.MALFORMED, "ISO 8601"),
        ("elsewhere", {"v": 1}, Reason.MALFORMED, "add a [[wire.rules]]"),
    ],
)
def test_what_a_rule_cannot_use_is_refused_and_says_how_to_mend_it(read, topic, message, reason, words):
    readings, [fault] = read(topic, message)
    assert readings == []
    assert fault.reason is reason
    assert words in fault.detail


def test_senml_by_its_content_type_goes_past_a_rule(farm):
    payload = b'[{"n":"row/ppfd","v":7}]'
    readings, _ = Arrival(farm).read("plain/row/ppfd", payload, NOW_US, "application/senml+json")
    assert [one.value for one in readings] == [7.0]


def test_the_first_rule_that_fits_is_the_one_and_topics_are_remembered_in_bounded_number(farm):
    rules = Rules(farm.wire.rules)
    assert rules.recipe_for("boxes/a/b").number == 0
    assert rules.recipe_for("boxes/a") is None
    for n in range(12_000):
        rules.recipe_for(f"boxes/{n}/x")
    assert len(rules._recipes) <= 10_000
    assert rules.recipe_for("boxes/1/x").takes[1].name == "1/relative_humidity"


_KEYS = st.sampled_from(["ts", "data", "rh", "probes", "temp"])
_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner),
    max_leaves=10,
)


@given(st.binary(max_size=60) | _JSON.map(lambda value: json.dumps(value).encode()))
def test_no_message_upsets_a_rule_and_nothing_is_lost_silently(farm, payload):
    recipe = Rules(farm.wire.rules).recipe_for("boxes/esp-7f3a/x")
    records, faults = decode_by_rule(recipe, payload)
    assert records or faults
