"""Planned work that people wrote down: what it reaches is recorded, and no alarm by design."""

from __future__ import annotations

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


class PlannedWorks:
    """The planned work that stands in a farm's log: read once, and again when it was edited."""

    def __init__(self, farm: Farm, journal: Journal) -> None:
        self._farm, self._journal = farm, journal
        self._versions: dict[str, int] = {}
        self._works: dict[str, Work] = {}

    def look(self) -> list[Planned]:
        """Return all planned work as it stands now."""
        name = self._farm.name
        versions = self._journal.log.newest_versions(name, PLANNED_WORK)
        new = [identity for identity, version in versions.items() if self._versions.get(identity) != version]
        entries = self._journal.log.entries(name, kinds=[PLANNED_WORK], identities=new)
        works = self._works | {entry.identity: _work(self._farm, entry) for entry in entries}
        self._works = {identity: works[identity] for identity in versions if identity in works}
        self._versions = {identity: versions[identity] for identity in self._works}
        return [one.planned for one in self._works.values()]

    def reaches(self, name: str, condition: str) -> bool:
        """Return whether the planned work of a name reaches a condition."""
        work = self._works.get(name)
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
