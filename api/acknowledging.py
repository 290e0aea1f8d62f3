"""The page that a notice's link opens: a button that acknowledges, since programs that scan mail open links too."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from urllib.parse import parse_qs

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from api.access import Caller
from api.guard import SECURITY_HEADERS, TOKEN_PATHS
from api.house import House, TheHouse
from farm.readings import instant
from farm.roles import Role
from store.alarm_entries import ActKind, AlarmAct, AlarmEntry
from store.journal_alarms import names_of
from store.notice_entries import Link
from watch.notice_text import NO_LIFE_SAFETY

router = APIRouter(include_in_schema=False)

MOST_BESIDE = 500  # alarms that joined since, on one page: what a form may carry; our choice, no source
MOST_SENT = 65_536  # bytes of a form
_POLICY = SECURITY_HEADERS["Content-Security-Policy"].replace("form-action 'none'", "form-action 'self'")
_HEADERS = {"Content-Security-Policy": _POLICY, "Cache-Control": "no-store", "X-Robots-Tag": "noindex"}
_ADDRESS = TOKEN_PATHS + "{token}"


@router.get(_ADDRESS)
def ask(house: TheHouse, token: str) -> HTMLResponse:
    """Show what would be acknowledged, and a button; opening this changes nothing."""
    link = house.journal.links.of(house.farm.name, token)
    if link is None or (why := _over(house, link)):
        return _unusable(house, None if link is None else why)
    alarms = _of_link(house, link)
    listed = "".join(f"<li>{escape(one)}</li>" for one in _told(house, alarms))
    joined = (one.identity for one in alarms if set(names_of(one)).isdisjoint(link.alarms))
    fields = "".join(f'<input type="hidden" name="alarm" value="{escape(one)}">' for one in joined)
    return _page(
        house,
        200,
        "Acknowledge",
        f"<p>You are {escape(_name(house, link))}. Acknowledge that you know of this and see to it:</p>"
        f"<ul>{listed or '<li>It is over by now.</li>'}</ul>"
        f'<form method="post">{fields}<p><button type="submit">Acknowledge</button></p></form>'
        "<p>Nobody else is told of it then, until it changes. It mends nothing by itself.</p>",
    )


@router.post(_ADDRESS)
async def acknowledge(house: TheHouse, token: str, request: Request) -> HTMLResponse:
    """Acknowledge what the page showed, in the name of the person whom the link was sent to."""
    sent = b""
    async for piece in request.stream():
        sent += piece
        if len(sent) > MOST_SENT:
            return _page(house, 413, "Too much was sent", "<p>Open the link again.</p>")
    shown = set(parse_qs(sent.decode("utf-8", "replace")).get("alarm", []))
    return _acknowledged(house, request, token, shown)


def _acknowledged(house: House, request: Request, token: str, shown: set[str]) -> HTMLResponse:
    journal, farm, now_us = house.journal, house.farm.name, house.clock()
    link = journal.links.of(farm, token)
    if link is None or (why := _over(house, link)):
        return _unusable(house, None if link is None else why)
    who = _name(house, link)
    request.state.caller = Caller(f"{who}, by a notice's link", Role.TECHNICIAN)
    known = {*shown, *link.alarms}
    alarms = [one for one in _of_link(house, link) if not known.isdisjoint(names_of(one))]
    for one in alarms:  # before the link is used up: a crash in between leaves it to be pressed again
        journal.alarms.add_act(AlarmAct(farm, ActKind.ACKNOWLEDGE, one.identity, now_us, who, "by a notice's link"))
    journal.links.use(farm, token, now_us)
    local = instant(now_us).astimezone(house.farm.farm.zone_info)
    listed = "".join(f"<li>{escape(one)}</li>" for one in _told(house, alarms))
    return _page(
        house,
        200,
        "Acknowledged",
        f"<p>Acknowledged by {escape(who)} at {local:%H:%M}.</p><ul>{listed or '<li>It was over by then.</li>'}</ul>",
    )


def _over(house: House, link: Link) -> str | None:
    """Return why a link works no more; None while it does."""
    if link.used_us is not None:
        local = instant(link.used_us).astimezone(house.farm.farm.zone_info)
        return f"This link has been used, on {local:%d %B at %H:%M}."
    return "This link has expired." if house.clock() >= link.expires_us else None


def _of_link(house: House, link: Link) -> list[AlarmEntry]:
    """Return the alarms that a link is about, and others of their groups that stand and not too many."""
    journal, farm = house.journal.alarms, house.farm.name
    told = [one for one in journal.those(farm, link.alarms) if one.suppressed_by is None]
    groups = {link.group, *(one.group for one in told)} - {""}
    known = {one.identity for one in told}
    beside = [
        one
        for one in journal.standing(farm)
        if one.group in groups and one.suppressed_by is None and one.identity not in known
    ]
    return [*told, *beside[:MOST_BESIDE]]


def _told(house: House, alarms: Iterable[AlarmEntry]) -> Sequence[str]:
    said = []
    for one in alarms:
        local = instant(one.onset_us).astimezone(house.farm.farm.zone_info)
        text = one.detail.get("text") or one.condition
        over = " It is over by now." if one.returned_us is not None else ""
        said.append(f"{text} Since {local:%d %B, %H:%M}.{over}")
    return said


def _name(house: House, link: Link) -> str:
    person = house.farm.notices.people.get(link.person)
    return link.person if person is None else person.label


def _unusable(house: House, why: str | None) -> HTMLResponse:
    status = 404 if why is None else 410
    text = why or "This link is not known here."
    return _page(house, status, "This link does not work", f"<p>{escape(text)} Acknowledge on the farm's page.</p>")


def _page(house: House, status: int, title: str, body: str) -> HTMLResponse:
    farm = escape(house.farm.farm.title)
    invented = "<p><strong>Invented demonstration farm.</strong></p>" if house.farm.farm.invented else ""
    content = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{title} · {farm}</title><link rel="stylesheet" href="/page/style.css"></head><body>'
        f'<header><p class="house">Leafweather</p><h1>{farm}</h1>{invented}</header>'
        f'<main><section><div class="head"><h2>{title}</h2></div><div class="body">{body}</div></section></main>'
        f"<footer><p>{escape(NO_LIFE_SAFETY)}</p></footer></body></html>"
    )
    return HTMLResponse(content, status, headers=_HEADERS)
