"""``leafweather ingest``: what a message would become, and which names nobody has described."""

from __future__ import annotations

import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from farm.check import DescriptionError, read_description
from farm.readings import iso_time, microseconds
from leafweather.settings import Settings

DONE, REFUSED, BAD_CALL = 0, 1, 2

ingest_app = typer.Typer(no_args_is_help=True, help="What arrives over MQTT, and what becomes of it.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]


@ingest_app.command(
    "try",
    epilog="Example: leafweather ingest try farm.toml --topic leafweather/x "
    """--payload '[{"n":"room/air_temperature","v":21}]'""",
)
def try_(
    file: FarmFile,
    topic: Annotated[str, typer.Option(help="topic that the message comes on")],
    payload: Annotated[str, typer.Option(help="the message: a text, @FILE for a file's bytes, - for standard input")],
    content_type: Annotated[str | None, typer.Option(help="MQTT 5 content type, if the device sends one")] = None,
    at: Annotated[str | None, typer.Option(help="time of arrival, ISO 8601 with its zone; now by default")] = None,
) -> None:
    """Show what a message becomes, record by record, and why. Nothing is stored.

    Exit code 0 if all of it is taken, 1 if something is refused, 2 for a bad call.
    """
    from farm.readings import Reading
    from ingest.trial import tried

    try:
        farm = read_description(file).farm
        if any(wild in topic for wild in "+#"):
            _stop(f"--topic: found {topic!r}; nothing can be published on + or #: give the topic of one message")
    except DescriptionError as error:
        _stop(str(error))
    message = _message(payload)
    arrived_us = time.time_ns() // 1000 if at is None else _moment(at)
    trial = tried(farm, topic, message, arrived_us, content_type)
    typer.echo(f"{len(message):,} bytes on {topic}: {trial.how}")
    for step in trial.steps:
        record, outcome = step.record, step.outcome
        if isinstance(outcome, Reading):
            value = f"{outcome.value:g} {outcome.series.registered.unit}"
            typer.echo(f"taken    {outcome.series.key}  {value}  {iso_time(outcome.time_us)}")
        else:
            sent = f"{record.value:g} {record.unit or ''}".rstrip()
            typer.echo(f"refused  {record.name}  {sent}  {outcome.reason}: {outcome.detail}")
        for why in step.why:
            typer.echo(f"           {why}")
    for fault in trial.faults:
        typer.echo(f"refused  {fault.name or 'the message'}  {fault.reason}: {fault.detail}")
    if not trial.steps and not trial.faults:
        typer.echo("nothing  the message holds no record")
    raise typer.Exit(DONE if trial.all_taken else REFUSED)


@ingest_app.command(epilog="Example: leafweather ingest unknown farm.toml --data /var/lib/leafweather")
def unknown(
    file: FarmFile,
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="folder for readings and journal; else LEAFWEATHER_DATA")
    ] = None,
) -> None:
    """Show the wire names that nobody has described, with a draft of each for farm.toml."""
    from farm.suggestion import suggested_series
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal

    try:
        farm = read_description(file).farm
        folder = data if data is not None else Settings().data
        if not (folder / "journal.sqlite").is_file():
            _stop(f"{folder} holds no journal: name the folder that the service was started with, with --data")
        with Journal(f"sqlite:///{(folder / 'journal.sqlite').resolve()}") as journal:
            names = [one for one in journal.unknown_names(farm.name) if not farm.has_on_the_wire(one.name, one.topic)]
    except (DescriptionError, StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))
    for one in names:
        newest = f"last {one.value:g} {one.unit or '(no unit)'} at {iso_time(one.last_us)}"
        if one.name or one.topic:
            typer.echo(f"# {one.name or 'a bare number'} on {one.topic}: {one.count:,} times, {newest}")
            typer.echo(suggested_series(farm, one.name, one.topic, one.unit))
        else:
            typer.echo(f"# further names, not kept apart: {one.count:,} times, {newest}")
    if not names:
        typer.echo("# no unknown names: everything that came is described")


def _message(payload: str) -> bytes:
    if payload == "-":
        return sys.stdin.buffer.read()
    if not payload.startswith("@"):
        return payload.encode()
    try:
        return Path(payload[1:]).read_bytes()
    except OSError as error:
        _stop(f"--payload: found {payload!r}: {error.strerror}; give a file that is there")


def _moment(at: str) -> int:
    try:
        return microseconds(datetime.fromisoformat(at))
    except ValueError:
        _stop(f"--at: found {at!r}; write ISO 8601 with a zone, as in 2026-03-01T13:30:00Z")


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
