"""Whether every sealed file still holds what was sealed, and each farm's evidence chain holds."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from farm.readings import Series
from store import embedded_sql as sql
from store.connections import Connections
from store.contract import Origin
from store.durable import sha256_of
from store.manifest import Chain, Manifest
from store.sealed_days import Part, day_number, farm_folder, farms_sealed

Progress = Callable[[int, int], None]


class Damage(NamedTuple):
    """One thing that is not as it was sealed, and the readings that it affects."""

    farm: str
    file: str
    day: str
    what: str
    series: tuple[Series, ...]

    def __str__(self) -> str:
        keys = ", ".join(series.key for series in self.series)
        affected = f"; affected: {keys}" if keys else ""
        return f"{self.farm}{' ' + self.day if self.day else ''}: {self.file}: {self.what}{affected}"


class Broken(NamedTuple):
    """The first place where a farm's chain does not hold."""

    farm: str
    line: int
    why: str

    def __str__(self) -> str:
        return f"{self.farm}: the evidence chain breaks at line {self.line} of its manifest: {self.why}"


@dataclass(frozen=True, slots=True)
class Verification:
    """What was found; `sound` if nothing is wrong.

    Derived readings stand outside the chain, because they can be computed again; their files are held
    to the checksums in the SQLite file.
    """

    files: int
    damages: tuple[Damage, ...]
    breaks: tuple[Broken, ...]

    @property
    def sound(self) -> bool:
        """Whether everything is as it was sealed."""
        return not self.damages and not self.breaks


def verification(folder: Path, connections: Connections, progress: Progress | None = None) -> Verification:
    """Check a store. Whoever calls holds the lock on sealing."""
    with connections.reading() as connection:
        complaints = [row[0] for row in connection.execute("PRAGMA quick_check(5)") if row[0] != "ok"]
        parts = [(row[0], Part(row[1], Origin(row[2]), *row[3:5]), row[7]) for row in connection.execute(sql.PARTS)]
        farms = {row[0] for row in connection.execute(sql.FARMS)} | {part.farm for _, part, _ in parts}
        farms |= farms_sealed(folder)
        chains = {farm: Manifest(farm_folder(folder, farm), farm).chain() for farm in sorted(farms)}
        breaks = [one for farm in chains if (one := _broken(connection, farm, chains[farm]))]
    damages = [Damage("", "readings.sqlite", "", text, ()) for text in complaints]
    for place, (number, part, sha256) in enumerate(parts):
        if progress:
            progress(place, len(parts))
        what = _damage(folder, part, sha256, chains[part.farm])
        if what:
            damages.append(_damaged(connections, number, part, what))
    damages += _not_in_index(chains, {part for _, part, _ in parts})
    damages += _not_on_record(folder, chains)
    if progress:
        progress(len(parts), len(parts))
    return Verification(len(parts), tuple(damages), tuple(breaks))


def _broken(connection: sqlite3.Connection, farm: str, chain: Chain) -> Broken | None:
    """Return where a farm's chain breaks; also lines missing at its end are a break."""
    if chain.broken:
        return Broken(farm, *chain.broken)
    known = connection.execute(sql.CHAIN, (farm,)).fetchone()
    if known is None or known[0] == 0:
        return None
    entries, head = known
    if entries > len(chain.entries):
        return Broken(farm, len(chain.entries) + 2, f"{entries - len(chain.entries)} lines are missing at the end")
    if chain.head_after(entries) != head:
        return Broken(farm, entries + 1, f"the SHA-256 of this line was {head} when it was written")
    return None


def _damage(folder: Path, part: Part, sha256: str, chain: Chain) -> str | None:
    """Return what is wrong with a file; None if nothing is."""
    try:
        found = sha256_of(part.path(folder))
    except FileNotFoundError:
        return "the file is missing"
    except OSError as error:
        return f"the file cannot be read ({error.strerror})"
    if found != sha256:
        return f"its SHA-256 is {found}, not {sha256}: it was changed after it was sealed"
    if part.origin is Origin.MEASURED and chain.broken is None:
        entry = chain.present().get((part.date, part.version))
        if entry is None or entry.sha256 != sha256:
            return "the manifest does not have this file"
    return None


def _damaged(connections: Connections, number: int, part: Part, what: str) -> Damage:
    with connections.reading() as connection:
        rows = connection.execute(sql.SERIES_OF_PART, (number,)).fetchall()
    return Damage(part.farm, part.file, part.date, what, tuple(Series(part.farm, *row) for row in rows))


def _not_in_index(chains: dict[str, Chain], known: set[Part]) -> Iterator[Damage]:
    """Yield sealed files that the SQLite file has lost: it is older than they are."""
    for farm, chain in chains.items():
        for entry in chain.present().values():
            if Part(farm, Origin.MEASURED, day_number(entry.day), entry.version) not in known:
                what = "readings.sqlite does not know this file: 'leafweather store seal' takes it up again"
                yield Damage(farm, entry.file, entry.day, what, ())


def _not_on_record(folder: Path, chains: dict[str, Chain]) -> Iterator[Damage]:
    """Yield files of measured readings that no line of a sound manifest stands for."""
    for farm, chain in chains.items():
        place = farm_folder(folder, farm)
        recorded = {entry.file for entry in chain.entries}
        for path in sorted(place.glob(f"{Origin.MEASURED}/*")) if chain.broken is None else ():
            file = path.relative_to(place).as_posix()
            if file not in recorded:
                yield Damage(farm, file, "", "it is not on record in the manifest; nothing is read from it", ())
