"""The readings of a data set as one NetCDF-4 file by the CF conventions.

As they arrived, every series has a time of its own; on a grid all share one. Flags stand beside their values as
ancillary variables. The file holds no clock and no name of a machine, so that it is the same to the bit each time.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from analytics.regular_grid import Aggregation
from farm.description import Farm
from farm.flags import Flag
from handover.choosing import Choice, Member
from handover.cleaning import CleanCells, Grid, aggregation_of
from handover.fields import AGGREGATION_TEXT, named_in_full
from handover.reading import Rows
from handover.refusals import NotWritten, Refused

if TYPE_CHECKING:
    from netCDF4 import Dataset

CONVENTIONS = "CF-1.11"
READINGS_CHUNK = 16_384  # compressed together
CELLS_CHUNK = 4_096  # likewise; all series are written side by side, each with a chunk or two in memory
DEFLATE: Final = 2  # of 1 to 9: more takes longer than it saves; our choice, no source
METHODS = {
    Aggregation.MEAN: "time: mean",
    Aggregation.TIME_MEAN: "time: mean",
    Aggregation.MEDIAN: "time: median",
    Aggregation.LOW: "time: minimum",
    Aggregation.HIGH: "time: maximum",
    Aggregation.FIRST: "time: point",
    Aggregation.LAST: "time: point",
}


def refuse_without_library() -> None:
    """Raise Refused where the library that writes NetCDF is not installed."""
    try:
        import netCDF4  # noqa: F401
    except ImportError as error:
        raise Refused(
            "netcdf files need a library that is not installed: pip install 'leafweather[netcdf]'."
        ) from error


class NetCDFFile:
    """A NetCDF file that grows as series are read."""

    def __init__(
        self, path: Path, farm: Farm, choice: Choice, grid: Grid | None, attributes: Mapping[str, str]
    ) -> None:
        from netCDF4 import Dataset

        self._farm, self._choice, self._grid = farm, choice, grid
        self._written = [0] * len(choice.members)
        try:
            self._file: Dataset = Dataset(path, "w", format="NETCDF4")
            self._file.setncatts({"Conventions": CONVENTIONS, **attributes})
            if grid is not None:
                self._write_grid(grid)
        except (OSError, RuntimeError) as error:
            raise NotWritten(f"{path.name}: {error}") from error

    def _write_grid(self, grid: Grid) -> None:
        self._file.createDimension("time", grid.cells)
        self._file.createDimension("bounds", 2)
        time = self._variable("time", "i8", ("time",), _clock("seconds", "beginning of the cell"))
        time.bounds = "time_bounds"
        bounds = self._file.createVariable(
            "time_bounds", "i8", ("time", "bounds"), compression="zlib", complevel=DEFLATE,
            chunksizes=(min(grid.cells, CELLS_CHUNK), 2),
        )  # fmt: skip
        for first, edges_us in grid.parts(CELLS_CHUNK):
            edges = edges_us // 1_000_000
            here = slice(first, first + len(edges) - 1)
            time[here] = edges[:-1]
            bounds[here] = np.stack([edges[:-1], edges[1:]], axis=1)
        for member in self._choice.members:
            self._cell_variables(member)

    def _cell_variables(self, member: Member) -> None:
        assert self._choice.asked.cleaning is not None  # noqa: S101  # there is a grid
        how, name = aggregation_of(member, self._choice.asked.cleaning), member.column
        beside = f"{name}_flag {name}_count {name}_coverage"
        said = {"cell_methods": METHODS[how], "comment": AGGREGATION_TEXT[how], "ancillary_variables": beside}
        self._value(member, ("time",), said)
        self._flag(member, "flag", "aggregate_quality_flag", "quality", ("time",))
        named = named_in_full(self._farm, member)
        count = {"long_name": f"{named}: readings that count", "standard_name": "number_of_observations", "units": "1"}
        self._variable(f"{name}_count", "i4", ("time",), count)
        coverage = {"long_name": f"{named}: share of the cell's time that readings speak for", "units": "1"}
        self._variable(f"{name}_coverage", "f8", ("time",), coverage, fill=np.nan)

    def write_rows(self, member: int, rows: Rows) -> None:
        """Add readings of a series, in order of time."""
        if not len(rows.time_us):
            return
        one = self._choice.members[member]
        name, begin = one.column, self._written[member]
        if begin == 0:
            self._reading_variables(one)
        here = slice(begin, begin + len(rows.time_us))
        try:
            for suffix, column in (
                ("_time", rows.time_us),
                ("", rows.arrived),
                ("_flag", rows.flag),
                ("_arrival_flag", rows.arrival_flag),
            ):
                self._file[name + suffix][here] = column
        except (OSError, RuntimeError) as error:
            raise NotWritten(f"the NetCDF file: {error}") from error
        self._written[member] = here.stop

    def _reading_variables(self, member: Member) -> None:
        time = f"{member.column}_time"
        self._file.createDimension(time, None)
        named = named_in_full(self._farm, member)
        self._variable(time, "i8", (time,), _clock("microseconds", f"{named}: time of the reading"))
        beside = f"{member.column}_flag {member.column}_arrival_flag"
        self._value(member, (time,), {"ancillary_variables": beside})
        self._flag(member, "flag", "aggregate_quality_flag", "quality", (time,))
        self._flag(member, "arrival_flag", "quality_flag", "quality on arrival", (time,))

    def write_cells(self, member: int, cells: CleanCells) -> None:
        """Put cells of a series in their place."""
        name = self._choice.members[member].column
        here = slice(cells.first, cells.first + len(cells.value))
        try:
            for suffix, column in (
                ("", cells.value),
                ("_flag", cells.flag),
                ("_count", cells.readings.astype(np.int32)),
                ("_coverage", cells.coverage),
            ):
                self._file[name + suffix][here] = column
        except (OSError, RuntimeError) as error:
            raise NotWritten(f"the NetCDF file: {error}") from error

    def close(self) -> None:
        """Write what is not on disk yet."""
        try:
            if self._file.isopen():
                self._file.close()
        except (OSError, RuntimeError) as error:
            raise NotWritten(f"the NetCDF file: {error}") from error

    def _value(self, member: Member, dimensions: tuple[str], said: Mapping[str, str]) -> None:
        quantity = member.series.registered
        attributes = {"long_name": named_in_full(self._farm, member), "units": quantity.cf_unit, **said}
        if quantity.cf_name:
            attributes["standard_name"] = quantity.cf_name
        if quantity.unit in ("degC", "K"):
            attributes["units_metadata"] = f"temperature: {'on_scale' if quantity.unit == 'degC' else 'difference'}"
        attributes |= {"series": member.series.key, "unit_ucum": quantity.ucum}
        self._variable(member.column, "f8", dimensions, attributes, fill=np.nan)

    def _flag(self, member: Member, suffix: str, standard: str, what: str, dimensions: tuple[str]) -> None:
        attributes = {
            "long_name": f"{named_in_full(self._farm, member)}: {what}",
            "standard_name": standard,
            "flag_values": np.array(list(Flag), np.uint8),
            "flag_meanings": " ".join(flag.name.lower() for flag in Flag),
            "references": "QARTOD primary scale of flags",
        }
        self._variable(f"{member.column}_{suffix}", "u1", dimensions, attributes, fill=np.uint8(0))

    def _variable(
        self,
        name: str,
        kind: str,
        dimensions: tuple[str],
        attributes: Mapping[str, Any],
        fill: Any = None,  # noqa: ANN401
    ) -> Any:  # noqa: ANN401  # the library has no types
        chunk = READINGS_CHUNK if self._grid is None else min(self._grid.cells, CELLS_CHUNK)
        made = self._file.createVariable(
            name, kind, dimensions, compression="zlib", complevel=DEFLATE, fill_value=fill, chunksizes=(chunk,)
        )
        # Hundreds of variables are open until the end. Readings come many chunks at a time and need no memory of them.
        cache = 1 if self._grid is None else 2 * chunk * np.dtype(kind).itemsize
        made.set_var_chunk_cache(size=cache, nelems=11)
        made.setncatts(attributes)
        return made


def _clock(unit: str, long_name: str) -> dict[str, str]:
    return {
        "standard_name": "time",
        "long_name": long_name,
        "units": f"{unit} since 1970-01-01T00:00:00Z",
        "calendar": "standard",
        "units_metadata": "leap_seconds: none",
        "axis": "T",
    }
