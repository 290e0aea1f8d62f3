"""The part of the journal that findings stand in: what may be behind excursions and anything unusual."""

from __future__ import annotations

import json
from collections.abc import Sequence

from sqlalchemy import ColumnElement, func, or_, select, tuple_

from store.entries import FindingEntry, FirstCause
from store.journal_database import JournalDatabase
from store.tables import BasisRow, FindingRow

CHANGES = "finding_changes"  # the kind of basis that counts them


class JournalFindings:
    """Findings by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def replace(self, farm: str, from_us: int, entries: Sequence[FindingEntry]) -> None:
        """Make these the only findings that hold at ``from_us`` or begin later; earlier ones that ended stay.

        Raises
        ------
        ValueError
            If one is of another farm.
        """
        for one in entries:
            if one.farm != farm:
                raise ValueError(f"the finding {one.identity} is of the farm {one.farm!r}, not of {farm!r}")
        given = {one.identity: one for one in entries}
        with self._database.writing() as session:
            gone = [
                row
                for row in session.scalars(select(FindingRow).where(*_holding(farm, from_us, None))).all()
                if row.identity not in given
            ]
            different = [
                one for one in given.values() if _text(session.get(FindingRow, (farm, one.identity))) != _text(one)
            ]
            for row in gone:
                session.delete(row)
            for one in different:
                session.merge(FindingRow.of(one))
            if gone or different:
                counted = session.get(BasisRow, (farm, CHANGES, "")) or BasisRow(
                    farm=farm, kind=CHANGES, series="", text="0"
                )
                counted.text = str(int(counted.text) + 1)
                session.add(counted)

    def between(self, farm: str, start_us: int | None = None, end_us: int | None = None) -> list[FindingEntry]:
        """Return the findings that hold at some instant of ``[start_us, end_us)``, by onset."""
        query = select(FindingRow).where(*_holding(farm, start_us, end_us))
        with self._database.reading() as session:
            rows = session.scalars(query.order_by(FindingRow.onset_us, FindingRow.identity))
            return [row.entry() for row in rows]

    def page(
        self,
        farm: str,
        start_us: int | None,
        end_us: int | None,
        before: tuple[int, str] | None,
        most: int,
        *,
        subject: str | None = None,
        open_at_us: int | None = None,
    ) -> list[FindingEntry]:
        """Return at most so many of a range, the newest onset first, from one after (onset, identity) on.

        Only those about a subject, or that have not ended at an instant, if given.
        """
        query = select(FindingRow).where(*_holding(farm, start_us, end_us))
        if subject is not None:
            query = query.where(FindingRow.subject == subject)
        if open_at_us is not None:
            query = query.where(or_(FindingRow.end_us.is_(None), FindingRow.end_us > open_at_us))
        if before is not None:
            query = query.where(tuple_(FindingRow.onset_us, FindingRow.identity) < tuple_(*before))
        query = query.order_by(FindingRow.onset_us.desc(), FindingRow.identity.desc()).limit(most)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def first_causes(self, farm: str, start_us: int, end_us: int) -> list[FirstCause]:
        """Return the first cause of each finding that holds at some instant of ``[start_us, end_us)``, by onset.

        A finding without causes is left out.
        """
        first = "causes", 0
        cause = FindingRow.detail[(*first, "cause")].as_string()
        query = select(
            FindingRow.identity,
            FindingRow.subject,
            FindingRow.onset_us,
            FindingRow.end_us,
            cause,
            func.coalesce(FindingRow.detail[(*first, "probability")].as_float(), 0.0),
            FindingRow.detail[(*first, "places")],
            FindingRow.detail[(*first, "place_labels")],
            FindingRow.detail["leads_since"].as_string(),
            FindingRow.detail["last_seen"].as_string(),
        ).where(*_holding(farm, start_us, end_us), cause.is_not(None))
        with self._database.reading() as session:
            rows = session.execute(query.order_by(FindingRow.onset_us, FindingRow.identity)).all()
        return [
            FirstCause(
                identity,
                subject,
                onset_us,
                until_us,
                named,
                probability,
                tuple(places or ()),
                tuple(labels or ()),
                leads,
                seen,
            )
            for identity, subject, onset_us, until_us, named, probability, places, labels, leads, seen in rows
        ]

    def state(self, farm: str) -> tuple[int, int, int, int]:
        """Return how many findings there are, how many of them ended, when the newest was worked out, and a number.

        The number differs once anything of a finding changed: its probability or evidence alone, too.
        """
        worked_out = func.coalesce(func.max(FindingRow.at_us), 0)
        query = select(func.count(), func.count(FindingRow.end_us), worked_out).where(FindingRow.farm == farm)
        with self._database.reading() as session:
            count, ended, at_us = session.execute(query).one()
            counted = session.get(BasisRow, (farm, CHANGES, ""))
        return int(count), int(ended), int(at_us), int(counted.text) if counted is not None else 0

    def named(self, identity: str) -> FindingEntry | None:
        """Return the finding of an identity, or about an excursion of it, of whichever farm."""
        with self._database.reading() as session:
            farms = session.scalars(select(FindingRow.farm).distinct()).all()
        found = (self.of(farm, identity) for farm in farms)
        return next((one for one in found if one is not None), None)

    def of(self, farm: str, identity: str) -> FindingEntry | None:
        """Return the finding of an identity, or the newest about an excursion of that identity."""
        either = or_(FindingRow.identity == identity, FindingRow.subject == identity)
        query = select(FindingRow).where(FindingRow.farm == farm, either).order_by(FindingRow.onset_us.desc())
        with self._database.reading() as session:
            row = session.scalars(query.limit(1)).first()
            return None if row is None else row.entry()


def _text(one: FindingRow | FindingEntry | None) -> str | None:
    """Return all of a finding that can change as one text."""
    return None if one is None else json.dumps([one.end_us, one.at_us, one.detail], sort_keys=True)


def _holding(farm: str, start_us: int | None, end_us: int | None) -> list[ColumnElement[bool]]:
    conditions: list[ColumnElement[bool]] = [FindingRow.farm == farm]
    if start_us is not None:
        conditions.append(or_(FindingRow.end_us.is_(None), FindingRow.end_us > start_us))
    if end_us is not None:
        conditions.append(FindingRow.onset_us < end_us)
    return conditions
