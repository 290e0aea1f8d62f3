"""One walk over all that a data set holds, whatever it becomes: files, an archive, or a stream."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Protocol

from farm.description import Farm
from handover.asking import Asked, Cleaning, Layout
from handover.choosing import choose, on_whole_cells
from handover.cleaning import CleanCells, Cleaner, Grid, outward, parts_of
from handover.fields import reading_fields
from handover.reading import Rows, Source
from handover.tables import LongRows, schema_of, wide_batch
from watch.judged import JudgedReadings

if TYPE_CHECKING:
    import pyarrow as pa

Progress = Callable[[int, int], None]  # how much of how much, in microseconds of series

VALUES_AT_ONCE = 2_000_000  # of all series side by side in memory; our choice, no source


class BySeries(Protocol):
    """What takes readings and cells series by series."""

    def write_rows(self, member: int, rows: Rows) -> None:
        """Take readings of a series, in order of time."""

    def write_cells(self, member: int, cells: CleanCells) -> None:
        """Take cells of a series."""


class Part(Protocol):
    """A bounded part of a data set."""

    def batch(self) -> pa.RecordBatch:
        """Return it as rows of the table."""

    def write_to(self, sink: BySeries) -> None:
        """Hand it on series by series."""


class _OfRows:
    def __init__(self, long: LongRows, member: int, rows: Rows) -> None:
        self._long, self._member, self._rows = long, member, rows

    def batch(self) -> pa.RecordBatch:
        return self._long.of_rows(self._member, self._rows)

    def write_to(self, sink: BySeries) -> None:
        sink.write_rows(self._member, self._rows)


class _OfCells:
    def __init__(self, long: LongRows, member: int, cells: CleanCells) -> None:
        self._long, self._member, self._cells = long, member, cells

    def batch(self) -> pa.RecordBatch:
        return self._long.of_cells(self._member, self._cells)

    def write_to(self, sink: BySeries) -> None:
        sink.write_cells(self._member, self._cells)


class _SideBySide:
    def __init__(self, schema: pa.Schema, edges_us: Any, cells: dict[int, list[CleanCells]]) -> None:  # noqa: ANN401
        self._schema, self._edges_us, self._cells = schema, edges_us, cells

    def batch(self) -> pa.RecordBatch:
        return wide_batch(self._schema, self._edges_us, self._cells)

    def write_to(self, sink: BySeries) -> None:
        for member, several in self._cells.items():
            for one in several:
                sink.write_cells(member, one)


class Export:
    """What a request comes to on one farm, ready to be read once, in bounded memory.

    Raises
    ------
    Refused
        If what is asked for does not exist, or cannot be made.
    """

    def __init__(self, farm: Farm, store: JudgedReadings, asked: Asked) -> None:
        self.farm, self.asked = farm, asked
        self.choice = choose(farm, store, asked)
        self.grid: Grid | None = None
        if asked.cleaning is not None:
            self.grid = self._grid(asked.cleaning)
            self.choice = on_whole_cells(self.choice, self.grid.start_us, self.grid.end_us)
        self.source = Source(farm, store, self.choice)
        self.fields = reading_fields(farm, self.choice)
        self._wide = asked.cleaning is not None and asked.cleaning.layout is Layout.WIDE
        self._long = None if self._wide else LongRows(self.fields, self.choice)
        self.schema: pa.Schema = schema_of(self.fields) if self._long is None else self._long.schema

    def _grid(self, cleaning: Cleaning) -> Grid:
        """Return the cells inside the range asked for; where its end was left open, around the readings."""
        start_us, end_us = self.choice.start_us, self.choice.end_us
        around = outward(self.farm, cleaning, start_us, end_us)
        if self.asked.light_days is None and self.asked.batch is None:
            start_us = around[0] if self.asked.start_us is None else start_us
            end_us = around[1] if self.asked.end_us is None else end_us
        return Grid(self.farm, cleaning, start_us, end_us)

    def parts(self, progress: Progress | None = None) -> Iterator[Part]:
        """Yield all of it, in the order of its table: by series then time, or, side by side, by time."""
        total_us = sum(one.end_us - one.start_us for one in self.choice.pieces)
        for done_us, part in self._parts():
            yield part
            if progress:
                progress(min(done_us, total_us), total_us)
        if progress:
            progress(total_us, total_us)

    def _parts(self) -> Iterator[tuple[int, Part]]:
        if self._long is None:
            yield from self._side_by_side()
            return
        done_us = 0
        for piece in self.choice.pieces:
            if self.grid is None:
                for rows in self.source.rows(piece):
                    last_us = int(rows.time_us[-1]) if len(rows.time_us) else piece.start_us
                    yield done_us + last_us - piece.start_us, _OfRows(self._long, piece.member, rows)
            else:
                cleaner = self._cleaner(self.grid)
                most = self._cells_at_once(self.grid, self.source.step_us(self.choice.members[piece.member]))
                for first, edges_us in parts_of(piece, self.grid, most):
                    cells = cleaner.cells(piece, first, edges_us)
                    yield done_us + int(edges_us[-1]) - piece.start_us, _OfCells(self._long, piece.member, cells)
            done_us += piece.end_us - piece.start_us

    def _side_by_side(self) -> Iterator[tuple[int, Part]]:
        assert self.grid is not None  # noqa: S101  # side by side stand cells only
        grid, cleaner, done_us = self.grid, self._cleaner(self.grid), 0
        step_us = min(self.source.step_us(member) for member in self.choice.members)
        most = min(self._cells_at_once(grid, step_us), max(1, VALUES_AT_ONCE // len(self.choice.members)))
        for first, edges_us in grid.parts(most):
            end, cells = first + len(edges_us) - 1, dict[int, list[CleanCells]]()
            for piece in self.choice.pieces:
                begin, until = grid.cells_in(piece.start_us, piece.end_us)
                begin, until = max(begin, first), min(until, end)
                if begin < until:
                    inside = edges_us[begin - first : until - first + 1]
                    cells.setdefault(piece.member, []).append(cleaner.cells(piece, begin, inside))
                    done_us += int(inside[-1] - inside[0])
            yield done_us, _SideBySide(self.schema, edges_us, cells)

    def _cleaner(self, grid: Grid) -> Cleaner:
        assert self.asked.cleaning is not None  # noqa: S101  # there is a grid
        return Cleaner(self.source, self.choice, self.asked.cleaning, grid)

    @staticmethod
    def _cells_at_once(grid: Grid, step_us: int) -> int:
        return max(1, step_us // grid.length_us)
