"""What the SQLite file itself holds of a series: measured readings as rows, derived ones in blocks.

Measured readings come one by one and in any order. Derived ones are replaced a stretch at a time, and a long stretch
as a few blocks is stored several times as fast as row by row. Blocks of a series never overlap.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns
from store import embedded_sql as sql
from store.sealed_days import merged, within

MOST_IN_BLOCK = 400  # readings, of 17 bytes: so much is written anew where a stretch grows; our choice, no source
_ROW = np.dtype([("time_us", np.int64), ("value", np.float64), ("flag", np.uint8)])
_NAMES = ("time_us", "value", "flag")
_KINDS = ("<i8", "<f8", "u1")  # of the columns in a block, one after another

Row = tuple[int, float | None, int]  # time, value (None for NaN), flag


class _Block(NamedTuple):
    first_us: int
    last_us: int
    content: bytes

    def columns(self) -> Columns:
        count, place, columns = len(self.content) // _ROW.itemsize, 0, []
        for kind in _KINDS:
            columns.append(np.frombuffer(self.content, kind, count, place))
            place += columns[-1].nbytes
        return Columns(*columns)


def hot_rows(connection: sqlite3.Connection, series: int, start_us: int, end_us: int) -> Columns:
    """Return what the SQLite file itself holds of a series in a range."""
    rows = np.fromiter(connection.execute(sql.READINGS, (series, start_us, end_us)), _ROW)
    found = Columns(*(np.ascontiguousarray(rows[name]) for name in _NAMES))
    blocks = _blocks(connection, series, start_us, end_us)
    if not blocks:
        return found
    return merged([within(one.columns(), [(start_us, end_us)]) for one in blocks], found)


def last_before(connection: sqlite3.Connection, series: int, before_us: int) -> Row | None:
    """Return the newest hot reading before an instant; None where there is none."""
    row: Row | None = connection.execute(sql.LAST_BEFORE, (series, before_us)).fetchone()
    block = connection.execute(sql.BLOCK_BEFORE, (series, before_us)).fetchone()
    if block is None:
        return row
    columns = _Block(*block).columns()
    place = int(np.searchsorted(columns.time_us, before_us)) - 1
    last = (int(columns.time_us[place]), float(columns.value[place]), int(columns.flag[place]))
    return last if row is None or row[0] < last[0] else row


def next_time(connection: sqlite3.Connection, series: int, start_us: int, end_us: int) -> int | None:
    """Return when the first hot reading of a range is; None where there is none."""
    (row_us,) = connection.execute(sql.NEXT_READING, (series, start_us, end_us)).fetchone()
    found = [] if row_us is None else [int(row_us)]
    block = connection.execute(sql.BLOCKS + " LIMIT 1", _range(series, start_us, end_us)).fetchone()
    if block is not None:
        time_us = _Block(*block).columns().time_us
        place = int(np.searchsorted(time_us, start_us))
        found += [int(one) for one in time_us[place : place + 1] if one < end_us]
    return min(found, default=None)


def replace_derived(connection: sqlite3.Connection, series: int, start_us: int, end_us: int, columns: Columns) -> None:
    """Within a transaction: make ``columns`` the only hot readings of a derived series in a range."""
    if start_us >= end_us:
        return
    connection.execute(sql.CLEAR_READINGS, (series, start_us, end_us))  # rows of before there were blocks
    blocks = _blocks(connection, series, start_us, end_us)
    pieces = [columns]
    if blocks:
        pieces.insert(0, within(blocks[0].columns(), [(blocks[0].first_us, start_us)]))
        pieces.append(within(blocks[-1].columns(), [(end_us, blocks[-1].last_us + 1)]))
    if not blocks or blocks[0].first_us >= start_us:
        neighbour = connection.execute(sql.BLOCK_BEFORE, (series, start_us)).fetchone()
        if neighbour is not None:  # a stretch that grows fills its last block before it begins another
            held = _Block(*neighbour)
            rows = held.columns()
            if len(columns) and len(rows) + sum(map(len, pieces)) <= MOST_IN_BLOCK:
                blocks.insert(0, held)
                pieces.insert(0, rows)
    if blocks:
        connection.execute(sql.REMOVE_BLOCKS, (series, blocks[0].first_us, blocks[-1].first_us))
    whole = [np.concatenate([getattr(piece, name) for piece in pieces]) for name in _NAMES]
    connection.executemany(
        sql.ADD_BLOCK,
        [
            (series, *_packed([column[first : first + MOST_IN_BLOCK] for column in whole]))
            for first in range(0, len(whole[0]), MOST_IN_BLOCK)
        ],
    )


def clear(connection: sqlite3.Connection, series: int, start_us: int, end_us: int) -> None:
    """Within a transaction: remove the hot readings of a range."""
    replace_derived(connection, series, start_us, end_us, Columns.empty())


def remove(connection: sqlite3.Connection, series: int, time_us: NDArray[np.int64]) -> None:
    """Within a transaction: remove the hot readings at some ascending instants."""
    connection.executemany(sql.REMOVE_READING, [(series, one) for one in time_us.tolist()])
    if len(time_us) == 0:
        return
    start_us, end_us = int(time_us[0]), int(time_us[-1]) + 1
    if _blocks(connection, series, start_us, end_us):
        held = hot_rows(connection, series, start_us, end_us)
        stays = ~np.isin(held.time_us, time_us)
        left = Columns(*(getattr(held, name)[stays] for name in _NAMES))
        replace_derived(connection, series, start_us, end_us, left)


def note_latest(connection: sqlite3.Connection, series: int) -> None:
    """Within a transaction: note anew which reading of a series is the newest, hot or sealed."""
    connection.execute(sql.CLEAR_LATEST, (series,))
    connection.execute(sql.FIND_LATEST, {"series": series})
    newest = connection.execute(sql.NEWEST_BLOCK, (series,)).fetchone()
    if newest is not None:
        columns = _Block(*newest).columns()
        last = (int(columns.time_us[-1]), float(columns.value[-1]), int(columns.flag[-1]))
        connection.execute(sql.MOVE_LATEST, (series, *last))


def _blocks(connection: sqlite3.Connection, series: int, start_us: int, end_us: int) -> list[_Block]:
    """Return the blocks that reach into a range, in order."""
    return [_Block(*row) for row in connection.execute(sql.BLOCKS, _range(series, start_us, end_us))]


def _range(series: int, start_us: int, end_us: int) -> dict[str, int]:
    return {"series": series, "start": start_us, "end": end_us}


def _packed(columns: list[NDArray[np.generic]]) -> tuple[int, int, int, bytes]:
    """Return first and last time, number and content of a block."""
    time_us = columns[0]
    content = b"".join(column.astype(kind).tobytes() for column, kind in zip(columns, _KINDS, strict=True))
    return int(time_us[0]), int(time_us[-1]), len(time_us), content
