"""Writing into the journal: calibrations, samples, refills, work and notes; an edit keeps the former version."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Path, Request

from api import examples, schemas
from api.access import signed
from api.house import House, TheHouse
from api.problems import Problem
from api.routes_journal import log_row
from farm.readings import instant, iso_time, microseconds
from store.log_entries import Detail, LogEntry, PlannedWork, loose_end, wrong_time

router = APIRouter(tags=["journal"])

AHEAD_US = 60_000_000  # a clock may be so far ahead of ours
Identity = Annotated[str, Path(alias="id", description="as the log tells it")]


@router.post("/log", responses=examples.of("log_entry"))
def write(house: TheHouse, request: Request, writing: schemas.LogWriting) -> schemas.LogRow:
    """Write an entry. The watch takes it up by itself; readings are corrected, never altered."""
    now_us = house.clock()
    at_us = now_us if writing.time is None else microseconds(writing.time)
    _refuse_unfit(house, writing.detail, at_us, now_us)
    who = signed(request, writing.who)
    entry = house.journal.log.add(house.farm.name, at_us, who, writing.detail, now_us, [_day(house, at_us)])
    return log_row(entry)


@router.post("/log/{id}", responses=examples.of("log_entry"))
def edit(house: TheHouse, request: Request, identity: Identity, writing: schemas.LogWriting) -> schemas.LogRow:
    """Write an entry's next version; the former one and its writer stay."""
    standing, now_us = _standing(house, identity), house.clock()
    kind = standing.detail.kind
    if writing.detail.kind != kind:
        raise Problem(
            422, f"detail.kind: found {writing.detail.kind!r}; the entry is a {kind}: withdraw it, write another."
        )
    at_us = standing.at_us if writing.time is None else microseconds(writing.time)
    _refuse_unfit(house, writing.detail, at_us, now_us)
    days = {_day(house, at_us), _day(house, standing.at_us)}
    who = signed(request, writing.who)
    written = house.journal.log.edit(house.farm.name, identity, at_us, who, writing.detail, now_us, days)
    return log_row(written)


@router.post("/log/{id}/withdraw", responses=examples.of("log_entry"))
def withdraw(house: TheHouse, request: Request, identity: Identity, doing: schemas.Withdrawing) -> schemas.LogRow:
    """Make an entry count for nothing; it stays, with who withdrew it."""
    standing = _standing(house, identity)
    days = [_day(house, standing.at_us)]
    gone = house.journal.log.withdraw(house.farm.name, identity, signed(request, doing.who), house.clock(), days)
    return log_row(gone)


def _refuse_unfit(house: House, detail: Detail, at_us: int, now_us: int) -> None:
    """Refuse what names something that the farm does not have, and times that cannot be."""
    if at_us > now_us + AHEAD_US and not isinstance(detail, PlannedWork):
        raise Problem(422, f"time: {iso_time(at_us)} is still to come; the journal takes what has happened.")
    if problem := loose_end(house.farm, detail) or wrong_time(detail, at_us):
        raise Problem(422, problem)


def _standing(house: House, identity: str) -> LogEntry:
    versions = house.journal.log.versions(house.farm.name, identity)
    if not versions:
        raise Problem(404, f"There is no entry {identity[:200]!r}. /api/v1/log lists every one.")
    return versions[-1]


def _day(house: House, at_us: int) -> date:
    return instant(at_us).astimezone(house.farm.farm.zone_info).date()
