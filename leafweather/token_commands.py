"""``leafweather token``: who may come in, made, listed and revoked; and who tried to change what."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from farm.description import Farm
from farm.roles import Role
from leafweather.asking import author, clock_us, farm_of, stop
from leafweather.settings import Settings
from leafweather.starting import CannotStart, made_folder

if TYPE_CHECKING:
    from store.access_entries import Token
    from store.journal import Journal

BAD_CALL = 2
DAY_US = 86_400_000_000
LONGEST_LABEL = 60

token_app = typer.Typer(no_args_is_help=True, help="Tokens: who may come in, and who tried to change what.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]
By = Annotated[str | None, typer.Option(help="who does it; else the name you are logged in with")]
Data = Annotated[Path | None, typer.Option(metavar="FOLDER", help="folder of the journal; else LEAFWEATHER_DATA")]


@token_app.command(
    epilog='Example: leafweather token make farm.toml --role technician --label "Ada\'s phone" --days 365'
)
def make(
    file: FarmFile,
    role: Annotated[Role, typer.Option(help="viewer reads; technician does the day's work too; keeper everything")],
    label: Annotated[str, typer.Option(help="whose it is, or what for: it stands beside all that is done with it")],
    days: Annotated[float | None, typer.Option(help="how long it works; until it is revoked if left out")] = None,
    by: By = None,
    data: Data = None,
) -> None:
    """Make a token and print it, this once: it is kept nowhere. It is for this farm alone."""
    farm, now_us, label = farm_of(file), clock_us(), label.strip()
    if not label or len(label) > LONGEST_LABEL or not label.isprintable():
        stop(f"--label: found {label!r}; write 1 to {LONGEST_LABEL} printable characters, such as whose it is")
    if days is not None and not 0 < days <= 36_500:
        stop(f"--days: found {days:g}; write more than 0, and 36500 at most, or leave it out")
    with _journal(data, new=True) as journal:
        if any(one.label == label for one in journal.tokens.all(farm.name) if _works(one, now_us)):
            stop(f"--label: another token that works is called {label!r}: revoke that first, or choose another label")
        expires_us = None if days is None else now_us + int(days * DAY_US)
        token, text = journal.tokens.make(farm.name, label, role, now_us, author(by), expires_us)
        _note(journal, farm, by, f"make {token.identity}")
    typer.echo(_line(farm, token, now_us), err=True)
    typer.echo("Keep it as you keep a password; it is not shown again:", err=True)
    typer.echo(text)


@token_app.command("list", epilog="Example: leafweather token list farm.toml")
def list_(file: FarmFile, data: Data = None) -> None:
    """Print every token with its role, its end and its label, never its text; those that work no more too."""
    farm, now_us = farm_of(file), clock_us()
    with _journal(data) as journal:
        found = journal.tokens.all(farm.name)
    for one in found:
        typer.echo(_line(farm, one, now_us))
    if not found:
        typer.echo("No tokens.")


@token_app.command(epilog="Example: leafweather token revoke farm.toml 0a1b2c3d4e")
def revoke(
    file: FarmFile,
    token: Annotated[str, typer.Argument(metavar="TOKEN", help="the token's name, as the list shows it")],
    by: By = None,
    data: Data = None,
) -> None:
    """Make a token let nobody in any more, at once; browsers that it signed in are signed out."""
    farm, now_us = farm_of(file), clock_us()
    with _journal(data) as journal:
        gone = journal.tokens.revoke(farm.name, token, now_us, author(by))
        if gone is None:
            stop(f"there is no token {token!r} of {farm.name}: leafweather token list shows their names")
        _note(journal, farm, by, f"revoke {token}")
    typer.echo(_line(farm, gone, now_us))


@token_app.command(epilog="Example: leafweather token audit farm.toml --most 50")
def audit(
    file: FarmFile,
    most: Annotated[int, typer.Option(min=1, help="how many at most")] = 100,
    data: Data = None,
) -> None:
    """Print who tried to change what through page and API, and who made or revoked tokens; the newest first."""
    farm = farm_of(file)
    with _journal(data) as journal:
        found = journal.audit.page(farm.name, most=most)
    for one in found:
        who = f"{one.who or 'a stranger'} ({one.role or 'no role'}{f', token {one.token}' if one.token else ''})"
        typer.echo(f"{farm.clock(one.at_us)}  {one.outcome}  {one.what}  {who}")
    if not found:
        typer.echo("Nobody has tried to change anything yet.")


def _works(token: Token, now_us: int) -> bool:
    from store.access_entries import Standing

    return token.standing(now_us) is Standing.USABLE


def _line(farm: Farm, token: Token, now_us: int) -> str:
    made = f"made {farm.clock(token.made_us)} by {token.made_by}"
    until = "until it is revoked" if token.expires_us is None else f"until {farm.clock(token.expires_us)}"
    state = until if _works(token, now_us) else f"EXPIRED {farm.clock(token.expires_us or 0)}"
    if token.revoked_us is not None:
        state = f"REVOKED {farm.clock(token.revoked_us)} by {token.revoked_by}"
    return "  ".join([token.identity, f"{token.role:10}", state, f'"{token.label}"', made])


def _note(journal: Journal, farm: Farm, by: str | None, what: str) -> None:
    from store.access_entries import Written

    journal.audit.add(
        Written(farm.name, clock_us(), author(by), None, Role.KEEPER, f"leafweather token {what}", "done")
    )


@contextmanager
def _journal(data: Path | None, *, new: bool = False) -> Iterator[Journal]:
    """Open the journal of a data folder; for the first token the folder is made, before any service has run."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal

    folder = data if data is not None else Settings().data
    if not new and not folder.is_dir():
        stop(f"there is no folder {folder}: give the one that the service writes to with --data")
    try:
        folder = made_folder(folder)
        with Journal(f"sqlite:///{folder / 'journal.sqlite'}") as journal:
            yield journal
    except (CannotStart, StoreUnavailable, StoreUnusable) as error:
        stop(str(error))
