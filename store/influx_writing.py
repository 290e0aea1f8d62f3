"""Writing to InfluxDB 2, which has no transactions: the order of requests does what can be done.

Whoever calls this must be the only one that writes to the bucket.

- `append` asks for the batch's keys before it writes (one query), so that the first reading stands.
- It writes the notes first, then the readings. A crash in between leaves a note too many, never one too
  few; the same call repeated finds what was stored as duplicates and stores the rest.
- Windows of a batch that failed are noted again by the next `append`: a request that was given up may
  still be carried out.
- `replace` writes what is new before it deletes what is stale, so a reader may see both, never neither.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence, Set
from typing import NamedTuple

from farm.readings import Columns, Reading, Series, microseconds
from store import influx_answers as answers
from store import influx_notes as notes
from store import influx_text as text
from store.contract import Appended, Origin, Touched
from store.influx_answers import Stored
from store.influx_notes import Hour, Window, hour_of, names_of, stretches, wider
from store.influx_pages import pages
from store.influx_server import Server
from store.influx_text import COUNTER, GAP, READING, SERIES, equal, kept, named


class _Held(NamedTuple):
    """What the bucket holds of a batch: readings and notes by their keys, and the newest version seen."""

    readings: dict[tuple[Series, int], tuple[float, int]]
    notes: dict[Hour, Touched]
    newest: int


class Writing:
    """The one writer of a bucket."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self._origins: dict[Series, Origin] = {}
        self._unsure: dict[Hour, Window] = {}  # windows of batches that failed
        self._newest = 0  # version given to a note

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings that have passed every check but that of their series' origin."""
        names = {one.series for one in readings}
        held = self._held(readings, names)
        for one in names:
            if self._origins.get(one) is Origin.DERIVED:
                raise ValueError(
                    f"{one.farm}/{one.key} is a derived series: its readings cannot be appended, only replaced"
                )
        new, conflicting = [], []
        for reading in readings:
            key, value = (reading.series, reading.time_us), (reading.value, int(reading.flag))
            before = held.readings.setdefault(key, value)
            if before is value:
                new.append(reading)
            elif before != value:
                conflicting.append(reading)
        self._store(new, held)
        return Appended(len(new), len(readings) - len(new) - len(conflicting), tuple(conflicting))

    def _held(self, readings: Sequence[Reading], names: Set[Series]) -> _Held:
        """Return what the bucket holds of a batch's keys, notes and series, asked for in one query."""
        points = self._server.points
        queries = [points(0, 1, equal("_measurement", COUNTER)) + named("counter")]
        if unknown := names - self._origins.keys():
            queries.append(self._origins_of(unknown) + named("series"))
        noted = self._unsure.keys()
        both = names | {one for one, _ in noted}
        times = [one.time_us for one in readings]
        for number, (first_us, last_us) in enumerate(stretches([*times, *(hour_us for _, hour_us in noted)])):
            found = points(first_us, last_us + 1, equal("_measurement", READING), *names_of(names))
            queries += [
                found + kept("_time", "_value", "farm", "flag", "series") + named(f"readings {number}"),
                notes.query(self._server, both, first_us, last_us) + named(f"notes {number}"),
            ]
        wanted = {(one.series, one.time_us) for one in readings}
        held = _Held({}, {}, self._newest)
        newest, noting = held.newest, []
        for row in self._server.rows("\n".join(queries)):
            kind = row["result"].split(" ")[0]
            if kind == "counter":
                newest = max(newest, row["_value"])
            elif kind == "series":
                self._origins[answers.series(row)] = Origin(row["_value"])
            elif kind == "notes":
                noting.append(row)
            elif (key := (answers.series(row), microseconds(row["_time"]))) in wanted:
                held.readings[key] = (row["_value"], int(row["flag"]))
        hours = {hour_of(*key) for key in wanted} | noted
        held.notes.update(notes.read(noting, hours))
        return held._replace(newest=max([newest, *(note.version for note in held.notes.values())]))

    def _store(self, new: Sequence[Reading], held: _Held) -> None:
        """Write notes, then readings; whatever fails is noted again by the next call."""
        windows = dict(self._unsure)
        for reading in new:
            hour = hour_of(reading.series, reading.time_us)
            windows[hour] = wider(windows.get(hour), reading.time_us, reading.time_us)
        if not windows:
            return
        self._newest = held.newest + 1
        self._unsure = windows
        registered = {reading.series for reading in new} - self._origins.keys()
        self._server.write([
            *(_origin_line(one, Origin.MEASURED) for one in registered),
            f"{COUNTER} version={self._newest}i 0",
            *notes.lines(windows, held.notes, self._newest),
        ])  # fmt: skip
        self._origins |= dict.fromkeys(registered, Origin.MEASURED)
        self._server.write(_value_lines(new))
        self._unsure = {}

    def _origins_of(self, series: Iterable[Series]) -> str:
        """Return the query for what some series are, and maybe for others too."""
        return self._server.points(0, 1, equal("_measurement", SERIES), *names_of(series))

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns, page: int) -> None:
        """Make columns that have passed every other check the only readings of a derived series in a range."""
        if series not in self._origins:
            rows = self._server.rows(self._origins_of([series]))
            self._origins |= {answers.series(row): Origin(row["_value"]) for row in rows}
        origin = self._origins.get(series)
        if origin is Origin.MEASURED:
            raise ValueError(
                f"{series.farm}/{series.key} is a measured series: its readings cannot be replaced, only appended"
            )
        if origin is None:
            if not len(columns):
                return
            self._server.write([_origin_line(series, Origin.DERIVED)])
            self._origins[series] = Origin.DERIVED
        rows_meant = zip(columns.time_us.tolist(), columns.flag.tolist(), columns.value.tolist(), strict=True)
        meant = {one.place: one.value for one in (Stored(*row) for row in rows_meant)}
        found = pages(self._server, series, start_us, end_us, page)
        present = {one.place: one.value for part in found for one in part}
        self._server.write(
            f"{text.value_start(measurement, series, flag)}{0.0 if measurement == GAP else value!r} {time_us}"
            for (measurement, flag, time_us), value in meant.items()
            if (measurement, flag, time_us) not in present
            or (measurement == READING and present[measurement, flag, time_us] != value)
        )
        for measurement, flag, first_us, last_us in _stale_runs(present.keys(), meant.keys()):
            names = {"farm": series.farm, "flag": str(flag), "series": series.key}
            self._server.delete(first_us, last_us + 1, text.predicate(measurement, **names))


def _origin_line(series: Series, origin: Origin) -> str:
    return f'{SERIES},{text.tags(series)} origin="{origin}" 0'


def _value_lines(new: Iterable[Reading]) -> Iterator[str]:
    """Yield the lines of measured readings, those of one series and flag together."""
    starts: dict[tuple[Series, int], str] = {}
    for one in sorted(new, key=lambda one: (one.series, one.time_us)):
        of = (one.series, int(one.flag))
        if of not in starts:
            starts[of] = text.value_start(READING, *of)
        yield f"{starts[of]}{float(one.value)!r} {one.time_us}"


def _stale_runs(
    present: Collection[tuple[str, int, int]], meant: Collection[tuple[str, int, int]]
) -> Iterator[tuple[str, int, int, int]]:
    """Yield measurement, flag, first and last time of points to delete that have no point to keep between them."""
    run: tuple[str, int, int, int] | None = None
    for measurement, flag, time_us in sorted({*present, *meant}):
        stays = (measurement, flag, time_us) in meant
        if run and (stays or run[:2] != (measurement, flag)):
            yield run
            run = None
        if not stays:
            run = (measurement, flag, run[2] if run else time_us, time_us)
    if run:
        yield run
