"""Kept sums of one series and UTC day, by the minute and by the hour, as compact bytes.

They live in the SQLite file beside the hot rows, because they must change in the same transaction as what
they sum up. Measured against Parquet: the hours of 60 days come in 3 ms instead of 40.
"""

from __future__ import annotations

import struct
from functools import cache
from typing import Any

import numpy as np

from store.summing import DAY_US, RUNGS, Sums, climbed

_COUNT = struct.Struct("<I")
_STRETCH = (("time_us", "<u2"), ("count", "<u4"), ("flag", "u1"))
_NUMBERS = ("total", "low", "high", "first", "last")
_FIELDS = (*_STRETCH, *((name, "<f8") for name in _NUMBERS))
_ROW_BYTES = sum(np.dtype(kind).itemsize for _, kind in _FIELDS)


@cache
def _codec() -> Any:  # noqa: ANN401  # an Arrow codec
    import pyarrow as pa

    return pa.Codec("zstd", compression_level=6)


def packed(sums: Sums, every_us: int) -> bytes:
    """Return stretches of ``every_us`` of one UTC day as bytes."""
    places = sums.time_us % DAY_US // every_us
    columns = (places if name == "time_us" else getattr(sums, name) for name, _ in _FIELDS)
    plain = b"".join(column.astype(kind).tobytes() for column, (_, kind) in zip(columns, _FIELDS, strict=True))
    return _COUNT.pack(len(sums)) + bytes(_codec().compress(plain, asbytes=True))


def unpacked(content: bytes, every_us: int, day: int) -> Sums:
    """Return the stretches of a day that `packed` made bytes of."""
    (count,) = _COUNT.unpack_from(content)
    plain = _codec().decompress(content[_COUNT.size :], decompressed_size=count * _ROW_BYTES)
    columns, place = {}, 0
    for name, kind in _FIELDS:
        columns[name] = np.frombuffer(plain, kind, count, place)
        place += count * np.dtype(kind).itemsize
    time_us = columns.pop("time_us").astype(np.int64) * every_us + day * DAY_US
    return Sums(time_us, columns.pop("count").astype(np.int64), **columns)


def of_day(minutes: Sums) -> list[tuple[int, bytes]]:
    """Return the kept sums of a day, given its minutes: each length with its bytes."""
    return [(rung, packed(climbed(minutes, rung), rung)) for rung in RUNGS]
