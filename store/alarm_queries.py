"""Queries of alarms that read no more of the history than they are about, whatever the database plans."""

from __future__ import annotations

from sqlalchemy import CTE, Select, func, select

from store.alarm_tables import AlarmRow


def raised_in(farm: str, start_us: int | None, end_us: int | None) -> Select[AlarmRow]:
    """Return the query of the alarms that were raised in ``[start_us, end_us)``."""
    query = select(AlarmRow).where(AlarmRow.farm == farm)
    if start_us is not None:
        query = query.where(AlarmRow.alarm_us >= start_us)
    return query if end_us is None else query.where(AlarmRow.alarm_us < end_us)


def under_way_at(farm: str, at_us: int | None) -> list[Select[AlarmRow]]:
    """Return the queries of the alarms that were raised before an instant and lasted at it, not in order.

    They are found by their end, of which there is an index with the time they were raised; ``+ 0`` and two queries keep
    the database from walking all that was ever raised before.
    """
    if at_us is None:
        return []
    query = select(AlarmRow).where(AlarmRow.farm == farm, AlarmRow.alarm_us + 0 < at_us)
    return [query.where(AlarmRow.returned_us > at_us), query.where(AlarmRow.returned_us.is_(None))]


def conditions_of(farm: str) -> CTE:
    """Return the names of all conditions that ever were alarms: one step in the index each, however many alarms."""
    first = select(func.min(AlarmRow.condition).label("condition")).where(AlarmRow.farm == farm)
    found = first.cte("conditions", recursive=True)
    following = (
        select(func.min(AlarmRow.condition))
        .where(AlarmRow.farm == farm, AlarmRow.condition > found.c.condition)
        .correlate(found)
        .scalar_subquery()
    )
    return found.union_all(select(following).where(found.c.condition.is_not(None)))
