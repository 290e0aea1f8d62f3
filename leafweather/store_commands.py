"""The command ``leafweather store``: what the store holds, and keeping it in order."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from leafweather.settings import Settings

if TYPE_CHECKING:
    from store.embedded import EmbeddedStore

DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2
DAY_US = 86_400_000_000
SEAL_LAG_DAYS = 2  # so that ordinary late data finds its day still hot

app = typer.Typer(
    no_args_is_help=True,
    help="The readings at rest: how much there is, sealing, verifying, backups.",
)

Data = Annotated[Path | None, typer.Option(metavar="FOLDER", help="folder of readings; else LEAFWEATHER_DATA")]


@app.command(epilog="Example: leafweather store status --data leafweather-data")
def status(data: Data = None) -> None:
    """Print what the store holds of each farm, and how much room it takes."""
    with _opened(data) as store:
        farms = store.status()
    if not farms:
        typer.echo("The store is empty.")
    for farm in farms:
        typer.echo(f"{farm.farm}: {farm.series} series, {farm.hot_readings + farm.sealed_readings:,} readings")
        typer.echo(f"  hot     {farm.hot_readings:,} readings")
        if farm.files:
            each = farm.sealed_bytes / farm.sealed_readings
            typer.echo(
                f"  sealed  {farm.sealed_readings:,} readings of {farm.first_day} to {farm.last_day} in {farm.files} "
                f"files, {farm.sealed_bytes / 1e6:,.1f} MB, {each:.2f} bytes a reading"
            )
        if farm.chain_head:
            typer.echo(f"  chain   {farm.chain_entries} entries, head {farm.chain_head}")


@app.command(epilog="Example: leafweather store seal --data leafweather-data --farm north")
def seal(
    data: Data = None,
    farm: Annotated[str | None, typer.Option(help="only this farm; else all")] = None,
    lag_days: Annotated[int, typer.Option(min=0, help="leave this many whole days before today as they are")] = (
        SEAL_LAG_DAYS
    ),
) -> None:
    """Seal whole past UTC days now, as the service does by itself once a day."""
    from store.sealed_days import farms_sealed

    before_us = (time.time_ns() // 1000 // DAY_US - lag_days) * DAY_US
    with _opened(data) as store:
        farms = sorted({one.farm for one in store.status()} | farms_sealed(store.folder))
        if farm is not None and farm not in farms:
            _stop(f"the store holds no farm {farm!r}: it holds {', '.join(farms) or 'none'}")
        for name in farms if farm is None else [farm]:
            with _progress(f"Sealing {name}") as progress:
                sealed = store.seal_due(name, before_us, progress)
            readings, size = sum(one.readings for one in sealed), sum(one.bytes for one in sealed)
            typer.echo(f"{name}: {readings:,} readings sealed in {len(sealed)} files, {size / 1e6:,.1f} MB")


@app.command(epilog="Example: leafweather store verify --data leafweather-data")
def verify(data: Data = None) -> None:
    """Check every sealed file and the evidence chain; say what is damaged and what that affects."""
    with _opened(data) as store, _progress("Verifying") as progress:
        found = store.verify(progress)
    for line in (*found.breaks, *found.damages):
        typer.echo(str(line))
    if not found.sound:
        raise typer.Exit(FOUND_SOMETHING)
    if not found.files:
        typer.echo(
            "Nothing is sealed yet, so nothing can be proved: nights seal what is older than two days, "
            "and leafweather store seal does so now."
        )
        return
    typer.echo(f"All {found.files} sealed files are as they were sealed, and every chain holds.")


@app.command(epilog="Example: leafweather store backup /mnt/backup --data leafweather-data")
def backup(
    target: Annotated[Path, typer.Argument(metavar="FOLDER", help="an empty folder, or one that is not there yet")],
    data: Data = None,
) -> None:
    """Copy the whole store, journal included, while the service goes on."""
    with _opened(data) as store, _progress("Copying") as progress:
        store.backup(target, progress)
    typer.echo(f"{target}: complete. Check it any time with: cd {target} && sha256sum --check --quiet SHA256SUMS")


@app.command(epilog="Example: leafweather store restore /mnt/backup --data leafweather-data")
def restore(
    source: Annotated[Path, typer.Argument(metavar="FOLDER", help="the folder of a backup")], data: Data = None
) -> None:
    """Put a backup into an empty folder, every file held to its checksum, and verify the store there."""
    from store.backup import restore as restored
    from store.contract import StoreUnavailable, StoreUnusable

    folder = data or Settings().data
    try:
        with _progress("Copying") as progress:
            restored(source, folder, progress)
    except (StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))
    verify(folder)


@contextmanager
def _opened(data: Path | None) -> Iterator[EmbeddedStore]:
    """Hold a store that is there already; what goes wrong with it is told in one line."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.embedded import FILE_NAME, EmbeddedStore

    folder = data or Settings().data
    if not (folder / FILE_NAME).is_file():
        _stop(f"{folder}: there is no store ({FILE_NAME}) in this folder: name another one with --data")
    try:
        with EmbeddedStore(folder) as store:
            yield store
    except (StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))


@contextmanager
def _progress(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show a bar on standard error, where that is a terminal."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
