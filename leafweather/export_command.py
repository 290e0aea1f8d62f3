"""``leafweather export``: a data set that somebody else can read, check and cite."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from farm.check import Description, DescriptionError, read_description
from leafweather.kept import NothingKept, kept

if TYPE_CHECKING:
    from handover.export import Progress
    from handover.facts import Facts

DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2

_TIME = "a local date (its midnight) or ISO 8601 with a zone"


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")],
    target: Annotated[Path, typer.Argument(metavar="FOLDER", help="the folder to make; it must not be there yet")],
    start: Annotated[str | None, typer.Option(help=f"from when on: {_TIME}; the first reading by default")] = None,
    end: Annotated[str | None, typer.Option(help="until when, not included; the last reading by default")] = None,
    zone: Annotated[list[str] | None, typer.Option(help="only this zone's series; may be repeated")] = None,
    series: Annotated[list[str] | None, typer.Option(help="only this series, by its key; may be repeated")] = None,
    batch: Annotated[str | None, typer.Option(help="only where this batch stood, while it stood there")] = None,
    light_days: Annotated[
        str | None, typer.Option(help="the light days of one zone that begin on a date, or FIRST/LAST")
    ] = None,
    origin: Annotated[str, typer.Option(help="all, measured or derived series")] = "all",
    format_: Annotated[
        list[str] | None, typer.Option("--format", help="parquet, csv or netcdf; may be repeated; parquet by default")
    ] = None,
    cleaned: Annotated[
        bool, typer.Option("--cleaned", help="corrected and on a regular grid; else as they arrived")
    ] = False,
    every: Annotated[str | None, typer.Option(help="length of a cell: 1m, 10m, 1h, 1d (UTC), or day (local)")] = None,
    aggregation: Annotated[
        str | None, typer.Option(help="mean, time_mean, median, low, high, first or last; mean by default")
    ] = None,
    flags: Annotated[str | None, typer.Option(help="flags that count; good,not_evaluated by default")] = None,
    coverage: Annotated[
        float | None, typer.Option(help="share of a cell that readings must speak for; 0.75 by default")
    ] = None,
    layout: Annotated[str | None, typer.Option(help="of cleaned tables: wide (by default) or long")] = None,
    licence: Annotated[str | None, typer.Option(help="SPDX identifier of its licence, e.g. CC-BY-4.0")] = None,
    creator: Annotated[str | None, typer.Option(help="who gives it away, for the citation")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="replace a data set that is there")] = False,
    data: Annotated[
        Path | None, typer.Option(metavar="DATA", help="folder of readings and journal; else LEAFWEATHER_DATA")
    ] = None,
) -> None:
    """Write readings with flags, units, gaps and provenance into a folder that explains itself.

    The service may go on meanwhile. docs/data-sets.md says what each file holds and each choice's rule. The exit
    status is 1 if days are damaged at rest: the data set is made without them, and says so.
    """
    from handover.asking import Format, Imprint, asked
    from handover.data_set import make_data_set
    from handover.provenance import MadeBy
    from handover.refusals import NotWritten, Refused
    from leafweather import __version__
    from store.contract import StoreUnavailable, StoreUnusable

    description = _description(file)
    farm = description.farm
    try:
        wanted = asked(
            farm,
            start=start,
            end=end,
            series=series or (),
            zones=zone or (),
            batch=batch,
            light_days=light_days,
            origins=origin,
            cleaned=cleaned,
            every=every,
            aggregation=aggregation,
            flags=flags,
            least_coverage=coverage,
            layout=layout,
        )
        if odd := [one for one in format_ or () if one not in Format.__members__.values()]:
            raise Refused(f"format = {odd[0]!r} cannot be used. Write {', '.join(Format)}.")
        formats = [Format(one) for one in format_ or ("parquet",)]
        with kept(farm, data) as (readings, _), _progress(f"Writing {target.name}") as progress:
            facts = make_data_set(
                target,
                farm,
                readings,
                wanted,
                MadeBy(__version__, description.sha256),
                formats,
                Imprint(creator, licence),
                progress,
                overwrite=overwrite,
            )
    except (NothingKept, Refused, NotWritten, StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))
    except KeyboardInterrupt:
        _stop("Stopped. Nothing that looks whole was left behind.")
    raise typer.Exit(_told(facts, target))


def _told(facts: Facts, target: Path) -> int:
    """Say what was made and what is missing in it; return the exit status."""
    readings = sum(one.readings for one in facts.tallies)
    typer.echo(f"{target}: {readings:,} readings of {len(facts.tallies)} series. Begin with {target / 'README.md'}")
    for one in facts.silent:
        typer.echo(f"no reading in the range: {one.series.key}", err=True)
    for one in facts.valueless:
        typer.echo(f"readings, but no cell that they cover enough: {one.series.key}", err=True)
    by_day: dict[str, list[str]] = {}
    for damage in facts.damages:
        by_day.setdefault(damage.day, []).append(damage.series.key)
    for day, keys in sorted(by_day.items()):
        typer.echo(f"damaged, left out: {day} of {', '.join(keys)}", err=True)
    if by_day:
        typer.echo("leafweather store verify says which files to put back from a backup.", err=True)
        return FOUND_SOMETHING
    return DONE


@contextmanager
def _progress(what: str) -> Iterator[Progress]:
    """Show a bar on standard error, where that is a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _description(file: Path) -> Description:
    try:
        return read_description(file)
    except DescriptionError as error:
        _stop(str(error))


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
