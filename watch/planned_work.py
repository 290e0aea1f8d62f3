"""Planned work that people wrote down: what it reaches is recorded, and no alarm by design."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from analytics.alarm_groups import Planned
from farm.description import Farm
from farm.readings import microseconds
from store.journal import Journal
from store.log_entries import LogEntry, PlannedWork
from watch.alarm_book import named
from watch.room_air import ROOM_KINDS

PLANNED_WORK = "planned_work"  # the kind of entry in the log


class Work(NamedTuple):
    """One piece of planned work, and the zones and series it reaches; the whole farm where it names neither."""

    planned: Planned
    zones: frozenset[str]
    series: frozenset[str]


def planned_work(farm: Farm, journal: Journal) -> list[Work]:
    """Return the planned work that stands in the log."""
    return [_work(farm, entry) for entry in journal.log.entries(farm.name, kinds=[PLANNED_WORK])]


def reaches(farm: Farm, works: Sequence[Work], name: str, condition: str) -> bool:
    """Return whether the planned work of a name reaches a condition."""
    work = next((one for one in works if one.planned.name == name), None)
    if work is None:
        return False
    if not work.zones and not work.series:
        return True
    what = named(condition)
    key = "/".join(part for part in (what.zone, what.quantity, what.sensor) if part)
    return what.zone in work.zones or key in work.series


def _work(farm: Farm, entry: LogEntry) -> Work:
    detail = entry.detail
    if not isinstance(detail, PlannedWork):
        raise TypeError(f"the entry {entry.identity} is no planned work but a {detail.kind}")
    zones = {*detail.zones}
    if any(zone in farm.zones and farm.zones[zone].kind == "room_air" for zone in zones):
        zones |= {zone for zone, one in farm.zones.items() if one.kind in ROOM_KINDS}
    planned = Planned(entry.identity, entry.at_us, microseconds(detail.until), frozenset())
    return Work(planned, frozenset(zones), frozenset(detail.series))
