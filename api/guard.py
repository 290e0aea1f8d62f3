"""What every response carries, and what becomes of a fault nobody foresaw."""

from __future__ import annotations

import asyncio
import logging

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import problem_response, unexpected_response

LONGEST_BODY = 16_384  # bytes; our choice, no source
log = logging.getLogger(__name__)

SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; base-uri 'none'; object-src 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


CARRYING = frozenset({"POST", "PUT", "PATCH", "DELETE"})
PATIENCE_S = 10.0  # with a body that comes slowly; our choice, no source

TOKEN_PATHS = "/acknowledge/"  # noqa: S105  # what follows it is secret


class Guard:
    """Adds the security headers to every response and answers unforeseen faults with a problem."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        started = False

        async def guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
                # API answers are of now and must not be kept; files are kept, but asked for again each time.
                headers.setdefault(
                    "Cache-Control", "no-store" if scope["path"].startswith(("/api/", "/metrics")) else "no-cache"
                )
            await send(message)

        try:
            if scope["method"] in CARRYING:
                receive = await _whole(scope, receive)
            await self._app(scope, receive, guarded)
        except _Refused as refused:
            await problem_response(scope["path"], refused.status, refused.detail)(scope, receive, guarded)
        except Exception:
            path = scope["path"]
            if path.startswith(TOKEN_PATHS):
                path = TOKEN_PATHS
            log.exception("unexpected fault at %s %s", scope["method"], path)
            if started:
                raise
            await unexpected_response(path)(scope, receive, guarded)


class _Refused(Exception):
    def __init__(self, status: int, detail: str) -> None:
        super().__init__(detail)
        self.status, self.detail = status, detail


async def _whole(scope: Scope, receive: Receive) -> Receive:
    """Return how to receive a request whose body is here already: it is short, and a slow sender holds nothing up."""
    headers = dict(scope["headers"])
    length = headers.get(b"content-length", b"0" if scope["method"] == "DELETE" else b"")
    said = f"A request may carry {LONGEST_BODY} bytes at most, and must say how many in Content-Length."
    if not length or b"transfer-encoding" in headers:
        raise _Refused(411, said)
    if not length.isdigit() or len(length) > 9 or int(length) > LONGEST_BODY:
        raise _Refused(413, said)
    body, more = b"", True
    try:
        async with asyncio.timeout(PATIENCE_S):
            while more:
                message = await receive()
                if message["type"] == "http.disconnect":
                    break
                body += message.get("body", b"")
                more = message.get("more_body", False)
    except TimeoutError:
        raise _Refused(408, f"The request did not arrive within {PATIENCE_S:g} s. Send it again.") from None
    waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def received() -> Message:
        return waiting.pop() if waiting else await receive()

    return received
