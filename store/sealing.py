"""Sealing: whole past UTC days leave the SQLite file for Parquet files, and never a reading is there twice or not.

The steps, each durable before the next: note the intent; write the file under another name, sync it, name it,
sync the folder; add the line to the manifest; then, some series at a time, one transaction that makes the
file's rows count and removes exactly the hot rows that were read back from it; forget the intent. A crash
leaves the intent, and the next opening or sealing either finishes the work or takes it back.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns, Series
from store import embedded_sql as sql
from store import hot_readings, sealed_files
from store.connections import Connections
from store.contract import DayDamaged, Origin, StoreUnavailable, StoreUnusable
from store.counting import Counting
from store.durable import made_folders, sha256_of, synced_file, synced_folder
from store.fault_points import reached
from store.faults import file_fault
from store.manifest import Chain, Deed, Manifest
from store.registry import Registry
from store.sealed_days import Part, SealedDays, day_number, farm_folder, name_in_file
from store.summing import DAY_US

_log = logging.getLogger(__name__)

Progress = Callable[[int, int], None]  # how many steps are done, of how many


class SealedFile(NamedTuple):
    """A file that was just sealed."""

    part: Part
    readings: int
    bytes: int


class Sealing:
    """Moves days of a store from hot to sealed. Whoever calls holds the lock on sealing."""

    def __init__(self, folder: Path, connections: Connections, registry: Registry, sealed: SealedDays) -> None:
        self._folder = folder
        self._connections = connections
        self._sealed = sealed
        self._counting = Counting(folder, connections, registry, sealed)

    # --- what to do

    def seal(self, farm: str, before_us: int, progress: Progress | None = None) -> list[SealedFile]:
        """Seal every whole day of a farm that ends at or before an instant and has hot rows."""
        self.finish()
        chain = self.sound_chain(farm)
        for entry in chain.present().values():
            part = Part(farm, Origin.MEASURED, day_number(entry.day), entry.version)
            if not self._is_known(part):  # the SQLite file is older than the sealed ones
                self._count_if_sound(part, chain, None)
        done = []
        due = self._due(farm, before_us)
        for place, ((day, origin), series) in enumerate(sorted(due.items())):
            if progress:
                progress(place, len(due))
            file, chain = self._seal_day(farm, origin, day, series, chain)
            if file:
                done.append(file)
        with self._connections.reading() as connection:
            dead = connection.execute(sql.DEAD_PARTS, (farm,)).fetchall()
        for day, version in dead:
            chain = self.drop(Part(farm, Origin.DERIVED, day, version), chain)
        if progress:
            progress(len(due), len(due))
        return done

    def sound_chain(self, farm: str) -> Chain:
        """Return a farm's chain; StoreUnusable if it does not hold, or has lost lines."""
        manifest = Manifest(farm_folder(self._folder, farm), farm)
        chain = manifest.chain()
        with self._connections.reading() as connection:
            known = connection.execute(sql.CHAIN, (farm,)).fetchone()
        if chain.broken is None and known is not None and known[0] > len(chain.entries):
            raise StoreUnusable(
                f"{manifest.path}: it has lost lines: {len(chain.entries)} are there of {known[0]}. Put it back "
                "from a backup; nothing is sealed or dropped until then, new readings are kept all the same"
            )
        manifest.refuse_if_broken(chain)
        return chain

    def _due(self, farm: str, before_us: int) -> dict[tuple[int, Origin], list[tuple[Series, int]]]:
        """Return the whole days before an instant that have hot rows, with the series that have them."""
        due: dict[tuple[int, Origin], list[tuple[Series, int]]] = {}
        end_us = before_us // DAY_US * DAY_US
        with self._connections.reading() as connection:
            for number, *names, origin in connection.execute(sql.SERIES_OF, (farm,)).fetchall():
                start_us = -(1 << 63)
                while True:
                    found = hot_readings.next_time(connection, number, start_us, end_us)
                    if found is None:
                        break
                    due.setdefault((found // DAY_US, Origin(origin)), []).append((Series(farm, *names), number))
                    start_us = (found // DAY_US + 1) * DAY_US
        for series in due.values():
            series.sort(key=lambda one: name_in_file(one[0]))
        return due

    def _is_known(self, part: Part) -> bool:
        with self._connections.reading() as connection:
            return connection.execute(sql.FIND_PART, part).fetchone() is not None

    # --- one day

    def _seal_day(
        self, farm: str, origin: Origin, day: int, series: list[tuple[Series, int]], chain: Chain
    ) -> tuple[SealedFile | None, Chain]:
        with self._connections.writing() as connection:
            number = connection.execute(sql.ADD_INTENT, (Deed.SEALED, farm, origin, day, 0)).lastrowid or 0
            part = Part(farm, origin, day, number)
            # Derived files need only a name that was never used; measured ones count on in the manifest.
            if origin is Origin.MEASURED:
                part = part._replace(version=chain.next_version(part.date))
            connection.execute(sql.NUMBER_INTENT, (part.version, number))
        reached("seal noted")
        try:
            readings = self._write(part, series)
            if readings == 0:
                self._forget(number, part)
                return None, chain
            path = part.path(self._folder)
            if origin is Origin.MEASURED:
                line = (part.date, part.version, readings, sha256_of(path), part.file)
                chain = self._manifest(part).append(chain, Deed.SEALED, line)
            self._counting.make_count(part, chain, number)
        except StoreUnavailable:
            with suppress(StoreUnavailable):  # else the next sealing does it
                self.finish()
            raise
        return SealedFile(part, readings, path.stat().st_size), chain

    def _manifest(self, part: Part) -> Manifest:
        return Manifest(farm_folder(self._folder, part.farm), part.farm)

    def _write(self, part: Part, series: list[tuple[Series, int]]) -> int:
        """Write a day's file and give it its name; return how many readings it holds."""
        path = part.path(self._folder)
        unfinished = _unfinished(path)
        try:
            made_folders(path.parent)
            readings = sealed_files.write(unfinished, self._hot_runs(part.day, series))
            reached("file written")
            synced_file(unfinished)
            reached("file synced")
            if readings:
                unfinished.replace(path)
                reached("file named")
                synced_folder(path.parent)
                reached("folder synced")
        except OSError as error:
            raise file_fault(path, error) from error
        return readings

    def _hot_runs(self, day: int, series: list[tuple[Series, int]]) -> Iterator[tuple[str, Columns]]:
        """Yield the hot rows of a day, those aside that are sealed already."""
        start_us, end_us = day * DAY_US, (day + 1) * DAY_US
        for one, number in series:
            with self._connections.reading() as connection:
                hot = hot_readings.hot_rows(connection, number, start_us, end_us)
                spans = self._sealed.spans(connection, number, start_us, end_us)
            try:
                sealed = [self._sealed.columns_for_certain(span) for span in spans]
            except DayDamaged as error:  # unknown whether these came twice: they stay hot until it is mended
                _log.warning("late readings of %s stay unsealed: %s", one.key, error)
                continue
            doubled = np.isin(hot.time_us, np.concatenate([rows.time_us for rows in sealed])) if sealed else None
            if doubled is not None and doubled.any():
                self._remove_doubled(one, number, hot.time_us[doubled])
                hot = Columns(hot.time_us[~doubled], hot.value[~doubled], hot.flag[~doubled])
            if len(hot):
                yield name_in_file(one), hot

    def _remove_doubled(self, series: Series, number: int, time_us: NDArray[np.int64]) -> None:
        """Remove hot rows that came while the file which has them was damaged: what was sealed first stands."""
        _log.warning("%s: %d readings came again while their sealed file could not be read", series.key, len(time_us))
        with self._connections.writing() as connection:
            hot_readings.remove(connection, number, time_us)

    # --- what a crash left, and dropping

    def finish(self) -> None:
        """Finish or take back what a crash or a full disk interrupted."""
        with self._connections.reading() as connection:
            intents = connection.execute(sql.INTENTS).fetchall()
        for number, deed, farm, origin, day, version in intents:
            part = Part(farm, Origin(origin), day, version)
            chain = self._manifest(part).chain()
            in_chain = part.origin is Origin.MEASURED and (part.date, version) in chain.present()
            if deed == Deed.DROPPED:
                self._drop(part, chain, number)
            elif self._is_known(part) or in_chain:
                self._count_if_sound(part, chain, number)
            else:
                self._forget(number, part)

    def _count_if_sound(self, part: Part, chain: Chain, intent: int | None) -> None:
        """Make a file count; one that is damaged is told and left, and holds nothing else up."""
        try:
            self._counting.make_count(part, chain, intent)
        except DayDamaged as error:
            _log.warning("a sealed day does not count: %s", error)

    def _forget(self, intent: int, part: Part) -> None:
        """Take a seal back that did not come as far as to count."""
        path = part.path(self._folder)
        try:
            _unfinished(path).unlink(missing_ok=True)
            path.unlink(missing_ok=True)
        except OSError as error:
            raise file_fault(path, error) from error
        with self._connections.writing() as connection:
            connection.execute(sql.REMOVE_INTENT, (intent,))

    def drop(self, part: Part, chain: Chain) -> Chain:
        """Drop a file and its readings for good; a line in the manifest says so of measured ones."""
        with self._connections.writing() as connection:
            number = connection.execute(sql.ADD_INTENT, (Deed.DROPPED, *part)).lastrowid or 0
        reached("drop noted")
        return self._drop(part, chain, number)

    def _drop(self, part: Part, chain: Chain, intent: int) -> Chain:
        entry = chain.present().get((part.date, part.version)) if part.origin is Origin.MEASURED else None
        if entry is not None:
            line = (entry.day, entry.version, entry.readings, entry.sha256, entry.file)
            chain = self._manifest(part).append(chain, Deed.DROPPED, line)
        reached("drop in manifest")
        with self._connections.writing() as connection:
            found = connection.execute(sql.FIND_PART, part).fetchone()
            if found is not None:
                touched = connection.execute(sql.REMOVE_SPANS, found).fetchall()
                connection.execute(sql.REMOVE_PART, found)
                for (series,) in touched:
                    hot_readings.note_latest(connection, series)
            if part.origin is Origin.MEASURED:
                connection.execute(sql.KEEP_CHAIN, (part.farm, len(chain.entries), chain.head))
        reached("drop committed")
        path = part.path(self._folder)
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise file_fault(path, error) from error
        reached("file removed")
        with self._connections.writing() as connection:
            connection.execute(sql.REMOVE_INTENT, (intent,))
        return chain


def _unfinished(path: Path) -> Path:
    return path.with_name(path.name + ".unfinished")
