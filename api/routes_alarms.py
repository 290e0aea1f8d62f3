"""Alarms: those that stand, their history, what people do about them, and how they perform."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request

from analytics.alarm_history import standing_of, state_of
from api import alarm_schemas as schemas
from api import examples
from api.access import signed
from api.house import House, TheHouse
from api.pages import AskedPlace, Limit, Place
from api.problems import Problem
from api.spans import AskedOpenSpan, AskedSpan, at_most_days
from farm.alarm_words import AlarmState
from farm.readings import instant, microseconds
from store.alarm_entries import ActKind, AlarmAct, AlarmEntry
from store.journal_alarms import names_of
from watch.alarm_acts import NotAllowed, act_on, standing_alarms
from watch.alarm_report import BENCHMARKS, alarm_report
from watch.alarm_texts import sentence

router = APIRouter(tags=["alarms"])


class Doable(StrEnum):
    """What a person can do, as addresses write it."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"


@router.get("/alarms", responses=examples.of("alarms"))
def alarms(
    house: TheHouse,
    span: AskedOpenSpan,
    standing: Annotated[bool, Query(description="only those that stand now, in no range")] = False,
    suppressed: Annotated[bool, Query(description="those suppressed by design too")] = False,
    limit: Limit = 200,
    before: AskedPlace = None,
) -> schemas.AlarmsAnswer:
    """Tell the alarms that stand now, or those that lasted at some time of a range; all of them by default."""
    now_us = house.clock()
    if standing:
        found = [
            one
            for one in standing_alarms(house.journal, house.farm.name, now_us)
            if suppressed or one.state is not AlarmState.SUPPRESSED_BY_DESIGN
        ]
        rows = _alarms(house, [one.entry for one in found[:limit]], now_us)
        return schemas.AlarmsAnswer(time=instant(now_us), alarms=rows, next=None)
    start_us, end_us = span
    entries = house.journal.alarms.page(house.farm.name, start_us, end_us, before, limit + 1, suppressed=suppressed)
    more = entries[limit - 1] if len(entries) > limit else None
    return schemas.AlarmsAnswer(
        time=instant(now_us),
        alarms=_alarms(house, entries[:limit], now_us),
        next=None if more is None else str(Place(more.alarm_us, more.identity)),
    )


@router.get("/alarms/performance", responses=examples.of("performance"))
def how_alarms_perform(house: TheHouse, span: AskedSpan) -> schemas.PerformanceAnswer:
    """Tell ISA-18.2's figures over a range: rates, floods, what chatters, stands or comes too often."""
    at_most_days(span, "Figures")
    report = alarm_report(house.journal, house.farm.name, span.start_us, span.end_us)
    figures, texts = report.figures, report.texts
    return schemas.PerformanceAnswer(
        start=instant(span.start_us),
        end=instant(span.end_us),
        alarms=figures.alarms,
        suppressed=report.suppressed,
        per_day=figures.per_day,
        per_hour=figures.per_hour,
        most_in_ten_minutes=figures.most_in_ten_minutes,
        most_in_an_hour=figures.most_in_an_hour,
        time_in_flood=figures.time_in_flood,
        floods=[
            schemas.FloodRow(start=instant(one.start_us), end=instant(one.end_us), alarms=one.alarms)
            for one in figures.floods
        ],
        chattering=[
            schemas.OftenRow(condition=name, text=texts[name], times=times, share=None)
            for name, times in figures.chattering
        ],
        stale=[schemas.StaleRow(condition=name, text=texts[name], hours=hours) for name, hours in figures.stale],
        most_frequent=[
            schemas.OftenRow(condition=name, text=texts[name], times=times, share=share)
            for name, times, share in figures.most_frequent
        ],
        by_priority=figures.by_priority,
        benchmarks=BENCHMARKS,
    )


Identity = Annotated[str, Path(alias="id", description="as the alarms tell it")]


@router.get("/alarms/{id}", responses=examples.of("alarm"))
def alarm(house: TheHouse, identity: Identity) -> schemas.AlarmHistoryAnswer:
    """Tell one alarm, what later readings changed on it, and what people did."""
    return _history(house, identity)


@router.post("/alarms/{id}/{act}", responses=examples.of("alarm"))
def do(
    house: TheHouse,
    request: Request,
    identity: Identity,
    act: Annotated[Doable, Path(description="what is done")],
    doing: schemas.Doing,
) -> schemas.AlarmHistoryAnswer:
    """Acknowledge an alarm; or shelve, unshelve, take out of service or into service again what it is about."""
    entry = house.journal.alarms.of(house.farm.name, identity)
    if entry is None:
        raise _no_alarm(identity)
    until_us = microseconds(doing.until) if doing.until is not None else None
    try:
        done = act_on(
            entry, ActKind(act.replace("-", "_")), signed(request, doing.who), doing.why, until_us, house.clock()
        )
    except NotAllowed as error:
        raise Problem(422, str(error)) from error
    house.journal.alarms.add_act(done)
    return _history(house, identity)


def _no_alarm(identity: str) -> Problem:
    return Problem(404, f"There is no alarm {identity[:200]!r}. /api/v1/alarms lists every one.")


def _history(house: House, identity: str) -> schemas.AlarmHistoryAnswer:
    now_us, entry = house.clock(), house.journal.alarms.of(house.farm.name, identity)
    names = names_of(entry) if entry is not None else [identity]
    revisions = house.journal.alarms.revisions(house.farm.name, names)
    if entry is None and not revisions:
        raise _no_alarm(identity)
    acts = house.journal.alarms.acts_about(entry) if entry is not None else []
    return schemas.AlarmHistoryAnswer(
        time=instant(now_us),
        alarm=None if entry is None else _alarm(entry, acts, now_us),
        revisions=[
            schemas.RevisionRow(
                number=one.revision, written=instant(one.written_us), changed=one.changed, gone=one.gone
            )
            for one in revisions
        ],
        acts=[
            schemas.ActRow(
                act=one.kind, time=instant(one.at_us), who=one.who, why=one.why,
                until=instant(one.until_us) if one.until_us is not None else None,
            )
            for one in acts
        ],
    )  # fmt: skip


def _alarms(house: House, entries: Sequence[AlarmEntry], now_us: int) -> list[schemas.AlarmAnswer]:
    acts = house.journal.alarms.acts_about_each(entries)
    return [_alarm(one, acts[one.identity], now_us) for one in entries]


def _alarm(entry: AlarmEntry, acts: Sequence[AlarmAct], now_us: int) -> schemas.AlarmAnswer:
    detail: dict[str, Any] = entry.detail
    shelved_us = standing_of(entry, acts, now_us).shelved_until_us
    return schemas.AlarmAnswer(
        id=entry.identity,
        condition=entry.condition,
        kind=entry.condition.partition("/")[0],
        priority=entry.priority,
        state=state_of(entry, acts, now_us),
        what=detail.get("what", ""),
        where=detail.get("where", ""),
        zone=detail.get("zone") or None,
        series=detail.get("series"),
        onset=instant(entry.onset_us),
        raised=instant(entry.alarm_us),
        returned=instant(entry.returned_us) if entry.returned_us is not None else None,
        unit=detail.get("unit", ""),
        worst=detail.get("worst"),
        limit=detail.get("limit"),
        text=sentence(detail),
        also=detail.get("also", []),
        likely=detail.get("likely", []),
        first_step=detail.get("first_step", ""),
        caution=detail.get("caution", ""),
        group=entry.group,
        suppressed_by=entry.suppressed_by,
        shelved_until=instant(shelved_us) if shelved_us is not None else None,
        revision=entry.revision,
    )
