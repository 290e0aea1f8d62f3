"""``leafweather alarms``: what stands, what was, what people do about it, and how the alarms perform."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from farm.alarm_words import ActKind
from farm.description import Farm
from farm.readings import microseconds
from leafweather.asking import author, clock_us, farm_of, stop
from leafweather.settings import Settings

if TYPE_CHECKING:
    from store.alarm_entries import AlarmEntry
    from store.journal import Journal

BAD_CALL = 2
DAY_US = 86_400_000_000

alarms_app = typer.Typer(no_args_is_help=True, help="Alarms: what stands, what was, and what people do about them.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]
Identity = Annotated[str, typer.Argument(metavar="ALARM", help="the alarm's name, as the list shows it")]
Data = Annotated[Path | None, typer.Option(metavar="FOLDER", help="folder of the journal; else LEAFWEATHER_DATA")]


class Act(StrEnum):
    """What can be done, as the command line writes it."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"


@alarms_app.command("list", epilog="Example: leafweather alarms list farm.toml --days 7")
def list_(
    file: FarmFile,
    days: Annotated[
        float | None, typer.Option(min=0.001, max=3660, help="all of the last days, not only those that stand now")
    ] = None,
    suppressed: Annotated[bool, typer.Option("--suppressed", help="those suppressed by design too")] = False,
    data: Data = None,
) -> None:
    """Print the alarms that stand now, the most urgent first; or those of some days, in order of time."""
    from analytics.alarm_history import state_of
    from farm.alarm_words import AlarmState
    from watch.alarm_acts import standing_alarms

    farm, now_us = farm_of(file), clock_us()
    with _journal(data) as journal:
        if days is None:
            found = [(one.entry, one.state) for one in standing_alarms(journal, farm.name, now_us)]
        else:
            entries = journal.alarms.between(farm.name, now_us - int(days * DAY_US))
            acts = journal.alarms.acts_about_each(entries)
            found = [(one, state_of(one, acts[one.identity], now_us)) for one in entries]
        if not found:
            _check_watched(journal, farm, data)
    shown = [(one, state) for one, state in found if suppressed or one.suppressed_by is None]
    for one, state in shown:
        typer.echo(_line(farm, one, AlarmState(state)))
    if not shown:
        typer.echo("No alarm stands." if days is None else f"No alarms in the last {days:g} days.")


@alarms_app.command(epilog="Example: leafweather alarms show farm.toml 0c5e8d21fa")
def show(file: FarmFile, alarm: Identity, data: Data = None) -> None:
    """Print one alarm with its likely causes, what later readings changed, and what people did."""
    from analytics.alarm_history import state_of
    from store.journal_alarms import names_of

    farm, now_us = farm_of(file), clock_us()
    with _journal(data) as journal:
        one = _alarm(journal, farm, alarm)
        acts = journal.alarms.acts_about(one)
        revisions = journal.alarms.revisions(farm.name, names_of(one))
    typer.echo(_line(farm, one, state_of(one, acts, now_us)))
    for name in ("first_step", "caution"):
        if said := one.detail.get(name):
            typer.echo(f"  {name.replace('_', ' ').capitalize()}: {said}")
    for likely in one.detail.get("likely", []):
        typer.echo(f"  Likely, {100 * likely['probability']:.0f} %: {likely['label']}")
    if one.suppressed_by:
        typer.echo(f"  Suppressed by design: {one.suppressed_by}")
    for revision in revisions:
        typer.echo(f"  Revised {farm.clock(revision.written_us)}: {', '.join(revision.changed)}")
    for act in acts:
        until = f" until {farm.clock(act.until_us)}" if act.until_us is not None else ""
        why = f": {act.why}" if act.why else ""
        typer.echo(f"  {farm.clock(act.at_us)}  {act.kind.replace('_', ' ')}{until} by {act.who}{why}")


@alarms_app.command(
    epilog='Example: leafweather alarms act farm.toml 0c5e8d21fa shelve --hours 4 --why "filter change"'
)
def act(
    file: FarmFile,
    alarm: Identity,
    what: Annotated[Act, typer.Argument(metavar="WHAT", help=", ".join(Act))],
    why: Annotated[str, typer.Option(help="the reason; needed for shelve and out-of-service")] = "",
    hours: Annotated[float | None, typer.Option(help="how long to shelve it")] = None,
    by: Annotated[str | None, typer.Option(help="who does it; else the name you are logged in with")] = None,
    data: Data = None,
) -> None:
    """Acknowledge an alarm; or shelve, unshelve, take out of service or into service again what it is about."""
    from analytics.alarm_history import state_of
    from watch.alarm_acts import NotAllowed, act_on

    farm, now_us = farm_of(file), clock_us()
    until_us = None if hours is None else now_us + int(hours * 3_600_000_000)
    with _journal(data) as journal:
        one = _alarm(journal, farm, alarm)
        try:
            done = act_on(one, ActKind(what.replace("-", "_")), author(by), why, until_us, now_us)
        except NotAllowed as error:
            stop(f"{_option_of(one, what, why)}{error}")
        journal.alarms.add_act(done)
        state = state_of(one, journal.alarms.acts_about(one), now_us)
    typer.echo(_line(farm, one, state))


@alarms_app.command(epilog="Example: leafweather alarms report farm.toml --days 30")
def report(
    file: FarmFile,
    days: Annotated[float, typer.Option(min=0.04, max=3660, help="over the last so many days")] = 30.0,
    end: Annotated[str | None, typer.Option(help="up to when, ISO 8601; now if left out")] = None,
    data: Data = None,
) -> None:
    """Print ISA-18.2's figures: rates, floods, what chatters, stands or comes too often, and the priorities."""
    from watch.alarm_report import BENCHMARKS, alarm_report

    farm = farm_of(file)
    end_us = clock_us() if end is None else _moment(farm, end)
    with _journal(data) as journal:
        found = alarm_report(journal, farm.name, end_us - int(days * DAY_US), end_us)
        if not found.figures.alarms + found.suppressed:
            _check_watched(journal, farm, data)
    figures, texts = found.figures, found.texts
    typer.echo(f"{figures.alarms} alarms in {days:g} days; {found.suppressed} more were suppressed by design.")
    typer.echo(
        f"A day: {figures.per_day:.1f} (acceptable up to {BENCHMARKS['acceptable_per_day']:g}). "
        f"Most in an hour: {figures.most_in_an_hour}, in ten minutes: {figures.most_in_ten_minutes}."
    )
    typer.echo(f"Time in flood: {100 * figures.time_in_flood:.2f} % (at most 1 %), {len(figures.floods)} floods.")
    shares = [f"{name} {count}" for name, count in sorted(figures.by_priority.items())]
    typer.echo(f"By priority: {', '.join(shares) or 'none'}.")
    for title, rows in (
        (
            "Most frequent",
            [(f"{times} times, {100 * share:.0f} %", name) for name, times, share in figures.most_frequent],
        ),
        ("Chattering", [(f"{times} times", name) for name, times in figures.chattering]),
        ("Standing now, for more than a day", [(f"{hours:.0f} h", name) for name, hours in figures.stale]),
    ):
        typer.echo(f"{title}:" + ("" if rows else " none"))
        for figure, name in rows:
            typer.echo(f"  {figure}: {texts[name]} ({name})")


def _line(farm: Farm, one: AlarmEntry, state: str) -> str:
    from watch.alarm_texts import sentence

    over = f" to {farm.clock(one.returned_us)}" if one.returned_us is not None else ""
    revised = f" (revised {one.revision} times)" if one.revision else ""
    words = state.replace("_", " ")
    since = f"{farm.clock(one.alarm_us)}{over}"
    return f"{one.identity}  {since}  {one.priority}, {words}  {sentence(one.detail)}{revised}"


def _moment(farm: Farm, text: str) -> int:
    try:
        return microseconds(farm.moment(datetime.fromisoformat(text)))
    except ValueError:
        stop(f"--end: found {text!r}; write ISO 8601, as in 2026-03-01T14:30 or 2026-03-01T13:30:00Z")


def _alarm(journal: Journal, farm: Farm, identity: str) -> AlarmEntry:
    found = journal.alarms.of(farm.name, identity)
    if found is None:
        stop(f"there is no alarm {identity!r}: leafweather alarms list shows their names")
    return found


def _check_watched(journal: Journal, farm: Farm, data: Path | None) -> None:
    """Stop where having no alarm would only mean that nobody looked."""
    if journal.description_in_force(farm.name) is None:
        folder = data if data is not None else Settings().data
        stop(
            f"{folder}: no service has watched the farm {farm.name} in this folder: check [farm] name, or name another "
            "folder with --data"
        )


def _option_of(one: AlarmEntry, what: Act, why: str) -> str:
    """Return which option is to be given, or given otherwise, before the reason why an act is not allowed."""
    from watch.alarm_acts import ALWAYS_TOLD, WITH_REASON
    from watch.alarm_book import named

    kind = ActKind(what.replace("-", "_"))
    if kind not in WITH_REASON or named(one.condition).kind in ALWAYS_TOLD:
        return ""
    return "--why: " if not why.strip() else "--hours: "


@contextmanager
def _journal(data: Path | None) -> Iterator[Journal]:
    """Open the journal of a data folder that a service has used."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal

    folder = data if data is not None else Settings().data
    if not (folder / "journal.sqlite").is_file():
        stop(f"there is no journal in {folder}: give the folder that the service writes to with --data")
    try:
        with Journal(f"sqlite:///{folder.resolve() / 'journal.sqlite'}") as journal:
            yield journal
    except (StoreUnavailable, StoreUnusable) as error:
        stop(str(error))
