"""Answers that are often the same: told once, then by 304 to who has them (RFC 9110, sections 8.8.3 and 13.1.2)."""

from __future__ import annotations

import hashlib
import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import PREFIX

LONGEST = 4_000_000  # bytes; longer answers, and those that are made while they are sent, pass through
# What differs at each asking and means nothing: weak tags may pass over it.
_ASKED_AT = re.compile(rb'"time":"[^"]*",?')
_FARM = f"{PREFIX}/farm"
_REPEATED = re.compile(
    rf"{PREFIX}/(farm|findings(/.*)?|days(/.*)?|batches(/.*)?|excursions(/.*)?|log(/.*)?|series|series/.*/(bands|gaps|quality)|"
    r"rejects|unknown|clocks|notices(/.*)?|openapi\.json)"
)


class Conditional:
    """Gives answers a tag, and 304 without them to who asks with the same one."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http" or scope["method"] != "GET" or not _REPEATED.fullmatch(scope["path"]):
            await self._app(scope, receive, send)
            return
        held: list[Message] = []
        asked = Headers(scope=scope).get("if-none-match", "")

        async def tagged(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_whole(message):
                held.append(message)
            elif not held:
                await send(message)
            else:
                held.append(message)
                if not message.get("more_body", False):
                    await _answer(held, asked, send, passing_over=_ASKED_AT if scope["path"] == _FARM else None)

        await self._app(scope, receive, tagged)


def _is_whole(start: Message) -> bool:
    """Whether an answer is here already, and short: then it says its length."""
    length = Headers(raw=start["headers"]).get("content-length", "")
    return start["status"] == 200 and length.isdigit() and int(length) <= LONGEST


async def _answer(held: list[Message], asked: str, send: Send, passing_over: re.Pattern[bytes] | None) -> None:
    start, *rest = held
    body = b"".join(one.get("body", b"") for one in rest)
    told = body if passing_over is None else passing_over.sub(b"", body, count=1)
    tag = f'W/"{hashlib.sha256(told).hexdigest()[:32]}"'
    headers = MutableHeaders(raw=start["headers"])
    headers["ETag"] = tag
    if not _known(asked, tag):
        await send({**start, "headers": headers.raw})
        await send({"type": "http.response.body", "body": body})
        return
    del headers["Content-Length"], headers["Content-Type"]
    await send({**start, "status": 304, "headers": headers.raw})
    await send({"type": "http.response.body", "body": b""})


def _known(asked: str, tag: str) -> bool:
    """Whether who asks has an answer of this tag, or of any; compared weakly."""
    opaque = tag.removeprefix("W/")
    return asked.strip() == "*" or opaque in re.findall(r'"[^"]*"', asked)
