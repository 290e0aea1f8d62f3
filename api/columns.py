"""Readings as they leave: JSON, Arrow and CSV, straight from the arrays."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from api.problems import Problem
from api.spans import Span
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series, iso_time
from store.contract import Buckets, ReadingStore

MOST_POINTS = 200_000  # in one answer; our choice, no source: about 8 MB of JSON
CSV_ROWS_AT_ONCE = 10_000
READ_AT_ONCE_US = 7 * 86_400 * MICROSECONDS_PER_SECOND

ARROW_MEDIA_TYPE = "application/vnd.apache.arrow.stream"


def single_readings(store: ReadingStore, series: Series, span: Span) -> Columns:
    """Return every reading of a series in a range.

    Raises
    ------
    Problem
        422, if there are more than one answer may hold.
    """
    parts, points = [], 0
    for start_us in range(span.start_us, span.end_us, READ_AT_ONCE_US):
        part = store.read(series, start_us, min(start_us + READ_AT_ONCE_US, span.end_us))
        parts.append(part)
        points += len(part)
        if points > MOST_POINTS:
            raise too_many("more than", MOST_POINTS)
    if not parts:
        return Columns.empty()
    return Columns(
        np.concatenate([part.time_us for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.flag for part in parts]),
    )


def summed_up(store: ReadingStore, series: Series, span: Span, every_us: int) -> Buckets:
    """Return a series' readings summed up over equal stretches.

    Raises
    ------
    Problem
        422, if there are more stretches than one answer may hold.
    """
    stretches = -(-(span.end_us - span.start_us) // every_us)
    if stretches > MOST_POINTS:
        raise too_many("up to", stretches)
    return store.aggregate(series, span.start_us, span.end_us, every_us)


def too_many(how: str, points: int) -> Problem:
    """Return the problem of an answer that would be too large."""
    remedy = "Ask for a shorter range, or for a longer stretch with every, as in every=5m or every=1h."
    return Problem(
        422,
        f"The range holds {how} {points:,} points, and one answer may hold {MOST_POINTS:,}. {remedy}",
        errors=[{"parameter": "every", "found": None, "allowed": remedy}],
    )


def named_columns(readings: Columns | Buckets) -> dict[str, NDArray[Any]]:
    """Return the columns under the names they have outside, in their order."""
    if isinstance(readings, Columns):
        return {"time": readings.time_us, "value": readings.value, "flag": readings.flag}
    return {
        "time": readings.time_us,
        "value": readings.mean,
        "low": readings.low,
        "high": readings.high,
        "count": readings.count,
        "flag": readings.flag,
    }


def iso_times(time_us: NDArray[np.int64]) -> list[str]:
    """Return instants as ISO 8601 in UTC, with fractions only where there are some."""
    whole = not np.any(time_us % MICROSECONDS_PER_SECOND)
    text: list[str] = np.datetime_as_string(
        time_us.astype("datetime64[us]"), unit="s" if whole else "us", timezone="UTC"
    ).tolist()
    return text


def as_json(series: Series, span: Span, every_us: int | None, readings: Columns | Buckets) -> bytes:
    """Return columns as JSON; a value that is not a number becomes null."""
    columns = named_columns(readings)
    body: dict[str, Any] = {
        "series": series.key,
        "unit": series.registered.unit,
        "start": iso_time(span.start_us),
        "end": iso_time(span.end_us),
        "every_s": every_us / MICROSECONDS_PER_SECOND if every_us is not None else None,
    }
    body |= {name: iso_times(column) if name == "time" else column.tolist() for name, column in columns.items()}
    return msgspec.json.encode(body)


def as_arrow(series: Series, span: Span, every_us: int | None, readings: Columns | Buckets) -> bytes:
    """Return columns as an Arrow IPC stream; units stand in the metadata of their fields."""
    import pyarrow as pa

    columns = named_columns(readings)
    quantity = series.registered
    measured = {"unit": quantity.unit, "ucum": quantity.ucum}
    metadata = {"value": measured, "low": measured, "high": measured, "flag": {"scale": "QARTOD"}}
    fields, arrays = [], []
    for name, column in columns.items():
        array = pa.array(column)
        if name == "time":
            array = array.cast(pa.timestamp("us", tz="UTC"))
        arrays.append(array)
        fields.append(pa.field(name, array.type, metadata=metadata.get(name)))
    about = {"series": series.key, "start": iso_time(span.start_us), "end": iso_time(span.end_us)}
    if every_us is not None:
        about["every_s"] = f"{every_us / MICROSECONDS_PER_SECOND:g}"
    schema = pa.schema(fields, metadata=about)
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, schema) as writer:
        writer.write_batch(pa.record_batch(arrays, schema=schema))
    content: bytes = sink.getvalue().to_pybytes()
    return content


def as_csv(series: Series, readings: Columns | Buckets) -> Iterator[str]:
    """Yield columns as CSV (RFC 4180), some rows at a time; a value that is not a number is left empty."""
    columns = named_columns(readings)
    unit = series.registered.unit
    with_unit = {name: f"{name} [{unit}]" for name in ("value", "low", "high")}
    yield ",".join(with_unit.get(name, name) for name in columns) + "\r\n"
    for first in range(0, len(columns["time"]), CSV_ROWS_AT_ONCE):
        part = {name: column[first : first + CSV_ROWS_AT_ONCE] for name, column in columns.items()}
        cells = [iso_times(column) if name == "time" else _cells(column) for name, column in part.items()]
        yield "".join(",".join(row) + "\r\n" for row in zip(*cells, strict=True))


def _cells(column: NDArray[Any]) -> list[str]:
    """Numbers as the shortest text that reads back the same."""
    return ["" if value != value else repr(value) for value in column.tolist()]
