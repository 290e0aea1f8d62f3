"""A whole store in another folder, and back: consistent, checked, and never over something that is there.

The folder of a backup holds the databases, the sealed files with their manifests, and last of all
``SHA256SUMS``, which lists them all for ``sha256sum --check SHA256SUMS``: without it a backup is not whole.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from store import embedded_sql as sql
from store.contract import Origin, StoreUnavailable, StoreUnusable
from store.durable import made_folders, sha256_of, synced_file, synced_folder
from store.fault_points import reached
from store.faults import file_fault, sqlite_fault
from store.manifest import FILE_NAME as MANIFEST
from store.sealed_days import Part, farm_folder

SUMS = "SHA256SUMS"
READINGS = "readings.sqlite"
JOURNAL = "journal.sqlite"
UNFINISHED = ".unfinished"  # ends the name of a database until all of a backup is there

Progress = Callable[[int, int], None]


def back_up(folder: Path, connection: sqlite3.Connection, target: Path, progress: Progress | None = None) -> None:
    """Copy a store into an empty folder. Whoever calls holds the lock on sealing.

    Parameters
    ----------
    folder : pathlib.Path
        The store's folder; a journal in it is copied too.
    connection : sqlite3.Connection
        One that reads the store's SQLite file: what it sees is what is copied.
    target : pathlib.Path
        An empty folder, or one that is not there yet.
    progress : callable, optional
        Called with how many files are copied, of how many.

    Raises
    ------
    StoreUnavailable
        If the folder is not empty, or its disk is full or may not be written.
    """
    _refuse_unless_empty(target)
    parts = [Part(row[1], Origin(row[2]), *row[3:5]) for row in connection.execute(sql.PARTS)]
    manifests = {farm_folder(folder, part.farm) / MANIFEST for part in parts}
    sealed = [*(part.path(folder) for part in parts), *sorted(path for path in manifests if path.exists())]
    steps = len(sealed) + 1
    try:
        made_folders(target)
        _copied_database(connection, target / READINGS)
        if (folder / JOURNAL).exists():
            with closing(sqlite3.connect(folder / JOURNAL)) as journal:
                _copied_database(journal, target / JOURNAL)
        sums = [_sum_line(target, path.name) for path in sorted(target.glob("*.sqlite"))]
        for place, path in enumerate(sealed, 1):
            if progress:
                progress(place, steps)
            name = path.relative_to(folder)
            _copied_file(path, target / name)
            sums.append(_sum_line(target, name.as_posix()))
        (target / SUMS).write_text("".join(sums), encoding="utf-8")
        synced_file(target / SUMS)
        synced_folder(target)
    except OSError as error:
        raise file_fault(target, error) from error
    if progress:
        progress(steps, steps)


def restore(source: Path, folder: Path, progress: Progress | None = None) -> None:
    """Copy a backup into an empty folder, every file held to its checksum; the folder stays empty where that fails.

    The databases get their names last of all: what a crash cuts off is no store.

    Raises
    ------
    StoreUnavailable
        If the folder is not empty, or its disk is full or may not be written.
    StoreUnusable
        If the source is not a whole backup, or a file of it was changed.
    """
    if not (source / SUMS).is_file():
        raise StoreUnusable(f"{source}: it is not a whole backup: {SUMS} is not there; name the folder of a backup")
    _refuse_unless_empty(folder)
    lines = (source / SUMS).read_text(encoding="utf-8").splitlines()
    try:
        for place, line in enumerate(lines):
            if progress:
                progress(place, len(lines))
            _restored_file(source, folder, *line.split("  ", 1))
        reached("files restored")
        for path in folder.glob(f"*{UNFINISHED}"):
            path.rename(path.with_name(path.name.removesuffix(UNFINISHED)))
        synced_folder(folder)
    except StoreUnusable:
        _emptied(folder)
        raise
    except OSError as error:
        _emptied(folder)
        raise file_fault(folder, error) from error
    if progress:
        progress(len(lines), len(lines))


def _restored_file(source: Path, folder: Path, sha256: str, name: str) -> None:
    if Path(name).is_absolute() or ".." in Path(name).parts:
        raise StoreUnusable(f"{source / SUMS}: {name} is not a file of a backup")
    if not (source / name).is_file():
        raise StoreUnusable(f"{source / name}: it is missing: this backup is not whole, take another one")
    target = folder / (name + UNFINISHED if name in (READINGS, JOURNAL) else name)
    _copied_file(source / name, target)
    if sha256_of(target) != sha256:
        raise StoreUnusable(f"{source / name}: it was changed or damaged since the backup: take another one")


def _emptied(folder: Path) -> None:
    for one in folder.iterdir() if folder.is_dir() else ():
        if one.is_dir():
            shutil.rmtree(one, ignore_errors=True)
        else:
            one.unlink(missing_ok=True)


def _refuse_unless_empty(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreUnavailable(f"{folder}: it is not an empty folder: name one that is, or that is not there yet")


def _copied_database(source: sqlite3.Connection, target: Path) -> None:
    """Copy what a connection sees in one go: nobody who writes meanwhile waits, or is seen in part."""
    try:
        with closing(sqlite3.connect(target)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, complete in itself
    except sqlite3.Error as error:
        raise sqlite_fault(target, error) from error
    synced_file(target)


def _copied_file(source: Path, target: Path) -> None:
    made_folders(target.parent)
    shutil.copyfile(source, target)
    synced_file(target)


def _sum_line(folder: Path, name: str) -> str:
    return f"{sha256_of(folder / name)}  {name}\n"
