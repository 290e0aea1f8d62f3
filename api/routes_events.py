"""Changes as they happen: server-sent events, as the HTML standard defines them (section 9.2)."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any

import msgspec
from fastapi import APIRouter, Query, Request
from fastapi.sse import format_sse_event
from starlette.responses import Response, StreamingResponse
from starlette.types import Message, Receive, Scope, Send

from api import examples
from api.access import OPEN_DOOR, caller_of
from api.changes import MOST_LISTENERS, MOST_OF_ONE, READINGS, Changes, Listener
from api.house import TheHouse, house_of
from api.problems import Problem, problem_response
from farm.readings import iso_time

BEAT_S = 15.0  # between signs of life; our choice, no source, below the minute after which proxies hang up
CHECK_S = 5.0  # until somebody whose token was revoked hears no more; our choice, no source
RETRY_MS = 3000  # until a browser that lost us asks again; likewise
PATIENCE_S = 10.0  # with a listener that takes nothing; likewise
BEAT = "beat"
MEDIA_TYPE = "text/event-stream"

router = APIRouter(tags=["now"])


class Stuck(Exception):
    """A listener takes nothing."""


class EventStream(Response):
    """Tells one listener what changes, until it leaves, its time is over, or it may not listen any more."""

    media_type = MEDIA_TYPE

    def __init__(self, request: Request, listen_s: float | None) -> None:
        super().__init__()
        self._request = request
        self._until_s = float("inf") if listen_s is None else time.monotonic() + listen_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hold a place among the listeners and tell; 503 where there is none."""
        changes: Changes = self._request.app.state.changes
        caller = getattr(self._request.state, "caller", None)
        token = caller.token if caller is not None else None
        if changes.full(token):
            detail = (
                f"{MOST_LISTENERS} listen already, {MOST_OF_ONE} with one token, or the service stops. Ask the other "
                "addresses now and then."
            )
            await problem_response(scope["path"], 503, detail, {"Retry-After": "30"})(scope, receive, send)
            return

        async def patient(message: Message) -> None:
            try:
                await asyncio.wait_for(send(message), PATIENCE_S)
            except TimeoutError:
                raise Stuck from None

        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        with changes.listening(token) as listener:
            stream = StreamingResponse(self._events(changes, listener), headers=headers, media_type=MEDIA_TYPE)
            try:
                await stream(scope, receive, patient)
            except Stuck:
                return  # without an end: the server hangs up

    async def _events(self, changes: Changes, listener: Listener) -> AsyncIterator[bytes]:
        await changes.begun()
        yield format_sse_event(retry=RETRY_MS) + self._beat()
        beaten_s = time.monotonic()
        while (left_s := self._until_s - time.monotonic()) > 0:
            told = await listener.next(min(CHECK_S, BEAT_S, left_s))
            if listener.over or not await self._may_listen():
                return
            for kind, data in told.items():
                yield _event(kind, data)
            if time.monotonic() - beaten_s >= BEAT_S:
                yield self._beat()
                beaten_s = time.monotonic()

    async def _may_listen(self) -> bool:
        """Whether whoever began to listen is still let in."""
        if self._request.state.caller is OPEN_DOOR:
            return True
        try:
            return await caller_of(self._request) is not None
        except Problem:
            return False

    def _beat(self) -> bytes:
        """Return a sign of life: a comment, and an event, since scripts of a page are not shown comments."""
        data = {"time": iso_time(house_of(self._request).clock())}
        return format_sse_event(comment="still here", event=BEAT, data_str=_json(data))


def _event(kind: str, data: dict[str, Any]) -> bytes:
    return format_sse_event(event=kind, data_str=_json(data))


def _json(data: dict[str, Any]) -> str:
    return msgspec.json.encode(data).decode()


_EXAMPLE = _event(READINGS, examples.EXAMPLES["events"]).decode()


@router.get(
    "/events",
    response_class=EventStream,
    status_code=200,
    responses={
        200: {
            "description": "events without end: readings, alarms, findings, journal, and beat as a sign of life",
            "content": {MEDIA_TYPE: {"schema": {"type": "string"}, "example": _EXAMPLE}},
        }
    },
)
async def events(
    house: TheHouse,
    request: Request,
    listen_s: Annotated[
        float | None, Query(ge=0, le=86_400, description="end by itself after so many seconds; never by default")
    ] = None,
) -> EventStream:
    """Tell that something changed as soon as it does; what it is now, the other addresses tell."""
    return EventStream(request, listen_s)
