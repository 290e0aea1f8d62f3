"""Who asks, and whether they may: tokens, signed-in browsers, and the open door of this machine itself."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
from dataclasses import dataclass, field, replace
from urllib.parse import urlsplit

from fastapi import Request
from fastapi.security.utils import get_authorization_scheme_param
from starlette.concurrency import run_in_threadpool

from api.guard import TOKEN_PATHS
from api.house import House, house_of
from api.problems import Problem
from api.rate import RequestRate, address_of
from api.roles import ANYBODY, KEEPER, least_role
from farm.readings import instant
from farm.roles import Role
from store.access_entries import Standing, Token

CSRF_HEADER = "X-CSRF-Token"
CHALLENGE = {"WWW-Authenticate": 'Bearer realm="Leafweather"'}
READING = frozenset({"GET", "HEAD", "OPTIONS"})
PROXY_HEADERS = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-real-ip")
SIGN_IN = "Sign in on the page, or send a token as Authorization: Bearer TOKEN; leafweather token make prints one."
ASK_FOR_ONE = "Check that it is whole, or ask whoever keeps this farm's Leafweather for another."


@dataclass(frozen=True)
class Caller:
    """Somebody who may ask. Without a token they are on this machine, and no sign-in is asked for."""

    who: str
    role: Role
    token: str | None = None
    cookie: str | None = field(default=None, repr=False)
    until_us: int | None = None

    @property
    def csrf(self) -> str | None:
        """What a page that is signed in sends along with what it writes: pages of other sites cannot know it."""
        if self.cookie is None:
            return None
        return hmac.new(self.cookie.encode("utf-8", "replace"), b"csrf", hashlib.sha256).hexdigest()

    def signing(self, name: str) -> str:
        """Return in whose name something is done: as given, with the token's label where that is another."""
        return name if self.token is None or name.strip() == self.who else f"{name.strip()} (token {self.who})"


def signed(request: Request, name: str) -> str:
    """Return in whose name a request does something, and have the audit log say so too."""
    caller: Caller = request.state.caller
    who = caller.signing(name)
    request.state.caller = replace(caller, who=who)
    return who


OPEN_DOOR = Caller("no sign-in", KEEPER)


async def admitted(request: Request) -> None:
    """Let those in who may; stands before every address of the application.

    Raises
    ------
    Problem
        401 for those of whom we do not know who they are, 403 for those who may not, 429 for those who ask too often.
    """
    least = least_role(request.method, request.scope["route"].path_format, request.path_params)
    request.state.caller = None
    rate: RequestRate | None = request.app.state.rate
    writes = request.method not in READING and not request.url.path.startswith(TOKEN_PATHS)
    if least is ANYBODY and rate is not None:
        rate.count(_address(request))
    if least is not ANYBODY:
        caller = await _known(request, rate)
        request.state.caller = caller
        if not caller.role.may(least):
            raise Problem(403, f"This needs the role {least}; {caller.who!r} is a {caller.role}.")
        if writes:
            sent_by_our_page(request, caller)
    if writes:
        from_no_other_site(request)


async def _known(request: Request, rate: RequestRate | None) -> Caller:
    """Return who asks, who is counted by token; those who have none that works are counted by address.

    Raises
    ------
    Problem
        As `caller_of`, 401 for nobody, 429 for who asks too often.
    """
    try:
        caller = await caller_of(request)
        if caller is None:
            raise Problem(401, f"This needs a sign-in. {SIGN_IN}", CHALLENGE)
    except Problem:
        if rate is not None:
            rate.count(_address(request))
        raise
    if rate is not None:
        rate.count(_address(request) if caller.token is None else f"token {caller.token}")
    return caller


async def caller_of(request: Request) -> Caller | None:
    """Return who asks; None for somebody who is not signed in where that is needed.

    Raises
    ------
    Problem
        401 for a token that lets nobody in, 403 for what comes to the open door from elsewhere.
    """
    house = house_of(request)
    scheme, text = get_authorization_scheme_param(request.headers.get("authorization"))
    if scheme:
        if scheme.lower() != "bearer":
            raise Problem(401, f"Authorization is by Bearer, not by {scheme[:20]!r}. {SIGN_IN}", CHALLENGE)
        token = await run_in_threadpool(token_of, house, text)
        return Caller(token.label, token.role, token.identity)
    signed_in = await run_in_threadpool(by_cookie, request) if cookie_name(house) in request.cookies else None
    if signed_in is not None or house.access.required:
        return signed_in
    _from_this_machine(request)
    return OPEN_DOOR


def _address(request: Request) -> str:
    return address_of(request, house_of(request).access.trusted_proxies)


def token_of(house: House, text: str, remedy: str = SIGN_IN) -> Token:
    """Return the token of a text; ``remedy`` says what to do where it lets nobody in.

    Raises
    ------
    Problem
        401 if it lets nobody in. Why is told only to who has its whole text.
    """
    token, now_us = house.journal.tokens.of(house.farm.name, text), house.clock()
    if token is None:
        raise Problem(401, f"This token is not known here. {remedy}", CHALLENGE)
    standing = token.standing(now_us)
    if standing is not Standing.USABLE:
        ended = min(one for one in (token.revoked_us, token.expires_us) if one is not None)
        local = instant(ended).astimezone(house.farm.farm.zone_info)
        word = "was revoked" if standing is Standing.REVOKED else "expired"
        raise Problem(401, f"This token {word} on {local:%d %B %Y at %H:%M}. {remedy}", CHALLENGE)
    return token


def cookie_name(house: House) -> str:
    """Return the name of our cookie: one a farm, since cookies know no ports, and never in the clear elsewhere."""
    return f"{'__Host-' if house.access.secure else ''}leafweather-{house.farm.name}"


def by_cookie(request: Request) -> Caller | None:
    """Return who is signed in by a browser's cookie; None where nobody is."""
    house = house_of(request)
    cookie = request.cookies.get(cookie_name(house))
    found = house.journal.tokens.signed_in(house.farm.name, cookie, house.clock()) if cookie else None
    if found is None:
        return None
    token, until_us = found
    return Caller(token.label, token.role, token.identity, cookie, until_us)


def sent_by_our_page(request: Request, caller: Caller) -> None:
    """Refuse what a browser that is signed in sends without the secret that only our own page has."""
    if caller.csrf is not None and not hmac.compare_digest(
        caller.csrf.encode(), request.headers.get(CSRF_HEADER, "").encode("utf-8", "replace")
    ):
        raise Problem(
            403, f"{CSRF_HEADER} is missing or wrong: /api/v1/session tells it to the page that is signed in."
        )


def from_no_other_site(request: Request) -> None:
    """Refuse what a page of somebody else's makes a browser send, and what is not JSON."""
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    foreign = site not in (None, "same-origin", "none")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        foreign = True
    if foreign:
        raise Problem(403, "This came from a page of another site. Use Leafweather's own page or its address directly.")
    if request.method != "DELETE" and _media_type(request) != "application/json":
        raise Problem(415, "Send JSON, with Content-Type: application/json.")


def _media_type(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def _from_this_machine(request: Request) -> None:
    """Refuse what came to the open door by another name or through a proxy: it may be from anywhere.

    A page of somebody else's can make its own name lead to this machine, and then read what answers here.
    """
    through = next((name for name in PROXY_HEADERS if name in request.headers), None)
    if through is not None:
        detail = f"This came through a proxy ({through}), and no sign-in is asked for here. Start with --behind-proxy."
        raise Problem(403, detail)
    name = urlsplit(f"//{request.headers.get('host', '')}").hostname or ""
    if not _is_here(name):
        detail = (
            f"Without a sign-in this answers on this machine alone, as localhost or 127.0.0.1, not as {name[:80]!r}. "
            "To let others in, start with --behind-proxy or a certificate."
        )
        raise Problem(403, detail)


def _is_here(name: str) -> bool:
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return name == "localhost" or name.endswith(".localhost")
