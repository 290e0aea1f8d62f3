"""Line protocol, read strictly: what InfluxDB 2's documentation of the grammar does not allow is refused.

Source: InfluxDB OSS v2 documentation, "Line protocol": elements, data types and format, special
characters, naming restrictions, timestamps. One thing is stricter than the page: a backslash in a tag
or measurement that escapes nothing is refused, because the page leaves open what it means at the end.
"""

from __future__ import annotations

import re
from typing import NamedTuple

UNITS = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 1_000_000_000}
EARLIEST_NS, LATEST_NS = -9223372036854775806, 9223372036854775806
STRING_LIMIT = 64 * 1024

_FLOAT = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
_INTEGER = re.compile(r"[+-]?\d+i")
_TIME = re.compile(r"-?\d+")
_TRUE, _FALSE = {"t", "T", "true", "True", "TRUE"}, {"f", "F", "false", "False", "FALSE"}


class Malformed(Exception):
    """A line that the grammar does not allow."""


class Point(NamedTuple):
    measurement: str
    tags: tuple[tuple[str, str], ...]
    fields: dict[str, object]
    time_ns: int


def parsed(text: str, precision: str) -> list[Point]:
    """Return the points of a write request's body; the first malformed line refuses them all."""
    return [point(line, UNITS[precision]) for line in text.split("\n") if line and not line.startswith("#")]


def point(line: str, unit_ns: int) -> Point:
    rest = line
    measurement, rest = taken(rest, ", ", escapes=", ")
    tags = []
    while rest.startswith(","):
        key, rest = taken(rest[1:], "=", escapes=",= ", refused=", ")
        value, rest = taken(expected(rest, "="), ", ", escapes=",= ", refused="=")
        tags.append((name(key), filled(value, "tag value")))
    if [key for key, _ in tags] != sorted({key for key, _ in tags}):
        raise Malformed(f"tags out of order, or twice: {line!r}")  # advice for speed, which the engine means to follow
    rest = expected(rest, " ")
    fields: dict[str, object] = {}
    while True:
        key, rest = taken(rest, "=", escapes=",= ", refused=", ")
        value, rest = field(expected(rest, "="))
        fields[name(key)] = value
        if not rest.startswith(","):
            break
        rest = rest[1:]
    stamp = expected(rest, " ")  # optional in the grammar; without it the server's clock would stand in
    if not _TIME.fullmatch(stamp):
        raise Malformed(f"bad timestamp: {line!r}")
    time_ns = int(stamp) * unit_ns
    if not EARLIEST_NS <= time_ns <= LATEST_NS:
        raise Malformed(f"time outside range: {line!r}")
    return Point(name(measurement), tuple(tags), fields, time_ns)


def taken(text: str, ends: str, *, escapes: str, refused: str = "") -> tuple[str, str]:
    """Return the name at the start of a text, up to one of ``ends``, and the rest."""
    out, place = [], 0
    while place < len(text):
        letter = text[place]
        if letter == "\\":
            if text[place + 1 : place + 2] not in tuple(escapes):
                raise Malformed(f"a backslash that escapes nothing: {text!r}")
            out.append(text[place + 1])
            place += 2
            continue
        if letter in ends:
            return "".join(out), text[place:]
        if letter in refused:
            raise Malformed(f"{letter!r} must be escaped: {text!r}")
        out.append(letter)
        place += 1
    raise Malformed(f"ends too early: {text!r}")


def field(text: str) -> tuple[object, str]:
    if text.startswith('"'):
        match = re.match(r'"((?:[^"\\]|\\["\\])*)"', text)
        if match is None:
            raise Malformed(f"bad string field: {text!r}")
        value = re.sub(r"\\(.)", r"\1", match[1])
        if len(value.encode()) > STRING_LIMIT:
            raise Malformed("string field longer than 64 KB")
        return value, text[match.end() :]
    word = re.split(r"[, ]", text, maxsplit=1)[0]
    if word in _TRUE | _FALSE:
        value = word in _TRUE
    elif _INTEGER.fullmatch(word):
        value = int(word[:-1])
        if not -(2**63) <= value < 2**63:
            raise Malformed(f"integer out of range: {text!r}")
    elif _FLOAT.fullmatch(word):
        value = float(word)
    else:
        raise Malformed(f"bad field value: {text!r}")  # NaN and infinity among them
    return value, text[len(word) :]


def name(text: str) -> str:
    if text.startswith("_"):
        raise Malformed(f"names that begin with an underscore are reserved: {text!r}")
    return filled(text, "name")


def filled(text: str, what: str) -> str:
    if not text:
        raise Malformed(f"empty {what}")
    return text


def expected(text: str, letter: str) -> str:
    if not text.startswith(letter):
        raise Malformed(f"{letter!r} is missing before {text!r}")
    return text[len(letter) :]
