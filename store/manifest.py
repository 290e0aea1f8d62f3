"""The evidence chain of a farm: a text file that only grows, one line for each file sealed or dropped.

Every line ends with the SHA-256 of the line before it, so that no line can be changed, taken out or put in
without all later ones telling. It is made to be checked with ``sha256sum`` alone: see ``docs/evidence.md``.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from store import fault_points
from store.contract import StoreUnusable
from store.durable import synced_folder
from store.faults import file_fault

FILE_NAME = "manifest.txt"


class Deed(StrEnum):
    """What a line of the manifest records."""

    SEALED = "sealed"
    DROPPED = "dropped"


class Entry(NamedTuple):
    """One line: a file that was sealed, or dropped when its time to be kept was over."""

    number: int
    deed: Deed
    day: str
    version: int
    readings: int
    sha256: str
    file: str
    previous: str

    def line(self) -> str:
        """Return the line as it stands in the file."""
        return " ".join(map(str, self)) + "\n"


class Break(NamedTuple):
    """The first place where the chain does not hold: the number of the line in the file, and why."""

    line: int
    why: str


@dataclass(frozen=True, slots=True)
class Chain:
    """What a manifest holds, up to its first break if it has one."""

    entries: tuple[Entry, ...]
    head: str
    broken: Break | None

    def present(self) -> dict[tuple[str, int], Entry]:
        """Return the files that are to be there, by day and version."""
        files = {}
        for entry in self.entries:
            if entry.deed is Deed.SEALED:
                files[entry.day, entry.version] = entry
            else:
                files.pop((entry.day, entry.version), None)
        return files

    def head_after(self, entries: int) -> str:
        """Return the SHA-256 of the line of one of the entries, counted from 1."""
        return _sha256(self.entries[entries - 1].line())

    def next_version(self, day: str) -> int:
        """Return the number that no file of a day has had, also none that was dropped."""
        return 1 + max((entry.version for entry in self.entries if entry.day == day), default=0)


class Manifest:
    """A farm's manifest in its folder of sealed files."""

    def __init__(self, folder: Path, farm: str) -> None:
        self.path = folder / FILE_NAME
        self._title = (
            f"# Leafweather manifest 1, farm {farm!r}: number, deed, day (UTC), version, readings, "
            "SHA-256 of the file, file, SHA-256 of the line before\n"
        )

    def chain(self) -> Chain:
        """Return what the manifest holds, its chain checked; a line half written at the end is left out."""
        try:
            content = self.path.read_bytes()
        except FileNotFoundError:
            return Chain((), _sha256(self._title), None)
        except OSError as error:
            raise file_fault(self.path, error) from error
        lines = content.decode("utf-8", "replace").split("\n")[:-1]
        return _checked([line + "\n" for line in lines], self._title)

    def refuse_if_broken(self, chain: Chain) -> None:
        """Raise StoreUnusable if the chain does not hold: nothing may be built on it."""
        if chain.broken:
            raise StoreUnusable(
                f"{self.path}: the chain breaks in line {chain.broken.line} ({chain.broken.why}): nothing is sealed "
                "or dropped any more until the file is put back from a backup; new readings are kept all the same"
            )

    def append(self, chain: Chain, deed: Deed, file: tuple[str, int, int, str, str]) -> Chain:
        """Add a line (day, version, readings, SHA-256, file) after a chain just read, durably.

        Whoever appends holds the lock on sealing.
        """
        self.refuse_if_broken(chain)
        entry = Entry(len(chain.entries) + 1, deed, *file, chain.head)
        before = self._title + "".join(one.line() for one in chain.entries) if chain.entries else ""
        text = (entry.line() if chain.entries else self._title + entry.line()).encode()
        whole, half = len(before.encode()), len(text) // 2
        try:
            with self.path.open("r+b" if self.path.exists() else "x+b", buffering=0) as out:
                out.truncate(whole)  # what a crash left half written was never part of the chain
                out.seek(whole)
                try:
                    _write_all(out.fileno(), text[:half])
                    fault_points.reached("manifest half written")
                    _write_all(out.fileno(), text[half:])
                    fault_points.reached("manifest written")
                    os.fsync(out.fileno())
                except OSError:
                    out.truncate(whole)
                    raise
            synced_folder(self.path.parent)
        except OSError as error:
            raise file_fault(self.path, error) from error
        fault_points.reached("manifest synced")
        return Chain((*chain.entries, entry), _sha256(entry.line()), None)


def _write_all(descriptor: int, content: bytes) -> None:
    while content:
        content = content[os.write(descriptor, content) :]


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


_LINE = re.compile(r"(\d+) (sealed|dropped) (\S+) (\d+) (\d+) ([0-9a-f]{64}) (\S+) ([0-9a-f]{64})\n")


def _checked(lines: Sequence[str], title: str) -> Chain:
    """Return the entries of lines up to the first that does not follow the one before it."""
    entries: list[Entry] = []
    head = _sha256(title)
    if lines and lines[0] != title:
        return Chain((), head, Break(1, "the first line is not that of this farm's manifest"))
    for place, line in enumerate(lines[1:], 2):
        parts = _LINE.fullmatch(line)
        if parts is None:
            return Chain(tuple(entries), head, Break(place, "it is not a line of a manifest"))
        number, deed, day, version, readings, sha256, file, previous = parts.groups()
        if previous != head:
            return Chain(
                tuple(entries),
                head,
                Break(
                    place, f"it does not follow the line before it, whose SHA-256 is {head}: one of them was changed"
                ),
            )
        if int(number) != len(entries) + 1:
            return Chain(tuple(entries), head, Break(place, f"it has the number {number}, not {len(entries) + 1}"))
        entries.append(Entry(int(number), Deed(deed), day, int(version), int(readings), sha256, file, previous))
        head = _sha256(line)
    return Chain(tuple(entries), head, None)
