"""The part of the journal that quality tests write: which stretches of a series they doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields

from sqlalchemy import ColumnElement, and_, delete, insert, select

from farm.readings import Series
from store.entries import QualityMark
from store.journal_database import JournalDatabase
from store.tables import QualityMarkRow

LONGEST_US = 3_600_000_000  # of a mark: tests make them hour by hour
# As plain rows: a sensor gone wild has a mark every few readings, and an object with a state for each is dear.
_COLUMNS = [getattr(QualityMarkRow, one.name) for one in fields(QualityMark)]


class JournalMarks:
    """Marks by series. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def replace(self, series: Series, start_us: int, end_us: int, marks: Sequence[QualityMark]) -> None:
        """Make these the only marks of a series that begin in ``[start_us, end_us)``.

        Raises
        ------
        ValueError
            If one does not lie in the range, or is longer than an hour.
        """
        for one in marks:
            if one.last_us - one.first_us > LONGEST_US:
                raise ValueError(f"the mark {one} of {series.farm}/{series.key} is longer than an hour: make several")
            if not start_us <= one.first_us <= one.last_us < end_us:
                raise ValueError(f"the mark {one} of {series.farm}/{series.key} does not lie in [{start_us}, {end_us})")
        inside = and_(_of(series), QualityMarkRow.first_us >= start_us, QualityMarkRow.first_us < end_us)
        with self._database.writing() as session:
            session.execute(delete(QualityMarkRow).where(inside))
            if marks:
                session.execute(insert(QualityMarkRow), [series._asdict() | asdict(one) for one in marks])

    def between(self, series: Series, start_us: int, end_us: int) -> list[QualityMark]:
        """Return the marks that overlap ``[start_us, end_us)``, by time and test."""
        query = select(*_COLUMNS).where(
            _of(series),
            QualityMarkRow.first_us < end_us,
            QualityMarkRow.first_us >= start_us - LONGEST_US,  # else all marks of former years are looked at
            QualityMarkRow.last_us >= start_us,
        )
        with self._database.reading() as session:
            rows = session.execute(query.order_by(QualityMarkRow.first_us, QualityMarkRow.test))
            return [QualityMark(*row) for row in rows]

    def marked(self, farm: str) -> set[Series]:
        """Return the series of a farm that have marks."""
        columns = (QualityMarkRow.zone, QualityMarkRow.quantity, QualityMarkRow.sensor)
        query = select(*columns).where(QualityMarkRow.farm == farm).distinct()
        with self._database.reading() as session:
            return {Series(farm, *row) for row in session.execute(query)}


def _of(series: Series) -> ColumnElement[bool]:
    return and_(*(getattr(QualityMarkRow, part) == name for part, name in series._asdict().items()))
