"""What InfluxDB 2 is told, as text: line protocol, Flux and delete predicates, each escaped by its own rules.

The layout of a bucket, one point a line (see ``docs/stores.md``):

===========  ==========================  =================================  ==========================
measurement  tags                        field                              time
===========  ==========================  =================================  ==========================
reading      farm, flag, series          value (float)                      of the reading
gap          farm, flag, series          value (float, always 0)            of a derived reading of NaN
series       farm, series                origin (string)                    0
note         farm, series                window (string)                    start of the hour
counter      (none)                      version (integer)                  0
===========  ==========================  =================================  ==========================

The flag is a tag, so that a reading is one field: it is seen whole or not at all, and the server can
sum up the readings of each flag without joining two fields.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from farm.readings import Series, instant, iso_time

# Line protocol's least and greatest times are 9223372036854775806 ns around 1970: here the first whole hour (a note's
# time) and the last whole microsecond, which is a range's end and never a reading's time.
EARLIEST_US, LATEST_US = -9_223_369_200_000_000, 9_223_372_036_854_775

EVER = (EARLIEST_US, LATEST_US)

READING, GAP, SERIES, NOTE, COUNTER = "reading", "gap", "series", "note", "counter"

# A quote or backslash would need three escapes that differ, a slash would make keys ambiguous, and line
# protocol has no way to write a line break in a tag.
_UNFIT = re.compile(r'[\x00-\x1f\x7f"\\/]')


def refuse_names_unfit(series: Series) -> None:
    """Raise ValueError if a part of a series' name cannot be kept as a tag."""
    for part, name in zip(series._fields, series, strict=True):
        if _UNFIT.search(name) or (not name and part != "sensor"):
            raise ValueError(
                f"{name!r} cannot be the {part} of a series in InfluxDB: "
                "write at least one character, and no quotation mark, backslash, slash or control character"
            )


def refuse_time_out_of_range(series: Series, time_us: int) -> None:
    """Raise ValueError if InfluxDB cannot hold a time."""
    if not EARLIEST_US <= time_us < LATEST_US:
        raise ValueError(
            f"{series.farm}/{series.key}: {time_us} us after 1970 is a time that InfluxDB cannot keep: "
            f"it holds {iso_time(EARLIEST_US)} to {iso_time(LATEST_US)}"
        )


def tag(text: str) -> str:
    """Return a tag's value as line protocol writes it: comma, equals sign and space escaped."""
    return re.sub(r"([,= ])", r"\\\1", text)


def tags(series: Series, flag: int | None = None) -> str:
    """Return a series' tags as line protocol writes them, in order of their keys."""
    flagged = "" if flag is None else f",flag={flag}"
    return f"farm={tag(series.farm)}{flagged},series={tag(series.key)}"


def value_start(measurement: str, series: Series, flag: int) -> str:
    """Return the start of a reading's line, up to its value."""
    return f"{measurement},{tags(series, flag)} value="


def string(text: str) -> str:
    """Return a Flux string literal; nothing in ``text`` can end it or be evaluated.

    The escapes are those of the Flux specification, Lexical elements, String literals.
    """
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("${", "\\${")
    return '"' + escaped.replace("\n", "\\n").replace("\r", "\\r").replace("\t", "\\t") + '"'


def equal(column: str, value: str) -> str:
    """Return a Flux condition on a column of our own naming."""
    return f'r["{column}"] == {string(value)}'


def any_of(column: str, values: Iterable[str]) -> str:
    """Return a Flux condition that a column holds one of some values."""
    return "(" + " or ".join(equal(column, value) for value in sorted(set(values))) + ")"


def clamped(time_us: int) -> int:
    """Return a time, moved to the nearest that InfluxDB knows."""
    return min(max(time_us, EARLIEST_US), LATEST_US)


def source(bucket: str, start_us: int, end_us: int, *conditions: str) -> str:
    """Return the start of a Flux query: a bucket's points in ``[start_us, end_us)`` that meet all conditions."""
    return (
        f"from(bucket: {string(bucket)})"
        f" |> range(start: {iso_time(clamped(start_us))}, stop: {iso_time(clamped(end_us))})"
        f" |> filter(fn: (r) => {' and '.join(conditions)})"
    )


def kept(*columns: str) -> str:
    """Return the Flux step that leaves only some columns in the answer."""
    return f" |> keep(columns: [{', '.join(map(string, columns))}])"


def named(name: str) -> str:
    """Return the Flux step that gives a result its name."""
    return f" |> yield(name: {string(name)})"


def predicate(measurement: str, **equals: str) -> str:
    """Return a delete predicate.

    Columns stand in quotation marks, because ``series`` is a keyword there. Names and values have neither
    quotation marks nor backslashes: see `refuse_names_unfit`.
    """
    return " AND ".join(f'"{column}"="{value}"' for column, value in {"_measurement": measurement, **equals}.items())


def just_before(end_us: int) -> str:
    """Return the last nanosecond before a time.

    Where a deletion's ``stop`` is documented at all, it is said to be included in one place and left
    open in others: a nanosecond before the end gives the half-open range either way.
    """
    return f"{instant(end_us - 1):%Y-%m-%dT%H:%M:%S.%f}999Z"
