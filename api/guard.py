"""What every response carries, and what becomes of a fault nobody foresaw."""

from __future__ import annotations

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
                headers.setdefault("Cache-Control", "no-store" if scope["path"].startswith("/api/") else "no-cache")
            await send(message)

        length = dict(scope["headers"]).get(b"content-length", b"")
        if scope["method"] == "POST" and not (length.isdigit() and int(length) <= LONGEST_BODY):
            detail = f"A request may carry {LONGEST_BODY} bytes at most, and must say how many in Content-Length."
            await problem_response(scope["path"], 413 if length else 411, detail)(scope, receive, guarded)
            return
        try:
            await self._app(scope, receive, guarded)
        except Exception:
            path = scope["path"]
            if path.startswith(TOKEN_PATHS):
                path = TOKEN_PATHS
            log.exception("unexpected fault at %s %s", scope["method"], path)
            if started:
                raise
            await unexpected_response(path)(scope, receive, guarded)
