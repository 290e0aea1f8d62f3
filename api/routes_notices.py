"""Who was told what, when, by which channel, and what came of each try."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query

from api import examples, notice_schemas
from api.house import House, TheHouse
from api.pages import AskedPlace, Limit, Place
from api.problems import Problem
from farm.readings import instant
from store.notice_entries import Notice, NoticeState

router = APIRouter(tags=["notices"])


@router.get("/notices", responses=examples.of("notices"))
def notices(
    house: TheHouse,
    state: Annotated[NoticeState | None, Query(description="only those of this state")] = None,
    limit: Limit = 100,
    before: AskedPlace = None,
) -> notice_schemas.NoticesAnswer:
    """Tell the notices to people, the newest first: who, when, by which channel, and what became of them."""
    found = house.journal.outbox.page(house.farm.name, before, limit + 1, state)
    page = found[:limit]
    last = str(Place(page[-1].made_us, page[-1].identity)) if len(found) > limit else None
    return notice_schemas.NoticesAnswer(notices=[_row(house, one) for one in page], next=last)


@router.get("/notices/{id}", responses=examples.of("notice"))
def notice(
    house: TheHouse, identity: Annotated[str, Path(alias="id", description="as the notices tell it")]
) -> notice_schemas.NoticeAnswer:
    """Tell one notice with its text and every try to send it."""
    found = house.journal.outbox.of(house.farm.name, identity)
    if found is None:
        raise Problem(404, f"There is no notice {identity[:200]!r}. /api/v1/notices lists every one.")
    tries = house.journal.outbox.tries(house.farm.name, identity)
    return notice_schemas.NoticeAnswer(
        **_row(house, found).model_dump(),
        text=found.text,
        log=[
            notice_schemas.TryRow(
                number=one.number,
                began=instant(one.began_us),
                ended=None if one.ended_us is None else instant(one.ended_us),
                outcome=one.outcome,
                answer=one.answer,
            )
            for one in tries
        ],
    )


def _row(house: House, one: Notice) -> notice_schemas.NoticeRow:
    person = house.farm.notices.people.get(one.person)
    waits = one.state is NoticeState.WAITING
    return notice_schemas.NoticeRow(
        id=one.identity,
        kind=one.kind,
        person=one.person,
        person_label=one.person if person is None else person.label,
        channel=one.channel,
        priority=one.priority,
        group=one.group or None,
        alarms=[told.identity for told in one.told],
        subject=one.subject,
        made=instant(one.made_us),
        state=one.state,
        tries=one.tries,
        next_try=instant(one.next_us) if waits else None,
        sent=None if one.sent_us is None else instant(one.sent_us),
    )
