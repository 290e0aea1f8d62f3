"""Readings of a data set, a bounded stretch at a time; days that are damaged at rest are noted and passed over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series
from handover.choosing import DAY_US, Choice, Member, Piece
from store.contract import DayDamaged, ReadingStore
from watch.bands import USUAL_CADENCE_S
from watch.judged import JudgedReadings
from watch.layer import Layer

ROWS_AT_ONCE = 250_000  # of one series in memory, if it reports as described: about 10 MB; our choice, no source
MOST_DAYS_AT_ONCE = 31


class Rows(NamedTuple):
    """Readings of one series in a stretch: as they arrived, and as they are judged. All arrays have one length."""

    time_us: NDArray[np.int64]
    arrived: NDArray[np.float64]
    arrival_flag: NDArray[np.uint8]
    value: NDArray[np.float64]
    flag: NDArray[np.uint8]

    def since(self, first: int) -> Rows:
        """Return them from one of them on."""
        here = slice(first, None)
        return Rows(self.time_us[here], self.arrived[here], self.arrival_flag[here], self.value[here], self.flag[here])


def joined(parts: Sequence[Rows]) -> Rows:
    """Return readings of stretches that follow one another as one."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        none = Columns.empty()
        return Rows(none.time_us, none.value, none.flag, none.value, none.flag)
    return Rows(
        np.concatenate([one.time_us for one in parts]),
        np.concatenate([one.arrived for one in parts]),
        np.concatenate([one.arrival_flag for one in parts]),
        np.concatenate([one.value for one in parts]),
        np.concatenate([one.flag for one in parts]),
    )


class Damage(NamedTuple):
    """A UTC day of a series whose readings are kept in a file that is missing or damaged."""

    series: Series
    day: str


@dataclass
class Tally:
    """What was read of one series: how much, from when to when, under which flags, and its silences."""

    readings: int = 0
    first_us: int | None = None
    last_us: int | None = None
    by_flag: dict[int, int] = field(default_factory=lambda: dict.fromkeys(Flag, 0))
    gaps: int = 0
    longest_gap_us: int = 0
    silent_us: int = 0
    values: int = 0  # written, where they are cells of a grid
    _quiet_since_us: int = 0

    def begin(self, start_us: int) -> None:
        """Begin a stretch: its edge stands for a reading."""
        self._quiet_since_us = start_us

    def add(self, rows: Rows, longest_us: int) -> None:
        """Count readings; a silence longer than ``longest_us`` is a gap."""
        if not len(rows.time_us):
            return
        self.readings += len(rows.time_us)
        first_us, last_us = int(rows.time_us[0]), int(rows.time_us[-1])
        self.first_us = first_us if self.first_us is None else self.first_us
        self.last_us = last_us
        for flag, count in zip(*np.unique(rows.flag, return_counts=True), strict=True):
            self.by_flag[int(flag)] += int(count)
        came = rows.time_us[~np.isnan(rows.arrived)]
        if len(came):
            self._note(np.diff(came, prepend=self._quiet_since_us), longest_us)
            self._quiet_since_us = int(came[-1])

    def end(self, end_us: int, longest_us: int) -> None:
        """End a stretch; its edge stands for a reading too."""
        self._note(np.array([end_us - self._quiet_since_us]), longest_us)

    def _note(self, silences: NDArray[np.int64], longest_us: int) -> None:
        long = silences[silences > longest_us]
        self.gaps += len(long)
        self.silent_us += int(long.sum())
        self.longest_gap_us = max(self.longest_gap_us, int(long.max(initial=0)))


class _ReadOnce(Layer):
    """Remembers the last stretch read, so that readings as they arrived and as judged come from one look."""

    def __init__(self, beneath: ReadingStore) -> None:
        super().__init__(beneath)
        self._asked: tuple[Series, int, int] | None = None
        self._found = Columns.empty()

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        if self._asked != (series, start_us, end_us):
            self._found = self.beneath.read(series, start_us, end_us)
            self._asked = (series, start_us, end_us)
        return self._found


class Source:
    """Reads a farm's series for one data set, and keeps count."""

    def __init__(self, farm: Farm, store: JudgedReadings, choice: Choice) -> None:
        self._farm, self._choice = farm, choice
        self._arrived = _ReadOnce(store.as_arrived)
        self._judged = store.over(self._arrived)
        self.tallies = [Tally() for _ in choice.members]
        self.damages: dict[Damage, None] = {}  # each once, in the order in which they were met

    def stretches(self, piece: Piece) -> Iterator[tuple[int, int]]:
        """Yield a piece in stretches of whole UTC days that fit in memory."""
        step_us = self.step_us(self._choice.members[piece.member])
        start_us = piece.start_us
        while start_us < piece.end_us:
            until_us = min(start_us - start_us % DAY_US + step_us, piece.end_us)
            yield start_us, until_us
            start_us = until_us

    def step_us(self, member: Member) -> int:
        """Return how long a stretch of a series fits in memory, in whole days."""
        described = self._farm.described.get(member.series)
        cadences = [described.cadence_s] if described else [one.cadence_s for one in self._farm.series]
        cadence_s = min(cadences, default=USUAL_CADENCE_S)
        days = int(ROWS_AT_ONCE * cadence_s * MICROSECONDS_PER_SECOND / DAY_US)
        return min(max(days, 1), MOST_DAYS_AT_ONCE) * DAY_US

    def rows(self, piece: Piece) -> Iterator[Rows]:
        """Yield the readings of a piece in order of time, counted."""
        tally, hold_us = self.tallies[piece.member], self._choice.members[piece.member].hold_us
        tally.begin(self.quiet_since_us(piece))
        for start_us, end_us in self.stretches(piece):
            rows = self.read(piece.member, start_us, end_us)
            tally.add(rows, hold_us)
            yield rows
        tally.end(self.quiet_until_us(piece), hold_us)

    def quiet_since_us(self, piece: Piece, start_us: int | None = None) -> int:
        """Return from when on a silence counts: where nobody asked for a beginning, from the first reading on."""
        start_us, known = piece.start_us if start_us is None else start_us, self._choice.members[piece.member].known
        is_open = self._choice.asked.start_us is None and start_us == self._choice.start_us
        return max(start_us, known.first_us) if is_open and known else start_us

    def quiet_until_us(self, piece: Piece, end_us: int | None = None) -> int:
        """Return until when a silence counts: where nobody asked for an end, until the newest reading."""
        end_us, known = piece.end_us if end_us is None else end_us, self._choice.members[piece.member].known
        is_open = self._choice.asked.end_us is None and end_us == self._choice.end_us
        return min(end_us, known.last_us) if is_open and known else end_us

    def read(self, member: int, start_us: int, end_us: int) -> Rows:
        """Return a member's readings in a range, without the days that are damaged."""
        series = self._choice.members[member].series
        try:
            return self._read(series, start_us, end_us)
        except DayDamaged:
            pass
        whole = []
        for day in range(start_us // DAY_US, -(-end_us // DAY_US)):
            begin_us, until_us = max(start_us, day * DAY_US), min(end_us, (day + 1) * DAY_US)
            try:
                whole.append(self._read(series, begin_us, until_us))
            except DayDamaged:
                self.damages[Damage(series, str(np.datetime64(day, "D")))] = None
        return joined(whole)

    def _read(self, series: Series, start_us: int, end_us: int) -> Rows:
        arrived = self._arrived.read(series, start_us, end_us)
        judged = self._judged.read(series, start_us, end_us)
        return Rows(arrived.time_us, arrived.value, arrived.flag, judged.value, judged.flag)
