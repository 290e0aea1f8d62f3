"""Notices as signed JSON, for programs: HMAC-SHA256 over time and body, and one key for every try."""

from __future__ import annotations

import hashlib
import hmac
import json
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from farm.notices import Notices
from farm.readings import iso_time
from store.notice_entries import Outcome
from watch.channels import Answer, Channel, Message
from watch.plain_http import PATIENCE_S, ask

TIMESTAMP, SIGNATURE = "Leafweather-Timestamp", "Leafweather-Signature"


def signature(secret: str, timestamp: str, body: bytes) -> str:
    """Return what the header ``Leafweather-Signature`` holds.

    Parameters
    ----------
    secret : str
        What both sides know.
    timestamp : str
        The header ``Leafweather-Timestamp``: seconds since 1970 UTC.
    body : bytes
        The request's body, as it is.

    Returns
    -------
    signature : str
        ``v1=`` and the HMAC-SHA256 (RFC 2104, FIPS 198-1) of timestamp, a full stop and body, in hexadecimal.
    """
    return "v1=" + hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


@dataclass(frozen=True, slots=True)
class Webhooks:
    """The sort of channel that is a webhook; ``secrets`` by name."""

    secrets: Mapping[str, str] = field(repr=False)
    ca_file: Path | None = None
    patience_s: float = PATIENCE_S
    clock_s: Callable[[], float] = time.time

    def channels(self, notices: Notices, person: str) -> Iterator[tuple[str, Channel]]:
        """Yield a person's webhooks."""
        for number, webhook in enumerate(notices.people[person].webhooks, 1):
            yield f"webhook {number}", WebhookChannel(self, webhook.url, webhook.secret)


class WebhookChannel:
    """One webhook."""

    def __init__(self, webhooks: Webhooks, url: str, secret: str) -> None:
        self._webhooks, self._url, self._secret = webhooks, url, secret

    def send(self, message: Message) -> Answer:
        """Post one notice; the receiver knows it again by its ``Idempotency-Key``, the same at every try."""
        secret = self._webhooks.secrets.get(self._secret)
        if secret is None:
            return Answer(Outcome.LATER, f"there is no secret {self._secret}: LEAFWEATHER_SECRETS_FILE")
        body = json.dumps(content_of(message), ensure_ascii=False, allow_nan=False, default=str).encode()
        timestamp = str(int(self._webhooks.clock_s()))
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "leafweather",
            "Idempotency-Key": message.notice.identity,
            TIMESTAMP: timestamp,
            SIGNATURE: signature(secret, timestamp, body),
        }
        replied = ask(
            self._url,
            body=body,
            headers=headers,
            ca_file=self._webhooks.ca_file,
            patience_s=self._webhooks.patience_s,
        )
        return Answer(replied.outcome, replied.text, replied.retry_after_s)


def content_of(message: Message) -> dict[str, Any]:
    """Return what a webhook is told."""
    notice = message.notice
    return {
        "notice": notice.identity,
        "farm": notice.farm,
        "farm_title": message.farm_title,
        "person": notice.person,
        "kind": str(notice.kind),
        "priority": str(notice.priority),
        "group": notice.group or None,
        "made": iso_time(notice.made_us),
        "subject": notice.subject,
        "text": notice.text,
        "acknowledge": message.link,
        "alarms": [
            {
                "id": one.identity,
                "condition": one.condition,
                "group": one.group,
                "priority": str(one.priority),
                "since": iso_time(one.since_us),
                "returned": None if one.returned_us is None else iso_time(one.returned_us),
                **{name: value for name, value in one.facts.items() if value == value},  # NaN is no JSON
            }
            for one in notice.told
        ],
    }
