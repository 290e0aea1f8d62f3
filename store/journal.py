"""The journal: what people, the arrival checks and the watch wrote, kept in one small database."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any, Self, TypeVar

from sqlalchemy import ColumnElement, and_, delete, func, or_, select, tuple_
from sqlalchemy.orm import Session

from farm.readings import Series, iso_time
from store.entries import ClockFault, DaySheetEntry, ExcursionEntry, Reason, Reject, UnknownName
from store.journal_alarms import JournalAlarms
from store.journal_audit import JournalAudit
from store.journal_database import JournalDatabase
from store.journal_findings import JournalFindings
from store.journal_links import JournalLinks
from store.journal_log import JournalLog, LogState, state_of_log
from store.journal_marks import JournalMarks
from store.journal_outbox import JournalOutbox
from store.journal_tokens import JournalTokens
from store.tables import (
    BasisRow,
    ClockFaultRow,
    DaySheetRow,
    DescriptionRow,
    ExcursionRow,
    RejectRow,
    StaleDayRow,
    UnknownNameRow,
)

MAX_REJECTS = 2000  # different ones kept for each farm; our choice, no source
MAX_UNKNOWN = 2000  # different names kept for each farm; our choice, no source
KEYS_AT_ONCE = 500  # looked up by one statement

_Kind = tuple[Reason, str, str]  # what rejects are merged by: reason, topic, name
_Row = TypeVar("_Row", RejectRow, UnknownNameRow)


class Journal:
    """The journal of all farms of this program.

    ``log`` is what people wrote, ``marks`` what quality tests doubt, ``findings`` what may be behind excursions,
    ``alarms`` what was raised and what people did about it, ``outbox`` what is told to whom, ``links`` how people
    acknowledge from a notice, ``tokens`` who may come in, ``audit`` who tried to change what.

    Several threads may share one. Every method may raise `store.contract.StoreUnavailable` (locked,
    disk full, no permission): nothing was written then, and the same call may be repeated.

    Parameters
    ----------
    url : str
        Where it is, as SQLAlchemy writes it: ``sqlite:////absolute/path/journal.sqlite``. The file is
        made if it is not there; its folder must exist. SQLite is what the tests run on.
    patience_s : float
        How long to wait for another program's write to end. [s]

    Raises
    ------
    StoreUnavailable
        If the journal cannot be opened now.
    StoreUnusable
        If it was written by a newer version of this program, is damaged, or is something else.
    """

    def __init__(self, url: str, *, patience_s: float = 5.0) -> None:
        self._database = JournalDatabase(url, patience_s)
        self.log = JournalLog(self._database)
        self.marks = JournalMarks(self._database)
        self.findings = JournalFindings(self._database)
        self.alarms = JournalAlarms(self._database)
        self.outbox = JournalOutbox(self._database)
        self.links = JournalLinks(self._database)
        self.tokens = JournalTokens(self._database)
        self.audit = JournalAudit(self._database)

    def add_rejects(self, farm: str, rejects: Sequence[Reject]) -> None:
        """Add refused arrivals to those of the same reason, topic and name; counts add up.

        Beyond `MAX_REJECTS` different ones, new ones are counted together, one entry for each reason,
        with an empty topic and name.
        """
        if not rejects:
            return
        rejects = [*map(_storable, rejects)]
        with self._database.writing() as session, session.no_autoflush:
            named = or_(RejectRow.topic != "", RejectRow.name != "")
            room = (
                MAX_REJECTS
                - session.scalars(
                    select(func.count()).select_from(RejectRow).where(RejectRow.farm == farm, named)
                ).one()
            )
            kinds = {_kind(one) for one in rejects} | {(one.reason, "", "") for one in rejects}
            key = (RejectRow.reason, RejectRow.topic, RejectRow.name)
            kept = {_kind(row.entry()): row for row in _found(session, RejectRow, farm, key, kinds)}
            totals: dict[_Kind, Reject] = {}
            for one in rejects:
                if _kind(one) not in kept and _kind(one) not in totals and (one.topic or one.name):
                    if room <= 0:
                        one = _counted_together(one)
                    else:
                        room -= 1
                total = totals.get(_kind(one)) or (kept[_kind(one)].entry() if _kind(one) in kept else None)
                totals[_kind(one)] = _sum(total, one) if total else one
            for kind, total in totals.items():
                if kind in kept:
                    session.merge(RejectRow.of(farm, total))
                else:
                    session.add(RejectRow.of(farm, total))

    def rejects(self, farm: str, limit: int = 200) -> list[Reject]:
        """Return refused arrivals, the newest first."""
        query = (
            select(RejectRow)
            .where(RejectRow.farm == farm)
            .order_by(RejectRow.last_us.desc(), RejectRow.reason, RejectRow.topic, RejectRow.name)
            .limit(max(limit, 0))
        )
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def reject_counts(self, farm: str) -> dict[Reason, int]:
        """Return how many arrivals were refused, by reason."""
        query = (
            select(RejectRow.reason, func.sum(RejectRow.count))
            .where(RejectRow.farm == farm)
            .group_by(RejectRow.reason)
            .order_by(RejectRow.reason)
        )
        with self._database.reading() as session:
            return {Reason(reason): int(count) for reason, count in session.execute(query)}

    def add_unknown_names(self, farm: str, names: Sequence[UnknownName]) -> None:
        """Add records under undescribed names to those of the same name and topic; counts add up.

        Beyond `MAX_UNKNOWN` different ones, new ones are counted together under an empty name and topic.
        """
        if not names:
            return
        with self._database.writing() as session, session.no_autoflush:
            of_farm = select(func.count()).select_from(UnknownNameRow).where(UnknownNameRow.farm == farm)
            room = MAX_UNKNOWN - session.scalars(of_farm).one()
            keys = {(_text(one.name), _text(one.topic)) for one in names} | {("", "")}
            found = _found(session, UnknownNameRow, farm, (UnknownNameRow.name, UnknownNameRow.topic), keys)
            rows = {(row.name, row.topic): row for row in found}
            for one in names:
                name, topic, unit = map(_text, (one.name, one.topic, one.unit or ""))
                row = rows.get((name, topic))
                if row is None and room <= 0:
                    name = topic = ""
                    row = rows.get((name, topic))
                if row is None:
                    room -= 1
                    row = UnknownNameRow(farm=farm, name=name, topic=topic, first_us=one.first_us, last_us=0, count=0)
                    rows[name, topic] = row
                    session.add(row)
                if one.last_us >= row.last_us:
                    row.value, row.unit, row.last_us = one.value, unit if one.unit is not None else None, one.last_us
                row.first_us = min(row.first_us, one.first_us)
                row.count += one.count

    def unknown_names(self, farm: str) -> list[UnknownName]:
        """Return the undescribed names under which records came, the most frequent first."""
        query = select(UnknownNameRow).where(UnknownNameRow.farm == farm)
        with self._database.reading() as session:
            found = session.scalars(query.order_by(UnknownNameRow.count.desc(), UnknownNameRow.name))
            return [row.entry() for row in found]

    def add_clock_faults(self, farm: str, faults: Sequence[ClockFault]) -> None:
        """Add what was wrong with devices' clocks to what is known of them; numbers of readings add up."""
        if not faults:
            return
        with self._database.writing() as session:
            for one in faults:
                row = session.get(ClockFaultRow, (farm, one.device, one.fault))
                if row is None:
                    row = ClockFaultRow(
                        farm=farm, device=one.device, fault=one.fault, first_us=one.first_us, readings=0
                    )
                    session.add(row)
                row.detail, row.offset_s, row.last_us = one.detail, one.offset_s, one.last_us
                row.readings += one.readings

    def clock_faults(self, farm: str) -> list[ClockFault]:
        """Return what was wrong with devices' clocks, the newest first."""
        query = select(ClockFaultRow).where(ClockFaultRow.farm == farm).order_by(ClockFaultRow.last_us.desc())
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)]

    def replace_excursions(self, farm: str, series: Series, from_us: int, excursions: Sequence[ExcursionEntry]) -> None:
        """Make these the only excursions of a series that begin at an instant or later.

        Raises
        ------
        ValueError
            If one belongs to another series or farm, begins before ``from_us``, or is given twice.
        """
        if series.farm != farm:
            raise ValueError(f"{series.farm}/{series.key} is not a series of the farm {farm!r}")
        given = {one.identity: one for one in excursions}
        if len(given) != len(excursions):
            raise ValueError(f"{farm}/{series.key}: an excursion is given twice; side and onset must tell them apart")
        for one in excursions:
            if one.series != series or one.onset_us < from_us:
                raise ValueError(
                    f"the excursion of {one.series.farm}/{one.series.key} at {iso_time(one.onset_us)} does not "
                    f"belong to those of {farm}/{series.key} from {iso_time(from_us)} on"
                )
        query = select(ExcursionRow).where(_of_series(series), ExcursionRow.onset_us >= from_us)
        with self._database.writing() as session:
            for row in session.scalars(query).all():
                if row.identity not in given:
                    session.delete(row)
            for one in excursions:
                session.merge(ExcursionRow.of(one))

    def excursions(
        self,
        farm: str,
        *,
        start_us: int | None = None,
        end_us: int | None = None,
        series: Series | None = None,
        open_only: bool = False,
        before: tuple[int, str] | None = None,
        most: int | None = None,
    ) -> list[ExcursionEntry]:
        """Return the excursions that overlap ``[start_us, end_us)``, by onset; an open one lasts.

        At most so many, if given: the newest, or those next to one of an (onset, identity) that came before them.
        """
        query = select(ExcursionRow).where(ExcursionRow.farm == farm)
        if end_us is not None:
            query = query.where(ExcursionRow.onset_us < end_us)
        if start_us is not None:
            query = query.where(or_(ExcursionRow.end_us.is_(None), ExcursionRow.end_us > start_us))
        if series is not None:
            query = query.where(_of_series(series))
        if open_only:
            query = query.where(ExcursionRow.end_us.is_(None))
        if before is not None:
            query = query.where(tuple_(ExcursionRow.onset_us, ExcursionRow.identity) < tuple_(*before))
        query = query.order_by(ExcursionRow.onset_us.desc(), ExcursionRow.identity.desc()).limit(most)
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query)][::-1]

    def excursion(self, farm: str, identity: str) -> ExcursionEntry | None:
        """Return one excursion; None where there is none of that identity."""
        with self._database.reading() as session:
            row = session.get(ExcursionRow, (farm, identity))
            return None if row is None else row.entry()

    def mark_days_stale(self, farm: str, days: Collection[date]) -> None:
        """Note that the sheets of some days are to be written (again); `save_day_sheet` takes the note away."""
        with self._database.writing() as session:
            for day in days:
                session.merge(StaleDayRow(farm=farm, day=day))

    def stale_days(self, farm: str) -> list[date]:
        """Return the days whose sheets are to be written, in order."""
        with self._database.reading() as session:
            return list(
                session.scalars(select(StaleDayRow.day).where(StaleDayRow.farm == farm).order_by(StaleDayRow.day))
            )

    def save_day_sheet(self, farm: str, entry: DaySheetEntry, log_state: LogState | None = None) -> None:
        """Keep a day's sheet, in place of an older one of that day; the day is not stale any more.

        ``log_state`` is that of the log before the sheet was worked out: where another program has written into
        the log since, the sheet may lack it, and the day stays stale.
        """
        with self._database.writing() as session:
            session.merge(DaySheetRow.of(farm, entry))
            if log_state is None or log_state == state_of_log(session, farm):
                session.execute(delete(StaleDayRow).where(StaleDayRow.farm == farm, StaleDayRow.day == entry.day))

    def day_sheet(self, farm: str, day: date) -> DaySheetEntry | None:
        """Return a day's sheet; None where there is none."""
        with self._database.reading() as session:
            row = session.get(DaySheetRow, (farm, day))
            return None if row is None else row.entry()

    def days(self, farm: str) -> list[date]:
        """Return the days that have a sheet, in order."""
        with self._database.reading() as session:
            return list(
                session.scalars(select(DaySheetRow.day).where(DaySheetRow.farm == farm).order_by(DaySheetRow.day))
            )

    def note_description(self, farm: str, description_hash: str, text: str, seen_us: int) -> None:
        """Keep a farm's description under its hash, as the one in force from ``seen_us`` on."""
        with self._database.writing() as session:
            session.merge(DescriptionRow(farm=farm, description_hash=description_hash, text=text, seen_us=seen_us))

    def description_in_force(self, farm: str) -> str | None:
        """Return the hash of the description that was noted last; None before the first."""
        newest = select(DescriptionRow.description_hash).where(DescriptionRow.farm == farm)
        with self._database.reading() as session:
            return session.scalars(newest.order_by(DescriptionRow.seen_us.desc()).limit(1)).first()

    def farms(self) -> list[str]:
        """Return the names of the farms whose descriptions were noted, in order."""
        with self._database.reading() as session:
            return sorted(session.scalars(select(DescriptionRow.farm).distinct()))

    def description(self, farm: str, description_hash: str) -> str | None:
        """Return the text of a farm's description by its hash; None where it was never noted."""
        with self._database.reading() as session:
            row = session.get(DescriptionRow, (farm, description_hash))
            return None if row is None else row.text

    def bases(self, farm: str, kind: str) -> dict[str, str]:
        """Return with what things of a kind were last worked out, by the series' key."""
        query = select(BasisRow).where(BasisRow.farm == farm, BasisRow.kind == kind)
        with self._database.reading() as session:
            return {row.series: row.text for row in session.scalars(query)}

    def day_sheet_parts(
        self, farm: str, days: Collection[date], *paths: tuple[str, ...]
    ) -> dict[date, tuple[Any, ...]]:
        """Return parts of some days' sheets by their paths of names, None for one that a sheet does not have.

        Days without a sheet are left out.
        """
        wanted = (DaySheetRow.day, *(DaySheetRow.sheet[path] for path in paths))
        with self._database.reading() as session:
            rows = session.execute(select(*wanted).where(DaySheetRow.farm == farm, DaySheetRow.day.in_(days)))
            return {day: tuple(parts) for day, *parts in rows}

    def note_bases(self, farm: str, kind: str, by_series: Mapping[str, str]) -> None:
        """Note with what things of a kind were worked out now: one text a series' key."""
        with self._database.writing() as session:
            for series, text in by_series.items():
                session.merge(BasisRow(farm=farm, kind=kind, series=series, text=text))

    def close(self) -> None:
        """Release the journal; closing twice is harmless."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def _of_series(series: Series) -> ColumnElement[bool]:
    return and_(*(getattr(ExcursionRow, part) == name for part, name in series._asdict().items()))


def _kind(reject: Reject) -> _Kind:
    return reject.reason, reject.topic, reject.name


def _found(
    session: Session, table: type[_Row], farm: str, columns: Sequence[Any], keys: Collection[tuple[str, ...]]
) -> list[_Row]:
    """Return a farm's rows of these keys: many at once, since one pack may hold thousands of names."""
    wanted = [tuple(map(str, key)) for key in keys]
    rows: list[_Row] = []
    for first in range(0, len(wanted), KEYS_AT_ONCE):
        among = tuple_(*columns).in_(wanted[first : first + KEYS_AT_ONCE])
        rows += session.scalars(select(table).where(table.farm == farm, among))
    return rows


def _sum(one: Reject, other: Reject) -> Reject:
    """Return two rejects of one kind as one: the newest as the sample."""
    newest = other if other.last_us >= one.last_us else one
    return replace(newest, first_us=min(one.first_us, other.first_us), count=one.count + other.count)


def _counted_together(reject: Reject) -> Reject:
    detail = (
        f"more than {MAX_REJECTS} different topics and names were refused, the rest is counted here together; "
        f"the newest, {reject.topic!r} {reject.name!r}: {reject.detail}"
    )
    return replace(reject, topic="", name="", detail=detail)


def _storable(reject: Reject) -> Reject:
    """Return a reject whose texts any database takes: what arrived may hold halves of characters."""
    topic, name, detail = map(_text, (reject.topic, reject.name, reject.detail))
    return replace(reject, topic=topic, name=name, detail=detail)


def _text(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode()
