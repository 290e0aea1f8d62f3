"""Readings remembered while the same stretches are asked for again and again, round after round."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, fields

import numpy as np

from farm.readings import MICROSECONDS_PER_SECOND, Columns, Reading, Series
from store.contract import Buckets, ReadingStore
from watch.layer import Layer

BUCKETS = tuple(field.name for field in fields(Buckets))
HOUR_US = 3600 * MICROSECONDS_PER_SECOND
# Our choices, no source:
MOST_READINGS = 1_250_000  # kept at once: about 21 MB
LONG = 5_000  # readings of one series: then what lies too long before the stretch asked for is let go
BEFORE_US = 72 * HOUR_US  # before its end so much is kept, or as long a stretch as was ever asked for, ...
LONGEST_US = 15 * 24 * HOUR_US  # ... those longer than this aside, ...
STEP_BACK_US = 36 * HOUR_US  # ... and so much more: day sheets follow somewhat later
AHEAD = 3  # times as much as was asked for further on is read ahead, where that is ...
STEP_US = 36 * HOUR_US  # ... no more than this: as when day after day is gone through


@dataclass(frozen=True, slots=True)
class _Stretch:
    start_us: int
    end_us: int
    columns: Columns

    def part(self, start_us: int, end_us: int) -> _Stretch:
        """Return a part, in memory of its own."""
        part = _between(self.columns, start_us, end_us)
        return _Stretch(start_us, end_us, Columns(part.time_us.copy(), part.value.copy(), part.flag.copy()))

    def shortened(self, start_us: int) -> _Stretch:
        """Return it without what lies before an instant, if it is long."""
        return self.part(start_us, self.end_us) if len(self.columns) > LONG and start_us > self.start_us else self


@dataclass(frozen=True, slots=True)
class _Hours:
    """What readings summed up to in the hours of a stretch."""

    start_us: int
    end_us: int
    buckets: Buckets


class Remembered(Layer):
    """A store that reads each stretch once, until told that something in it changed.

    For one thread. What arrives in the meantime may not show before ``forget``; the store's own notes
    lead to it then. What is written through it is known without reading.
    """

    def __init__(self, store: ReadingStore) -> None:
        super().__init__(store)
        self._held: OrderedDict[Series, _Stretch] = OrderedDict()  # the one used last stands last
        self._readings = 0
        self._longest_us: dict[Series, int] = {}  # asked for at once
        self._hours: dict[Series, _Hours] = {}

    def forget(self, series: Series, since_us: int) -> None:
        """Read a series anew from an instant on."""
        self._forget_hours(series, since_us)
        held = self._let_go(series)
        if held is not None and held.start_us < since_us:
            self._hold(series, held if held.end_us <= since_us else held.part(held.start_us, since_us))

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range."""
        if start_us >= end_us:
            return Columns.empty()
        if BEFORE_US < end_us - start_us <= LONGEST_US:
            self._longest_us[series] = max(end_us - start_us, self._longest_us.get(series, 0))
        held = self._held.get(series)
        if held is None or start_us > held.end_us or end_us < held.start_us:
            held = _Stretch(start_us, end_us, self.beneath.read(series, start_us, end_us))
            self._hold(series, held)
        elif start_us < held.start_us or end_us > held.end_us:
            held = self._lengthened(series, held, start_us, end_us)
            self._hold(series, held)
        else:
            self._held.move_to_end(series)
        return _between(held.columns, start_us, end_us)

    def _lengthened(self, series: Series, held: _Stretch, start_us: int, end_us: int) -> _Stretch:
        """Return a stretch that reaches as far as asked for, and on: who goes stretch by stretch asks for the next."""
        parts, until_us = [held.columns], held.end_us
        if start_us < held.start_us:
            parts.insert(0, self.beneath.read(series, start_us, held.start_us))
        if end_us > held.end_us:
            more_us = end_us - held.end_us
            until_us = end_us + (AHEAD * more_us if more_us <= STEP_US else 0)
            parts.append(self.beneath.read(series, held.end_us, until_us))
        whole = _Stretch(min(start_us, held.start_us), until_us, _joined(parts))
        return whole.shortened(self._kept_from(series, start_us, end_us))

    def _kept_from(self, series: Series, start_us: int, end_us: int) -> int:
        """Return from when on a series stays remembered once a stretch was asked for."""
        return min(start_us, end_us - self._longest_us.get(series, BEFORE_US) - STEP_BACK_US)

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant."""
        held = self._held.get(series)
        if held is not None and held.start_us < before_us <= held.end_us:
            place = int(np.searchsorted(held.columns.time_us, before_us)) - 1
            if place >= 0:
                found = held.columns
                return Reading(series, int(found.time_us[place]), float(found.value[place]), int(found.flag[place]))
        return self.beneath.last_before(series, before_us)

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return readings summed up over equal stretches; whole hours are remembered."""
        if every_us != HOUR_US or start_us % HOUR_US or end_us % HOUR_US or start_us >= end_us:
            return self.beneath.aggregate(series, start_us, end_us, every_us)
        held = self._hours.get(series)
        if held is None or not held.start_us <= start_us <= held.end_us:
            held = _Hours(start_us, end_us, self.beneath.aggregate(series, start_us, end_us, every_us))
        elif held.end_us < end_us:
            more = self.beneath.aggregate(series, held.end_us, end_us, every_us)
            held = _Hours(start_us, end_us, _all_of([_hours_between(held.buckets, start_us, held.end_us), more]))
        self._hours[series] = held
        return _hours_between(held.buckets, start_us, end_us)

    def _forget_hours(self, series: Series, since_us: int) -> None:
        held = self._hours.pop(series, None)
        until_us = since_us // HOUR_US * HOUR_US
        if held is not None and held.start_us < until_us:
            until_us = min(until_us, held.end_us)
            self._hours[series] = _Hours(held.start_us, until_us, _hours_between(held.buckets, held.start_us, until_us))

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range."""
        held = self._let_go(series)
        self._forget_hours(series, start_us)
        self.beneath.replace(series, start_us, end_us, columns)
        self._held_too(series, held, _Stretch(start_us, end_us, columns))

    def know(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Take ``columns`` for what the store beneath has in a range, as told by who wrote it there."""
        held = self._let_go(series)
        self._forget_hours(series, start_us)
        self._held_too(series, held, _Stretch(start_us, end_us, columns))

    def _held_too(self, series: Series, held: _Stretch | None, told: _Stretch) -> None:
        """Hold a stretch that was told together with what was held before, where they touch."""
        stretch, start_us, end_us = told, told.start_us, told.end_us
        if held is not None and held.start_us <= end_us and start_us <= held.end_us:
            before, after = _between(held.columns, held.start_us, start_us), _between(held.columns, end_us, held.end_us)
            whole = _joined([before, told.columns, after])
            stretch = _Stretch(min(start_us, held.start_us), max(end_us, held.end_us), whole)
        self._hold(series, stretch.shortened(self._kept_from(series, start_us, end_us)))

    def _let_go(self, series: Series) -> _Stretch | None:
        held = self._held.pop(series, None)
        self._readings -= len(held.columns) if held else 0
        return held

    def _hold(self, series: Series, stretch: _Stretch) -> None:
        self._let_go(series)
        self._held[series] = stretch
        self._readings += len(stretch.columns)
        while self._readings > MOST_READINGS:
            self._let_go(next(iter(self._held)))


def _between(columns: Columns, start_us: int, end_us: int) -> Columns:
    here = slice(*columns.time_us.searchsorted((start_us, end_us)))
    return Columns(columns.time_us[here], columns.value[here], columns.flag[here])


def _hours_between(buckets: Buckets, start_us: int, end_us: int) -> Buckets:
    here = slice(*np.searchsorted(buckets.time_us, [start_us, end_us]))
    return Buckets(*(getattr(buckets, name)[here] for name in BUCKETS))


def _all_of(parts: list[Buckets]) -> Buckets:
    return Buckets(*(np.concatenate([getattr(part, name) for part in parts]) for name in BUCKETS))


def _joined(parts: list[Columns]) -> Columns:
    return Columns(
        np.concatenate([part.time_us for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.flag for part in parts]),
    )
