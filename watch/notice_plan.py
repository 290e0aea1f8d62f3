"""Which notices to make now: a pure function of alarms, of who is to be told, and of what was told before."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from farm.alarm_words import AlarmKind, AlarmState, Priority
from farm.notices import URGENT, Notices, Person, Route, zone_of
from farm.readings import instant, microseconds
from store.alarm_entries import AlarmEntry
from store.notice_entries import TELLING, Notice, NoticeKind, Told
from watch.told import ANEW, MINUTE_US, History, Raised, at_least, most_urgent, told_of

OVER_US = 60 * MINUTE_US  # an urgent alarm that is over is still told at once for so long; our choice, no source
DIGEST_REACHES = timedelta(hours=48)  # back from its time; our choice, no source
BRIEF_US = 180 * MINUTE_US  # a likely cause that passed sooner is left to the page; our choice, no source
_RETURNS = frozenset({NoticeKind.RETURNED})


@dataclass(frozen=True, slots=True)
class Draft:
    """What one person is to be told in one notice; ``standing`` is how many alarms last that concern the person."""

    kind: NoticeKind
    person: str
    group: str
    turn: int
    told: tuple[Told, ...]
    standing: int = 0

    @property
    def priority(self) -> Priority:
        """That of the most urgent alarm in it."""
        return most_urgent(one.priority for one in self.told)


def plan(
    notices: Notices,
    zones: Collection[str],
    zone_info: ZoneInfo,
    alarms: Sequence[Raised],
    sent: Sequence[Notice],
    now_us: int,
) -> list[Draft]:
    """Return the notices to be made now.

    Parameters
    ----------
    notices : Notices
        Who is told, of what, when.
    zones : collection of str
        The farm's zones.
    zone_info : ZoneInfo
        The farm's time zone: quiet hours and digests are of its clock.
    alarms : sequence of Raised
        Alarms of the last 48 h, all that last, and all that ``sent`` is about as far as they still exist.
    sent : sequence of Notice
        Notices made before, oldest first, whatever became of them.
    now_us : int
        The instant. [µs since 1970 UTC]

    Returns
    -------
    drafts : list of Draft
        Asked again with these among ``sent``, and nothing else changed, it returns none.
    """
    return list(_Planner(notices, zones, zone_info, alarms, sent, now_us).drafts())


class _Planner:
    def __init__(
        self,
        notices: Notices,
        zones: Collection[str],
        zone_info: ZoneInfo,
        alarms: Sequence[Raised],
        sent: Sequence[Notice],
        now_us: int,
    ) -> None:
        self._notices, self._zones, self._alarms, self._now_us = notices, zones, alarms, now_us
        self._local = instant(now_us).astimezone(zone_info)
        self._people: Mapping[str, Person] = notices.people
        self._history = {name: History([one for one in sent if one.person == name]) for name in self._people}
        self._groups: dict[str, list[Raised]] = {}
        for one in alarms:
            self._groups.setdefault(one.entry.group, []).append(one)
        self._by_name = {name: one for one in alarms for name in one.names}
        self._same_us = int(notices.same_within_min * MINUTE_US)

    def drafts(self) -> Iterator[Draft]:
        told = [draft for group in self._groups.values() for draft in self._of_group(group)]
        for name in self._people:
            mine = [replace(one, standing=self._standing(name)) for one in told if one.person == name]
            yield from self._calm(name, mine, TELLING, NoticeKind.STORM)
            yield from self._calm(name, list(self._returned(name)), _RETURNS, NoticeKind.RETURNED)
            yield from self._digest(name)

    def _wants(self, name: str, alarm: Raised) -> bool:
        person = self._people[name]
        entry = alarm.entry
        zone = entry.detail.get("zone") or zone_of(entry.condition, self._zones)
        return entry.priority in person.priorities and (zone is None or not person.zones or zone in person.zones)

    def _standing(self, name: str) -> int:
        return sum(one.stands and self._wants(name, one) for one in self._alarms)

    def _quiet(self, name: str, priority: Priority) -> bool:
        quiet = self._people[name].quiet
        return quiet is not None and quiet.holds(self._local.time()) and str(priority) not in quiet.let_through

    def _owed(self, alarm: Raised) -> bool:
        """Whether somebody is still to act on an alarm; also on an urgent one that came and went just now."""
        if alarm.state is AlarmState.UNACKNOWLEDGED:
            return True
        over_us = alarm.entry.returned_us
        just_over = over_us is not None and over_us > self._now_us - OVER_US and alarm.entry.priority in URGENT
        return alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED and just_over

    def _of_group(self, group: list[Raised]) -> Iterator[Draft]:
        """Yield who is told of one group now: its first people, and the next while nobody acknowledges."""
        owed = [one for one in group if self._owed(one)]
        if not owed:
            return
        priority = most_urgent(one.entry.priority for one in owed)
        route = self._notices.route_of(priority)
        if route is None or route.digest:
            return
        top = [one for one in owed if one.entry.priority is priority]
        lasting = [one for one in top if one.stands]
        counted = lasting or top
        reached: list[int] = []  # when those of the steps before were told
        due = True
        steps = [(0.0, route.to), *((one.after_min, one.to) for one in route.then)]
        for turn, (after_min, people) in enumerate(steps):
            if turn:
                due = bool(lasting) and (not reached or self._now_us >= min(reached) + int(after_min * MINUTE_US))
            if not due:
                return
            for name in people:
                if draft := self._first(name, group, owed, turn):
                    yield draft
                    reached.append(self._now_us)
                elif (at_us := self._reached_us(name, counted, group)) is not None:
                    reached.append(at_us)
        if lasting:
            yield from self._again(route, lasting, steps)

    def _first(self, name: str, group: list[Raised], owed: list[Raised], turn: int) -> Draft | None:
        """Return the notice that tells a person of a group; None where there is nothing new, or not now."""
        history = self._history[name]
        mine = [one for one in owed if self._wants(name, one) and (one.stands or not turn)]
        fresh = [one for one in mine if not self._covered(history, one, group)]
        if not fresh or self._quiet(name, most_urgent(one.entry.priority for one in fresh)):
            return None
        ends = history.times_ended(told_of(one.entry) for one in fresh)
        worse = not ends and any(history.heard_of(one) for one in group if one.stands)
        kind = NoticeKind.WORSE if worse else NoticeKind.ESCALATED if turn else NoticeKind.RAISED
        told = tuple(told_of(one.entry) for one in mine if one.stands or one in fresh)
        return Draft(kind, name, fresh[0].entry.group, turn + ANEW * ends, told)

    def _reached_us(self, name: str, top: list[Raised], group: list[Raised]) -> int | None:
        """Return since when a person knows of a group's worst; None for one who cannot be reached, or not now."""
        history = self._history[name]
        at_us = history.reached_us(top)
        if at_us is not None or any(history.knows(one) for one in top):
            return at_us
        covered = any(self._wants(name, one) and self._covered(history, one, group) for one in top)
        return self._now_us if covered else None

    def _covered(self, history: History, alarm: Raised, group: list[Raised]) -> bool:
        """Whether a person knows enough of an alarm: itself, another of its group that lasts, or just now the same."""
        if history.knows(alarm) or (not alarm.stands and history.heard_of(alarm)):
            return True
        entry = alarm.entry
        if any(one.stands and at_least(one.entry.priority, entry.priority) and history.knows(one) for one in group):
            return True
        if entry.priority is Priority.HIGHEST and history.believes_over(entry.condition):
            return False  # who was told that a danger is over is told at once that it is not
        return history.knows_condition(alarm, self._now_us - self._same_us)

    def _again(self, route: Route, lasting: list[Raised], steps: list[tuple[float, list[str]]]) -> Iterator[Draft]:
        if route.again_every_min is None:
            return
        everybody = [name for _, people in steps for name in people]
        last = [at_us for name in everybody if (at_us := self._history[name].last_us(lasting)) is not None]
        if not last or self._now_us < max(last) + int(route.again_every_min * MINUTE_US):
            return
        for name in everybody:
            mine = [one for one in lasting if self._history[name].knows(one)]
            if mine and not self._quiet(name, most_urgent(one.entry.priority for one in mine)):
                told = tuple(told_of(one.entry) for one in mine)
                history = self._history[name]
                turn = history.reminders(mine) + 1 + ANEW * history.times_ended(told)
                yield Draft(NoticeKind.AGAIN, name, mine[0].entry.group, turn, told)

    def _returned(self, name: str) -> Iterator[Draft]:
        """Yield what a person was told and what is back to normal, group by group."""
        history = self._history[name]
        for group, told in history.owed_returns().items():
            found = [(one, self._by_name.get(one.identity)) for one in told]
            if any(alarm is not None and alarm.entry.returned_us is None for _, alarm in found):
                continue
            if any(one.stands and self._wants(name, one) for one in self._groups.get(group, [])):
                continue
            if self._quiet(name, most_urgent(one.priority for one in told)):
                continue
            if any(history.return_told(one.condition, self._now_us - self._same_us) for one in told):
                continue
            if any(one.returned_us is None for one in told):  # else the notice said itself that it was over
                ends = history.times_ended(told)
                yield Draft(NoticeKind.RETURNED, name, group, ends, tuple(_over(*one) for one in found))

    def _digest(self, name: str) -> Iterator[Draft]:
        """Yield the digest of the day, once its time has come: low priorities, and what came and went unnoticed."""
        at = datetime.combine(self._local.date(), self._notices.digest_at, self._local.tzinfo)
        if at > self._local:
            at -= timedelta(days=1)
        turn, history = at.date().toordinal(), self._history[name]
        if history.newest_digest >= turn or self._quiet(name, Priority.LOW):
            return
        end_us, start_us = microseconds(at), microseconds(at - DIGEST_REACHES)
        items = [
            one
            for one in self._alarms
            if start_us <= one.entry.alarm_us < end_us
            and self._in_digest(name, one)
            and not history.heard_of(one)
            and not history.in_digest(one)
        ]
        if items:
            told = tuple(told_of(one.entry) for one in items)
            yield Draft(NoticeKind.DIGEST, name, "", turn, told, self._standing(name))

    def _in_digest(self, name: str, alarm: Raised) -> bool:
        route = self._notices.route_of(alarm.entry.priority)
        if route is None or name not in route.to or not self._wants(name, alarm) or _passed_soon(alarm.entry):
            return False
        came_and_went = alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED and not self._owed(alarm)
        return came_and_went or (route.digest and (alarm.stands or alarm.state is AlarmState.RETURNED_UNACKNOWLEDGED))

    def _calm(
        self, name: str, drafts: list[Draft], kinds: Collection[NoticeKind], bundle: NoticeKind
    ) -> Iterator[Draft]:
        """Yield drafts, or one for all of them where they would be too many; the less urgent then wait for the next."""
        since_us = self._now_us - int(self._notices.storm_min * MINUTE_US)
        history = self._history[name]
        if not drafts or len(drafts) + history.groups_since(kinds, since_us) <= self._notices.storm_over:
            yield from drafts
            return
        if history.bundle_since(bundle, since_us):
            drafts = [one for one in drafts if one.priority is Priority.HIGHEST and bundle is NoticeKind.STORM]
        if len(drafts) == 1 and drafts[0].priority is Priority.HIGHEST:
            yield drafts[0]
        elif drafts:
            told = {one.identity: one for draft in drafts for one in draft.told}
            turn = self._now_us // MINUTE_US
            yield Draft(bundle, name, "", turn, tuple(told.values()), self._standing(name))


def _passed_soon(alarm: AlarmEntry) -> bool:
    """Whether an alarm of a likely cause alone, with no limit passed, came to nothing."""
    over_us = alarm.returned_us
    by_finding = alarm.condition.startswith(f"{AlarmKind.FINDING}/")
    return by_finding and over_us is not None and over_us - alarm.onset_us < BRIEF_US


def _over(told: Told, alarm: Raised | None) -> Told:
    """Return an alarm as it is told when it is over; later readings may have shown that it was none."""
    if alarm is None:
        return replace(told, facts=told.facts | {"taken_back": True})
    return replace(told_of(alarm.entry), identity=told.identity, priority=told.priority)
