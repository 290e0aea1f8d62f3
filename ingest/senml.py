"""SenML packs (RFC 8428) -> records: JSON of section 5 and CBOR of section 6, one meaning for both."""

from __future__ import annotations

import base64
import io
import json
import math
import re
from decimal import Decimal
from functools import lru_cache
from typing import Any

import cbor2
import msgspec

from farm.readings import MICROSECONDS_PER_SECOND
from farm.units import ON_OFF
from ingest.records import Decoded, Fault, Record
from store.entries import Reason

RELATIVE_BELOW_S = 2**28  # RFC 8428, 4.5.3: smaller times are relative to now
SENML_VERSION = 10  # RFC 8428, 4.4: the version it defines
SUM_SUFFIX = "#sum"  # "#" stands in no SenML name: a sum's name cannot be that of another record
SELF_DESCRIBED_CBOR = b"\xd9\xd9\xf7"  # RFC 8949, 3.4.6: a mark that may stand before any CBOR
FURTHEST_S = 1e11  # seconds from 1970; beyond it somebody sent milliseconds

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # RFC 8428, 4.5.1


class SenmlRecord(msgspec.Struct):
    """One record as it stands in a pack, base fields not applied yet."""

    base_name: str | None = msgspec.field(default=None, name="bn")
    base_time: float | None = msgspec.field(default=None, name="bt")
    base_unit: str | None = msgspec.field(default=None, name="bu")
    base_value: float | None = msgspec.field(default=None, name="bv")
    base_sum: float | None = msgspec.field(default=None, name="bs")
    version: int | None = msgspec.field(default=None, name="bver")
    name: str = msgspec.field(default="", name="n")
    unit: str | None = msgspec.field(default=None, name="u")
    value: float | None = msgspec.field(default=None, name="v")
    boolean: bool | None = msgspec.field(default=None, name="vb")
    text: str | None = msgspec.field(default=None, name="vs")
    data: str | None = msgspec.field(default=None, name="vd")
    total: float | None = msgspec.field(default=None, name="s")
    time: float = msgspec.field(default=0.0, name="t")
    update_time: float | None = msgspec.field(default=None, name="ut")


_BASE_FIELDS = ("bn", "bt", "bu", "bv", "bs", "bver")
_CBOR_LABELS = {
    -1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs",
    0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}  # fmt: skip  # RFC 8428, 6, table 4
_decode_pack = msgspec.json.Decoder(list[SenmlRecord]).decode


def decode_senml(payload: bytes, now_us: int) -> Decoded:
    """Return the records of a SenML JSON pack, and a fault for each that cannot be used.

    A wrong record does not spoil the others, nor do the NaN and Infinity that some devices write
    although JSON has none.
    """
    faults: list[Fault] = []
    if b'_"' not in payload and b"\\u005" not in payload:  # no label that ends in "_" (RFC 8428, 4.4)
        try:
            return _resolved(_decode_pack(payload), now_us, faults)
        except (msgspec.MsgspecError, UnicodeDecodeError):
            pass  # read it again, record by record
    try:
        pack = json.loads(payload)  # reads NaN and Infinity, which JSON proper has not
    except (ValueError, RecursionError) as error:
        return [], [Fault(Reason.MALFORMED, "", f'no valid JSON ({error}): send a SenML pack, [{{"n":…,"v":…}}]')]
    return _one_by_one(pack, "JSON", now_us, faults)


def decode_senml_cbor(payload: bytes, now_us: int) -> Decoded:
    """Return the records of a SenML CBOR pack, and a fault for each that cannot be used.

    Labels are the integers of the RFC's table; their JSON spellings are taken too.
    """
    content = io.BytesIO(payload.removeprefix(SELF_DESCRIBED_CBOR))
    try:
        pack = cbor2.CBORDecoder(content).decode()
    except (cbor2.CBORDecodeError, ValueError, OverflowError, RecursionError, MemoryError) as error:
        return [], [Fault(Reason.MALFORMED, "", f"no valid CBOR ({error}): send a SenML pack, an array of maps")]
    faults: list[Fault] = []
    if rest := len(content.read()):
        faults.append(
            Fault(Reason.MALFORMED, "", f"{rest} bytes after the pack were not read: send one pack a message")
        )
    if isinstance(pack, list):
        pack = [_by_name(item) for item in pack]
    return _one_by_one(pack, "CBOR", now_us, faults)


def _by_name(item: Any) -> Any:  # noqa: ANN401  # any CBOR value
    """Return a CBOR record under the labels of JSON, with the types that JSON has for them."""
    if not isinstance(item, dict):
        return item
    named = {label: value for label, value in item.items() if isinstance(label, str)}
    named |= {
        _CBOR_LABELS[label]: value for label, value in item.items() if type(label) is int and label in _CBOR_LABELS
    }
    return {label: _plain(value) for label, value in named.items()}


def _plain(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, Decimal):
        return float(value)
    return base64.urlsafe_b64encode(value).decode() if isinstance(value, bytes) else value


def _one_by_one(pack: object, form: str, now_us: int, faults: list[Fault]) -> Decoded:
    """Resolve each record that can be read, and note a fault for each that cannot."""
    if not isinstance(pack, list):
        found = f"a {form} {_type_name(pack)}"
        return [], [*faults, Fault(Reason.MALFORMED, "", f"{found}: send a list of SenML records, [{{…}}]")]
    for item in pack:
        for label in item if isinstance(item, dict) else ():
            if isinstance(label, str) and label.endswith("_"):
                detail = f"field {label!r} must be understood (RFC 8428, 4.4) and is not: send the pack without it"
                return [], [*faults, Fault(Reason.MALFORMED, "", detail)]
    records: list[SenmlRecord] = []
    base_name = ""
    for item in pack:
        if isinstance(item, dict) and isinstance(item.get("bn"), str):
            base_name = item["bn"]
        try:
            records.append(msgspec.convert(item, SenmlRecord))
        except (msgspec.ValidationError, OverflowError) as error:
            name = base_name + str(item.get("n", "")) if isinstance(item, dict) else ""
            faults.append(Fault(Reason.WRONG_TYPE, name, f"wrong type ({error}): v is a number, n a text"))
            if (base := _base_fields(item)) is not None:
                records.append(base)
    return _resolved(records, now_us, faults)


def _base_fields(item: Any) -> SenmlRecord | None:  # noqa: ANN401  # any JSON or CBOR value
    """Return a spoilt record's base fields, so that the records after it keep their meaning."""
    if not isinstance(item, dict):
        return None
    try:
        return msgspec.convert({key: item[key] for key in _BASE_FIELDS if key in item}, SenmlRecord)
    except (msgspec.ValidationError, OverflowError):
        return None


def _type_name(value: object) -> str:
    if isinstance(value, (bytes, bytearray)):
        return "byte string"
    return {dict: "object", str: "text", bool: "true or false", type(None): "null"}.get(type(value), "number")


def _resolved(pack: list[SenmlRecord], now_us: int, faults: list[Fault]) -> Decoded:
    """Apply base fields and relative times (RFC 8428, 4.6): base fields hold from their record on."""
    records: list[Record] = []
    if pack and (wrong := _wrong_version(pack)):
        faults.append(wrong)
        return records, faults
    base_name, base_time, base_unit, base_value, base_sum = "", 0.0, None, 0.0, None
    for item in pack:
        if item.base_name is not None:
            base_name = item.base_name
        if item.base_time is not None:
            base_time = item.base_time
        if item.base_unit is not None:
            base_unit = item.base_unit
        if item.base_value is not None:
            base_value = item.base_value
        if item.base_sum is not None:
            base_sum = item.base_sum
        name = base_name + item.name
        value, total = item.value, item.total
        if value is None or item.boolean is not None or item.text is not None or item.data is not None:
            value = item.boolean if value is None else value
            if _carries_nothing(item):
                continue
            if fault := _value_fault(item, name, base_sum):
                faults.append(fault)
                continue
        elif base_value:
            value += base_value
        if not _is_name(name):
            faults.append(Fault(Reason.MALFORMED, name, f"{name!r} is no SenML name: put zone/quantity in bn and n"))
            continue
        moment = base_time + item.time
        if not -FURTHEST_S < moment < FURTHEST_S:  # also if not a number
            faults.append(Fault(Reason.MALFORMED, name, f"time {moment:g}: send seconds since 1970 UTC in bt and t"))
            continue
        time_us: int | None
        if moment >= RELATIVE_BELOW_S:
            time_us = round(moment * MICROSECONDS_PER_SECOND)
        else:
            time_us = now_us + round(moment * MICROSECONDS_PER_SECOND) if moment else None
        unit = item.unit if item.unit is not None else base_unit
        if value is not None:
            if math.isfinite(value):
                records.append(Record(name, time_us, value + 0.0, ON_OFF if item.value is None else unit))
            else:
                faults.append(_not_finite(name, value))
        if total is not None or base_sum is not None:
            total = (total or 0.0) + (base_sum or 0.0)
            if math.isfinite(total):
                records.append(Record(name + SUM_SUFFIX, time_us, total, None if unit is None else f"{unit}.s"))
            else:
                faults.append(_not_finite(name + SUM_SUFFIX, total))
    return records, faults


def _wrong_version(pack: list[SenmlRecord]) -> Fault | None:
    """Return why a pack must not be used: RFC 8428, 4.4 asks for one version, and one that is known."""
    versions = {item.version for item in pack if item.version is not None}
    if not versions:
        return None
    if len(versions) > 1:
        stated = ", ".join(map(str, sorted(versions)))
        return Fault(Reason.MALFORMED, "", f"SenML versions {stated} in one pack: all records must have one bver")
    [version] = versions
    if not 0 < version <= SENML_VERSION:
        return Fault(Reason.MALFORMED, "", f"SenML version {version}: send {SENML_VERSION} or leave bver out")
    return None


def _carries_nothing(item: SenmlRecord) -> bool:
    """Whether a record only sets base fields for those that follow (as in RFC 8428, 5.1.7)."""
    return (
        item.value is None and item.boolean is None and item.text is None and item.data is None and item.total is None
    ) and item.name == ""


def _value_fault(item: SenmlRecord, name: str, base_sum: float | None) -> Fault | None:
    """Return what is wrong with a record's value fields (RFC 8428, 4.2); None if nothing is."""
    fields = {"v": item.value, "vb": item.boolean, "vs": item.text, "vd": item.data}
    given = [label for label, value in fields.items() if value is not None]
    if len(given) > 1:
        return Fault(Reason.MALFORMED, name, f"{' and '.join(given)} in one record: send one value a record")
    if item.text is not None or item.data is not None or (not given and item.total is None and base_sum is None):
        return Fault(Reason.WRONG_TYPE, name, "no number: send the value as v (or vb for on and off)")
    return None


def _not_finite(name: str, value: float) -> Fault:
    return Fault(Reason.NOT_FINITE, name, f"value {value}: leave a missing value out of the pack")


@lru_cache(8192)
def _is_name(name: str) -> bool:
    return _NAME.fullmatch(name) is not None
