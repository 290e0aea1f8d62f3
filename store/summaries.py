"""One request for summed-up readings: which kept rollups answer it, and which readings fill in the rest.

A day's rollup answers where the day has no hot rows. Hot rows on a sealed day are late ones: they make the
day dirty, and its readings are summed up anew until it is sealed again.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

import numpy as np

from farm.readings import Columns
from store import embedded_sql as sql
from store import hot_hours, rollups
from store.hot_readings import hot_rows
from store.sealed_days import SealedDays, Span
from store.summing import DAY_US, Sums, climbed, joined, rung_below, summed


class Found(NamedTuple):
    """What one moment of the SQLite file says about a range of a series."""

    hot: Columns
    hot_minutes: Sums | None  # of hours whose rows are not in `hot`
    spans: list[Span]
    rollups: dict[int, bytes]  # by day


class Summary:
    """A range of time, and the length of the stretches to sum it up over."""

    def __init__(self, start_us: int, end_us: int, every_us: int) -> None:
        self._start_us, self._end_us, self._every_us = start_us, end_us, every_us
        self._rung = rung_below(every_us)

    def hot(self, connection: sqlite3.Connection, series: int) -> tuple[Columns, Sums | None]:
        """Return the hot readings, by the minute where that serves."""
        if self._rung is None:
            return hot_rows(connection, series, self._start_us, self._end_us), None
        return hot_hours.rows_and_sums(connection, series, self._start_us, self._end_us)

    def rollups(self, connection: sqlite3.Connection, series: int) -> dict[int, bytes]:
        """Return the kept sums that may be of use, by day."""
        if self._rung is None:
            return {}
        days = (self._start_us // DAY_US, (self._end_us - 1) // DAY_US)
        return dict(connection.execute(sql.ROLLUPS, (series, self._rung, *days)).fetchall())

    def sums(self, found: Found, sealed: SealedDays) -> Sums:
        """Return the stretches. Raises DayDamaged and Vanished."""
        if self._rung is None or (not found.rollups and found.hot_minutes is None):
            whole = [(self._start_us, self._end_us)]
            return summed(sealed.merged(found.hot, found.spans, whole), self._every_us)
        return climbed(joined(self._on_rung(found, self._rung, sealed)), self._every_us)

    def _on_rung(self, found: Found, rung: int, sealed: SealedDays) -> list[Sums]:
        """Return the stretches of the kept length, from rollups where they serve and from readings elsewhere."""
        hot_days = set(np.unique(found.hot.time_us // DAY_US).tolist())
        sealed_days = {span.part.day for span in found.spans}
        parts = [] if found.hot_minutes is None else [climbed(found.hot_minutes, rung)]
        from_readings = []
        for day in sorted(hot_days | sealed_days | found.rollups.keys()):
            begin, end = max(self._start_us, day * DAY_US), min(self._end_us, (day + 1) * DAY_US)
            if day not in found.rollups or (day in hot_days and day in sealed_days):
                from_readings.append((begin, end))
                continue
            first, last = -(-begin // rung) * rung, end // rung * rung
            parts.append(rollups.unpacked(found.rollups[day], rung, day).between(first, last))
            if day in hot_days:  # its older readings are dropped, these came since
                from_readings.append((begin, end))
            else:
                from_readings += [(begin, min(first, end)), (max(last, first), end)]
        ranges = [(begin, end) for begin, end in from_readings if begin < end]
        parts.append(summed(sealed.merged(found.hot, found.spans, ranges), rung))
        return parts
