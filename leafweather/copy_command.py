"""The command ``leafweather store copy``."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from farm.readings import Series, iso_time, microseconds
from store.contract import ReadingStore, StoreUnavailable, StoreUnusable

if TYPE_CHECKING:
    from store.copying import CopiedSeries

DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2

_EVER_US = 1 << 62
_URL_HELP = "file:///folder, file:folder or influx+https://host:port/organisation/bucket"
_TIME_HELP = "ISO 8601 with a zone, as in 2026-03-01T00:00:00Z; all there is by default"


def register(app: typer.Typer) -> None:
    """Add the command ``copy`` to the group ``store``."""
    app.command(
        "copy",
        epilog="Example: leafweather store copy file:leafweather-data "
        "influx+https://db.example:8086/leafweather/readings --farm north --start 2026-01-01T00:00:00Z",
    )(store_copy)


def store_copy(
    source: Annotated[str, typer.Argument(metavar="SOURCE", help=f"the store to read: {_URL_HELP}")],
    target: Annotated[str, typer.Argument(metavar="TARGET", help="the store to write to, named the same way")],
    farm: Annotated[str, typer.Option(help="the farm's name, as in its farm.toml")],
    start: Annotated[str | None, typer.Option(help=f"first instant to copy: {_TIME_HELP}")] = None,
    end: Annotated[str | None, typer.Option(help=f"instant to stop before: {_TIME_HELP}")] = None,
) -> None:
    """Copy a farm's readings from one store to another, then check that both hold the same.

    The target keeps what it has; where it differs, that is reported and the exit status is 1. A copy that
    was cut off goes on when the same command is given again. The token of an InfluxDB server comes from
    the environment, LEAFWEATHER_INFLUX_TOKEN. Stop the service that writes to an InfluxDB target first.
    """
    from store.open import open_store

    try:
        start_us, end_us = _time(start, "--start", -_EVER_US), _time(end, "--end", _EVER_US)
        if start_us >= end_us:
            raise ValueError(f"--start {start} is not before --end {end}")
        if source == target:
            raise ValueError(f"SOURCE and TARGET are the same store, {source}")
        with ExitStack() as stack:
            reading_from, writing_to = (stack.enter_context(open_store(url)) for url in (source, target))
            copied = _copied_with_a_bar(reading_from, writing_to, farm, start_us, end_us)
    except (ValueError, StoreUnavailable, StoreUnusable) as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(BAD_CALL) from error
    except KeyboardInterrupt:
        typer.echo("Stopped. The same command goes on where it was.", err=True)
        raise typer.Exit(BAD_CALL) from None
    raise typer.Exit(_report(copied))


def _copied_with_a_bar(
    source: ReadingStore, target: ReadingStore, farm: str, start_us: int, end_us: int
) -> list[CopiedSeries]:
    """Copy, and show on standard error how far it is where somebody looks."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    from store.copying import copy_readings

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
        bar = progress.add_task(farm)

        def show(done: int, total: int, series: Series) -> None:
            verb = "copying" if 2 * done <= total else "checking"
            progress.update(bar, completed=done, total=total, description=f"{verb} {series.key}")

        return copy_readings(source, target, farm, start_us, end_us, show)


def _time(text: str | None, option: str, otherwise_us: int) -> int:
    """Return the instant that an option names."""
    if text is None:
        return otherwise_us
    try:
        return microseconds(datetime.fromisoformat(text))
    except ValueError as error:
        raise ValueError(f"{option} {text}: {error}: write {_TIME_HELP}") from error


def _report(copied: list[CopiedSeries]) -> int:
    """Print what became of each series; return the exit status."""
    wrong = 0
    for one in copied:
        typer.echo(
            f"{one.known.series.key}: {one.source.count} readings, {one.stored} copied, {one.present} there already, "
            f"{one.conflicting} in conflict; {'the same on both sides' if one.same else 'NOT the same on both sides'}"
        )
        for reading in one.examples:
            typer.echo(
                f"  conflict at {iso_time(reading.time_us)}: the source has {reading.value} (flag {reading.flag}), "
                "the target keeps what it has"
            )
        if not one.same:
            wrong += 1
            typer.echo(
                f"  source: {one.source.count} readings, checksum {one.source.sum:016x}; "
                f"target: {one.target.count} readings, checksum {one.target.sum:016x}"
            )
    if wrong:
        typer.echo(f"{wrong} of {len(copied)} series differ.", err=True)
        return FOUND_SOMETHING
    typer.echo(
        f"{sum(one.source.count for one in copied)} readings of {len(copied)} series are the same on both sides."
    )
    return DONE
