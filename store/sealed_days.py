"""What is read of sealed days: which files hold a series' readings, and those readings.

Only a *span* (one series, one day, one file) makes rows of a file count. Spans change in the same SQLite
transaction as the hot rows, so every reading counts exactly once at any moment.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import quote, unquote

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns, Series
from store import embedded_sql as sql
from store import sealed_files
from store.contract import DayDamaged, Origin
from store.manifest import FILE_NAME as MANIFEST
from store.sealed_files import Place, Vanished
from store.summing import DAY_US

FOLDER = "sealed"
_NAMES = ("time_us", "value", "flag")


class Part(NamedTuple):
    """A sealed file: measured or derived readings of one farm and UTC day."""

    farm: str
    origin: Origin
    day: int
    version: int

    @property
    def date(self) -> str:
        """The day as ``2026-03-01``."""
        return day_name(self.day)

    @property
    def file(self) -> str:
        """The file's name within the farm's folder; also what its manifest calls it."""
        return f"{self.origin}/{self.date}.{self.version}.parquet"

    def path(self, folder: Path) -> Path:
        """Return where the file is, given the store's folder."""
        return _path(self, folder)


class Span(NamedTuple):
    """What counts of a file: one series' readings on one day."""

    series: int
    number: int
    part: Part
    footer: int
    place: Place
    first_us: int
    last_us: int
    last_value: float | None
    last_flag: int


@lru_cache(maxsize=1024)  # asked for once a series and day
def _path(part: Part, folder: Path) -> Path:
    return farm_folder(folder, part.farm) / part.file


@lru_cache(maxsize=64)
def farm_folder(folder: Path, farm: str) -> Path:
    """Return where a farm's sealed files are; any name makes a safe folder."""
    return folder / FOLDER / (quote(farm, safe="").replace(".", "%2E") or "%")


def farms_sealed(folder: Path) -> set[str]:
    """Return the farms that have a manifest on disk, whether or not the SQLite file knows of them."""
    names = [one.parent.name for one in (folder / FOLDER).glob(f"*/{MANIFEST}")]
    return {"" if name == "%" else unquote(name) for name in names}


def name_in_file(series: Series) -> str:
    """Return what a series is called in its farm's files: its key, with odd characters written as %2F and the like."""
    return "/".join(quote(part, safe="") for part in (series[1:] if series.sensor else series[1:3]))


def series_in_file(farm: str, name: str) -> Series:
    """Return the series that `name_in_file` gave a name."""
    return Series(farm, *map(unquote, name.split("/")))


def day_name(day: int) -> str:
    """Return a number of days since 1970 as a date, of any year."""
    return str(np.datetime64(day, "D"))


def day_number(date: str) -> int:
    """Return a date as its number of days since 1970."""
    return int(np.datetime64(date, "D").astype(np.int64))


class SealedDays:
    """Reads a store's sealed files by way of the spans in its SQLite file."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._remembered = lru_cache(maxsize=64)(self._columns)  # for floods of late readings of few days

    @staticmethod
    def spans(connection: sqlite3.Connection, series: int, start_us: int, end_us: int) -> list[Span]:
        """Return the spans that reach into a range, in order of day and version."""
        rows = connection.execute(sql.SPANS, (series, start_us // DAY_US, (end_us - 1) // DAY_US))
        return [one for one in map(_span, rows) if one.first_us < end_us and one.last_us >= start_us]

    @staticmethod
    def newest_spans(connection: sqlite3.Connection, series: int, before_us: int) -> list[Span]:
        """Return the spans of the newest day that has one with a reading before an instant."""
        query = (series, before_us, series, (before_us - 1) // DAY_US, before_us)
        return [_span(row) for row in connection.execute(sql.NEWEST_SPANS, query)]

    def columns(self, span: Span) -> Columns:
        """Return the readings of a span. Raises DayDamaged and Vanished."""
        return self._columns(span.part, span.footer, span.place)

    def merged(self, hot: Columns, spans: Sequence[Span], ranges: Sequence[tuple[int, int]]) -> Columns:
        """Return sealed and hot readings inside ranges, which are in ascending order and apart.

        Raises DayDamaged and Vanished, only for files that hold readings in the ranges.
        """
        needed = [span for span in spans
                  if any(span.first_us < end and span.last_us >= start for start, end in ranges)]  # fmt: skip
        return merged([within(self.columns(span), ranges) for span in needed], within(hot, ranges))

    def last_before(self, span: Span, before_us: int) -> tuple[int, float | None, int]:
        """Return the newest reading of a span before an instant that is after its first one."""
        if span.last_us < before_us:
            return span.last_us, span.last_value, span.last_flag
        rows = self.columns(span)
        place = int(np.searchsorted(rows.time_us, before_us)) - 1
        return int(rows.time_us[place]), float(rows.value[place]), int(rows.flag[place])

    def _columns(self, part: Part, footer: int, place: Place) -> Columns:
        return sealed_files.columns(part.path(self._folder), footer, place)

    def columns_for_certain(self, span: Span) -> Columns:
        """Return the readings of a span that cannot have been outdated meanwhile. Raises DayDamaged."""
        try:
            return self._remembered(span.part, span.footer, span.place)
        except Vanished as error:
            raise missing(span.part.path(self._folder)) from error

    def taken(
        self, connection: sqlite3.Connection, series: NDArray[np.int64], time_us: NDArray[np.int64]
    ) -> dict[int, tuple[float, int]]:
        """Return value and flag of what is sealed at keys, by the key's place; the keys are in order.

        A day whose file is damaged says nothing: a reading that is in it stands all the same, because
        what is sealed goes before what is hot.
        """
        (horizon,) = connection.execute(sql.HORIZON).fetchone()
        if horizon is None or time_us.min() >= (horizon + 1) * DAY_US:
            return {}
        found: dict[int, tuple[float, int]] = {}
        day = time_us // DAY_US
        late = np.flatnonzero(day <= horizon)
        key = np.stack((series[late], day[late]))
        firsts = np.flatnonzero(np.append(True, (key[:, 1:] != key[:, :-1]).any(axis=0)))
        for first, end in zip(firsts.tolist(), [*firsts[1:].tolist(), len(late)], strict=True):
            places = late[first:end]
            number, start_us = int(series[places[0]]), int(day[places[0]]) * DAY_US
            for span in self.spans(connection, number, start_us, start_us + DAY_US):
                try:
                    sealed = self.columns_for_certain(span)
                except DayDamaged:
                    continue
                at = np.searchsorted(sealed.time_us, time_us[places]).clip(max=len(sealed) - 1)
                for place, row in zip(places.tolist(), at.tolist(), strict=True):
                    if sealed.time_us[row] == time_us[place]:
                        found[place] = (float(sealed.value[row]), int(sealed.flag[row]))
        return found


def missing(path: Path) -> DayDamaged:
    """Return the error that tells of a sealed file that ought to be there."""
    return DayDamaged(f"{path}: it is missing. {sealed_files.REMEDY}")


def _span(row: Sequence[Any]) -> Span:
    series, day, number, farm, origin, version, footer, row_group, offset, length, *last = row
    part = Part(farm, Origin(origin), day, version)
    return Span(series, number, part, footer, Place(row_group, offset, length), *last)


def merged(sealed: Sequence[Columns], hot: Columns) -> Columns:
    """Return sealed and hot readings as one, ascending in time; at one instant the earliest sealed stands."""
    if not sealed:
        return hot
    pieces = [*sealed, hot]
    whole = Columns(*(np.concatenate([getattr(one, name) for one in pieces]) for name in _NAMES))
    if (np.diff(whole.time_us) > 0).all():
        return whole
    order = np.argsort(whole.time_us, kind="stable")
    time_us = whole.time_us[order]
    order = order[np.append(True, time_us[1:] != time_us[:-1])]
    return Columns(whole.time_us[order], whole.value[order], whole.flag[order])


def within(readings: Columns, ranges: Iterable[tuple[int, int]]) -> Columns:
    """Return the readings inside ranges, which are in ascending order and apart."""
    cuts = [slice(*np.searchsorted(readings.time_us, bounds)) for bounds in ranges]
    if not cuts:
        return Columns.empty()
    if len(cuts) == 1:
        return Columns(*(getattr(readings, name)[cuts[0]] for name in _NAMES))
    return Columns(*(np.concatenate([getattr(readings, name)[cut] for cut in cuts]) for name in _NAMES))
