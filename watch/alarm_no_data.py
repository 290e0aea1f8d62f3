"""The alarm that nothing at all arrives: nobody watches the farm then."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from analytics.alarm_damping import Spell
from farm.alarm_words import AlarmKind
from farm.readings import Series
from store.alarm_entries import AlarmEntry
from watch.alarm_ground import Ground
from watch.alarm_silences import Silences, gaps_between, times_of
from watch.alarm_texts import detail_of
from watch.stretches import Stretch


class NoDataAlarm:
    """Keeps that alarm true to readings and, while nothing arrives, to the clock."""

    def __init__(self, ground: Ground, silences: Silences) -> None:
        self._ground, self._farm, self._store, self._book = ground, ground.farm, ground.store, ground.book
        self._silences = silences

    def look_at_clock(self, arrived_us: int) -> None:
        """See whether nothing arrives by now, after the last arrival of anything."""
        newest_us, whole_us = self._ground.newest_of_all(), self._silences.whole_us
        if newest_us is None or self._ground.now_us() - max(newest_us, arrived_us) < whole_us:
            return
        last = next(reversed(self._book.of(str(AlarmKind.NO_DATA))), None)
        if last is None or last.returned_us is not None:
            self._book.propose(str(AlarmKind.NO_DATA), newest_us, self._alarms([Spell(newest_us, None)]))

    def follow(self, changed: Mapping[Series, Sequence[Stretch]], holes: list[Stretch], before_us: int | None) -> None:
        """Follow what may be a hole in all that arrives: in order of time, or filled by what came late."""
        condition, whole_us = str(AlarmKind.NO_DATA), self._silences.whole_us
        stretches = [one for series, several in changed.items() if series in self._farm.described for one in several]
        if not stretches:
            return
        first_us = min(first for first, _ in stretches)
        if before_us is not None and first_us - before_us > whole_us:
            holes = [*holes, (before_us, first_us)]
        last_us = max(last for _, last in stretches)
        for one in self._book.of(condition):
            if one.onset_us <= last_us and (one.returned_us is None or one.returned_us >= first_us):
                holes = [*holes, (one.onset_us, one.returned_us or (self._ground.newest_of_all() or one.onset_us))]
        for begin_us, end_us in _joined(holes):
            time_us = times_of(self._store, self._farm.described, begin_us, end_us + 1)
            spells = gaps_between(time_us, whole_us)
            later = [one for one in self._book.of(condition) if one.onset_us >= end_us]
            self._book.propose(condition, begin_us, [*self._alarms(spells), *later])

    def _alarms(self, spells: Iterable[Spell]) -> list[AlarmEntry]:
        rule, whole_us = self._silences.rule_of_farm, self._silences.whole_us
        if rule.off:
            return []
        text = "No reading arrives from the farm: nobody watches it now."
        return [
            AlarmEntry(
                self._farm.name, str(AlarmKind.NO_DATA), one.onset_us, one.onset_us + whole_us,
                None if one.end_us is None else one.end_us + rule.off_delay_us, rule.priority, "",
                detail=detail_of(
                    self._farm, AlarmKind.NO_DATA, one.onset_us, text, what="All readings",
                    first_step="Check the link, the broker and the farm's power.",
                ),
            )
            for one in spells
        ]  # fmt: skip


def _joined(holes: Iterable[Stretch]) -> list[Stretch]:
    found: list[Stretch] = []
    for begin_us, end_us in sorted(holes):
        if found and begin_us <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end_us)
        else:
            found.append((begin_us, end_us))
    return found
