"""``leafweather notice``: try whether a person can be reached, and see what was sent and what waits."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer
from pydantic import ValidationError

from farm.check import DescriptionError, read_description
from farm.description import Farm
from farm.readings import instant
from farm.references import one_of
from leafweather.settings import Settings

if TYPE_CHECKING:
    from store.journal import Journal
    from store.notice_entries import Notice, Try

FOUND_SOMETHING, BAD_CALL = 1, 2

notice_app = typer.Typer(no_args_is_help=True, help="Notices to people: try one, and see what was sent.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]
Data = Annotated[Path | None, typer.Option(metavar="FOLDER", help="folder of the journal; else LEAFWEATHER_DATA")]


@notice_app.command("test", epilog="Example: leafweather notice test farm.toml ada")
def try_one(
    file: FarmFile,
    person: Annotated[str, typer.Argument(metavar="PERSON", help="as [notices.people] of farm.toml names them")],
    data: Data = None,
) -> None:
    """Send a test notice to one person by every channel of theirs, and say what came of each.

    Mail server, password and secrets come from the environment, as for the service.
    """
    from farm.alarm_words import Priority
    from leafweather.outside import BadOutside, channels_of
    from store.notice_entries import Notice, NoticeKind, Outcome
    from watch.notice_text import words_of_test
    from watch.notifying import Notifier

    farm, settings = _farm(file), _settings()
    if person not in farm.notices.people:
        _stop(f"{file} has no person {person!r}: {one_of(person, farm.notices.people)}")
    try:
        channels = channels_of(farm.notices, settings)
    except BadOutside as error:
        _stop(str(error))
    now_us = _now_us()
    subject, text = words_of_test(farm, farm.notices.people[person].label, now_us)
    failed = False
    with _journal(data, settings) as journal:
        notifier = Notifier(farm, journal, channels, _now_us)
        for channel in channels.of(person):
            notice = Notice(
                farm.name, NoticeKind.TEST, person, channel, "", 0, Priority.LOW, (), now_us, subject, text,
                next_us=now_us,
            )  # fmt: skip
            journal.outbox.add([notice])
            answer = notifier.sender.attempt(notice)
            failed |= answer.outcome is not Outcome.TAKEN
            typer.echo(f"{channel}: {_OUTCOMES[answer.outcome]} ({answer.text})")
    if failed:
        raise typer.Exit(FOUND_SOMETHING)


_OUTCOMES = {
    "taken": "taken",
    "later": "not taken now; a real notice is tried again",
    "refused": "refused for good",
    "unsure": "sent, but whether it was taken is not known; a real notice is tried again",
}


@notice_app.command("list", epilog="Example: leafweather notice list farm.toml --waiting")
def list_(
    file: FarmFile,
    waiting: Annotated[bool, typer.Option("--waiting", help="only those that are still to be sent")] = False,
    limit: Annotated[int, typer.Option(min=1, max=10_000, help="at most so many")] = 50,
    data: Data = None,
) -> None:
    """Print notices with every try to send them, the newest first."""
    from store.notice_entries import NoticeState

    farm = _farm(file)
    with _journal(data, _settings()) as journal:
        found = journal.outbox.page(farm.name, None, limit, NoticeState.WAITING if waiting else None)
        for notice in found:
            typer.echo(_line(farm, notice))
            for one in journal.outbox.tries(farm.name, notice.identity):
                typer.echo(f"    {_try_line(farm, one)}")
    if not found:
        typer.echo("No notices wait." if waiting else "No notices.")


def _line(farm: Farm, one: Notice) -> str:
    again = f", next try {_clock(farm, one.next_us)}" if one.state == "waiting" else ""
    who = f"{one.person} by {one.channel}"
    return f"{one.identity}  {_clock(farm, one.made_us)}  {one.kind}  {who}  {one.state}{again}  {one.subject}"


def _try_line(farm: Farm, one: Try) -> str:
    return f"try {one.number}  {_clock(farm, one.began_us)}  {one.outcome or 'under way'}  {one.answer}".rstrip()


def _clock(farm: Farm, at_us: int) -> str:
    return f"{instant(at_us).astimezone(farm.farm.zone_info):%Y-%m-%d %H:%M:%S}"


def _now_us() -> int:
    return time.time_ns() // 1000


def _settings() -> Settings:
    try:
        return Settings()
    except ValidationError as error:
        names = [f"LEAFWEATHER_{'_'.join(map(str, one['loc'])).upper()}: {one['msg']}" for one in error.errors()]
        _stop("\n".join(names))


def _farm(file: Path) -> Farm:
    try:
        return read_description(file).farm
    except DescriptionError as error:
        _stop(str(error))


@contextmanager
def _journal(data: Path | None, settings: Settings) -> Iterator[Journal]:
    """Open the journal of a data folder that a service has used, or will."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal

    folder = data if data is not None else settings.data
    if not folder.is_dir():
        _stop(f"there is no folder {folder}: give the one that the service writes to with --data")
    try:
        with Journal(f"sqlite:///{folder.resolve() / 'journal.sqlite'}") as journal:
            yield journal
    except (StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
