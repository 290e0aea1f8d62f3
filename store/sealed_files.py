"""The Parquet files of sealed days: written once, read by series, never changed.

A file holds readings of one farm and UTC day, sorted by series and then time: ``series`` (the key within the
farm), ``time`` (microseconds since 1970 UTC), ``value`` (float64) and ``flag``. A row group ends with a series
once it holds ``GROUP_ROWS``, so that reading one series touches little else.
"""

from __future__ import annotations

import os
import zlib
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns
from store.contract import DayDamaged
from store.faults import file_fault

GROUP_ROWS = 4096
MOST_REMEMBERED = 64  # files whose footers are kept in memory
MOST_GROUPS = 128  # row groups kept in memory: neighbours are asked for next; 9 MB at the usual size
REMEDY = "Put the file back from a backup; 'leafweather store verify' tells all that is affected"
_COLUMNS = ["time", "value", "flag"]


class Vanished(Exception):
    """A file is not there (any more): the store's index may know of another by now."""


class Place(NamedTuple):
    """Where a series stands in a file."""

    row_group: int
    offset: int
    length: int


class Run(NamedTuple):
    """One series' readings in a file, and where they stand."""

    key: str
    place: Place
    columns: Columns


def write(path: Path, runs: Iterable[tuple[str, Columns]]) -> int:
    """Write a file of series and their readings, in order of the keys; return how many readings.

    Raises StoreUnavailable if the disk is full or may not be written.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema(
        [
            pa.field("series", pa.dictionary(pa.int32(), pa.string()), nullable=False),
            pa.field("time", pa.int64(), nullable=False),
            pa.field("value", pa.float64(), nullable=False),
            pa.field("flag", pa.uint8(), nullable=False),
        ]
    )
    readings = 0
    try:
        with (
            path.open("wb") as file,
            pq.ParquetWriter(
                file,
                schema,
                compression="zstd",
                compression_level=3,
                # Measured: 1.2 bytes a value of a sensor with two decimals; byte-stream-split takes 3.1.
                use_dictionary=["series", "value", "flag"],
                column_encoding={"time": "DELTA_BINARY_PACKED"},
                write_page_checksum=True,
                store_schema=False,
            ) as writer,
        ):
            for group in _groups(runs):
                keys = pa.DictionaryArray.from_arrays(
                    np.repeat(np.arange(len(group), dtype=np.int32), [len(columns) for _, columns in group]),
                    [key for key, _ in group],
                )
                arrays = [np.concatenate([getattr(columns, name) for _, columns in group])
                          for name in ("time_us", "value", "flag")]  # fmt: skip
                table = pa.Table.from_arrays([keys, *map(pa.array, arrays)], schema=schema)
                writer.write_table(table, row_group_size=max(len(table), 1))
                readings += len(table)
    except OSError as error:
        raise file_fault(path, error) from error
    return readings


def _groups(runs: Iterable[tuple[str, Columns]]) -> Iterator[list[tuple[str, Columns]]]:
    """Yield series together that make one row group."""
    group: list[tuple[str, Columns]] = []
    for run in runs:
        group.append(run)
        if sum(len(columns) for _, columns in group) >= GROUP_ROWS:
            yield group
            group = []
    if group:
        yield group


def runs(path: Path) -> Iterator[Run]:
    """Yield every series of a file with its readings. Raises DayDamaged and Vanished."""
    with _opened(path, None) as file:
        for row_group in range(file.num_row_groups):
            table = file.read_row_group(row_group)
            keys = table.column("series").combine_chunks()
            numbers = _array(keys.indices)
            firsts = np.flatnonzero(np.append(True, numbers[1:] != numbers[:-1])).tolist()
            whole = _columns(table)
            for first, end in zip(firsts, [*firsts[1:], len(whole)], strict=True):
                key = keys.dictionary[int(numbers[first])].as_py()
                yield Run(key, Place(row_group, first, end - first), _cut(whole, first, end))


def count(path: Path) -> int:
    """Return how many readings a file holds. Raises DayDamaged and Vanished."""
    with _opened(path, None) as file:
        return int(file.metadata.num_rows)


def columns(path: Path, footer_crc: int, place: Place) -> Columns:
    """Return the readings at a place of a file. Raises DayDamaged and Vanished."""
    whole = _groups_read.get(path, footer_crc, place.row_group)
    end = place.offset + place.length
    if end > len(whole):
        raise DayDamaged(f"{path}: it holds fewer readings than were sealed. {REMEDY}")
    return _cut(whole, place.offset, end)


def footer_crc(path: Path) -> int:
    """Return the checksum (CRC-32) of a file's footer, which says where everything is."""
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - 8, 0))
            length = int.from_bytes(file.read(4), "little")
            file.seek(max(size - 8 - length, 0))
            return zlib.crc32(file.read())
    except FileNotFoundError as error:
        raise Vanished(str(path)) from error
    except OSError as error:
        raise file_fault(path, error) from error


def _columns(table: Any) -> Columns:  # noqa: ANN401  # an Arrow table
    return Columns(*(_array(table.column(name).combine_chunks()) for name in _COLUMNS))


def _array(values: Any) -> NDArray[Any]:  # noqa: ANN401  # an Arrow array without nulls
    """Return the same numbers; Arrow's own ``to_numpy`` loads pandas where that is installed: 45 MB."""
    return np.from_dlpack(values)


def _cut(whole: Columns, first: int, end: int) -> Columns:
    return Columns(whole.time_us[first:end], whole.value[first:end], whole.flag[first:end])


class _Groups:
    """Row groups read last, by file as it is on disk: one that changes there is read, and checked, anew."""

    def __init__(self) -> None:
        self._read: OrderedDict[tuple[str, int, int, int, int], Columns] = OrderedDict()
        self._lock = Lock()

    def get(self, path: Path, footer_crc: int, row_group: int) -> Columns:
        try:
            now = path.stat()
        except FileNotFoundError as error:
            raise Vanished(str(path)) from error
        except OSError as error:
            raise file_fault(path, error) from error
        key = (str(path), now.st_ino, now.st_size, now.st_mtime_ns, row_group)
        with self._lock:
            if key in self._read:
                self._read.move_to_end(key)
                return self._read[key]
        with _opened(path, footer_crc) as file:
            found = _columns(file.read_row_group(row_group, columns=_COLUMNS, use_threads=False))
        with self._lock:
            self._read[key] = found
            if len(self._read) > MOST_GROUPS:
                self._read.popitem(last=False)
        return found


_groups_read = _Groups()
_footers: OrderedDict[tuple[str, int], Any] = OrderedDict()
_footers_lock = Lock()


def _footer(path: Path, expected_crc: int) -> Any:  # noqa: ANN401  # Parquet metadata
    """Return a file's footer, checked and remembered."""
    import pyarrow.parquet as pq

    key = (str(path), expected_crc)
    with _footers_lock:
        if key in _footers:
            _footers.move_to_end(key)
            return _footers[key]
    if footer_crc(path) != expected_crc:
        raise DayDamaged(f"{path}: it is not the file that was sealed. {REMEDY}")
    footer = pq.read_metadata(path)
    with _footers_lock:
        _footers[key] = footer
        if len(_footers) > MOST_REMEMBERED:
            _footers.popitem(last=False)
    return footer


@contextmanager
def _opened(path: Path, crc: int | None) -> Iterator[Any]:
    """Hold an open file, and tell what goes wrong with it."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        metadata = None if crc is None else _footer(path, crc)
        with pq.ParquetFile(
            path, metadata=metadata, page_checksum_verification=True, read_dictionary=["series"]
        ) as file:
            yield file
    except FileNotFoundError as error:
        raise Vanished(str(path)) from error
    except PermissionError as error:
        raise file_fault(path, error) from error
    except (OSError, pa.ArrowException, ValueError, KeyError, IndexError) as error:
        raise DayDamaged(f"{path}: it is damaged ({error}). {REMEDY}") from error
