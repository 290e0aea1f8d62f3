"""The part of the journal that people write: entries, which an edit never overwrites."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import date

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import Session, aliased

from store.journal_database import JournalDatabase, batches
from store.log_entries import Detail, LogEntry, identity_of
from store.tables import LogRow, StaleDayRow

LogState = tuple[int, int]  # how many versions, and when the newest was written


class UnknownEntry(LookupError):
    """There is no entry of that identity; nothing was written."""


class JournalLog:
    """Entries by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def add(
        self, farm: str, at_us: int, author: str, detail: Detail, written_us: int, stale_days: Collection[date] = ()
    ) -> LogEntry:
        """Write a new entry and return it; the same one written twice stands once.

        ``stale_days`` are the local days whose sheets it belongs on: they are noted as to be written (again).
        """
        entry = LogEntry(identity_of(farm, at_us, author, written_us, detail), 1, at_us, author, written_us, detail)
        with self._database.writing() as session:
            session.merge(LogRow.of(farm, entry))
            _note_stale(session, farm, stale_days)
        return entry

    def edit(
        self,
        farm: str,
        identity: str,
        at_us: int,
        author: str,
        detail: Detail,
        written_us: int,
        stale_days: Collection[date] = (),
    ) -> LogEntry:
        """Write an entry's next version; the former ones stay.

        Raises
        ------
        UnknownEntry
            If there is no entry of that identity.
        """
        return self._next(farm, LogEntry(identity, 0, at_us, author, written_us, detail), stale_days)

    def withdraw(
        self, farm: str, identity: str, author: str, written_us: int, stale_days: Collection[date] = ()
    ) -> LogEntry:
        """Write that an entry counts for nothing any more; all its versions stay.

        Raises
        ------
        UnknownEntry
            If there is no entry of that identity.
        """
        standing = self.versions(farm, identity)
        if not standing:
            raise _unknown(farm, identity)
        gone = replace(standing[-1], author=author, written_us=written_us, withdrawn=True)
        return self._next(farm, gone, stale_days)

    def _next(self, farm: str, entry: LogEntry, stale_days: Collection[date]) -> LogEntry:
        newest = select(func.max(LogRow.version)).where(LogRow.farm == farm, LogRow.identity == entry.identity)
        with self._database.writing() as session:
            version = session.scalars(newest).one()
            if version is None:
                raise _unknown(farm, entry.identity)
            entry = replace(entry, version=version + 1)
            session.add(LogRow.of(farm, entry))
            _note_stale(session, farm, stale_days)
        return entry

    def entries(
        self,
        farm: str,
        *,
        start_us: int | None = None,
        end_us: int | None = None,
        kinds: Collection[str] = (),
        identities: Collection[str] | None = None,
        withdrawn: bool = False,
    ) -> list[LogEntry]:
        """Return the entries as they stand, of what happened in ``[start_us, end_us)``, in order of time.

        Only those of some kinds or identities, if given.
        """
        query = select(LogRow).where(LogRow.farm == farm, _is_newest())
        if not withdrawn:
            query = query.where(LogRow.withdrawn.is_(False))
        if start_us is not None:
            query = query.where(LogRow.at_us >= start_us)
        if end_us is not None:
            query = query.where(LogRow.at_us < end_us)
        if kinds:
            query = query.where(LogRow.kind.in_(list(kinds)))
        several = [query] if identities is None else [query.where(LogRow.identity.in_(n)) for n in batches(identities)]
        with self._database.reading() as session:
            found = [row.entry() for one in several for row in session.scalars(one)]
        return sorted(found, key=lambda one: (one.at_us, one.identity))

    def newest_versions(self, farm: str, kind: str) -> dict[str, int]:
        """Return by identity which version of each entry of a kind stands; those withdrawn are left out."""
        query = select(LogRow.identity, LogRow.version).where(
            LogRow.farm == farm, LogRow.kind == kind, LogRow.withdrawn.is_(False), _is_newest()
        )
        with self._database.reading() as session:
            return {row.identity: row.version for row in session.execute(query)}

    def versions(self, farm: str, identity: str) -> list[LogEntry]:
        """Return every version of an entry, the first one first; empty where there is none."""
        query = select(LogRow).where(LogRow.farm == farm, LogRow.identity == identity).order_by(LogRow.version)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def state(self, farm: str) -> LogState:
        """Return how many versions there are and when the newest was written: it changes with every write."""
        with self._database.reading() as session:
            return state_of_log(session, farm)


def _is_newest() -> ColumnElement[bool]:
    later = aliased(LogRow)
    same = (later.farm == LogRow.farm) & (later.identity == LogRow.identity)
    return ~exists().where(same, later.version > LogRow.version)


def state_of_log(session: Session, farm: str) -> LogState:
    """Return the state of a farm's log as a session sees it."""
    query = select(func.count(), func.coalesce(func.max(LogRow.written_us), 0)).where(LogRow.farm == farm)
    count, written_us = session.execute(query).one()
    return int(count), int(written_us)


def _note_stale(session: Session, farm: str, days: Collection[date]) -> None:
    for day in days:
        session.merge(StaleDayRow(farm=farm, day=day))


def _unknown(farm: str, identity: str) -> UnknownEntry:
    return UnknownEntry(f"{farm} has no entry {identity!r}: list the entries to see their names")
