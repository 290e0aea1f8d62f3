"""The part of the journal that says who tried to change what: added to, never altered."""

from __future__ import annotations

from sqlalchemy import delete, select

from store.access_entries import Written
from store.access_tables import WrittenRow
from store.journal_database import JournalDatabase

STRANGERS_KEPT = 1000  # tries of people without a token, the newest: they must not fill the disk; our choice, no source


class JournalAudit:
    """Entries by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def add(self, entry: Written) -> None:
        """Add an entry; of strangers, who have neither token nor role, the newest are kept."""
        strangers = (WrittenRow.farm == entry.farm) & WrittenRow.token.is_(None) & WrittenRow.role.is_(None)
        with self._database.writing() as session:
            session.add(
                WrittenRow(
                    farm=entry.farm, at_us=entry.at_us, who=entry.who, token=entry.token,
                    role=None if entry.role is None else str(entry.role), what=entry.what, outcome=entry.outcome,
                )
            )  # fmt: skip
            if entry.token is None and entry.role is None:
                session.flush()
                newest = select(WrittenRow.number).where(strangers).order_by(WrittenRow.number.desc())
                last = session.scalars(newest.offset(STRANGERS_KEPT).limit(1)).first()
                if last is not None:
                    session.execute(delete(WrittenRow).where(strangers, WrittenRow.number <= last))

    def page(self, farm: str, before: int | None = None, most: int = 100) -> list[Written]:
        """Return at most so many entries, the newest first, from those before a number on."""
        query = select(WrittenRow).where(WrittenRow.farm == farm)
        if before is not None:
            query = query.where(WrittenRow.number < before)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query.order_by(WrittenRow.number.desc()).limit(most))]
