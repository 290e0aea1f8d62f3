"""The command ``leafweather doctor``."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from farm.check import DescriptionError, read_description
from leafweather.settings import Settings

DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2


def doctor(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")],
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="folder of readings; else LEAFWEATHER_DATA")
    ] = None,
    listen_s: Annotated[float, typer.Option(min=0, help="how long to listen for a message of the farm")] = 5.0,
) -> None:
    """Look at all that a farm's service rests on, and say what to mend; nothing is changed, the service may run.

    Settings come from the environment, as for leafweather serve. Exit status 1 says that something is wrong.
    """
    from leafweather.checkup import Level, checkup
    from leafweather.checkup_of_broker import broker

    try:
        settings = Settings() if data is None else Settings(data=data)
    except ValidationError as error:
        names = ["LEAFWEATHER_" + "_".join(map(str, one["loc"])).upper() + f": {one['msg']}" for one in error.errors()]
        typer.echo("\n".join(names), err=True)
        raise typer.Exit(BAD_CALL) from error
    try:
        description = read_description(file)
    except DescriptionError as error:
        for mistake in error.mistakes:
            typer.echo(f"{file}: {mistake}", err=True)
        raise typer.Exit(FOUND_SOMETHING if file.is_file() else BAD_CALL) from error
    wrong = 0
    for one in (*checkup(description, settings, time.time_ns() // 1000),
                broker(settings, description.farm.topic_filters, listen_s)):  # fmt: skip
        typer.echo(f"{one.level:6} {one.what:14} {one.text}")
        wrong += one.level is Level.WRONG
    if wrong:
        typer.echo(f"{wrong} {'thing is' if wrong == 1 else 'things are'} wrong.", err=True)
        raise typer.Exit(FOUND_SOMETHING)
