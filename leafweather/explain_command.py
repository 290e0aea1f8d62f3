"""``leafweather explain``: what may be behind an excursion, with the numbers for and against."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from farm.check import check_text
from farm.readings import instant, microseconds
from leafweather.settings import Settings
from watch.first_checks import steps

if TYPE_CHECKING:
    from collections.abc import Sequence

    from store.entries import FindingEntry
    from store.journal import Journal
    from watch.recurrence import Before

BAD_CALL = 2


def explain(
    excursion: Annotated[str, typer.Argument(metavar="EXCURSION", help="its id, as the page and the API tell it")],
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="folder of the journal; else LEAFWEATHER_DATA")
    ] = None,
) -> None:
    """Print the likely causes of an excursion (or of a finding), the evidence, and what to check next."""
    from store.contract import StoreUnavailable, StoreUnusable
    from store.journal import Journal
    from watch.recurrence import found_before

    folder = data if data is not None else Settings().data
    file = folder / "journal.sqlite"
    if not file.is_file():
        _stop(f"{folder} holds no journal.sqlite: name the service's data folder with --data or LEAFWEATHER_DATA")
    try:
        with Journal(f"sqlite:///{file.resolve()}") as journal:
            found = journal.findings.named(excursion)
            zone = UTC if found is None else clock_of(journal, found.farm)
            before = [] if found is None else found_before(journal, [found]).get(found.identity, [])
    except (StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))
    if found is None:
        _stop(
            f"there is no finding about {excursion!r}: take an id from the page or /api/v1/excursions; one is made "
            "within a quarter of an hour of an excursion's beginning"
        )
    typer.echo("\n".join(lines(found, zone, before)))


def clock_of(journal: Journal, farm: str) -> tzinfo:
    """Return the time zone of a farm's description in force; UTC where the journal has none that can be read."""
    in_force = journal.description_in_force(farm)
    text = None if in_force is None else journal.description(farm, in_force)
    described = None if text is None else check_text(text)[0]
    return UTC if described is None else described.farm.zone_info


def lines(found: FindingEntry, zone: tzinfo, before: Sequence[Before] = ()) -> list[str]:
    """Return a finding as lines of text, with times by a clock that is named; ``before`` it the same was found."""
    detail = found.detail
    until = "still holds" if found.end_us is None else f"until {_local(found.end_us, zone)}"
    since, as_of = _local(found.onset_us, zone), _local(found.at_us, zone)
    told = [detail["headline"], f"{found.farm}, since {since}, {until}; as of {as_of} (times: {zone})"]
    if detail.get("leads_since"):
        led = datetime.fromisoformat(detail["leads_since"])
        told.append(f"This cause leads since {_local(microseconds(led), zone)}.")
    if detail.get("last_seen"):
        seen = datetime.fromisoformat(detail["last_seen"])
        told.append(f"Last seen about {_local(microseconds(seen), zone)}; traces in a day's figures last longer.")
    if before:
        told.append(f"The same cause was found before: {'; '.join(_local(one.onset_us, zone) for one in before)}.")
    for one in detail["causes"]:
        told += ["", *_cause(one, f"{100 * one['probability']:.0f} %")]
    for one in detail["also"]:
        told += ["", *_cause(one, "beside it")]
    if detail["cannot_tell_apart"]:
        told += ["", f"Cannot tell apart with these sensors: {', '.join(detail['cannot_tell_apart'])}."]
    told += [line for head, step in steps(detail) for line in ("", f"{head}: {step}")]
    told += [f"  {shows} -> {cause}" for cause, shows in detail["next_check_shows"].items()]
    return [*told, *(f"Caution: {text}" for text in detail["cautions"])]


def _local(at_us: int, zone: tzinfo) -> str:
    return f"{instant(at_us).astimezone(zone):%Y-%m-%d %H:%M %Z}"


def _cause(one: dict[str, Any], odds: str) -> list[str]:
    where = f" [{'; '.join(one['place_labels'])}]" if one["place_labels"] else ""
    told = [f"{odds:>9}  {one['label']}{where}  ({one['cause']})"]
    told += [f"           + {piece['sentence']}" for piece in one["for"]]
    told += [f"           - {piece['sentence']}" for piece in one["against"]]
    return told


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
