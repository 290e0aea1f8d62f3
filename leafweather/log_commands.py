"""``leafweather log``: calibrations, samples, refills, work done and notes, written into the journal."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from pydantic import ValidationError

from farm.description import Farm
from farm.readings import instant, iso_time, microseconds
from leafweather.asking import author, clock_us, farm_of, stop
from leafweather.settings import Settings

if TYPE_CHECKING:
    from store.journal import Journal
    from store.log_entries import Detail, LogEntry

BAD_CALL = 2

log_app = typer.Typer(no_args_is_help=True, help="What people write down: calibrations, samples, refills, notes.")

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]
Fields = Annotated[list[str] | None, typer.Argument(metavar="NAME=VALUE", help="what it says; see docs/log.md")]
Identity = Annotated[str, typer.Argument(metavar="ENTRY", help="the entry's name, as the list shows it")]
At = Annotated[
    str | None, typer.Option(help="when it was, ISO 8601 (local time where no zone is given); now if left out")
]
By = Annotated[str | None, typer.Option(help="who writes; else the name you are logged in with")]
Data = Annotated[Path | None, typer.Option(metavar="FOLDER", help="folder of the journal; else LEAFWEATHER_DATA")]


@log_app.command(
    epilog="Example: leafweather log add farm.toml ph_calibration series=reservoir/solution_ph buffers=7.00,4.01 "
    "readings=7.08,4.20 temperature_c=21"
)
def add(
    file: FarmFile,
    kind: Annotated[str, typer.Argument(metavar="KIND", help="ph_calibration, ec_calibration, grab_sample, ...")],
    fields: Fields = None,
    at: At = None,
    by: By = None,
    data: Data = None,
) -> None:
    """Write an entry. The service takes it up by itself; readings are corrected, never altered."""
    farm = farm_of(file)
    detail = _detail(farm, kind, _given(fields))
    at_us = _at_us(farm, at, to_come=kind == "planned_work")
    _check_time(detail, at_us)
    with _journal(data, farm) as journal:
        entry = journal.log.add(farm.name, at_us, author(by), detail, clock_us(), _days(farm, at_us))
    typer.echo(_line(farm, entry))


@log_app.command("list", epilog="Example: leafweather log list farm.toml --kind ph_calibration")
def list_(
    file: FarmFile,
    kind: Annotated[str | None, typer.Option(help="only entries of this kind")] = None,
    withdrawn: Annotated[bool, typer.Option("--withdrawn", help="withdrawn ones too")] = False,
    data: Data = None,
) -> None:
    """Print the entries as they stand, in order of time."""
    from store.log_entries import DETAIL_OF

    if kind is not None and kind not in DETAIL_OF:
        stop(f"--kind: {_no_kind(kind)}")
    farm = farm_of(file)
    with _journal(data, farm) as journal:
        found = journal.log.entries(farm.name, kinds=[kind] if kind else (), withdrawn=withdrawn)
    for entry in found:
        typer.echo(_line(farm, entry))
    if not found:
        typer.echo("No entries." if kind is None else f"No entries of the kind {kind}.")


@log_app.command(epilog="Example: leafweather log edit farm.toml 3f9c1a7be0 temperature_c=20")
def edit(
    file: FarmFile, entry: Identity, fields: Fields = None, at: At = None, by: By = None, data: Data = None
) -> None:
    """Write an entry's next version with some fields changed; the former version and its writer stay."""
    farm = farm_of(file)
    with _journal(data, farm) as journal:
        standing = _standing(journal, farm, entry)
        before = standing.detail.model_dump(mode="json")
        detail = _detail(farm, str(before.pop("kind")), before | _given(fields))
        at_us = standing.at_us if at is None else _at_us(farm, at, to_come=detail.kind == "planned_work")
        _check_time(detail, at_us)
        days = {*_days(farm, at_us), *_days(farm, standing.at_us)}
        written = journal.log.edit(farm.name, entry, at_us, author(by), detail, clock_us(), days)
    typer.echo(_line(farm, written))


@log_app.command(epilog="Example: leafweather log withdraw farm.toml 3f9c1a7be0")
def withdraw(file: FarmFile, entry: Identity, by: By = None, data: Data = None) -> None:
    """Make an entry count for nothing; it stays in the journal, with who withdrew it."""
    farm = farm_of(file)
    with _journal(data, farm) as journal:
        standing = _standing(journal, farm, entry)
        gone = journal.log.withdraw(farm.name, entry, author(by), clock_us(), _days(farm, standing.at_us))
    typer.echo(_line(farm, gone))


def _standing(journal: Journal, farm: Farm, identity: str) -> LogEntry:
    versions = journal.log.versions(farm.name, identity)
    if not versions:
        stop(f"there is no entry {identity!r}: leafweather log list shows their names")
    return versions[-1]


def _given(fields: list[str] | None) -> dict[str, Any]:
    given: dict[str, Any] = {}
    for field in fields or []:
        name, equals, value = field.partition("=")
        if not equals:
            stop(f"{field!r}: write NAME=VALUE, as in volume_l=20 (in quotes where the value has spaces)")
        given[name] = value
    return given


def _detail(farm: Farm, kind: str, given: dict[str, Any]) -> Detail:
    """Return what is to be written, or stop with what is wrong with it."""
    from store.log_entries import DETAIL, LISTS, loose_end

    lists = (*LISTS, "series") if kind == "planned_work" else LISTS
    fields = {
        name: value.split(",") if name in lists and isinstance(value, str) else value for name, value in given.items()
    }
    if isinstance(until := fields.get("until"), str):
        fields["until"] = _local(farm, until)
    try:
        detail = DETAIL.validate_python({"kind": kind, **fields})
    except ValidationError as error:
        stop("\n".join(_mistake(kind, one) for one in error.errors()))
    if problem := loose_end(farm, detail):
        stop(problem)
    return detail


def _mistake(kind: str, error: Any) -> str:  # noqa: ANN401  # pydantic's own dictionary
    from store.log_entries import DETAIL_OF

    if error["type"] == "union_tag_invalid":
        return _no_kind(kind)
    names = [str(one) for one in error["loc"][1:]]
    where = names[0] if names else kind
    if error["type"] == "missing":
        described = DETAIL_OF[kind].model_fields[where].description
        return f"{kind} needs {where}=..." + (f": {described}" if described else "")
    if error["type"] == "extra_forbidden":
        return (
            f"{kind} has no {where}: it takes {', '.join(one for one in DETAIL_OF[kind].model_fields if one != 'kind')}"
        )
    found = error["input"]
    if isinstance(found, dict):  # several fields that do not go together
        found = " ".join(f"{name}={_said(value)}" for name, value in found.items() if name != "kind")
    return f"{where}: found {found!r}; {error['msg'].removeprefix('Value error, ')}"


def _no_kind(kind: str) -> str:
    from store.log_entries import DETAIL_OF

    return f"{kind!r} is no kind of entry: one of {', '.join(DETAIL_OF)}"


def _said(value: Any) -> str:  # noqa: ANN401  # a field as it was given
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


def _line(farm: Farm, entry: LogEntry) -> str:
    said = entry.detail.model_dump(mode="json", exclude={"kind", "note"}, exclude_none=True, exclude_defaults=True)
    if isinstance(until := getattr(entry.detail, "until", None), datetime):
        said["until"] = (
            f"{until.astimezone(farm.farm.zone_info):%Y-%m-%dT%H:%M}"  # as it is written, by the farm's clock
        )
    words = [f"{name}={json.dumps(value) if isinstance(value, list) else value}" for name, value in said.items()]
    note = f'"{entry.detail.note}"' if entry.detail.note else ""
    version = f"version {entry.version}" if entry.version > 1 else ""
    gone = "WITHDRAWN" if entry.withdrawn else ""
    parts = [
        entry.identity,
        farm.clock(entry.at_us),
        entry.detail.kind,
        *words,
        note,
        f"by {entry.author}",
        version,
        gone,
    ]
    return "  ".join(part for part in parts if part)


def _local(farm: Farm, until: str) -> str:
    """Return a time with the farm's time zone where it has none; what is no time is left to be refused."""
    try:
        return farm.moment(datetime.fromisoformat(until)).isoformat()
    except ValueError:
        return until


def _check_time(detail: Detail, at_us: int) -> None:
    from store.log_entries import wrong_time

    if problem := wrong_time(detail, at_us):
        stop(problem)


def _at_us(farm: Farm, at: str | None, *, to_come: bool = False) -> int:
    if at is None:
        return clock_us()
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        stop(f"--at: found {at!r}; write ISO 8601, as in 2026-03-01T14:30 or 2026-03-01T13:30:00Z")
    at_us = microseconds(farm.moment(moment))
    if at_us > clock_us() + 60_000_000 and not to_come:
        stop(f"--at: {iso_time(at_us)} is still to come; the journal takes what has happened")
    return at_us


def _days(farm: Farm, at_us: int) -> list[date]:
    return [instant(at_us).astimezone(farm.farm.zone_info).date()]


@contextmanager
def _journal(data: Path | None, farm: Farm) -> Iterator[Journal]:
    """Open the journal of a data folder that this farm's service has used, or will."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal

    folder = data if data is not None else Settings().data
    if not folder.is_dir():
        stop(f"there is no folder {folder}: give the one that the service writes to with --data")
    try:
        with Journal(f"sqlite:///{folder.resolve() / 'journal.sqlite'}") as journal:
            kept = journal.farms()
            if kept and farm.name not in kept:
                stop(
                    f"the journal in {folder} is that of {', '.join(kept)}, not of {farm.name}: give that farm's "
                    "description, or the folder of this one with --data"
                )
            yield journal
    except (StoreUnavailable, StoreUnusable) as error:
        stop(str(error))
