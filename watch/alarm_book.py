"""The alarms of one farm in memory: what stands, what has changed, and how alarms hang together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from analytics.alarm_damping import CHATTERING, CHATTERING_WITHIN_US
from analytics.alarm_groups import FLOOD_WITHIN_US, SETTLE_US, STORY_US, Arrangement, Occurrence, Planned, arranged
from farm.alarm_words import AlarmKind, Priority
from farm.description import Farm
from farm.readings import Series
from store.alarm_entries import AlarmEntry
from store.journal import Journal
from watch.room_air import ROOM_KINDS

HOUR_US = 3_600_000_000
KEPT_US = 72 * HOUR_US  # how far back alarms that are over are held in memory; our choice, no source
LIKELY_FROM = 0.6  # probability from which a cause puts alarms into one group; our choice, no source
POSSIBLE_FROM = 0.25  # from which a finding of the cause is no news beside an alarm; our choice, no source
ROOM = "the room's air"  # that zones of a container share
RANKS = {priority: rank for rank, priority in enumerate(Priority)}
NAMED_OTHERWISE = (AlarmKind.RUNNING_OUT, AlarmKind.CONDENSATION_TONIGHT, AlarmKind.FINDING, AlarmKind.NO_DATA)
CARRIED = ("was", "released_us", "also")  # of the detail: known to the book alone


class Named(NamedTuple):
    """What the name of a condition says."""

    kind: AlarmKind
    zone: str = ""
    quantity: str = ""
    sensor: str = ""
    side: str = ""


@lru_cache(maxsize=4096)
def named(condition: str) -> Named:
    """Return what the name of a condition says.

    Examples
    --------
    >>> named("out_of_band/row-1/air_temperature/high")
    Named(kind=<AlarmKind.OUT_OF_BAND: 'out_of_band'>, zone='row-1', quantity='air_temperature', sensor='', side='high')
    """
    kind, _, rest = condition.partition("/")
    if kind in NAMED_OTHERWISE:
        zone = rest.removeprefix("tank/") if rest.startswith("tank/") else ""
        return Named(AlarmKind(kind), zone, sensor=rest)
    parts = rest.split("/") if rest else []
    side = parts.pop() if parts and parts[-1] in ("low", "high") else ""
    zone, quantity, sensor = [*parts, "", "", ""][:3]
    return Named(AlarmKind(kind), zone, quantity, sensor, side)


def _same_elsewhere(one: Named, other: Named) -> bool:
    """Whether two conditions say the same of two zones."""
    alike = (one.kind, one.quantity, one.side) == (other.kind, other.quantity, other.side)
    return alike and bool(one.quantity) and one.zone != other.zone


class AlarmBook:
    """Alarms by condition: kept as the journal has them, changed by proposals, and written all at once.

    ``reaches`` tells whether planned work of a name concerns a condition.
    """

    def __init__(
        self, farm: Farm, journal: Journal, horizon_us: int, reaches: Callable[[str, str], bool] = lambda *_: False
    ) -> None:
        self._farm, self._journal, self._reaches = farm, journal, reaches
        self._planned: tuple[Planned, ...] = ()
        self._since_us = 0
        self._kept: dict[str, list[AlarmEntry]] = {}
        self._proposed: dict[str, tuple[int, list[AlarmEntry]]] = {}
        self._rearrange_us: int | None = None
        self._load(horizon_us - KEPT_US)

    def _load(self, since_us: int) -> None:
        self._since_us = since_us
        kept: defaultdict[str, list[AlarmEntry]] = defaultdict(list)
        for one in self._journal.alarms.between(self._farm.name, since_us):
            kept[one.condition].append(one)
        self._kept = {name: sorted(several, key=lambda one: one.onset_us) for name, several in kept.items()}

    def look_back(self, at_us: int) -> None:
        """Have every alarm in memory that lasts at an instant, or shortly before it, or begins later."""
        if at_us - KEPT_US // 2 < self._since_us:
            self._load(at_us - KEPT_US)

    def forget_before(self, at_us: int) -> None:
        """Let go of alarms that were over long before an instant."""
        if at_us - 3 * KEPT_US > self._since_us:
            self._load(at_us - KEPT_US)

    def of(self, condition: str) -> list[AlarmEntry]:
        """Return a condition's alarms by onset, with what is proposed for them."""
        kept = self._kept.get(condition, [])
        if condition not in self._proposed:
            return kept
        from_us, proposed = self._proposed[condition]
        return [*(one for one in kept if one.onset_us < from_us), *proposed]

    def standing(self) -> list[AlarmEntry]:
        """Return every alarm that lasts, as written."""
        return [several[-1] for several in self._kept.values() if several[-1].returned_us is None]

    def chain_start(self, condition: str, at_us: int) -> int:
        """Return from when on a condition's alarms are to be worked out anew, if something changed at an instant.

        That is before whatever lasts then, and before what decides whether that chatters.
        """
        start_us = at_us
        while True:
            earliest = min(
                (one.onset_us for one in self.of(condition)
                 if one.onset_us < start_us + 1 and (one.returned_us is None or one.returned_us >= start_us)),
                default=start_us,
            )  # fmt: skip
            if earliest >= start_us:
                return start_us
            start_us = earliest - CHATTERING_WITHIN_US

    def goes_on(self, condition: str, at_us: int) -> bool:
        """Return whether a condition's alarm lasts at an instant, or begins so soon after it that they may chatter."""
        return any(
            one.onset_us <= at_us + CHATTERING_WITHIN_US and (one.returned_us is None or one.returned_us > at_us)
            for one in self.of(condition)
        )

    def onsets_before(self, condition: str, at_us: int) -> list[int]:
        """Return when a condition's last alarms before an instant began: those that tell what chatters after it."""
        return [one.onset_us for one in self.of(condition) if one.onset_us < at_us][-CHATTERING:]

    def propose(self, condition: str, from_us: int, entries: Sequence[AlarmEntry]) -> None:
        """Propose alarms as the only ones of a condition that begin at an instant or later."""
        standing = [one for one in self.of(condition) if one.onset_us >= from_us]
        if len(standing) == len(entries) and all(map(_same, entries, standing)):
            return
        if condition in self._proposed and self._proposed[condition][0] < from_us:
            earlier_us, proposed = self._proposed[condition]
            entries = [*(one for one in proposed if one.onset_us < from_us), *entries]
            from_us = earlier_us
        self._proposed[condition] = (from_us, list(entries))

    def plan(self, planned: Sequence[Planned]) -> None:
        """Take up planned work as it stands now."""
        moved = {*self._planned} ^ {*planned}
        if moved:
            self._planned = tuple(planned)
            since_us = min(one.start_us for one in moved)
            self.look_back(since_us)
            self._rearrange_us = since_us if self._rearrange_us is None else min(since_us, self._rearrange_us)

    def write(self, written_us: int) -> list[AlarmEntry]:
        """Arrange what is proposed among the other alarms, write what changed by it, and return that."""
        if not self._proposed and self._rearrange_us is None:
            return []
        new = {condition: self.of(condition) for condition in {*self._kept, *self._proposed}}
        from_us = min([*self._moved_us(), *([self._rearrange_us] if self._rearrange_us is not None else [])])
        entries = self._arranged(new, from_us)
        changes = {}
        for condition, several in entries.items():
            kept = self._kept.get(condition, [])
            if several != kept:
                begin_us = min(one.onset_us for one in {*map(_Keyed, kept)} ^ {*map(_Keyed, several)})
                changes[condition] = (begin_us, [one for one in several if one.onset_us >= begin_us])
        written = self._journal.alarms.renew(self._farm.name, changes, written_us) if changes else []
        for condition, (begin_us, _) in changes.items():
            before = [one for one in self._kept.get(condition, []) if one.onset_us < begin_us]
            after = [*before, *(one for one in written if one.condition == condition)]
            self._kept[condition] = after
            if not after:
                del self._kept[condition]
        self._proposed, self._rearrange_us = {}, None
        return written

    def _moved_us(self) -> list[int]:
        """Return when the first alarm was raised that a proposal changes, adds or takes away."""
        moved = []
        for condition, (from_us, proposed) in self._proposed.items():
            kept = [one for one in self._kept.get(condition, []) if one.onset_us >= from_us]
            by_onset = {one.onset_us: one for one in kept}
            differing = [one for one in proposed if not _same(one, by_onset.pop(one.onset_us, None))]
            moved += [one.alarm_us for one in (*differing, *by_onset.values())]
        return moved or [2**62]

    def _arranged(self, new: dict[str, list[AlarmEntry]], from_us: int) -> dict[str, list[AlarmEntry]]:
        """Return alarms with their groups and suppression; those raised before an instant stay as they are."""
        reach_us = from_us - max(STORY_US, FLOOD_WITHIN_US)
        kept = {(one.condition, one.onset_us): one for several in self._kept.values() for one in several}
        pool = {
            (one.condition, one.onset_us): one
            for several in new.values()
            for one in several
            if one.returned_us is None or one.returned_us >= reach_us
        }
        fixed = {
            key: Arrangement(one.group, one.suppressed_by, one.detail.get("released_us"))
            for key, one in pool.items()
            if one.alarm_us < from_us and one.group
        }
        earliest_us = min((one.alarm_us for key, one in pool.items() if key not in fixed), default=from_us)
        planned = [
            one._replace(conditions=frozenset(name for name in new if self._reaches(one.name, name)))
            for one in self._planned
            if one.end_us + SETTLE_US > earliest_us
        ]
        found = arranged((self._occurrence(one) for one in pool.values()), planned, fixed)
        also = self._also(pool.values(), found)
        return {
            condition: [
                self._as_arranged(one, found.get((condition, one.onset_us)), kept.get((condition, one.onset_us)), also)
                for one in several
            ]
            for condition, several in new.items()
        }

    def _also(
        self, pool: Iterable[AlarmEntry], found: Mapping[tuple[str, int], Arrangement]
    ) -> dict[tuple[str, str], list[str]]:
        """Return, by condition and group, the other places in which the same is so.

        They are no alarms of their own, or become one only if they last on after it.
        """
        also: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
        alarms = [*pool]
        conditions = {one.condition for one in alarms}
        for one in alarms:
            arrangement = found[one.condition, one.onset_us]
            by = arrangement.suppressed_by
            if by is None and arrangement.released_us is not None:
                by = arrangement.group.rpartition("@")[0]
            if by in conditions and _same_elsewhere(named(one.condition), named(by)):
                also[by, arrangement.group].add(self._farm.zone_label(named(one.condition).zone))
        return {key: sorted(labels) for key, labels in also.items()}

    def _as_arranged(
        self,
        one: AlarmEntry,
        found: Arrangement | None,
        kept: AlarmEntry | None,
        also: Mapping[tuple[str, str], list[str]],
    ) -> AlarmEntry:
        if found is None:
            return one
        detail = {name: value for name, value in one.detail.items() if name not in CARRIED}
        if kept is not None and "was" in kept.detail:
            detail["was"] = kept.detail["was"]
        if found.released_us is not None:
            detail["released_us"] = found.released_us
        if labels := also.get((one.condition, found.group)):
            detail["also"] = labels
        revision = kept.revision if kept is not None else 0
        return replace(one, group=found.group, suppressed_by=found.suppressed_by, detail=detail, revision=revision)

    def _occurrence(self, one: AlarmEntry) -> Occurrence:
        name = named(one.condition)
        zone = self._farm.zones.get(name.zone)
        likely = one.detail.get("likely") or [{}]
        sure = likely[0].get("probability") or 0.0
        return Occurrence(
            condition=one.condition,
            kind=name.kind,
            onset_us=one.onset_us,
            alarm_us=one.alarm_us,
            returned_us=one.returned_us,
            rank=RANKS[one.priority],
            zone=name.zone,
            air=ROOM if zone is not None and zone.kind in ROOM_KINDS else name.zone,
            symptom=f"{name.quantity} {name.side}" if name.side else "",
            cause=str(likely[0].get("cause", "")) if sure >= LIKELY_FROM else "",
            possible=frozenset(str(one["cause"]) for one in likely if one.get("probability", 0.0) >= POSSIBLE_FROM),
        )


class _Keyed:
    """An alarm that is told from others by all it holds, though its detail is a dictionary."""

    def __init__(self, entry: AlarmEntry) -> None:
        self.entry, self.onset_us = entry, entry.onset_us

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and self.entry == other.entry

    def __hash__(self) -> int:
        return hash((self.entry.condition, self.onset_us))


def _same(proposed: AlarmEntry, kept: AlarmEntry | None) -> bool:
    """Return whether a proposal says what is kept, groups and suppression aside."""
    if kept is None:
        return False

    def times(one: AlarmEntry) -> tuple[object, ...]:
        return one.onset_us, one.alarm_us, one.returned_us, one.priority

    def told(one: AlarmEntry) -> dict[str, object]:
        return {name: value for name, value in one.detail.items() if name not in CARRIED}

    return times(proposed) == times(kept) and told(proposed) == told(kept)


def series_of(farm: Farm, condition: str) -> Series | None:
    """Return the series that a condition is about; None where it is about none."""
    name = named(condition)
    return Series(farm.name, name.zone, name.quantity, name.sensor) if name.quantity else None
