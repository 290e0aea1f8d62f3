"""Who tried to change what, written into the journal before the answer goes out."""

from __future__ import annotations

import logging

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.access import READING, Caller
from api.guard import TOKEN_PATHS
from api.house import House
from store.access_entries import Written
from store.contract import StoreUnavailable, StoreUnusable

LONGEST_PATH = 200
STRANGERS_A_MINUTE = 60  # each entry is synced to the disk, which is not theirs to keep busy; our choice, no source
MINUTE_US = 60_000_000
log = logging.getLogger(__name__)


class Audited:
    """Notes every request that may change something, refused ones too, once its address is known."""

    def __init__(self, app: ASGIApp, house: House) -> None:
        self._app, self._house = app, house
        self._minute, self._strangers = 0, 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http" or scope["method"] in READING:
            await self._app(scope, receive, send)
            return
        state = scope.setdefault("state", {})

        async def noted(message: Message) -> None:
            if message["type"] == "http.response.start" and "caller" in state:
                await run_in_threadpool(self._note, scope, str(message["status"]))
            await send(message)

        try:
            await self._app(scope, receive, noted)
        except Exception:
            if "caller" in state:
                await run_in_threadpool(self._note, scope, "500")
            raise

    def _note(self, scope: Scope, outcome: str) -> None:
        house = self._house
        caller: Caller | None = scope["state"]["caller"]
        if (caller is None or outcome == "429") and self._too_many():
            return
        path = TOKEN_PATHS + "..." if scope["path"].startswith(TOKEN_PATHS) else scope["path"][:LONGEST_PATH]
        entry = Written(
            house.farm.name,
            house.clock(),
            "" if caller is None else caller.who,
            None if caller is None else caller.token,
            None if caller is None else caller.role,
            f"{scope['method']} {path}",
            outcome,
        )
        try:
            house.journal.audit.add(entry)
        except (StoreUnavailable, StoreUnusable) as error:
            log.error("not noted in the audit log (%s): %s", error, entry)

    def _too_many(self) -> bool:
        """Return whether strangers have tried so often within a minute that no more of it is noted."""
        minute = self._house.clock() // MINUTE_US
        if minute != self._minute:
            self._minute, self._strangers = minute, 0
        self._strangers += 1
        if self._strangers == STRANGERS_A_MINUTE + 1:
            log.warning("strangers try often: more than %d within a minute are not noted", STRANGERS_A_MINUTE)
        return self._strangers > STRANGERS_A_MINUTE
