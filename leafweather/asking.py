"""What commands that write something ask alike: which farm, who does it, when; and how they refuse."""

from __future__ import annotations

import getpass
import time
from pathlib import Path
from typing import NoReturn

import typer

from farm.check import DescriptionError, read_description
from farm.description import Farm

BAD_CALL = 2


def farm_of(file: Path) -> Farm:
    """Return the farm of a description, or stop with its mistakes."""
    try:
        return read_description(file).farm
    except DescriptionError as error:
        stop(str(error))


def author(by: str | None) -> str:
    """Return who does it: as given, else the name that this machine knows."""
    if by is not None and by.strip():
        return by.strip()
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        stop("--by: say who does it, since this machine does not tell")


def clock_us() -> int:
    """Return the wall clock as microseconds since 1970 UTC."""
    return time.time_ns() // 1000


def stop(message: str) -> NoReturn:
    """Say what is wrong with the call, and end."""
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
