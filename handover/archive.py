"""A data set as one zip file, the same to the bit each time; nothing of it stays on the disk."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO, NamedTuple

from farm.description import Farm
from handover.asking import Asked, Format, Imprint
from handover.data_set import make_data_set
from handover.place import UNFINISHED
from handover.provenance import MadeBy
from handover.refusals import NotWritten
from watch.judged import JudgedReadings

PREFIX = "data-set-"
PIECE = 1 << 18
NO_CLOCK = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip file can hold
DENSE = (".parquet", ".nc")  # compressed already


class Archive(NamedTuple):
    """A zip file that has no name on the disk: closing it, or the end of the process, frees its room."""

    name: str
    size: int
    file: IO[bytes]

    def pieces(self) -> Iterator[bytes]:
        """Yield its content some at a time, and close it, however far it got."""
        try:
            while piece := self.file.read(PIECE):
                yield piece
        finally:
            self.file.close()


def archive(
    farm: Farm,
    store: JudgedReadings,
    asked: Asked,
    made_by: MadeBy,
    formats: Sequence[Format],
    imprint: Imprint,
    scratch: Path | None = None,
) -> Archive:
    """Return a whole data set as a zip file, made in bounded memory by ``make_data_set``.

    Parameters
    ----------
    scratch : pathlib.Path, optional
        Where there is room for it twice; the system's folder for temporary files by default.

    Raises
    ------
    Refused, NotWritten, StoreUnavailable, StoreUnusable
        As ``make_data_set`` does.
    """
    try:
        file = tempfile.TemporaryFile(dir=scratch, prefix=PREFIX, suffix=UNFINISHED)  # noqa: SIM115  # it outlives us
        try:
            with tempfile.TemporaryDirectory(dir=scratch, prefix=PREFIX, suffix=UNFINISHED) as place:
                folder = Path(place) / "data-set"
                facts = make_data_set(folder, farm, store, asked, made_by, formats, imprint)
                name = f"{farm.name}-{facts.span_in_name}"
                _zip(folder, name, file)
            size = file.tell()
            file.seek(0)
        except BaseException:
            file.close()
            raise
    except OSError as error:
        raise NotWritten(f"the zip file cannot be written ({error})") from error
    return Archive(f"{name}.zip", size, file)


def _zip(folder: Path, name: str, file: IO[bytes]) -> None:
    with zipfile.ZipFile(file, "w") as packed:
        for one in sorted(folder.iterdir()):
            entry = zipfile.ZipInfo(f"{name}/{one.name}", NO_CLOCK)
            entry.compress_type = zipfile.ZIP_STORED if one.suffix in DENSE else zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            entry.create_system = 3
            entry.file_size = one.stat().st_size  # tells whether it needs the large form
            with one.open("rb") as content, packed.open(entry, "w") as target:
                shutil.copyfileobj(content, target, PIECE)


def remove_leftovers(scratch: Path) -> None:
    """Remove what a process that was killed left of a data set; only while nobody else makes one there."""
    for one in scratch.glob(f"{PREFIX}*{UNFINISHED}"):
        if one.is_dir():
            shutil.rmtree(one, ignore_errors=True)
        else:
            with suppress(OSError):
                one.unlink()
