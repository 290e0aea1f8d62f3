"""Bytes to records: SenML by the RFC, bare numbers, and every kind of bad input."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.units import ON_OFF
from ingest.payloads import decode_number
from ingest.records import Record
from ingest.senml import decode_senml
from store.entries import Reason

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z


def test_rfc_8428_single_data_point():
    """RFC 8428, 5.1.1."""
    records, faults = decode_senml(b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', NOW_US)
    assert records == [Record("urn:dev:ow:10e2073a01080063", None, 23.1, "Cel")]
    assert faults == []


def test_rfc_8428_multiple_data_points_resolved():
    """RFC 8428, 5.1.2 and its resolved form in 5.1.4: base name, base time, base unit, relative times."""
    payload = json.dumps(
        [
            {"bn": "urn:dev:ow:10e2073a0108006:", "bt": 1.276020076001e09, "bu": "A", "bver": 5,
             "n": "voltage", "u": "V", "v": 120.1},
            {"n": "current", "t": -5, "v": 1.2},
            {"n": "current", "t": -4, "v": 1.3},
            {"n": "current", "t": 0, "v": 1.7},
        ]
    ).encode()  # fmt: skip
    records, faults = decode_senml(payload, NOW_US)
    assert faults == []
    assert records == [
        Record("urn:dev:ow:10e2073a0108006:voltage", 1_276_020_076_001_000, 120.1, "V"),
        Record("urn:dev:ow:10e2073a0108006:current", 1_276_020_071_001_000, 1.2, "A"),
        Record("urn:dev:ow:10e2073a0108006:current", 1_276_020_072_001_000, 1.3, "A"),
        Record("urn:dev:ow:10e2073a0108006:current", 1_276_020_076_001_000, 1.7, "A"),
    ]


def test_relative_time_counts_from_now_and_base_value_is_added():
    """RFC 8428, 4.5.3 (times below 2^28 s) and 4.1 (base value)."""
    records, _ = decode_senml(b'[{"bn":"room/","bv":20,"n":"air_temperature","t":-60,"v":1.5}]', NOW_US)
    assert records == [Record("room/air_temperature", NOW_US - 60_000_000, 21.5, None)]


def test_a_boolean_is_one_or_zero_and_base_fields_may_stand_alone():
    records, faults = decode_senml(
        b'[{"bn":"row/","bt":1772366000},{"n":"lights_on","vb":true},{"n":"pump_on","vb":false}]', NOW_US
    )
    assert [(record.name, record.value) for record in records] == [("row/lights_on", 1.0), ("row/pump_on", 0.0)]
    assert {record.time_us for record in records} == {1_772_366_000_000_000}
    assert faults == []


GOOD = '{"n":"room/air_temperature","v":21.5}'


@pytest.mark.parametrize(
    ("bad", "reason", "words"),
    [
        ('{"n":"x/y","v":"21.5"}', Reason.WRONG_TYPE, "v is a number"),
        ('{"n":"x/y","v":null}', Reason.WRONG_TYPE, "no number"),
        ('{"n":"x/y","v":true}', Reason.WRONG_TYPE, "v is a number"),
        ('{"n":"x/y","vs":"on"}', Reason.WRONG_TYPE, "no number"),
        ('{"n":"x/y"}', Reason.WRONG_TYPE, "no number"),
        ('{"n":7,"v":1}', Reason.WRONG_TYPE, "n a text"),
        ("17", Reason.WRONG_TYPE, "wrong type"),
        ('{"n":"x/y","v":NaN}', Reason.NOT_FINITE, "leave a missing value out"),
        ('{"n":"x/y","v":Infinity}', Reason.NOT_FINITE, "leave a missing value out"),
        ('{"n":"x/y","v":1e999}', Reason.NOT_FINITE, "leave a missing value out"),
        ('{"n":"x y","v":1}', Reason.MALFORMED, "no SenML name"),
        ('{"n":"","v":1}', Reason.MALFORMED, "no SenML name"),
        ('{"n":"x/y","t":1772366400000000,"v":1}', Reason.MALFORMED, "seconds since 1970"),
        ('{"n":"x/y","t":"noon","v":1}', Reason.WRONG_TYPE, "wrong type"),
    ],
)
def test_a_bad_record_is_refused_with_its_reason_and_the_good_ones_kept(bad, reason, words):
    records, [fault] = decode_senml(f"[{GOOD},{bad},{GOOD}]".encode(), NOW_US)
    assert [record.value for record in records] == [21.5, 21.5]
    assert fault.reason is reason
    assert words in fault.detail


def test_a_spoilt_record_still_sets_the_base_for_those_after_it():
    payload = b'[{"bn":"room/","bt":1772366000,"n":"co2","v":"high"},{"n":"air_temperature","v":21.5}]'
    records, [fault] = decode_senml(payload, NOW_US)
    assert records == [Record("room/air_temperature", 1_772_366_000_000_000, 21.5, None)]
    assert fault.name == "room/co2"


@pytest.mark.parametrize(
    "payload",
    [b"", b"{", b"[", b'[{"n":', b"\xff\xfe", b"null", b"true", b'{"n":"x/y","v":1}', b'"text"', b"[" * 100_000],
)
def test_what_is_no_pack_is_malformed_and_says_what_to_send(payload):
    records, faults = decode_senml(payload, NOW_US)
    assert records == []
    assert [fault.reason for fault in faults] == [Reason.MALFORMED]
    assert "send" in faults[0].detail


def test_a_newer_senml_version_is_refused():
    """RFC 8428, 4.4: a receiver must not use a version it does not know."""
    records, [fault] = decode_senml(b'[{"bver":11,"n":"x/y","v":1}]', NOW_US)
    assert records == []
    assert "version 11" in fault.detail


@pytest.mark.parametrize(
    ("payload", "value"),
    [(b"21.5", 21.5), (b" -3e1\n", -30.0), (b".5", 0.5), (b"on", 1.0), (b"False", 0.0), (b"+7", 7.0)],
)
def test_a_bare_number_is_read(payload, value):
    unit = ON_OFF if payload in (b"on", b"False") else None
    assert decode_number(payload, "room/co2") == ([Record("room/co2", None, value, unit)], [])


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"nan", Reason.NOT_FINITE),
        (b"-Infinity", Reason.NOT_FINITE),
        (b"1e999", Reason.NOT_FINITE),
        (b"21,5", Reason.WRONG_TYPE),
        (b"", Reason.WRONG_TYPE),
        (b"1_000", Reason.WRONG_TYPE),
        (b"0x10", Reason.WRONG_TYPE),
        (b"\x00\xff", Reason.WRONG_TYPE),
    ],
)
def test_what_is_no_number_is_refused(payload, reason):
    records, [fault] = decode_number(payload, "room/co2")
    assert records == []
    assert fault.reason is reason


@given(st.binary(max_size=200))
def test_no_bytes_upset_the_decoders(payload):
    for records, faults in (decode_senml(payload, NOW_US), decode_number(payload, "x")):
        assert records or faults or payload.strip().startswith(b"[")


_TEXT = st.text(alphabet="aZ9/:_ .\u00e9", max_size=6)
_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | _TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_TEXT, inner, max_size=4),
    max_leaves=8,
)
_FIELDS = st.sampled_from(["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "vb", "vs", "vd", "s", "t", "ut"])


@given(st.lists(st.dictionaries(_FIELDS, _JSON, max_size=6), max_size=5))
def test_no_pack_upsets_the_decoder_and_nothing_is_lost_silently(pack):
    records, faults = decode_senml(json.dumps(pack).encode(), NOW_US)
    carrying = [item for item in pack if isinstance(item.get("v"), (int, float)) or isinstance(item.get("vb"), bool)]
    if not any(fault.detail.startswith("SenML version") for fault in faults):
        assert len(records) + len(faults) >= len(carrying)
