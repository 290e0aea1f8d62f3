"""Cleaned readings: those whose flag counts, laid on a regular grid."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.regular_grid import Aggregation, Cells, regular_grid
from farm.description import Farm
from farm.flags import Flag
from farm.quantities import Kind
from farm.readings import iso_time
from handover.asking import Cleaning
from handover.choosing import DAY_US, Choice, Member, Piece
from handover.reading import Rows, Source, joined
from handover.refusals import Refused
from watch.bands import FLAG_OF_RANK, FLAG_RANK, local_midnights

MOST_CELLS = 50_000_000  # of one series: 19 months of seconds; more is a slip

# A state's mean is the share of time it was on; of a running total only its standing says something.
BY_KIND = {Kind.STATE: Aggregation.TIME_MEAN, Kind.COUNTER: Aggregation.LAST}


class Grid:
    """The cells of a data set: whole ones that lie in its range, equal in length or the farm's local days."""

    def __init__(self, farm: Farm, cleaning: Cleaning, start_us: int, end_us: int) -> None:
        self._every_us = cleaning.every_us
        if cleaning.every_us is None:
            midnights = local_midnights(farm, start_us, end_us + 1)  # the range's end may be one
            self._edges = np.array(midnights, np.int64)
            self.cells = max(len(midnights) - 1, 0)
            self.start_us, self.end_us = (midnights[0], midnights[-1]) if midnights else (start_us, start_us)
        else:
            self._edges = np.empty(0, np.int64)
            self.start_us = -(-start_us // cleaning.every_us) * cleaning.every_us
            self.end_us = end_us // cleaning.every_us * cleaning.every_us
            self.cells = max((self.end_us - self.start_us) // cleaning.every_us, 0)
        if self.cells == 0:
            raise Refused(
                f"no whole cell of {cleaning.every} fits between {iso_time(start_us)} and {iso_time(end_us)}: "
                "ask for a longer range, or a smaller every."
            )
        if self.cells > MOST_CELLS:
            raise Refused(f"{self.cells:,} cells of {cleaning.every} are too many: ask for a larger every.")

    def parts(self, most: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
        """Yield the grid in parts: the number of its first cell, and its edges."""
        for first in range(0, self.cells, most):
            yield first, self.edges(first, min(first + most, self.cells))

    @property
    def length_us(self) -> int:
        """The usual length of a cell."""
        return (self.end_us - self.start_us) // self.cells

    def edges(self, first: int, end: int) -> NDArray[np.int64]:
        """Return the edges of the cells from ``first`` up to ``end``, one more than there are cells."""
        if self._every_us is None:
            return self._edges[first : end + 1]
        return self.start_us + np.arange(first, end + 1, dtype=np.int64) * self._every_us

    def cells_in(self, start_us: int, end_us: int) -> tuple[int, int]:
        """Return which whole cells lie in a range: the first, and the one after the last."""
        if self._every_us is None:
            first, last = np.searchsorted(self._edges, [start_us, end_us], side="left").tolist()
            if last == len(self._edges) or self._edges[last] > end_us:
                last -= 1
            return first, max(first, last)
        first = -(-(start_us - self.start_us) // self._every_us)
        return first, max(first, (end_us - self.start_us) // self._every_us)


def outward(farm: Farm, cleaning: Cleaning, start_us: int, end_us: int) -> tuple[int, int]:
    """Return the smallest range of whole cells around a range."""
    if cleaning.every_us is not None:
        return start_us // cleaning.every_us * cleaning.every_us, -(-end_us // cleaning.every_us) * cleaning.every_us
    before = local_midnights(farm, start_us - 2 * DAY_US, start_us + 1)
    return before[-1], local_midnights(farm, end_us, end_us + 2 * DAY_US)[0]


class CleanCells(NamedTuple):
    """Cells of one series: number of the first on the grid, values, flags, how many readings count, coverage."""

    first: int
    edges_us: NDArray[np.int64]
    value: NDArray[np.float64]
    flag: NDArray[np.uint8]
    readings: NDArray[np.int64]
    coverage: NDArray[np.float64]


class Cleaner:
    """Makes cells of what a source reads."""

    def __init__(self, source: Source, choice: Choice, cleaning: Cleaning, grid: Grid) -> None:
        self._source, self._choice, self._cleaning, self.grid = source, choice, cleaning, grid
        self._counts = np.isin(np.arange(256), cleaning.flags)

    def cells(self, piece: Piece, first: int, edges_us: NDArray[np.int64]) -> CleanCells:
        """Return some cells of a piece, their readings counted. Parts of one piece follow one another."""
        member, tally = self._choice.members[piece.member], self._source.tallies[piece.member]
        start_us, end_us = int(edges_us[0]), int(edges_us[-1])
        whole = self.grid.cells_in(piece.start_us, piece.end_us)
        if first == whole[0]:
            tally.begin(self._source.quiet_since_us(piece, start_us))
        rows = self._rows(piece.member, start_us - member.hold_us, end_us)
        inside = int(np.searchsorted(rows.time_us, start_us))
        tally.add(rows.since(inside), member.hold_us)
        counting = self._counts[rows.flag] & np.isfinite(rows.value)
        found = regular_grid(
            rows.time_us,
            np.where(counting, rows.value, np.nan),
            edges_us,
            member.hold_us,
            aggregation_of(member, self._cleaning),
            self._cleaning.least_coverage,
        )
        flag = _worst(rows, counting, edges_us, found)
        tally.values += int(np.isfinite(found.value).sum())
        if first + len(edges_us) - 1 == whole[1]:
            tally.end(self._source.quiet_until_us(piece, end_us), member.hold_us)
        return CleanCells(first, edges_us, found.value, flag, found.samples, found.coverage)

    def _rows(self, member: int, start_us: int, end_us: int) -> Rows:
        """Return readings of a range, read a bounded stretch at a time."""
        stretches = self._source.stretches(Piece(member, start_us, end_us))
        return joined([self._source.read(member, *stretch) for stretch in stretches])


def aggregation_of(member: Member, cleaning: Cleaning) -> Aggregation:
    """Return how a series' readings become one value: as asked for a level, by their nature for states and totals."""
    return BY_KIND.get(member.series.registered.kind, cleaning.aggregation)


def parts_of(piece: Piece, grid: Grid, most: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Yield a piece's cells some at a time: the number of the first, and their edges."""
    first, end = grid.cells_in(piece.start_us, piece.end_us)
    while first < end:
        until = min(first + most, end)
        yield first, grid.edges(first, until)
        first = until


def _worst(rows: Rows, counting: NDArray[np.bool_], edges_us: NDArray[np.int64], found: Cells) -> NDArray[np.uint8]:
    """Return the flag of each cell: the worst of the readings that count in it, MISSING where there is no value.

    A cell that has its value from a reading before it (``time_mean``) is as good as that one.
    """
    time_us, rank = rows.time_us[counting], FLAG_RANK[rows.flag[counting]]
    flag = np.full(len(found.value), Flag.MISSING, np.uint8)
    told = np.isfinite(found.value)
    first = np.searchsorted(time_us, edges_us)
    some = told & (first[1:] > first[:-1])
    if some.any():
        filled = first[1:] > first[:-1]
        worst = np.zeros(len(flag), np.uint8)
        worst[filled] = np.maximum.reduceat(rank[: first[-1]], first[:-1][filled])
        flag[some] = FLAG_OF_RANK[worst[some]]
    held = told & ~some
    if held.any():
        flag[held] = FLAG_OF_RANK[rank[first[:-1][held] - 1]]
    return flag
