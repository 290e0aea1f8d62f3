"""The part of the journal that links for acknowledging stand in: hashed, for a time, for one use."""

from __future__ import annotations

import hashlib

from sqlalchemy import delete, select

from store.journal_database import JournalDatabase
from store.notice_entries import Link
from store.notice_tables import NoticeLinkRow

KEPT_US = 30 * 86_400_000_000  # after a link's end, so that opening it still says that it has expired; our choice


class JournalLinks:
    """Links by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def keep(self, link: Link, token: str) -> None:
        """Write a link under its token, which is kept nowhere; links long expired are forgotten.

        One that is there already works until its new end, unless it was used.
        """
        old = (NoticeLinkRow.farm == link.farm) & (NoticeLinkRow.expires_us < link.expires_us - KEPT_US)
        with self._database.writing() as session:
            session.execute(delete(NoticeLinkRow).where(old))
            if (row := session.get(NoticeLinkRow, _hashed(token))) is not None:
                row.expires_us = link.expires_us
                return
            session.add(
                NoticeLinkRow(
                    token_sha256=_hashed(token), farm=link.farm, person=link.person, notice=link.notice,
                    group_name=link.group, alarms=list(link.alarms), expires_us=link.expires_us, used_us=None,
                )
            )  # fmt: skip

    def of(self, farm: str, token: str) -> Link | None:
        """Return the link of a token, used and expired ones too; None where there is none."""
        with self._database.reading() as session:
            row = session.get(NoticeLinkRow, _hashed(token))
            return None if row is None or row.farm != farm else row.entry()

    def use(self, farm: str, token: str, at_us: int) -> Link | None:
        """Use a link up, with every other of its notice, and return it; None if it is used, expired or none."""
        with self._database.writing() as session:
            row = session.get(NoticeLinkRow, _hashed(token))
            if row is None or row.farm != farm or row.used_us is not None or at_us >= row.expires_us:
                return None
            link = row.entry()
            same = select(NoticeLinkRow).where(NoticeLinkRow.farm == farm, NoticeLinkRow.notice == row.notice)
            for one in session.scalars(same):
                one.used_us = at_us
            return link


def _hashed(token: str) -> str:
    """Return a token's hash: of 256 bits that nobody can guess, a plain one is enough."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
