"""Readings and descriptions as Arrow tables, and how a table becomes Parquet or CSV."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from handover.choosing import Choice
from handover.cleaning import CleanCells
from handover.fields import Field
from handover.reading import Rows

if TYPE_CHECKING:
    import pyarrow as pa

MISSING_TEXT = "NA"
# What makes a spreadsheet take a cell for a formula: OWASP ASVS 5.0, 1.2.10 (= + - @ tab and null), and, from memory,
# OWASP's page "CSV Injection" (carriage return, line feed, the same signs in full width, and that a separator or quote
# within a text begins another cell for who reads the file otherwise than it was written). Behind spaces: our choice.
_BEGINS = r"(^|[;\t\r\n\"])"
_RISKY = re.compile(_BEGINS + r"(?=[\s\u00a0]*[=+\-@\uff1d\uff0b\uff0d\uff20\x00]|[\t\r\n\x00]|')")
APOSTROPHE_OFF = _BEGINS + "'"  # with what is before the apostrophe in its place, text is as it was
ROW_GROUP = 131_072


def schema_of(fields: Sequence[Field]) -> pa.Schema:
    """Return the Arrow schema of some columns."""
    import pyarrow as pa

    return pa.schema([field.arrow for field in fields])


class LongRows:
    """Makes batches of one row a reading or cell, out of what is read series by series."""

    def __init__(self, fields: Sequence[Field], choice: Choice) -> None:
        import pyarrow as pa

        self._local_days = any(field.name == "length_s" for field in fields)
        keys = pa.array([member.series.key for member in choice.members])
        self._keys = keys
        self.schema = schema_of(fields).set(
            0, pa.field("series", pa.dictionary(pa.int32(), pa.string()), False, fields[0].arrow.metadata)
        )

    def of_rows(self, member: int, rows: Rows) -> pa.RecordBatch:
        """Return readings of a series."""
        return self._batch(member, [rows.time_us, nullable(rows.arrived), rows.flag, rows.arrival_flag])

    def of_cells(self, member: int, cells: CleanCells) -> pa.RecordBatch:
        """Return cells of a series."""
        length = [lengths_s(cells.edges_us)] if self._local_days else []
        return self._batch(
            member,
            [
                cells.edges_us[:-1],
                *length,
                nullable(cells.value),
                cells.flag,
                cells.readings.astype(np.int32),
                cells.coverage,
            ],
        )

    def _batch(self, member: int, columns: Sequence[Any]) -> pa.RecordBatch:
        import pyarrow as pa

        numbers = pa.array(np.full(len(columns[0]), member, np.int32))
        arrays = [pa.DictionaryArray.from_arrays(numbers, self._keys)]
        for field, column in zip(list(self.schema)[1:], columns, strict=True):
            array = column if isinstance(column, pa.Array) else pa.array(column)
            arrays.append(array if array.type == field.type else array.cast(field.type))
        return pa.RecordBatch.from_arrays(arrays, schema=self.schema)


def nullable(values: NDArray[np.float64]) -> pa.Array:
    """Return values with nothing where they are NaN."""
    import pyarrow as pa

    return pa.array(values, from_pandas=True)


def lengths_s(edges_us: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the lengths of cells in whole seconds."""
    return np.diff(edges_us) // 1_000_000


def wide_batch(
    schema: pa.Schema, edges_us: NDArray[np.int64], cells: Mapping[int, Sequence[CleanCells]]
) -> pa.RecordBatch:
    """Return cells of all members side by side; where a member has none, there is nothing."""
    import pyarrow as pa

    rows, columns = len(edges_us) - 1, [pa.array(edges_us[:-1]).cast(schema.field("time").type)]
    if "length_s" in schema.names:
        columns.append(pa.array(lengths_s(edges_us)))
    for member in range((len(schema) - len(columns)) // 2):
        value, flag = np.full(rows, np.nan), np.zeros(rows, np.uint8)
        for found in cells.get(member, ()):
            before = int(np.searchsorted(edges_us, found.edges_us[0]))
            here = slice(before, before + len(found.value))
            value[here], flag[here] = found.value, found.flag
        columns += [nullable(value), pa.array(flag, mask=flag == 0)]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


class ParquetFile:
    """A Parquet file that grows batch by batch, in row groups of a bounded size."""

    def __init__(self, path: Path, schema: pa.Schema) -> None:
        import pyarrow.parquet as pq

        coded = {"DELTA_BINARY_PACKED": [name for name in ("time", "length_s", "count") if name in schema.names]}
        self._waiting: list[pa.RecordBatch] = []
        self._rows = 0
        self._schema = schema
        self._file = path.open("wb")
        self._writer = pq.ParquetWriter(
            self._file,
            schema,
            compression="zstd",
            compression_level=3,
            use_dictionary=[name for name in schema.names if name not in coded["DELTA_BINARY_PACKED"]],
            column_encoding={name: code for code, names in coded.items() for name in names},
            write_page_checksum=True,
        )

    def write(self, batch: pa.RecordBatch) -> None:
        """Add a batch; it is written when enough wait."""
        self._waiting.append(batch)
        self._rows += batch.num_rows
        if self._rows * len(self._schema) >= ROW_GROUP * 5:
            self._flush()

    def _flush(self) -> None:
        import pyarrow as pa

        if self._rows:
            table = pa.Table.from_batches(self._waiting, self._schema)
            self._writer.write_table(table, row_group_size=self._rows)
        self._waiting, self._rows = [], 0

    def close(self) -> None:
        """Write what waits, and the footer."""
        try:
            self._flush()
            self._writer.close()
        finally:
            self._file.close()


class CsvFile:
    """CSV as RFC 4180 has it, as read.csv and pandas read it: text in quotes, a decimal point, NA where nothing is."""

    def __init__(self, sink: IO[bytes] | io.RawIOBase, schema: pa.Schema, *, whole_seconds: bool = False) -> None:
        import pyarrow as pa
        import pyarrow.csv as pc

        self._sink = sink
        as_text = pa.schema([pa.field(one.name, self._text_type(one.type)) for one in schema])
        options = pc.WriteOptions(null_string=MISSING_TEXT, eol="\r\n", batch_size=8192)
        self._writer = pc.CSVWriter(sink, as_text, write_options=options)
        self._schema = as_text
        # Without the zone, which is UTC: text of it is made five times as fast.
        self._clock = pa.timestamp("s" if whole_seconds else "us")

    @staticmethod
    def _text_type(kind: pa.DataType) -> pa.DataType:
        import pyarrow as pa

        number = pa.types.is_integer(kind) or pa.types.is_floating(kind)
        return kind if number else pa.string()

    def write(self, batch: pa.RecordBatch) -> None:
        """Add a batch."""
        import pyarrow as pa

        arrays = [_csv_column(column, self._clock) for column in batch.columns]
        self._writer.write_batch(pa.RecordBatch.from_arrays(arrays, schema=self._schema))

    def finish(self) -> None:
        """Hand all that was written to the sink."""
        self._writer.close()

    def close(self) -> None:
        """Finish, and close the sink."""
        try:
            self.finish()
        finally:
            self._sink.close()


def _csv_column(column: pa.Array, clock: pa.DataType) -> pa.Array:
    import pyarrow as pa
    import pyarrow.compute as pc

    kind = column.type
    if pa.types.is_timestamp(kind):
        text = pc.cast(pc.cast(column, clock), pa.string())  # as 2026-03-01 00:00:00
        return pc.binary_join_element_wise(pc.utf8_replace_slice(text, 10, 11, "T"), "Z", "")
    if pa.types.is_boolean(kind):
        return pc.cast(column, pa.string())
    if pa.types.is_dictionary(kind):  # keys of series: they begin with a letter or a digit
        return column.dictionary_decode()
    return harmless(column) if pa.types.is_string(kind) else column


def harmless(text: pa.Array) -> pa.Array:
    """Return cells of text of which no spreadsheet takes any part for a formula.

    An apostrophe stands before what might be one, at the beginning and after what may begin another cell. It stands
    before an apostrophe there too, so that `APOSTROPHE_OFF` gives back every text.
    """
    import pyarrow as pa

    return pa.array([None if one is None else _RISKY.sub(r"\1'", one) for one in text.to_pylist()], text.type)


def small_table(fields: Sequence[Field], rows: Iterable[Sequence[Any]]) -> pa.RecordBatch:
    """Return rows of a description as a batch; empty text is nothing."""
    import pyarrow as pa

    columns = list(zip(*rows, strict=True)) or [()] * len(fields)
    schema = schema_of(fields)
    arrays = []
    for field, column in zip(schema, columns, strict=True):
        given = [None if value == "" else value for value in column]
        is_time = pa.types.is_timestamp(field.type)
        arrays.append(pa.array(given, pa.int64()).cast(field.type) if is_time else pa.array(given, field.type))
    return pa.RecordBatch.from_arrays(arrays, schema=schema)
