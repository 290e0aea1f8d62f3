"""Kept sums of hours that are still hot, so that a chart of some days need not read every hot row.

An hour's sums are made when it is over, and removed in the same transaction as any change of its readings:
an hour without them is dirty, and is read row by row until it is rolled up again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection

from farm.readings import Columns
from store import embedded_sql as sql
from store import rollups
from store.connections import Connections
from store.fault_points import reached
from store.hot_readings import hot_rows, next_time
from store.sealed_days import merged
from store.summing import DAY_US, HOUR_US, MINUTE_US, Sums, joined, summed

HOURS_AT_ONCE = 50  # in one transaction, for as long as which ingest waits


def roll_up(connections: Connections, farm: str, before_us: int) -> int:
    """Make the sums of a farm's hours that are over before an instant and dirty; return how many."""
    with connections.reading() as connection:
        series = [row[0] for row in connection.execute(sql.SERIES_OF, (farm,)).fetchall()]
        dirty = [(number, hour) for number in series for hour in _dirty(connection, number, before_us // HOUR_US)]
    for first in range(0, len(dirty), HOURS_AT_ONCE):
        with connections.writing() as connection:
            for number, hour in dirty[first : first + HOURS_AT_ONCE]:
                rows = hot_rows(connection, number, hour * HOUR_US, (hour + 1) * HOUR_US)
                sealed = connection.execute(sql.HAS_SPAN, (number, hour * HOUR_US // DAY_US)).fetchone()
                if len(rows) and sealed is None:  # else it was sealed meanwhile
                    sums = rollups.packed(summed(rows, MINUTE_US), MINUTE_US)
                    connection.execute(sql.ADD_HOT_HOUR, (number, hour, sums))
            reached("hours rolled up")
    return len(dirty)


def _dirty(connection: sqlite3.Connection, number: int, before_hour: int) -> list[int]:
    """Return the hours of a series that have hot rows and no sums; days that are sealed have their own."""
    kept = {row[0] for row in connection.execute(sql.HOT_HOURS_KEPT, (number,))}
    found: list[int] = []
    start_us = -(1 << 63)
    while True:
        next_us = next_time(connection, number, start_us, before_hour * HOUR_US)
        if next_us is None:
            return found
        hour = next_us // HOUR_US
        start_us = (hour + 1) * HOUR_US
        if connection.execute(sql.HAS_SPAN, (number, next_us // DAY_US)).fetchone() is not None:
            start_us = (next_us // DAY_US + 1) * DAY_US
        elif hour not in kept:
            found.append(hour)


def forget(connection: sqlite3.Connection, hours: Collection[tuple[int, int]]) -> None:
    """Within a transaction that changes readings: drop the sums of these (series, hour)."""
    (newest,) = connection.execute(sql.NEWEST_HOT_HOUR).fetchone()
    if newest is not None:
        connection.executemany(sql.REMOVE_HOT_HOUR, [one for one in hours if one[1] <= newest])


def forget_range(connection: sqlite3.Connection, number: int, start_us: int, end_us: int) -> None:
    """Within a transaction that changes readings: drop the sums that reach into a range of a series."""
    connection.execute(sql.REMOVE_HOT_HOURS, (number, start_us // HOUR_US, (end_us - 1) // HOUR_US))


def rows_and_sums(
    connection: sqlite3.Connection, number: int, start_us: int, end_us: int
) -> tuple[Columns, Sums | None]:
    """Return a series' hot readings in a range: by the minute where they are kept so, else one by one."""
    whole = (-(-start_us // HOUR_US), end_us // HOUR_US)
    kept = connection.execute(sql.HOT_HOURS, (number, *whole)).fetchall()
    ranges, begin_us = [], start_us
    for hour, _ in kept:
        if begin_us < hour * HOUR_US:
            ranges.append((begin_us, hour * HOUR_US))
        begin_us = (hour + 1) * HOUR_US
    ranges.append((begin_us, end_us))
    rows = merged(
        [hot_rows(connection, number, *one) for one in ranges[:-1]], hot_rows(connection, number, *ranges[-1])
    )
    if not kept:
        return rows, None
    return rows, joined([rollups.unpacked(content, MINUTE_US, hour * HOUR_US // DAY_US) for hour, content in kept])
