"""Signing in and out in a browser, and who changed what."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api import access_schemas as schemas
from api import examples
from api.access import ASK_FOR_ONE, Caller, by_cookie, caller_of, cookie_name, sent_by_our_page, token_of
from api.house import TheHouse
from api.problems import Problem, bad_parameter
from farm.readings import MICROSECONDS_PER_SECOND, instant

SESSION_US = 30 * 86_400_000_000  # our choice, no source

router = APIRouter(tags=["access"])


@router.get("/session", responses=examples.of("session"))
async def session(house: TheHouse, request: Request) -> schemas.SessionAnswer:
    """Tell who is signed in in this browser, and what they may do."""
    try:
        caller = await caller_of(request)
    except Problem as problem:
        if problem.status != 401:
            raise
        caller = None
    return _answer(caller, needed=house.access.required)


@router.post("/session", responses=examples.of("session"))
def sign_in(house: TheHouse, request: Request, response: Response, given: schemas.SigningIn) -> schemas.SessionAnswer:
    """Sign a browser in by a token, once: it gets a cookie, which scripts cannot read and other sites cannot use."""
    token = token_of(house, given.token.strip(), ASK_FOR_ONE)
    now_us, before = house.clock(), by_cookie(request)
    if before is not None and before.cookie is not None:
        house.journal.tokens.sign_out(before.cookie)
    until_us = min(now_us + SESSION_US, token.expires_us or now_us + SESSION_US)
    cookie = house.journal.tokens.sign_in(token, now_us, until_us)
    response.set_cookie(
        cookie_name(house), cookie, max_age=(until_us - now_us) // MICROSECONDS_PER_SECOND, path="/",
        secure=house.access.secure, httponly=True, samesite="strict",
    )  # fmt: skip
    caller = request.state.caller = Caller(token.label, token.role, token.identity, cookie, until_us)
    return _answer(caller, needed=house.access.required)


@router.delete("/session", responses=examples.of("session"))
def sign_out(house: TheHouse, request: Request, response: Response) -> schemas.SessionAnswer:
    """Sign this browser out; its cookie works no more."""
    caller = request.state.caller = by_cookie(request)
    if caller is not None and caller.cookie is not None:
        sent_by_our_page(request, caller)
        house.journal.tokens.sign_out(caller.cookie)
    response.delete_cookie(cookie_name(house), path="/", secure=house.access.secure, httponly=True, samesite="strict")
    return _answer(None, needed=house.access.required)


def _answer(caller: Caller | None, *, needed: bool) -> schemas.SessionAnswer:
    until_us = None if caller is None else caller.until_us
    return schemas.SessionAnswer(
        sign_in_needed=needed,
        signed_in=caller is not None and caller.token is not None,
        who=None if caller is None or caller.token is None else caller.who,
        role=None if caller is None else caller.role,
        until=None if until_us is None else instant(until_us),
        csrf=None if caller is None else caller.csrf,
    )


@router.get("/audit", responses=examples.of("audit"))
def audit(
    house: TheHouse,
    limit: Annotated[int, Query(ge=1, le=1000, description="at most so many")] = 200,
    before: Annotated[str | None, Query(description="go on where an earlier answer ended: its next")] = None,
) -> schemas.AuditAnswer:
    """Tell who tried to change what, when, and what came of it, the newest first."""
    if before is not None and not (before.isdecimal() and len(before) < 19):
        raise bad_parameter("before", before, "Give what an earlier answer tells as its next.")
    found = house.journal.audit.page(house.farm.name, None if before is None else int(before), limit + 1)
    rows = [
        schemas.WrittenRow(
            number=one.number, time=instant(one.at_us), who=one.who, token=one.token, role=one.role, what=one.what,
            outcome=one.outcome,
        )
        for one in found[:limit]
    ]  # fmt: skip
    return schemas.AuditAnswer(written=rows, next=str(rows[-1].number) if len(found) > limit else None)
