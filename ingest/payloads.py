"""Bytes of a message -> records: SenML JSON (RFC 8428) or one bare number."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec

from farm.readings import MICROSECONDS_PER_SECOND
from store.entries import Reason

RELATIVE_BELOW_S = 2**28  # RFC 8428, 4.5.3: smaller times are relative to now
SENML_VERSION = 10  # RFC 8428, 4.4: the version it defines
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # RFC 8428, 4.5.1


class Record(NamedTuple):
    """One value as it came: name and unit still those of the wire; ``time_us`` None where it has no time."""

    name: str
    time_us: int | None
    value: float
    unit: str | None


@dataclass(frozen=True, slots=True)
class Fault:
    """Something in a message that cannot be used, and how to mend it. ``name`` is empty if unknown."""

    reason: Reason
    name: str
    detail: str


class _SenmlRecord(msgspec.Struct):
    base_name: str | None = msgspec.field(default=None, name="bn")
    base_time: float | None = msgspec.field(default=None, name="bt")
    base_unit: str | None = msgspec.field(default=None, name="bu")
    base_value: float | None = msgspec.field(default=None, name="bv")
    version: int | None = msgspec.field(default=None, name="bver")
    name: str = msgspec.field(default="", name="n")
    unit: str | None = msgspec.field(default=None, name="u")
    value: float | None = msgspec.field(default=None, name="v")
    boolean: bool | None = msgspec.field(default=None, name="vb")
    text: str | None = msgspec.field(default=None, name="vs")
    data: str | None = msgspec.field(default=None, name="vd")
    total: float | None = msgspec.field(default=None, name="s")
    time: float = msgspec.field(default=0.0, name="t")


_BASE_FIELDS = ("bn", "bt", "bu", "bv", "bver")
_decode_pack = msgspec.json.Decoder(list[_SenmlRecord]).decode


def decode_senml(payload: bytes, now_us: int) -> tuple[list[Record], list[Fault]]:
    """Return the records of a SenML JSON pack, and a fault for each that cannot be used.

    Base fields hold from their record on; times below 2^28 s count from ``now_us``, and a record
    without any time gets ``None``. A wrong record does not spoil the others, nor do the NaN and
    Infinity that some devices write although JSON has none.
    """
    faults: list[Fault] = []
    try:
        pack: list[_SenmlRecord | None] = list(_decode_pack(payload))
    except (msgspec.MsgspecError, UnicodeDecodeError):
        pack = _decode_one_by_one(payload, faults)
    records: list[Record] = []
    base_name, base_time, base_unit, base_value = "", 0.0, None, 0.0
    for item in pack:
        if item is None:
            continue
        if item.version is not None and item.version > SENML_VERSION:
            faults.append(
                Fault(
                    Reason.MALFORMED,
                    "",
                    f"SenML version {item.version}: send {SENML_VERSION} or leave bver out",
                )
            )
            break
        base_name = base_name if item.base_name is None else item.base_name
        base_time = base_time if item.base_time is None else item.base_time
        base_unit = base_unit if item.base_unit is None else item.base_unit
        base_value = base_value if item.base_value is None else item.base_value
        name = base_name + item.name
        value = item.value
        if value is not None:
            value += base_value
        elif item.boolean is not None:
            value = 1.0 if item.boolean else 0.0
        else:
            if item.text is None and item.data is None and item.total is None and item.name == "":
                continue  # a record of base fields only
            faults.append(Fault(Reason.WRONG_TYPE, name, "no number: send the value as v (or vb for on and off)"))
            continue
        if not _NAME.fullmatch(name):
            faults.append(Fault(Reason.MALFORMED, name, f"{name!r} is no SenML name: put zone/quantity in bn and n"))
            continue
        if not math.isfinite(value):
            faults.append(Fault(Reason.NOT_FINITE, name, f"value {value}: leave a missing value out of the pack"))
            continue
        moment = base_time + item.time
        if not math.isfinite(moment) or abs(moment) > 1e11:
            faults.append(
                Fault(
                    Reason.MALFORMED,
                    name,
                    f"time {moment:g}: send seconds since 1970 UTC in bt and t",
                )
            )
            continue
        if moment == 0:
            time_us = None
        elif moment < RELATIVE_BELOW_S:
            time_us = now_us + round(moment * MICROSECONDS_PER_SECOND)
        else:
            time_us = round(moment * MICROSECONDS_PER_SECOND)
        records.append(Record(name, time_us, value, item.unit if item.unit is not None else base_unit))
    return records, faults


def _decode_one_by_one(payload: bytes, faults: list[Fault]) -> list[_SenmlRecord | None]:
    """Return each record that can be read, None for each that cannot, with its fault noted."""
    try:
        pack = json.loads(payload)  # reads NaN and Infinity, which JSON proper has not
    except (ValueError, RecursionError) as error:
        faults.append(Fault(Reason.MALFORMED, "", f'no valid JSON ({error}): send a SenML pack, [{{"n":…,"v":…}}]'))
        return []
    if not isinstance(pack, list):
        faults.append(Fault(Reason.MALFORMED, "", f"a JSON {_json_type(pack)}: send a list of SenML records, [{{…}}]"))
        return []
    records: list[_SenmlRecord | None] = []
    base_name = ""
    for item in pack:
        if isinstance(item, dict) and isinstance(item.get("bn"), str):
            base_name = item["bn"]
        try:
            records.append(msgspec.convert(item, _SenmlRecord))
        except (msgspec.ValidationError, OverflowError) as error:
            name = base_name + str(item.get("n", "")) if isinstance(item, dict) else ""
            faults.append(Fault(Reason.WRONG_TYPE, name, f"wrong type ({error}): v is a number, n a text"))
            records.append(_base_fields(item))
    return records


def _base_fields(item: Any) -> _SenmlRecord | None:  # noqa: ANN401  # any JSON value
    """Return a spoilt record's base fields, so that the records after it keep their meaning."""
    if not isinstance(item, dict):
        return None
    try:
        return msgspec.convert({key: item[key] for key in _BASE_FIELDS if key in item}, _SenmlRecord)
    except (msgspec.ValidationError, OverflowError):
        return None


def _json_type(value: object) -> str:
    return {dict: "object", str: "text", bool: "true or false", type(None): "null"}.get(type(value), "number")


_STATES = {b"on": 1.0, b"true": 1.0, b"off": 0.0, b"false": 0.0}
_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def decode_number(payload: bytes, name: str) -> tuple[list[Record], list[Fault]]:
    """Return the record of a message that is one bare number (or on, off, true, false)."""
    text = payload.strip()
    state = _STATES.get(text.lower())
    if state is not None:
        return [Record(name, None, state, None)], []
    if _NUMBER.fullmatch(text):
        value = float(text)
        if math.isfinite(value):
            return [Record(name, None, value, None)], []
    if text.lower().lstrip(b"+-") in (b"nan", b"inf", b"infinity") or _NUMBER.fullmatch(text):
        return [], [Fault(Reason.NOT_FINITE, name, f"value {_shown(text)}: send nothing where there is no value")]
    return [], [Fault(Reason.WRONG_TYPE, name, f"{_shown(text)} is no number: this topic carries one bare number")]


def looks_like_a_number(payload: bytes) -> bool:
    """Return whether a message is a bare number, so that only its topic is missing from the description."""
    return len(payload) < 40 and _NUMBER.fullmatch(payload.strip()) is not None


def _shown(payload: bytes, most: int = 40) -> str:
    return repr(payload[:most].decode("utf-8", "backslashreplace")) + ("…" if len(payload) > most else "")
