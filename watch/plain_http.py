"""One HTTP request to an outside address, which follows nobody elsewhere and logs nothing."""

from __future__ import annotations

import http.client
import ssl
import urllib.error
import urllib.request
from contextlib import suppress
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import IO

from store.notice_entries import Outcome

PATIENCE_S = 15.0  # for each piece of the answer; our choice, no source
MOST_READ = 1000  # bytes of an answer
MOST_RETRY_AFTER_S = 3600.0
_TRY_AGAIN = (408, 425, 429)  # RFC 9110, 8470, 6585: not now; and every 5xx


@dataclass(frozen=True, slots=True)
class Replied:
    """What came of a request, in words that hold no address."""

    outcome: Outcome
    text: str
    retry_after_s: float = 0.0


class _StayHere(urllib.request.HTTPRedirectHandler):
    """Follows no redirection: what is signed for one address is not for another."""

    def redirect_request(self, *_: object, **__: object) -> None:
        """Refuse."""


def ask(
    url: str,
    *,
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
    ca_file: Path | None = None,
    patience_s: float = PATIENCE_S,
) -> Replied:
    """Send one request, GET without a body and POST with one, and return what came of it."""
    context = ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))
    opener = urllib.request.build_opener(_StayHere, urllib.request.HTTPSHandler(context=context))
    request = urllib.request.Request(url, data=body, headers=headers or {})  # noqa: S310  # http and https alone: farm.toml's check
    try:
        with opener.open(request, timeout=patience_s) as response:
            return _judged(response.status, response)
    except urllib.error.HTTPError as error:
        with error:
            return _judged(error.code, error, error.headers.get("Retry-After", ""))
    except urllib.error.URLError as error:
        return _failed(error.reason)
    except (OSError, http.client.HTTPException) as error:
        return _failed(error)


def _judged(status: int, response: IO[bytes] | http.client.HTTPResponse, retry_after: str = "") -> Replied:
    with suppress(OSError, http.client.HTTPException):  # the status has said it all
        response.read(MOST_READ)
    try:
        text = f"{status} {HTTPStatus(status).phrase}"
    except ValueError:
        text = str(status)
    if 200 <= status < 300:
        return Replied(Outcome.TAKEN, text)
    if status in _TRY_AGAIN or status >= 500:
        wait_s = float(retry_after) if retry_after.isdecimal() else 0.0
        return Replied(Outcome.LATER, text, min(wait_s, MOST_RETRY_AFTER_S))
    return Replied(Outcome.REFUSED, text)


def _failed(reason: object) -> Replied:
    """Return what came of a request without an answer: unsure, where it may have arrived."""
    if isinstance(reason, ssl.SSLCertVerificationError):
        return Replied(Outcome.LATER, f"its certificate cannot be trusted ({reason.verify_message})")
    text = type(reason).__name__
    if isinstance(reason, OSError) and reason.strerror:
        text = reason.strerror
    if isinstance(reason, TimeoutError):
        return Replied(Outcome.UNSURE, "no answer in time")
    never_arrived = isinstance(reason, ConnectionRefusedError | ssl.SSLError) or "resolution" in text or "known" in text
    return Replied(Outcome.LATER if never_arrived else Outcome.UNSURE, f"no answer: {text}")
