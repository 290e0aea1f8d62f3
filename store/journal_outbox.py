"""The part of the journal that notices stand in: to be sent, tried, sent; with the log of every try."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy import and_, or_, select, update
from sqlalchemy.orm import Session

from store.journal_database import JournalDatabase, batches
from store.notice_entries import FAILED, TELLING, Notice, NoticeKind, NoticeState, Outcome, Try
from store.notice_tables import NoticeAlarmRow, NoticeRow, NoticeTryRow


class JournalOutbox:
    """Notices by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def add(self, notices: Sequence[Notice]) -> list[Notice]:
        """Write notices that are not there yet, all or none, and return those that are new."""
        with self._database.writing() as session:
            new = {one.identity: one for one in notices if session.get(NoticeRow, (one.farm, one.identity)) is None}
            for one in new.values():
                session.add(NoticeRow.of(one))
                _note_told(session, one)
        return list(new.values())

    def waiting(self, farm: str) -> list[Notice]:
        """Return the notices that are still to be sent, oldest first."""
        query = select(NoticeRow).where(NoticeRow.farm == farm, NoticeRow.state == str(NoticeState.WAITING))
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query.order_by(NoticeRow.made_us, NoticeRow.identity))]

    def since(self, farm: str, made_us: int) -> list[Notice]:
        """Return the notices made at an instant or later, oldest first."""
        query = select(NoticeRow).where(NoticeRow.farm == farm, NoticeRow.made_us >= made_us)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query.order_by(NoticeRow.made_us, NoticeRow.identity))]

    def about(self, farm: str, alarms: Collection[str]) -> list[Notice]:
        """Return the notices that told of some alarms, by the identities they had then, oldest first."""
        found: set[str] = set()
        with self._database.reading() as session:
            for several in batches(alarms):
                query = select(NoticeAlarmRow.notice).where(
                    NoticeAlarmRow.farm == farm, NoticeAlarmRow.alarm.in_(several)
                )
                found.update(session.scalars(query))
            return _of_identities(session, farm, found)

    def owed(self, farm: str, people: Collection[str]) -> list[Notice]:
        """Return the notices by which people were told of alarms and not since that they are over, oldest first."""
        query = select(NoticeAlarmRow.notice).where(
            NoticeAlarmRow.farm == farm, NoticeAlarmRow.owed.is_(True), NoticeAlarmRow.person.in_(list(people))
        )
        with self._database.reading() as session:
            return _of_identities(session, farm, set(session.scalars(query)))

    def page(
        self, farm: str, before: tuple[int, str] | None = None, most: int = 100, state: NoticeState | None = None
    ) -> list[Notice]:
        """Return at most so many notices, the newest first, from one after (time made, identity) on."""
        query = select(NoticeRow).where(NoticeRow.farm == farm)
        if state is not None:
            query = query.where(NoticeRow.state == str(state))
        if before is not None:
            made_us, identity = before
            same = and_(NoticeRow.made_us == made_us, NoticeRow.identity < identity)
            query = query.where(or_(NoticeRow.made_us < made_us, same))
        query = query.order_by(NoticeRow.made_us.desc(), NoticeRow.identity.desc()).limit(most)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def of(self, farm: str, identity: str) -> Notice | None:
        """Return one notice; None where there is none of that identity."""
        with self._database.reading() as session:
            row = session.get(NoticeRow, (farm, identity))
            return None if row is None else row.entry()

    def tries(self, farm: str, identity: str) -> list[Try]:
        """Return every try to send a notice, in order."""
        query = select(NoticeTryRow).where(NoticeTryRow.farm == farm, NoticeTryRow.notice == identity)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query.order_by(NoticeTryRow.number))]

    def begin(self, farm: str, identity: str, began_us: int) -> int:
        """Write that a try begins, and return its number: durable before anything leaves the house.

        A try before it that never ended is noted as unsure: the program was ended within it.
        """
        with self._database.writing() as session:
            notice = session.get_one(NoticeRow, (farm, identity))
            before = session.get(NoticeTryRow, (farm, identity, notice.tries))
            if before is not None and before.ended_us is None:
                before.outcome, before.ended_us = str(Outcome.UNSURE), began_us
                before.answer = "the program was ended within this try: it may have been taken or not"
            notice.tries += 1
            session.add(
                NoticeTryRow(
                    farm=farm, notice=identity, number=notice.tries, began_us=began_us, ended_us=None, outcome=None,
                    answer="",
                )
            )  # fmt: skip
            return notice.tries

    def end(self, farm: str, done: Try, state: NoticeState, next_us: int) -> None:
        """Write how a try ended, what has become of its notice, and when to try again if it waits."""
        with self._database.writing() as session:
            row = session.get_one(NoticeTryRow, (farm, done.notice, done.number))
            row.ended_us, row.outcome, row.answer = done.ended_us, str(done.outcome), done.answer
            notice = session.get_one(NoticeRow, (farm, done.notice))
            notice.state, notice.next_us = str(state), next_us
            notice.sent_us = done.ended_us if state is NoticeState.SENT else None
            if state in FAILED:  # nobody knows of what it tells, so nobody is owed its end
                mine = (NoticeAlarmRow.farm == farm) & (NoticeAlarmRow.notice == done.notice)
                session.execute(update(NoticeAlarmRow).where(mine).values(owed=False))

    def drop(self, farm: str, identity: str, at_us: int, state: NoticeState, why: str) -> None:
        """Write that a notice will not be tried any more, and why."""
        number = self.begin(farm, identity, at_us)
        self.end(farm, Try(identity, number, at_us, at_us, Outcome.REFUSED, why), state, at_us)


def _note_told(session: Session, notice: Notice) -> None:
    """Write which alarms a notice tells; one that tells of their end leaves nothing owed to its person."""
    identities = [one.identity for one in notice.told]
    if notice.kind is NoticeKind.RETURNED:
        for several in batches(identities):
            told = (
                (NoticeAlarmRow.farm == notice.farm)
                & NoticeAlarmRow.alarm.in_(several)
                & (NoticeAlarmRow.person == notice.person)
            )
            session.execute(update(NoticeAlarmRow).where(told).values(owed=False))
    lasting = {one.identity for one in notice.told if one.returned_us is None and notice.kind in TELLING}
    session.add_all(
        NoticeAlarmRow(farm=notice.farm, notice=notice.identity, alarm=one, person=notice.person, owed=one in lasting)
        for one in dict.fromkeys(identities)
    )


def _of_identities(session: Session, farm: str, identities: Collection[str]) -> list[Notice]:
    found = [
        row.entry()
        for several in batches(identities)
        for row in session.scalars(select(NoticeRow).where(NoticeRow.farm == farm, NoticeRow.identity.in_(several)))
    ]
    return sorted(found, key=lambda one: (one.made_us, one.identity))
