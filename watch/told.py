"""What one person has been told of alarms so far, as the outbox has it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from farm.alarm_words import AlarmState, Priority
from farm.readings import MICROSECONDS_PER_SECOND
from store.alarm_entries import AlarmEntry
from store.notice_entries import FAILED, TELLING, Notice, NoticeKind, Told

MINUTE_US = 60 * MICROSECONDS_PER_SECOND
ANEW = 1000  # a turn's thousands: how often it was told to be over, which late readings denied
_RANK = {priority: rank for rank, priority in enumerate(Priority)}
_FACTS = (
    "kind",
    "what",
    "where",
    "series",
    "unit",
    "limit",
    "worst",
    "likely",
    "first_step",
    "caution",
    "text",
    "also",
)
_STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


def at_least(one: Priority, other: Priority) -> bool:
    """Whether one priority is no less urgent than another."""
    return _RANK[one] <= _RANK[other]


def most_urgent(priorities: Iterable[Priority]) -> Priority:
    """Return the most urgent of some priorities."""
    return min(priorities, key=_RANK.__getitem__)


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm as the journal has it, with its state now."""

    entry: AlarmEntry
    state: AlarmState

    @property
    def names(self) -> frozenset[str]:
        """Every identity that it has or had before late readings moved its onset."""
        return frozenset((self.entry.identity, *self.entry.detail.get("was", ())))

    @property
    def stands(self) -> bool:
        """Whether it lasts, and nothing keeps it from people."""
        return self.state in _STANDING


def told_of(entry: AlarmEntry) -> Told:
    """Return an alarm as a notice tells it."""
    facts = {name: entry.detail[name] for name in _FACTS if name in entry.detail}
    return Told(entry.identity, entry.condition, entry.group, entry.priority, entry.onset_us, entry.returned_us, facts)


class History:
    """Notices to one person, oldest first, whatever became of them."""

    def __init__(self, notices: Sequence[Notice]) -> None:
        self._all = notices
        self._digests = [one for one in notices if one.kind is NoticeKind.DIGEST]
        self._by_identity: dict[str, list[tuple[Notice, Told]]] = {}
        self._by_condition: dict[str, list[tuple[Notice, Told]]] = {}
        self._ends: dict[str, int] = {}
        self._ever: set[str] = set()
        for one in notices:
            if one.kind is NoticeKind.RETURNED:  # who was told that it is over knows of it no more
                for told in one.told:
                    self._by_identity.pop(told.identity, None)
                    self._ends[told.identity] = self._ends.get(told.identity, 0) + 1
            elif one.kind in TELLING:
                for told in one.told:
                    self._by_identity.setdefault(told.identity, []).append((one, told))
                    self._by_condition.setdefault(told.condition, []).append((one, told))
                    self._ever.add(told.identity)
        self._digested = {told.identity for one in self._digests for told in one.told}

    def _about(self, names: Collection[str], priority: Priority) -> list[Notice]:
        found = (pair for name in names for pair in self._by_identity.get(name, ()))
        return [one for one, told in found if at_least(told.priority, priority)]

    def knows(self, alarm: Raised) -> bool:
        """Whether an alarm was told, at its priority or a more urgent one, and not since that it is over."""
        return bool(self._about(alarm.names, alarm.entry.priority))

    def heard_of(self, alarm: Raised) -> bool:
        """Whether an alarm was ever told, at any priority."""
        return not self._ever.isdisjoint(alarm.names)

    def times_ended(self, told: Iterable[Told]) -> int:
        """Return how often one of some alarms was told to be over, as late readings can deny."""
        return max((self._ends.get(one.identity, 0) for one in told), default=0)

    def knows_condition(self, alarm: Raised, since_us: int) -> bool:
        """Whether the alarm's condition was told at this priority, for this or an earlier alarm, since an instant."""
        entry = alarm.entry
        found = self._by_condition.get(entry.condition, ())
        return any(one.made_us > since_us and at_least(told.priority, entry.priority) for one, told in found)

    def believes_over(self, condition: str) -> bool:
        """Whether the last that was told of a condition is that it is back to normal."""
        told_us = max((one.made_us for one, _ in self._by_condition.get(condition, ())), default=0)
        return self.return_told(condition, told_us - 1)

    def reached_us(self, alarms: Iterable[Raised]) -> int | None:
        """Return when one of some alarms was first told by a notice that has not failed; None if never."""
        found = [
            one.made_us
            for alarm in alarms
            for one in self._about(alarm.names, alarm.entry.priority)
            if one.state not in FAILED
        ]
        return min(found, default=None)

    def last_us(self, alarms: Iterable[Raised]) -> int | None:
        """Return when one of some alarms was last told."""
        found = [one.made_us for alarm in alarms for one in self._about(alarm.names, alarm.entry.priority)]
        return max(found, default=None)

    def reminders(self, alarms: Iterable[Raised]) -> int:
        """Return how often some alarms were told again."""
        found = (one for alarm in alarms for one in self._about(alarm.names, Priority.LOW))
        return max((one.turn % ANEW for one in found if one.kind is NoticeKind.AGAIN), default=0)

    def owed_returns(self) -> dict[str, list[Told]]:
        """Return what was told by notices that have not failed, and whose return was not told since, by group."""
        newest: dict[str, Told] = {}
        for one in self._all:  # oldest first
            if one.kind is NoticeKind.RETURNED:
                for told in one.told:
                    newest.pop(told.identity, None)
            elif one.kind in TELLING and one.state not in FAILED:
                for told in one.told:
                    known = newest.get(told.identity)
                    urgent = told.priority if known is None else most_urgent((told.priority, known.priority))
                    newest[told.identity] = replace(told, priority=urgent)
        groups: dict[str, list[Told]] = {}
        for told in newest.values():
            groups.setdefault(told.group, []).append(told)
        return groups

    def return_told(self, condition: str, since_us: int) -> bool:
        """Whether a condition was told to be back to normal since an instant."""
        returns = (one for one in self._all if one.kind is NoticeKind.RETURNED and one.made_us > since_us)
        return any(told.condition == condition for one in returns for told in one.told)

    def in_digest(self, alarm: Raised) -> bool:
        """Whether an alarm stood in a digest."""
        return not self._digested.isdisjoint(alarm.names)

    @property
    def newest_digest(self) -> int:
        """The day of the newest digest, as an ordinal; 0 before the first."""
        return max((one.turn for one in self._digests), default=0)

    def groups_since(self, kinds: Collection[NoticeKind], since_us: int) -> int:
        """Return of how many groups notices of some kinds were made since an instant."""
        recent = (one for one in self._all if one.kind in kinds and one.made_us > since_us)
        return len({told.group for one in recent for told in one.told})

    def bundle_since(self, kind: NoticeKind, since_us: int) -> bool:
        """Whether one notice of many groups was made since an instant."""
        return any(one.kind is kind and one.group == "" and one.made_us > since_us for one in self._all)
