"""``leafweather report``: a day, a week or a batch as a file to keep, print and cite."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from farm.check import DescriptionError, read_description
from leafweather.kept import NothingKept, kept

DONE, BAD_CALL = 0, 2

report_app = typer.Typer(no_args_is_help=True, help="A day, a week or a batch as HTML or PDF to keep and to print.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]
Out = Annotated[Path, typer.Option("--out", metavar="FILE", help="the file to write; it ends in .html or .pdf")]
Data = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="folder of readings and journal; else LEAFWEATHER_DATA")
]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="replace a file that is there")]


@report_app.command(epilog="Example: leafweather report day farm.toml 2026-03-01 --out 2026-03-01.pdf")
def day(
    file: FarmFile,
    local_day: Annotated[str, typer.Argument(metavar="DAY", help="a local day, as in 2026-03-01")],
    out: Out,
    data: Data = None,
    overwrite: Overwrite = False,
) -> None:
    """Write the report of one local day. The service may go on meanwhile."""
    _write("day", file, local_day, out, data, overwrite=overwrite)


@report_app.command(epilog="Example: leafweather report week farm.toml 2026-W09 --out week-9.pdf")
def week(
    file: FarmFile,
    calendar_week: Annotated[
        str, typer.Argument(metavar="WEEK", help="a week by ISO 8601, as in 2026-W09, or any day in it")
    ],
    out: Out,
    data: Data = None,
    overwrite: Overwrite = False,
) -> None:
    """Write the report of a calendar week, Monday to Sunday."""
    _write("week", file, calendar_week, out, data, overwrite=overwrite)


@report_app.command(epilog="Example: leafweather report batch farm.toml demo-1 --out demo-1.html")
def batch(
    file: FarmFile,
    name: Annotated[str, typer.Argument(metavar="BATCH", help="name of the batch in farm.toml")],
    out: Out,
    data: Data = None,
    overwrite: Overwrite = False,
) -> None:
    """Write the report of a batch, until now or until it was over."""
    _write("batch", file, name, out, data, overwrite=overwrite)


def _write(of: str, file: Path, name: str, out: Path, data: Path | None, *, overwrite: bool) -> None:
    from handover.provenance import MadeBy
    from handover.refusals import NotWritten, Refused
    from handover.reports.sources import Sources
    from handover.reports.writing import Of, put, report_of, shape_of, written_as
    from leafweather import __version__
    from store.contract import StoreUnavailable, StoreUnusable

    try:
        shape = shape_of(out)
        description = read_description(file)
        with kept(description.farm, data) as (readings, journal):
            made_by = MadeBy(__version__, description.sha256)
            sources = Sources(description.farm, readings, journal, made_by, time.time_ns() // 1000)
            report = report_of(sources, Of(of), name)
            put(out, lambda: written_as(report, shape), overwrite=overwrite)
    except (DescriptionError, NothingKept, Refused, NotWritten, StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))
    typer.echo(f"{out}: {report.title}, {report.subtitle}")


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
