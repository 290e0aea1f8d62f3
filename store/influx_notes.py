"""The notes of changed windows in InfluxDB 2: one point for each series and hour, written over as it grows.

A note that is settled says so in the same point, because deleting is dear; now and then, when a farm has
no open note, all its settled ones are deleted at once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping

import numpy as np

from farm.readings import Series, microseconds
from store import influx_answers as answers
from store import influx_text as text
from store.contract import Touched
from store.influx_server import Server
from store.influx_text import EVER, NOTE, any_of, equal, kept, named

NOTE_US = 3_600_000_000  # touched windows are merged by the hour
STRETCHES = 40  # of time in one query at most; our choice, no source
SETTLED_KEPT = 10_000  # settled notes of a farm, before they are cleared away; our choice, no source

Hour = tuple[Series, int]  # a note's key: the series and the start of the hour
Window = tuple[int, int]  # first and last instant, both included

_NOTES = equal("_measurement", NOTE)


def hour_of(series: Series, time_us: int) -> Hour:
    """Return the key of the note that an instant belongs to."""
    return series, time_us - time_us % NOTE_US


def wider(window: Window | None, first_us: int, last_us: int) -> Window:
    """Return a window widened to two instants."""
    return (first_us, last_us) if window is None else (min(window[0], first_us), max(window[1], last_us))


def stretches(times: Iterable[int]) -> list[Window]:
    """Return stretches that cover times, parted where nothing lies for more than an hour, but not too many."""
    ordered = np.unique(np.fromiter(times, np.int64))
    gaps = np.diff(ordered)
    widest = np.argsort(gaps, kind="stable")[::-1][: STRETCHES - 1]
    parts = np.sort(widest[gaps[widest] > NOTE_US])
    firsts, lasts = [0, *(parts + 1).tolist()], [*parts.tolist(), len(ordered) - 1]
    return [(int(ordered[first]), int(ordered[last])) for first, last in zip(firsts, lasts, strict=True)]


def names_of(series: Iterable[Series]) -> tuple[str, str]:
    """Return conditions that points of some series meet, and maybe those of others too."""
    farms, keys = zip(*((one.farm, one.key) for one in series), strict=True)
    return any_of("farm", farms), any_of("series", keys)


def query(server: Server, series: Iterable[Series], first_us: int, last_us: int) -> str:
    """Return the query for the notes of some series on the hours between two instants."""
    steps = kept("_time", "_value", "farm", "series")
    return server.points(first_us - first_us % NOTE_US, last_us + 1, _NOTES, *names_of(series)) + steps


def read(rows: Iterable[answers.Row], wanted: Collection[Hour]) -> Iterator[tuple[Hour, Touched]]:
    """Yield the open ones of the notes that were asked for, with their keys."""
    for row in rows:
        key = answers.series(row), microseconds(row["_time"])
        note = answers.note(row, key[0])
        if note and key in wanted:
            yield key, note


def lines(windows: Mapping[Hour, Window], notes: Mapping[Hour, Touched], version: int) -> Iterator[str]:
    """Yield the lines of notes that take in windows and what was noted before."""
    for (series, hour_us), window in windows.items():
        note = notes.get((series, hour_us))
        first_us, last_us = window if note is None else wider(window, note.first_us, note.last_us)
        yield f'{NOTE},{text.tags(series)} window="{answers.window(version, first_us, last_us)}" {hour_us}'


class Notes:
    """What is not settled yet, in one bucket; whoever calls `settle` must be alone there."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self._settled: dict[str, int] = defaultdict(int)

    def open(self, farm: str, limit: int) -> list[Touched]:
        """Return up to ``limit`` open notes of a farm, oldest first."""
        if limit <= 0:
            return []
        is_open = f'r["_value"] != {text.string(answers.SETTLED)}'
        rows = self._server.rows(
            self._server.points(*EVER, _NOTES, equal("farm", farm), is_open)
            + kept("_time", "_value", "farm", "series")
            + ' |> group() |> sort(columns: ["_value", "_time", "series"])'
            + f" |> limit(n: {limit})"
        )
        notes = (answers.note(row, answers.series(row)) for row in rows)
        return [note for note in notes if note is not None]

    def settle(self, notes: Collection[Touched]) -> None:
        """Mark notes as settled, but for those that grew since they were read."""
        versions: dict[Hour, set[int]] = defaultdict(set)
        for note in notes:
            versions[hour_of(note.series, note.first_us)].add(note.version)
        names = {one for one, _ in versions}
        rows = self._server.rows(
            "\n".join(
                query(self._server, names, *stretch) + named(f"notes {number}")
                for number, stretch in enumerate(stretches(hour_us for _, hour_us in versions))
            )
        )
        done = [key for key, note in read(rows, versions) if note.version in versions[key]]
        self._server.write(f'{NOTE},{text.tags(one)} window="{answers.SETTLED}" {hour_us}' for one, hour_us in done)
        for one, _ in done:
            self._settled[one.farm] += 1
        for farm in {one.farm for one, _ in done if self._settled[one.farm] > SETTLED_KEPT}:
            if not self.open(farm, 1):
                self._server.delete(*EVER, text.predicate(NOTE, farm=farm))
                self._settled[farm] = 0
