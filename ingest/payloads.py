"""Which form a message has, and the simplest one: one bare number."""

from __future__ import annotations

import math
import re
from enum import StrEnum

from farm.units import ON_OFF
from ingest.records import Decoded, Fault, Record
from ingest.senml import SELF_DESCRIBED_CBOR
from store.entries import Reason


class Form(StrEnum):
    """What the bytes of a message are taken for."""

    SENML_JSON = "SenML JSON"
    SENML_CBOR = "SenML CBOR"
    BARE_NUMBER = "one bare number"
    JSON_OBJECT = "a JSON object"
    OTHER = "none of these"


# RFC 8428 and RFC 9193, media types; a stream of records in one MQTT message is a pack like another.
_BY_CONTENT_TYPE = {
    "application/senml+json": Form.SENML_JSON,
    "application/sensml+json": Form.SENML_JSON,
    "application/senml+cbor": Form.SENML_CBOR,
    "application/sensml+cbor": Form.SENML_CBOR,
}
_STATES = {b"on": 1.0, b"true": 1.0, b"off": 0.0, b"false": 0.0}
_NUMBER = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_LONGEST_NUMBER = 40  # bytes


def stated_form(content_type: str | None) -> Form | None:
    """Return the form that MQTT 5's content type names; None where it names no SenML."""
    if not content_type:
        return None
    return _BY_CONTENT_TYPE.get(content_type.partition(";")[0].strip().lower())


def form_of(payload: bytes) -> Form:
    """Return what a message is by its first byte.

    A JSON pack begins with ``[``, a CBOR pack with an array's head, 0x80 to 0x9f, which no JSON text
    and no UTF-8 text begins with (or with CBOR's own mark before it).
    """
    first = payload[:1]
    if first == b"[":
        return Form.SENML_JSON
    if b"\x80" <= first <= b"\x9f" or payload.startswith(SELF_DESCRIBED_CBOR):
        return Form.SENML_CBOR
    if looks_like_a_number(payload):
        return Form.BARE_NUMBER
    return {b"[": Form.SENML_JSON, b"{": Form.JSON_OBJECT}.get(payload.lstrip()[:1], Form.OTHER)


def number_of(text: bytes) -> float | None:
    """Return the number that a text is (on and true are 1, off and false 0); None where it is none."""
    text = text.strip()
    state = _STATES.get(text.lower())
    if state is not None:
        return state
    return float(text) if _NUMBER.fullmatch(text) else None


def decode_number(payload: bytes, name: str) -> Decoded:
    """Return the record of a message that is one bare number (or on, off, true, false)."""
    text = payload.strip()
    value = number_of(text)
    if value is not None and math.isfinite(value):
        return [Record(name, None, value, ON_OFF if text.lower() in _STATES else None)], []
    if value is not None or text.lower().lstrip(b"+-") in (b"nan", b"inf", b"infinity"):
        return [], [Fault(Reason.NOT_FINITE, name, f"value {_shown(text)}: send nothing where there is no value")]
    return [], [Fault(Reason.WRONG_TYPE, name, f"{_shown(text)} is no number: this topic carries one bare number")]


def looks_like_a_number(payload: bytes) -> bool:
    """Return whether a message is a bare number, so that only its topic is missing from the description."""
    return len(payload) < _LONGEST_NUMBER and _NUMBER.fullmatch(payload.strip()) is not None


def _shown(payload: bytes, most: int = 40) -> str:
    return repr(payload[:most].decode("utf-8", "backslashreplace")) + ("…" if len(payload) > most else "")
