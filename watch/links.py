"""Links by which people acknowledge: one for each notice, the same at every try."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets

from store.journal import Journal
from store.notice_entries import TELLING, Link, Notice
from watch.told import MINUTE_US

KEY_BYTES = 32


class Links:
    """Makes links to a farm's page.

    Parameters
    ----------
    journal : Journal
        Where links are kept, by the hash of their token alone.
    page_url : str or None
        What links begin with; None makes none.
    hours : float
        How long a link works after the last try of its notice.
    key : bytes or None
        What tokens are derived with, so that a notice has the same one at each try, and after a restart. Who holds it
        could make them too. None takes one of chance, for this process alone.
    """

    def __init__(self, journal: Journal, page_url: str | None, hours: float, key: bytes | None = None) -> None:
        self._journal, self._key = journal, key or secrets.token_bytes(KEY_BYTES)
        self._page_url = None if page_url is None else page_url.rstrip("/")
        self._works_us = int(hours * 60 * MINUTE_US)

    def of(self, notice: Notice, now_us: int) -> str | None:
        """Return the link of a notice, which acknowledges all it tells of; None for one that asks for nothing."""
        if self._page_url is None or notice.kind not in TELLING:
            return None
        alarms = tuple(one.identity for one in notice.told)
        link = Link(notice.farm, notice.person, notice.identity, notice.group, alarms, now_us + self._works_us)
        self._journal.links.keep(link, token := self._token(notice))
        return f"{self._page_url}/acknowledge/{token}"

    def _token(self, notice: Notice) -> str:
        name = f"{notice.farm}/{notice.identity}".encode()
        return base64.urlsafe_b64encode(hmac.new(self._key, name, hashlib.sha256).digest()).decode().rstrip("=")
