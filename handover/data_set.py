"""A data set as a folder: readings, their descriptions and checksums, whole or not there at all."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from farm.description import Farm
from handover.asking import Asked, Format, Imprint
from handover.descriptor import datapackage
from handover.export import Export, Part, Progress
from handover.facts import Facts, File, dictionary
from handover.netcdf import NetCDFFile, refuse_without_library
from handover.place import CHECKSUMS, DESCRIPTOR, put_in_place, refuse_what_is_there, unfinished
from handover.provenance import MadeBy, evidence_of, identity_of, query_of
from handover.readme import readme
from handover.refusals import Refused
from handover.tables import CsvFile, ParquetFile, small_table
from store.durable import sha256_of
from watch.judged import JudgedReadings

README = "README.md"


class _Writer(Protocol):
    """A file of readings that grows part by part."""

    rows: int | None

    def write(self, part: Part) -> None: ...

    def close(self) -> None: ...


class _OfBatches:
    def __init__(self, file: ParquetFile | CsvFile) -> None:
        self._file = file
        self.rows: int | None = 0

    def write(self, part: Part) -> None:
        batch = part.batch()
        self.rows = (self.rows or 0) + batch.num_rows
        self._file.write(batch)

    def close(self) -> None:
        self._file.close()


class _OfSeries:
    rows: int | None = None  # it has no table

    def __init__(self, file: NetCDFFile) -> None:
        self._file = file

    def write(self, part: Part) -> None:
        part.write_to(self._file)

    def close(self) -> None:
        self._file.close()


MEDIA_TYPES = {
    Format.PARQUET: ("readings.parquet", "application/vnd.apache.parquet"),
    Format.CSV: ("readings.csv", "text/csv"),
    Format.NETCDF: ("readings.nc", "application/netcdf"),
}


def make_data_set(
    target: Path,
    farm: Farm,
    store: JudgedReadings,
    asked: Asked,
    made_by: MadeBy,
    formats: Sequence[Format] = (Format.PARQUET,),
    imprint: Imprint = Imprint(),  # noqa: B008  # it cannot change
    progress: Progress | None = None,
    *,
    overwrite: bool = False,
) -> Facts:
    """Write a data set into a folder that is not there yet, in bounded memory.

    It is written beside its place under a name that ends with ``.unfinished`` and put there when it is whole.

    Parameters
    ----------
    target : pathlib.Path
        The folder to make.
    store : watch.judged.JudgedReadings
        Readings as they are judged; as they arrived beneath.
    overwrite : bool
        Whether a data set that is there may be replaced, and nothing else.

    Returns
    -------
    facts : Facts
        What was written, and what is missing in it: ``damages`` and ``silent``.

    Raises
    ------
    Refused
        If what is asked for does not exist, holds no reading, or the folder is there already.
    NotWritten
        If the disk is full or may not be written.
    StoreUnavailable, StoreUnusable
        See the store; a damaged day alone is passed over and told in ``damages``.
    """
    formats = tuple(one for one in Format if one in formats)
    if not formats:
        raise Refused(f"no format is asked for: name one or more of {', '.join(Format)}.")
    if Format.NETCDF in formats:
        refuse_without_library()
    refuse_what_is_there(target, overwrite=overwrite)
    export = Export(farm, store, asked)
    with unfinished(target) as folder:
        counts = _write_readings(folder, export, formats, imprint, made_by, progress)
        facts = Facts(
            farm,
            export.choice,
            export.grid,
            formats,
            imprint,
            made_by,
            evidence_of(store, farm.name, export.choice.start_us, export.choice.end_us),
            export.source.tallies,
            list(export.source.damages),
            {
                number: found
                for number, one in enumerate(export.choice.members)
                if (found := store.corrections(one.series))
            },
            [number for number, one in enumerate(export.choice.members) if _is_pressure_corrected(farm, one.series)],
            query_of(export.choice, formats, imprint),
        )
        _refuse_empty(facts)
        _describe(folder, facts, counts)
        put_in_place(folder, target, overwrite=overwrite)
    return facts


def _is_pressure_corrected(farm: Farm, series: object) -> bool:
    described = farm.described.get(series)  # type: ignore[call-overload]  # a series is what it is asked for
    return described is not None and described.calibrated_at_kpa is not None


def _write_readings(
    folder: Path,
    export: Export,
    formats: Sequence[Format],
    imprint: Imprint,
    made_by: MadeBy,
    progress: Progress | None,
) -> list[File]:
    """Write the files of readings; return what they are, not yet their checksums."""
    writers: list[_Writer] = []
    try:
        for one in formats:
            path = folder / MEDIA_TYPES[one][0]
            if one is Format.PARQUET:
                writers.append(_OfBatches(ParquetFile(path, export.schema)))
            elif one is Format.CSV:
                whole = export.grid is not None
                writers.append(_OfBatches(CsvFile(path.open("wb"), export.schema, whole_seconds=whole)))
            else:
                attributes = _attributes(export, imprint, made_by)
                writers.append(_OfSeries(NetCDFFile(path, export.farm, export.choice, export.grid, attributes)))
        for part in export.parts(progress):
            for writer in writers:
                writer.write(part)
        for writer in writers:
            writer.close()
    except BaseException:
        for writer in writers:  # what went wrong first is what is told
            with suppress(Exception):
                writer.close()
        raise
    what = "the readings" if export.grid is None else "the cleaned readings"
    fields = tuple(export.fields)
    return [
        File(MEDIA_TYPES[one][0], what, MEDIA_TYPES[one][1], () if writer.rows is None else fields, writer.rows)
        for one, writer in zip(formats, writers, strict=True)
    ]


def _attributes(export: Export, imprint: Imprint, made_by: MadeBy) -> dict[str, str]:
    """Return what the NetCDF file says of itself."""
    place = export.farm.farm
    source = f"sensors of the farm {place.name}, and what was derived from them"
    said = {
        "title": f"{'Readings' if export.grid is None else 'Cleaned readings'} of {place.title}",
        "institution": imprint.creator or place.title,
        "source": f"an invented farm: {source}" if place.invented else source,
        "history": f"written by Leafweather {made_by.version} from the description {made_by.description_sha256}",
        "comment": "README.md beside this file says by which rules it was made",
    }
    return said | ({"license": imprint.licence} if imprint.licence else {})


def _refuse_empty(facts: Facts) -> None:
    if any(one.readings for one in facts.tallies):
        return
    count = len(facts.choice.members)
    if facts.damages:
        days = ", ".join(sorted({one.day for one in facts.damages}))
        raise Refused(
            f"what this range holds of the {count} series asked for is damaged ({days}): nothing was written. "
            "leafweather store verify says which file to put back from a backup."
        )
    raise Refused(
        f"the {count} series asked for have no reading in this range: nothing was written. "
        "leafweather export --help says how to ask for another one."
    )


def _describe(folder: Path, facts: Facts, readings: Sequence[File]) -> None:
    """Write all that explains the readings, each file's checksum into the next that names it."""
    files = [_finished(folder, one) for one in readings]
    for table, rows in facts.small_tables():
        files.append(_written(folder, table, rows))
    table, rows = dictionary(files)
    files.append(_written(folder, replace(table, rows=len(rows)), rows))
    identity = identity_of(facts.query, facts.made_by, {one.name: one.sha256 for one in files})
    (folder / DESCRIPTOR).write_text(datapackage(facts, files, identity), encoding="utf-8", newline="\n")
    (folder / README).write_text(readme(facts, files, identity), encoding="utf-8", newline="\n")
    names = sorted(one.name for one in folder.iterdir())
    sums = "".join(f"{sha256_of(folder / name)}  {name}\n" for name in names)
    (folder / CHECKSUMS).write_text(sums, encoding="utf-8", newline="\n")


def _written(folder: Path, table: File, rows: Sequence[Sequence[object]]) -> File:
    batch = small_table(table.fields, rows)
    file = CsvFile((folder / table.name).open("wb"), batch.schema)
    try:
        file.write(batch)
    finally:
        file.close()
    return _finished(folder, table)


def _finished(folder: Path, file: File) -> File:
    path = folder / file.name
    return replace(file, size=path.stat().st_size, sha256=sha256_of(path))
