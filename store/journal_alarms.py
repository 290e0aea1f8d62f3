"""The part of the journal that alarms stand in: each with its revisions, and what people did about them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from sqlalchemy import and_, delete, func, or_, select
from sqlalchemy.orm import Session, aliased

from store.alarm_entries import ActKind, AlarmAct, AlarmEntry, AlarmRevision
from store.alarm_queries import conditions_of, raised_in, under_way_at
from store.alarm_tables import AlarmActRow, AlarmNameRow, AlarmRevisionRow, AlarmRow
from store.journal_database import JournalDatabase, batches

Changes = Mapping[str, tuple[int, Sequence[AlarmEntry]]]  # condition -> from when on, and all its entries from then


class JournalAlarms:
    """Alarms by farm. Every method may raise `store.contract.StoreUnavailable`."""

    def __init__(self, database: JournalDatabase) -> None:
        self._database = database

    def replace(
        self, farm: str, condition: str, from_us: int, entries: Sequence[AlarmEntry], written_us: int = 0
    ) -> list[AlarmEntry]:
        """Make these the only alarms of a condition that begin at an instant or later, and return them as kept."""
        return self.renew(farm, {condition: (from_us, entries)}, written_us)

    def renew(self, farm: str, changes: Changes, written_us: int) -> list[AlarmEntry]:
        """Make the given alarms the only ones of some conditions from an instant on, all in one transaction.

        What later readings changed on an alarm once made is kept as its revision: other times, another priority,
        another suppression by design, or that it is gone. That it has returned, or was released from suppression, is
        no revision. An alarm whose onset moved keeps what was done about it, by the identities it had before.

        Raises
        ------
        ValueError
            If an alarm is of another farm or condition, begins too early, or is given twice.
        """
        kept: list[AlarmEntry] = []
        with self._database.writing() as session:
            for condition, (from_us, entries) in changes.items():
                _check(farm, condition, from_us, entries)
                kept += _renewed(session, farm, condition, from_us, entries, written_us)
        return kept

    def between(self, farm: str, start_us: int | None = None, end_us: int | None = None) -> list[AlarmEntry]:
        """Return the alarms that lasted at some instant of ``[start_us, end_us)``, by the time they were raised."""
        queries = [raised_in(farm, start_us, end_us), *under_way_at(farm, start_us)]
        with self._database.reading() as session:
            found = [row.entry() for query in queries for row in session.scalars(query)]
        return sorted(found, key=_by_time)

    def page(
        self,
        farm: str,
        start_us: int | None,
        end_us: int | None,
        before: tuple[int, str] | None,
        most: int,
        *,
        suppressed: bool,
    ) -> list[AlarmEntry]:
        """Return at most so many alarms of a range, the newest first, from one after (time, identity) on."""
        queries = [raised_in(farm, start_us, end_us), *under_way_at(farm, start_us)]
        if not suppressed:
            queries = [query.where(AlarmRow.suppressed_by.is_(None)) for query in queries]
        if before is not None:
            at_us, identity = before
            earlier = (AlarmRow.alarm_us == at_us) & (AlarmRow.identity < identity)
            queries = [query.where(or_(AlarmRow.alarm_us < at_us, earlier)) for query in queries]
        raised = queries[0].order_by(AlarmRow.alarm_us.desc(), AlarmRow.identity.desc()).limit(most)
        with self._database.reading() as session:
            found = [row.entry() for row in session.scalars(raised)]
            if len(found) < most:  # those of before the range come last
                older = [row.entry() for query in queries[1:] for row in session.scalars(query)]
                found += sorted(older, key=_by_time, reverse=True)[: most - len(found)]
        return found

    def of_condition(self, farm: str, condition: str, from_us: int) -> list[AlarmEntry]:
        """Return a condition's alarms that begin at an instant or later, or last at it, by onset."""
        query = select(AlarmRow).where(
            AlarmRow.farm == farm,
            AlarmRow.condition == condition,
            or_(AlarmRow.onset_us >= from_us, AlarmRow.returned_us.is_(None), AlarmRow.returned_us > from_us),
        )
        with self._database.reading() as session:
            return [row.entry() for row in session.scalars(query.order_by(AlarmRow.onset_us))]

    def standing(self, farm: str) -> list[AlarmEntry]:
        """Return the alarms that last, suppressed ones too, and those that are over and not acknowledged.

        Of those that are over only the newest of each condition: a new alarm takes the place of an older one. They may
        be normal by what people did since: `analytics.alarm_history.state_of` tells.
        """
        name, one = conditions_of(farm).c.condition, aliased(AlarmRow)
        newest_us = (
            select(func.max(one.onset_us))
            .where(one.farm == farm, one.condition == name)
            .correlate(name.table)
            .scalar_subquery()
        )
        query = select(AlarmRow).join(name.table, and_(AlarmRow.condition == name, AlarmRow.onset_us == newest_us))
        stands = or_(AlarmRow.returned_us.is_(None), AlarmRow.suppressed_by.is_(None))
        query = query.where(AlarmRow.farm == farm, stands)
        with self._database.reading() as session:
            found = sorted((row.entry() for row in session.scalars(query)), key=_by_time)
            over = [one for one in found if one.returned_us is not None]
            done = _acknowledged(session, farm, over)
        return [one for one in found if one.identity not in done]

    def state(self, farm: str) -> tuple[int, ...]:
        """Return numbers that differ once an alarm came, ended, changed or went, or somebody did something about it.

        Changed is what is a revision, or that it was released from suppression.
        """
        alarms = select(
            func.count(), func.max(AlarmRow.alarm_us), func.count(AlarmRow.returned_us), func.max(AlarmRow.returned_us)
        ).where(AlarmRow.farm == farm)  # all of it is in one index
        held_back = select(func.count(AlarmRow.suppressed_by)).where(
            AlarmRow.farm == farm, AlarmRow.returned_us.is_(None)
        )
        revisions = select(func.count(), func.max(AlarmRevisionRow.written_us)).where(AlarmRevisionRow.farm == farm)
        acts = select(func.max(AlarmActRow.number)).where(AlarmActRow.farm == farm)
        with self._database.reading() as session:
            found = [one for query in (alarms, held_back, revisions, acts) for one in session.execute(query).one()]
        return tuple(int(one or 0) for one in found)

    def of(self, farm: str, identity: str) -> AlarmEntry | None:
        """Return the alarm of an identity, also one that it had before its onset moved; None where there is none."""
        return next(iter(self.those(farm, [identity])), None)

    def those(self, farm: str, identities: Collection[str]) -> list[AlarmEntry]:
        """Return the alarms of some identities, also of such as they had before their onset moved, by the time raised.

        An identity that is no alarm's is passed over.
        """
        found: dict[str, AlarmEntry] = {}
        with self._database.reading() as session:
            for several in batches(identities):
                rows = select(AlarmRow).where(AlarmRow.farm == farm, AlarmRow.identity.in_(several))
                direct = {row.identity: row.entry() for row in session.scalars(rows)}
                moved = select(AlarmNameRow.identity).where(
                    AlarmNameRow.farm == farm, AlarmNameRow.name.in_([one for one in several if one not in direct])
                )
                rows = select(AlarmRow).where(AlarmRow.farm == farm, AlarmRow.identity.in_(moved))
                found |= direct | {row.identity: row.entry() for row in session.scalars(rows)}
        return sorted(found.values(), key=_by_time)

    def revisions(self, farm: str, identities: Collection[str]) -> list[AlarmRevision]:
        """Return what later readings changed on an alarm under any of its identities, in order of writing."""
        query = select(AlarmRevisionRow).where(
            AlarmRevisionRow.farm == farm, AlarmRevisionRow.identity.in_(list(identities))
        )
        with self._database.reading() as session:
            rows = session.scalars(query.order_by(AlarmRevisionRow.written_us, AlarmRevisionRow.number))
            return [row.entry() for row in rows]

    def revised_since(self, farm: str, since_us: int, *, gone: bool | None = None) -> list[AlarmRevision]:
        """Return the revisions written at an instant or later; only of alarms that are gone, or only of others."""
        query = select(AlarmRevisionRow).where(AlarmRevisionRow.farm == farm, AlarmRevisionRow.written_us >= since_us)
        if gone is not None:
            query = query.where(AlarmRevisionRow.gone.is_(gone))
        with self._database.reading() as session:
            rows = session.scalars(query.order_by(AlarmRevisionRow.written_us, AlarmRevisionRow.number))
            return [row.entry() for row in rows]

    def add_act(self, act: AlarmAct) -> AlarmAct:
        """Keep what a person did.

        Raises
        ------
        ValueError
            If it lacks who did it, or shelving lacks its reason or an end after its beginning.
        """
        if not act.who.strip():
            raise ValueError(f"{act.kind} of {act.about}: say who does it")
        if act.kind is ActKind.SHELVE and not act.why.strip():
            raise ValueError(f"shelving {act.about} needs a reason")
        if act.kind is ActKind.SHELVE and (act.until_us is None or act.until_us <= act.at_us):
            raise ValueError(f"shelving {act.about} needs an end after its beginning")
        with self._database.writing() as session:
            session.add(AlarmActRow.of(act))
        return act

    def acts(self, farm: str, since_us: int | None = None, *, about: Collection[str] | None = None) -> list[AlarmAct]:
        """Return what people did at an instant or later, in order of time; only about some names, if given."""
        query = select(AlarmActRow).where(AlarmActRow.farm == farm)
        if since_us is not None:
            query = query.where(AlarmActRow.at_us >= since_us)
        queries = [query] if about is None else [query.where(AlarmActRow.about.in_(some)) for some in batches(about)]
        with self._database.reading() as session:
            rows = [row for one in queries for row in session.scalars(one)]
            return [row.act() for row in sorted(rows, key=lambda row: (row.at_us, row.number))]

    def acts_about(self, entry: AlarmEntry) -> list[AlarmAct]:
        """Return what people did about an alarm, or about its condition at any time."""
        return self.acts_about_each([entry])[entry.identity]

    def acts_about_each(self, entries: Sequence[AlarmEntry]) -> dict[str, list[AlarmAct]]:
        """Return, by each alarm's identity, what people did about it or its condition at any time."""
        wanted: dict[str, set[str]] = {one.identity: {*names_of(one), one.condition} for one in entries}
        if not entries:
            return {}
        found = self.acts(entries[0].farm, about=set().union(*wanted.values()))
        places: dict[str, list[int]] = {}
        for place, act in enumerate(found):
            places.setdefault(act.about, []).append(place)
        return {
            identity: [found[place] for place in sorted(place for name in names for place in places.get(name, ()))]
            for identity, names in wanted.items()
        }


def names_of(entry: AlarmEntry) -> list[str]:
    """Return an alarm's identity and those it had before its onset moved."""
    return [entry.identity, *entry.detail.get("was", ())]


def _by_time(entry: AlarmEntry) -> tuple[int, str]:
    return entry.alarm_us, entry.identity


def _acknowledged(session: Session, farm: str, entries: Sequence[AlarmEntry]) -> set[str]:
    """Return the identities of those that somebody acknowledged."""
    names = {name: one.identity for one in entries for name in names_of(one)}
    acknowledged = select(AlarmActRow.about).where(
        AlarmActRow.farm == farm, AlarmActRow.kind == str(ActKind.ACKNOWLEDGE)
    )
    queries = (acknowledged.where(AlarmActRow.about.in_(several)) for several in batches(names))
    return {names[about] for query in queries for about in session.scalars(query)}


def _check(farm: str, condition: str, from_us: int, entries: Sequence[AlarmEntry]) -> None:
    for one in entries:
        if one.farm != farm or one.condition != condition or one.onset_us < from_us:
            raise ValueError(
                f"the alarm {one.condition} of {one.farm} at {one.onset_us} does not belong to those of {condition} "
                f"of {farm} from {from_us} on"
            )
    if len({one.onset_us for one in entries}) != len(entries):
        raise ValueError(f"{farm}: an alarm of {condition} is given twice; onsets must tell them apart")


def _renewed(
    session: Session, farm: str, condition: str, from_us: int, entries: Sequence[AlarmEntry], written_us: int
) -> list[AlarmEntry]:
    query = select(AlarmRow).where(AlarmRow.farm == farm, AlarmRow.condition == condition, AlarmRow.onset_us >= from_us)
    before = {row.identity: row.entry() for row in session.scalars(query)}
    given = {one.identity for one in entries}
    lost = {name: one for name, one in before.items() if name not in given}
    kept = []
    for one in entries:
        old = before.get(one.identity)
        was = list(old.detail.get("was", ())) if old is not None else []
        if old is None:
            moved = [other for other in lost.values() if _overlap(other, one)]
            old = max(moved, key=lambda other: other.revision, default=None)
            was = [name for other in moved for name in names_of(other)]
            for other in moved:
                lost.pop(other.identity)
                _drop(session, farm, other.identity)
        number, changed = (old.revision, _changed(old, one)) if old is not None else (0, {})
        if one.identity not in before and (last := _last_number(session, one)):
            number, changed = max(number, last), changed or {"gone": [True, False]}
        if was:
            one = replace(one, detail={**one.detail, "was": was})
        one = replace(one, revision=number + 1 if changed else number)
        if changed:
            revision = AlarmRevision(farm, one.identity, condition, one.revision, written_us, changed)
            session.add(AlarmRevisionRow.of(revision))
        if one != old:
            session.merge(AlarmRow.of(one))
            known = names_of(old) if old is not None and old.identity == one.identity else []
            for name in {*names_of(one)[1:]} - {*known}:
                session.merge(AlarmNameRow(farm=farm, name=name, identity=one.identity))
        kept.append(one)
    for name, old in lost.items():
        _drop(session, farm, name)
        revision = AlarmRevision(
            farm, name, condition, old.revision + 1, written_us, {"entry": [_plain(old), None]}, gone=True
        )
        session.add(AlarmRevisionRow.of(revision))
    return kept


def _drop(session: Session, farm: str, identity: str) -> None:
    if (row := session.get(AlarmRow, (farm, identity))) is not None:
        session.delete(row)
        session.execute(delete(AlarmNameRow).where(AlarmNameRow.farm == farm, AlarmNameRow.identity == identity))


def _last_number(session: Session, entry: AlarmEntry) -> int:
    """Return the number of the last revision of an alarm that was gone, and is one again; 0 for a new one."""
    query = select(func.max(AlarmRevisionRow.number)).where(
        AlarmRevisionRow.farm == entry.farm, AlarmRevisionRow.identity == entry.identity
    )
    return int(session.scalars(query).one() or 0)


def _overlap(one: AlarmEntry, other: AlarmEntry) -> bool:
    def ends(entry: AlarmEntry) -> float:
        return entry.returned_us if entry.returned_us is not None else float("inf")

    return one.onset_us < ends(other) and other.onset_us < ends(one)


def _changed(old: AlarmEntry, new: AlarmEntry) -> dict[str, list[Any]]:
    """Return what differs beyond the usual course of an alarm: field -> before and after."""
    changed: dict[str, list[Any]] = {}
    for name in ("onset_us", "alarm_us", "returned_us", "priority", "suppressed_by"):
        before, after = getattr(old, name), getattr(new, name)
        usual = (name == "returned_us" and before is None) or (
            name == "suppressed_by" and after is None and "released_us" in new.detail
        )
        if before != after and not usual:
            changed[name] = [before, after]
    return changed


def _plain(entry: AlarmEntry) -> dict[str, Any]:
    return {name: str(value) if name == "priority" else value for name, value in asdict(entry).items()}
