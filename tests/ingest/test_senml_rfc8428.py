"""SenML against the RFC's own text: every example of section 5.1, the CBOR of section 6, and the rules of 4."""

from __future__ import annotations

import json
import math
from decimal import Decimal

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.units import ON_OFF
from ingest.payloads import Form, form_of, stated_form
from ingest.records import Record
from ingest.senml import decode_senml, decode_senml_cbor
from store.entries import Reason

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
ONE_WIRE = "urn:dev:ow:10e2073a01080063"

# RFC 8428, section 5.1.2, third example.
MULTIPLE_WITH_TIMES = """
   [
     {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
      "bu":"A","bver":5,
      "n":"voltage","u":"V","v":120.1},
     {"n":"current","t":-5,"v":1.2},
     {"n":"current","t":-4,"v":1.3},
     {"n":"current","t":-3,"v":1.4},
     {"n":"current","t":-2,"v":1.5},
     {"n":"current","t":-1,"v":1.6},
     {"n":"current","v":1.7}
   ]"""
# RFC 8428, section 6: "the CBOR example for the same sensor measurement as in Section 5.1.2".
MULTIPLE_WITH_TIMES_CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c74616765"
    "01615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccc"
    "cda3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999"
    "999999999aa3006763757272656e74060002fb3ffb333333333333"
)
# RFC 8428, section 5.1.3, and the same resolved in section 5.1.4 as (unit, time, value).
MULTIPLE_MEASUREMENTS = """
   [
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
      "bu":"%RH","v":20},
     {"u":"lon","v":24.30621},
     {"u":"lat","v":60.07965},
     {"t":60,"v":20.3},
     {"u":"lon","t":60,"v":24.30622},
     {"u":"lat","t":60,"v":60.07965},
     {"t":120,"v":20.7},
     {"u":"lon","t":120,"v":24.30623},
     {"u":"lat","t":120,"v":60.07966},
     {"u":"%EL","t":150,"v":98},
     {"t":180,"v":21.2},
     {"u":"lon","t":180,"v":24.30628},
     {"u":"lat","t":180,"v":60.07967}
   ]"""
RESOLVED = [
    ("%RH", 1320067464, 20), ("lon", 1320067464, 24.30621), ("lat", 1320067464, 60.07965),
    ("%RH", 1320067524, 20.3), ("lon", 1320067524, 24.30622), ("lat", 1320067524, 60.07965),
    ("%RH", 1320067584, 20.7), ("lon", 1320067584, 24.30623), ("lat", 1320067584, 60.07966),
    ("%EL", 1320067614, 98),
    ("%RH", 1320067644, 21.2), ("lon", 1320067644, 24.30628), ("lat", 1320067644, 60.07967),
]  # fmt: skip


def as_both(pack):
    """Return what a pack decodes to in each form; they must mean the same."""
    labels = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6,
              "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}  # fmt: skip
    numbered = [{labels.get(key, key): value for key, value in item.items()} for item in pack]
    by_json = decode_senml(json.dumps(pack).encode(), NOW_US)
    by_cbor = decode_senml_cbor(cbor2.dumps(numbered), NOW_US)
    assert by_json == by_cbor
    return by_json


def test_5_1_1_single_data_point():
    records, faults = as_both([{"n": ONE_WIRE, "u": "Cel", "v": 23.1}])
    assert records == [Record(ONE_WIRE, None, 23.1, "Cel")]
    assert faults == []


def test_5_1_2_two_values_now():
    records, faults = as_both([{"bn": ONE_WIRE + ":", "n": "voltage", "u": "V", "v": 120.1},
                               {"n": "current", "u": "A", "v": 1.2}])  # fmt: skip
    assert faults == []
    assert records == [Record(ONE_WIRE + ":voltage", None, 120.1, "V"), Record(ONE_WIRE + ":current", None, 1.2, "A")]


@pytest.mark.parametrize(
    ("decode", "payload"),
    [(decode_senml, MULTIPLE_WITH_TIMES.encode()), (decode_senml_cbor, MULTIPLE_WITH_TIMES_CBOR)],
    ids=["5.1.2 JSON", "6 CBOR"],
)
def test_5_1_2_and_6_base_fields_and_times_relative_to_the_base(decode, payload):
    records, faults = decode(payload, NOW_US)
    assert faults == []
    device = "urn:dev:ow:10e2073a0108006:"
    assert records == [
        Record(device + "voltage", 1_276_020_076_001_000, 120.1, "V"),
        Record(device + "current", 1_276_020_071_001_000, 1.2, "A"),
        Record(device + "current", 1_276_020_072_001_000, 1.3, "A"),
        Record(device + "current", 1_276_020_073_001_000, 1.4, "A"),
        Record(device + "current", 1_276_020_074_001_000, 1.5, "A"),
        Record(device + "current", 1_276_020_075_001_000, 1.6, "A"),
        Record(device + "current", 1_276_020_076_001_000, 1.7, "A"),
    ]


def test_5_1_3_resolves_to_5_1_4():
    records, faults = as_both(json.loads(MULTIPLE_MEASUREMENTS))
    assert faults == []
    assert records == [Record(ONE_WIRE, at * 1_000_000, value, unit) for unit, at, value in RESOLVED]


def test_5_1_5_several_data_types_keep_what_is_a_number():
    pack = [{"bn": ONE_WIRE + ":", "n": "temp", "u": "Cel", "v": 23.1}, {"n": "label", "vs": "Machine Room"},
            {"n": "open", "vb": False}, {"n": "nfc-reader", "vd": "aGkgCg"}]  # fmt: skip
    records, faults = decode_senml(json.dumps(pack).encode(), NOW_US)
    assert records == [Record(ONE_WIRE + ":temp", None, 23.1, "Cel"), Record(ONE_WIRE + ":open", None, 0.0, ON_OFF)]
    assert [(fault.name, fault.reason) for fault in faults] == [
        (ONE_WIRE + ":label", Reason.WRONG_TYPE), (ONE_WIRE + ":nfc-reader", Reason.WRONG_TYPE)
    ]  # fmt: skip
    octets = [{-2: ONE_WIRE + ":", 0: "temp", 1: "Cel", 2: 23.1}, {0: "label", 3: "Machine Room"},
              {0: "open", 4: False}, {0: "nfc-reader", 8: b"hi \n"}]  # fmt: skip
    assert decode_senml_cbor(cbor2.dumps(octets), NOW_US) == (records, faults)


def test_5_1_6_base_name_of_one_record_base_time_of_another():
    records, faults = as_both(
        [{"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
         {"n": "humidity", "u": "%RH", "v": 30},
         {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
         {"n": "humidity", "u": "%RH", "v": 67}]
    )  # fmt: skip
    assert faults == []
    at = 1_320_078_429_000_000
    assert records == [
        Record("2001:db8::2/temperature", at, 25.2, "Cel"), Record("2001:db8::2/humidity", at, 30.0, "%RH"),
        Record("2001:db8::1/temperature", at, 12.3, "Cel"), Record("2001:db8::1/humidity", at, 67.0, "%RH"),
    ]  # fmt: skip


def test_5_1_7_a_record_of_base_fields_only_and_a_time_between_seconds():
    records, faults = as_both([{"bn": ONE_WIRE + ":"}, {"n": "temp", "u": "Cel", "v": 23.1}])
    assert (records, faults) == ([Record(ONE_WIRE + ":temp", None, 23.1, "Cel")], [])
    records, faults = as_both([{"bt": 1.320078429e09, "bu": "/", "n": "2001:db8::3", "v": 0.5},
                               {"n": "2001:db8::3", "t": 0.1, "v": 0}])  # fmt: skip
    assert [record.time_us for record in records] == [1_320_078_429_000_000, 1_320_078_429_100_000]


def test_4_5_3_times_below_2_to_the_28_are_relative_to_now_at_it_absolute():
    pack = [{"n": "x", "t": 2**28, "v": 1}, {"n": "x", "t": 2**28 - 1, "v": 1}, {"n": "x", "t": -60, "v": 1},
            {"n": "x", "t": 0, "v": 1}]  # fmt: skip
    records, _ = as_both(pack)
    assert [record.time_us for record in records] == [
        2**28 * 1_000_000, NOW_US + (2**28 - 1) * 1_000_000, NOW_US - 60_000_000, None
    ]  # fmt: skip


def test_4_5_4_base_value_is_added_to_numbers_only():
    records, faults = as_both([{"bn": "a/", "bv": 20, "n": "t", "v": 1.5}, {"n": "on", "vb": True},
                               {"bv": -1, "n": "u", "v": 0}])  # fmt: skip
    assert faults == []
    assert [(record.name, record.value) for record in records] == [("a/t", 21.5), ("a/on", 1.0), ("a/u", -1.0)]


def test_4_2_and_4_5_4_a_sum_is_a_record_of_its_own_in_unit_times_seconds():
    records, faults = as_both([{"bn": "meter", "bu": "W", "bs": 3600, "v": 100, "s": 36}, {"t": -1, "v": 90},
                               {"bn": "", "bs": 0, "n": "tap", "u": "l/s", "s": 2.5}])  # fmt: skip
    assert faults == []
    assert records == [
        Record("meter", None, 100.0, "W"), Record("meter#sum", None, 3636.0, "W.s"),
        Record("meter", NOW_US - 1_000_000, 90.0, "W"), Record("meter#sum", NOW_US - 1_000_000, 3600.0, "W.s"),
        Record("tap#sum", None, 2.5, "l/s.s"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("record", "reason", "words"),
    [
        ({"n": "x"}, Reason.WRONG_TYPE, "no number"),  # 4.2: exactly one value field, unless there is a sum
        ({"n": "x", "v": 1, "vb": True}, Reason.MALFORMED, "v and vb in one record"),
        ({"n": "x", "v": 1, "vs": "1"}, Reason.MALFORMED, "v and vs in one record"),
        ({"n": "x", "vs": "a", "vd": "YQ"}, Reason.MALFORMED, "vs and vd in one record"),
        ({"n": "-x", "v": 1}, Reason.MALFORMED, "no SenML name"),  # 4.5.1: begins with a letter or digit
        ({"n": "x#sum", "v": 1}, Reason.MALFORMED, "no SenML name"),
        ({"n": "x", "v": 1, "ut": "soon"}, Reason.WRONG_TYPE, "wrong type"),
        ({"n": "x", "v": 1, "s": "much"}, Reason.WRONG_TYPE, "wrong type"),
        ({"n": "x", "v": 1, "t": 1e12}, Reason.MALFORMED, "seconds since 1970"),
    ],
)
def test_a_record_against_the_rules_is_refused_and_its_neighbours_are_kept(record, reason, words):
    good = {"n": "good", "v": 7}
    labels = {"n": 0, "v": 2, "vb": 4, "vs": 3, "vd": 8, "t": 6, "ut": 7, "s": 5}
    for records, faults in (
        decode_senml(json.dumps([good, record, good]).encode(), NOW_US),
        decode_senml_cbor(
            cbor2.dumps([{labels[k]: v for k, v in one.items()} for one in (good, record, good)]), NOW_US
        ),
    ):
        assert [one.value for one in records if one.name == "good"] == [7, 7]
        assert [fault.reason for fault in faults] == [reason]
        assert words in faults[0].detail


def test_4_4_unknown_fields_are_ignored_and_those_that_must_be_understood_refuse_the_pack():
    records, faults = as_both([{"n": "x", "v": 1, "colour": "red", "bx": 3}])
    assert (len(records), faults) == (1, [])
    records, [fault] = as_both([{"n": "x", "v": 1}, {"n": "y", "v": 2, "twist_": 5}])
    assert records == []
    assert fault.reason is Reason.MALFORMED
    assert "'twist_'" in fault.detail
    for spelling in (b'{"n":"x","v":1,"twist\\u005f":5}', b'{"n":"x","v":1,"twist_" \n: 5}'):
        assert decode_senml(b"[" + spelling + b"]", NOW_US)[0] == []
    records, faults = decode_senml(b'[{"n":"x_","v":1,"u":"a_"}]', NOW_US)
    assert (records, faults) == ([Record("x_", None, 1.0, "a_")], [])


@pytest.mark.parametrize(
    ("versions", "words"), [([11], "version 11"), ([10, 5], "versions 5, 10"), ([0], "version 0"), ([5, 12], "12")]
)
def test_4_4_a_pack_of_an_unknown_version_or_of_two_is_not_used_at_all(versions, words):
    records, [fault] = as_both([{"n": "x", "v": 1}, *({"n": "x", "v": 1, "bver": version} for version in versions)])
    assert records == []
    assert words in fault.detail


def test_6_numbers_may_be_integers_floats_or_decimal_fractions():
    pack = [{0: "a", 2: 21}, {0: "b", 2: 21.5}, {0: "c", 2: Decimal("21.25"), 6: Decimal("-0.5")}, {0: "d", 2: 2**80}]
    records, faults = decode_senml_cbor(cbor2.dumps(pack), NOW_US)
    assert faults == []
    assert [(one.name, one.value) for one in records] == [("a", 21.0), ("b", 21.5), ("c", 21.25), ("d", 2.0**80)]
    assert records[2].time_us == NOW_US - 500_000


def test_6_a_stream_of_indefinite_length_and_a_marked_pack_are_read():
    stream = b"\x9f" + cbor2.dumps({0: "a", 2: 1}) + cbor2.dumps({0: "b", 2: 2}) + b"\xff"
    assert [one.name for one in decode_senml_cbor(stream, NOW_US)[0]] == ["a", "b"]
    marked = b"\xd9\xd9\xf7" + cbor2.dumps([{0: "a", 2: 1}])
    assert form_of(marked) is Form.SENML_CBOR
    assert [one.name for one in decode_senml_cbor(marked, NOW_US)[0]] == ["a"]


def test_bytes_after_a_cbor_pack_are_told_and_the_pack_is_kept():
    records, [fault] = decode_senml_cbor(cbor2.dumps([{0: "a", 2: 1}]) + b"\x00\x00", NOW_US)
    assert [one.name for one in records] == ["a"]
    assert "2 bytes after the pack" in fault.detail


@pytest.mark.parametrize(
    "payload",
    [b"", b"\x81", b"\x9f", b"\xff", b"\x81" * 5000, b"\x9b\xff\xff\xff\xff\xff\xff\xff\xff", b"\xa0", b"\x01",
     b"\x44abcd", b"\xd8\x1c\x81\xd8\x1d\x00", b"\x81\xd8\x1d\x05", cbor2.dumps({0: "a", 2: 1})],
    ids=repr,
)  # fmt: skip
def test_bytes_that_are_no_cbor_pack_are_refused_and_say_what_to_send(payload):
    records, [fault] = decode_senml_cbor(payload, NOW_US)
    assert records == []
    assert "send" in fault.detail or "wrong type" in fault.detail


@pytest.mark.parametrize(
    ("payload", "content_type", "form"),
    [
        (b'[{"n":"x","v":1}]', None, Form.SENML_JSON),
        (b' \n[{"n":"x","v":1}]', None, Form.SENML_JSON),
        (MULTIPLE_WITH_TIMES_CBOR, None, Form.SENML_CBOR),
        (b"\x9f\xff", None, Form.SENML_CBOR),
        (b"21.5", None, Form.BARE_NUMBER),
        (b' {"temp":21.5}', None, Form.JSON_OBJECT),
        (b"\xff", None, Form.OTHER),
        (b"[]", "application/senml+cbor", Form.SENML_CBOR),
        (b"\x81", "application/senml+json", Form.SENML_JSON),
        (b"\x81", "Application/SensML+CBOR; v=1", Form.SENML_CBOR),
        (b"[]", "application/json", Form.SENML_JSON),
        (b"\x80", "", Form.SENML_CBOR),
    ],
)
def test_the_content_type_tells_the_form_and_else_the_first_byte(payload, content_type, form):
    assert (stated_form(content_type) or form_of(payload)) is form


@given(st.binary(max_size=120))
def test_no_bytes_upset_the_cbor_decoder(payload):
    records, faults = decode_senml_cbor(payload, NOW_US)
    assert records or faults or isinstance(cbor2.loads(payload.removeprefix(b"\xd9\xd9\xf7")), list)  # base fields only


_NUMBERS = st.integers(-(10**9), 10**9) | st.floats(-1e9, 1e9, allow_nan=False)
_RECORDS = st.fixed_dictionaries(
    {"n": st.sampled_from(["a", "b/c", "d_"])},
    optional={
        "bn": st.sampled_from(["", "x/", "y:"]), "bt": st.integers(0, 2_000_000_000), "bu": st.sampled_from(["W", "V"]),
        "bv": _NUMBERS, "bs": _NUMBERS, "u": st.sampled_from(["Cel", "%RH"]), "t": st.integers(-3600, 3600),
        "ut": st.integers(0, 100),
    },
)  # fmt: skip
_VALUES = st.one_of(
    st.fixed_dictionaries({"v": _NUMBERS}), st.fixed_dictionaries({"vb": st.booleans()}),
    st.fixed_dictionaries({"v": _NUMBERS, "s": _NUMBERS}), st.fixed_dictionaries({"s": _NUMBERS}),
)  # fmt: skip


def by_the_book(pack):
    """RFC 8428, 4.5 and 4.6, word for word: what a pack resolves to."""
    base = {}
    for record in pack:
        base |= {key: value for key, value in record.items() if key in ("bn", "bt", "bu", "bv", "bs")}
        at = base.get("bt", 0) + record.get("t", 0)
        time_us = None if at == 0 else at * 1_000_000 + (NOW_US if at < 2**28 else 0)
        name, unit = base.get("bn", "") + record["n"], record.get("u", base.get("bu"))
        if "v" in record:
            yield name, time_us, base.get("bv", 0) + record["v"], unit
        if "vb" in record:
            yield name, time_us, float(record["vb"]), ON_OFF
        if "s" in record or "bs" in base:
            yield name + "#sum", time_us, base.get("bs", 0) + record.get("s", 0), unit and unit + ".s"


@given(st.lists(st.tuples(_RECORDS, _VALUES).map(lambda both: both[0] | both[1]), min_size=1, max_size=8))
def test_any_good_pack_resolves_as_the_rfc_says_in_both_forms(pack):
    records, faults = as_both(pack)
    assert faults == []
    expected = list(by_the_book(pack))
    assert [(one.name, one.time_us, one.unit) for one in records] == [(n, t, u) for n, t, _, u in expected]
    for one, (_, _, value, _) in zip(records, expected, strict=True):
        assert math.isclose(one.value, value, rel_tol=1e-15, abs_tol=1e-6)
