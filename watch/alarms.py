"""Keeps a farm's alarms in the journal true to its readings, touching only what changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.alarm_damping import Spell
from analytics.excursions import INSIDE, Excursion, excursions
from farm.alarm_words import AlarmKind
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.alarm_entries import AlarmEntry
from store.contract import ReadingStore
from store.entries import ExcursionEntry
from store.journal import Journal
from watch.alarm_book import AlarmBook, named, series_of
from watch.alarm_conditions import Limited, limited
from watch.alarm_findings import LOOK_BACK_US, FindingsTold, Told, findings_told, told_of
from watch.alarm_rules import rule_of
from watch.alarm_silences import Silences, gaps_between, times_of
from watch.alarm_spells import alarms_of
from watch.alarm_texts import CAUTIONS as CAUTIONS_OF
from watch.alarm_texts import band_text, detail_of
from watch.planned_work import PlannedWorks
from watch.running_out import RunningOut
from watch.stretches import Stretch

END_OF_TIME_US = 2**62
HOUR_US = 3600 * MICROSECONDS_PER_SECOND
LOOK_EVERY_US = 5 * MICROSECONDS_PER_SECOND  # at the clock, for silence
RECENT_US = 72 * HOUR_US  # excursions held in memory that long
MOST_TOLD = 5_000  # findings of former excursions held in memory
BUILT = "alarms"  # the kind of basis in the journal


@dataclass(frozen=True, slots=True)
class Stood:
    """One time that something was so, which has no value of its own: silence, a sensor's fault, a finding."""

    onset_us: int
    end_us: int | None
    last_us: int = 0
    extreme: float = 0.0
    extreme_us: int = 0
    limit: float = 0.0


def _no_delay(_: int) -> tuple[int, int]:
    return 0, 0


class AlarmKeeper:
    """Keeps alarms true to readings, excursions, quality marks and findings, whatever order they came in.

    All times are those of the readings; the clock counts for what is silent still, and for nothing else.
    """

    def __init__(self, farm: Farm, store: ReadingStore, journal: Journal, now_us: Callable[[], int]) -> None:
        self._farm, self._store, self._journal, self._now_us = farm, store, journal, now_us
        self._limited: defaultdict[Series, list[Limited]] = defaultdict(list)
        for one in limited(farm):
            self._limited[one.series].append(one)
        self._silences = Silences(farm)
        self._running_out = RunningOut(farm, store, journal)
        self._newest = {series: one.time_us for series, one in store.latest(farm.name).items()}
        begun_us = now_us()
        self._arrived = dict.fromkeys(farm.described, begun_us)  # by the clock
        self._looked_us = begun_us
        self._works = PlannedWorks(farm, journal)
        self._book = AlarmBook(farm, journal, self._newest_of_all() or begun_us, self._works.reaches)
        self._excursions: dict[Series, tuple[int, list[ExcursionEntry]]] = {}
        self._due: dict[str, tuple[Series, int, Callable[[], None]]] = {}
        self._likely: dict[str, Told | None] = {}  # by an excursion's identity
        self._put_off: dict[str, int] = {}  # since when readings wait to be looked at
        self._log_state: tuple[int, int] | None = None

    def begin(self) -> None:
        """Make alarms of the excursions of before there were alarms, and end those that nothing would ever end."""
        name = self._farm.name
        self._likely |= self._found(self._newest_of_all() or self._now_us()).of_excursions
        if self._journal.bases(name, BUILT).get("", "") == "":
            for series in {one.series for one in self._journal.excursions(name)}:
                self._bands(series, 0, self._journal.excursions(name, series=series))
            self.write()
            self._journal.note_bases(name, BUILT, {"": "1"})
        for one in self._book.standing():
            about = series_of(self._farm, one.condition)
            if about is None:
                continue
            if named(one.condition).kind is AlarmKind.OUT_OF_BAND:
                self._bands(about, one.onset_us, self._held(about, one.onset_us))
            elif named(one.condition).kind is AlarmKind.SENSOR_FAULT and about in self._farm.described:
                self._faults(about, one.onset_us, one.onset_us)
            elif not self._watched(one.condition, about):
                ended_us = max(one.alarm_us + 1, self._newest.get(about, one.alarm_us))
                self._book.propose(one.condition, one.onset_us, [_ended(one, ended_us)])
        self.write()

    def _watched(self, condition: str, series: Series) -> bool:
        kind = named(condition).kind
        if kind in (AlarmKind.SILENCE, AlarmKind.SENSOR_FAULT):
            return series in self._farm.described
        return any(one.condition == condition for one in self._limited[series])

    def _newest_of_all(self) -> int | None:
        return max((at for series, at in self._newest.items() if series in self._farm.described), default=None)

    # What changed.

    def note_excursions(self, series: Series, from_us: int, entries: Sequence[ExcursionEntry]) -> None:
        """Follow a series' excursions, which are these from an instant on."""
        self._book.look_back(from_us)
        self._bands(series, from_us, entries)

    def note(self, changed: Mapping[Series, Sequence[Stretch]], doubted: Mapping[Series, Sequence[Stretch]]) -> None:
        """Follow readings that changed, and readings that quality tests came to doubt or to trust."""
        if not changed:
            return
        self._book.look_back(min(first for several in changed.values() for first, _ in several))
        now_us, before_all_us = self._now_us(), self._newest_of_all()
        holes: list[Stretch] = []
        for series, stretches in changed.items():
            newest_us = self._newest.get(series)
            self._newest[series] = max([last for _, last in stretches] + ([newest_us] if newest_us else []))
            if series in self._farm.described:
                self._arrived[series] = now_us
                holes += self._silence(series, stretches, newest_us)
            for one in self._limited.get(series, ()):
                for first, last in stretches:
                    self._follow(one, first, last)
        self._no_data(changed, holes, before_all_us)
        for series, stretches in doubted.items():
            for first, last in stretches:
                self._faults(series, first, last)
        for condition, (series, at_us, again) in list(self._due.items()):
            if self._newest.get(series, 0) >= at_us:
                del self._due[condition]
                again()
        newest_us = self._newest_of_all()
        if newest_us is not None:
            for condition, from_us, entries in self._running_out.renew(changed, newest_us, self._book.of):
                self._book.propose(condition, from_us, entries)

    def look_at_clock(self) -> None:
        """See what is silent by now."""
        now_us = self._now_us()
        if now_us < self._looked_us:  # the clock was set back: what arrived by the old one arrived by now
            self._arrived = {series: min(at_us, now_us) for series, at_us in self._arrived.items()}
        elif now_us - self._looked_us < LOOK_EVERY_US:
            return
        self._looked_us = now_us
        for series in self._farm.described:
            newest_us = self._newest.get(series)
            if newest_us is not None and self._silent_now(series, newest_us, self._silences.longest_us(series)):
                self._silent(series, newest_us, newest_us)
        newest_us, whole_us = self._newest_of_all(), self._silences.whole_us
        if newest_us is None or now_us - max(newest_us, max(self._arrived.values())) < whole_us:
            return
        last = next(reversed(self._book.of(str(AlarmKind.NO_DATA))), None)
        if last is None or last.returned_us is not None:
            self._book.propose(str(AlarmKind.NO_DATA), newest_us, self._no_data_alarms([Spell(newest_us, None)]))

    def note_log(self, log_state: tuple[int, int]) -> None:
        """Take up planned work, if anything was written into the log since the last look."""
        if log_state != self._log_state:
            self._book.plan(self._works.look())
            self._running_out.note_log()
            self._log_state = log_state

    def note_findings(self, until_us: int) -> None:
        """Take up likely causes found up to an instant: beside excursions, and where there is no excursion."""
        told = self._found(until_us)
        fresh = {identity: one for identity, one in told.of_excursions.items() if self._likely.get(identity) != one}
        self._likely |= fresh
        for series in {one.series for one in fresh.values() if one.series is not None}:
            onset_us = min(one.onset_us for one in fresh.values() if one.series == series)
            found = self._journal.excursions(self._farm.name, series=series, start_us=onset_us)
            self._bands(series, onset_us, [one for one in found if one.onset_us >= onset_us])
        for condition, from_us, entries in told.conditions:
            self._book.propose(condition, from_us, entries)

    def _found(self, until_us: int) -> FindingsTold:
        first_us = min((one.first_us for one in self._store.known(self._farm.name)), default=until_us)
        return findings_told(self._farm, self._journal, first_us, until_us, self._book.of)

    def write(self) -> list[AlarmEntry]:
        """Write what changed, durably, and return it."""
        written = self._book.write(self._now_us())
        if (newest_us := self._newest_of_all()) is not None:
            self._book.forget_before(newest_us)
        return written

    # Bands.

    def _bands(self, series: Series, from_us: int, entries: Sequence[ExcursionEntry]) -> None:
        since_us, known = self._excursions.get(series, (END_OF_TIME_US, []))
        known = [
            *(one for one in known if one.onset_us < from_us),
            *(one for one in entries if one.onset_us >= from_us),
        ]
        since_us = min(since_us, from_us)
        newest_us = max([self._newest.get(series, 0), *(one.end_us or one.last_us for one in known)])
        conditions = {side: f"{AlarmKind.OUT_OF_BAND}/{series.key}/{side}" for side in ("low", "high")}
        start_us = min(self._book.chain_start(condition, from_us - HOUR_US) for condition in conditions.values())
        if start_us < since_us:
            found = self._journal.excursions(self._farm.name, series=series, start_us=start_us)
            since_us, known = start_us, [one for one in found if one.onset_us >= start_us]
        trimmed_us = max(since_us, newest_us - RECENT_US)
        self._excursions[series] = trimmed_us, [one for one in known if one.onset_us >= trimmed_us]
        for side, condition in conditions.items():
            rule = rule_of(self._farm, AlarmKind.OUT_OF_BAND, series.quantity, side)
            begin_us = self._book.chain_start(condition, from_us - HOUR_US)
            several = [one for one in known if one.side == side and one.onset_us >= begin_us]
            if not several and not self._book.of(condition):
                continue
            alarms = alarms_of(
                self._farm.name,
                condition,
                rule,
                several,
                newest_us,
                self._tell_band(series, side, newest_us),
                self._delays(series),
            )
            self._book.propose(condition, begin_us, alarms)
            if alarms and alarms[-1].returned_us is None and several[-1].end_us is not None:
                at_us = _again_at(several[-1].end_us, newest_us)
                self._due[condition] = series, at_us, lambda: self._bands(series, from_us, self._held(series, from_us))

    def _held(self, series: Series, from_us: int) -> list[ExcursionEntry]:
        found = self._journal.excursions(self._farm.name, series=series, start_us=from_us)
        return [one for one in found if one.onset_us >= from_us]

    def _delays(self, series: Series) -> Callable[[int], tuple[int, int]]:
        def passed(onset_us: int) -> tuple[int, int]:
            phase = self._farm.phase_at(series.zone, instant(onset_us)) if series.zone in self._farm.zones else None
            band = phase.bands.get(series.quantity) if phase is not None else None
            if band is None:
                return 0, 0
            return int(band.on_delay_s * MICROSECONDS_PER_SECOND), int(band.off_delay_s * MICROSECONDS_PER_SECOND)

        return passed

    def _told_of(self, one: ExcursionEntry, newest_us: int) -> Told | None:
        """Return what findings say of an excursion; of one that began long ago, as the journal has it."""
        if one.identity not in self._likely and one.onset_us < newest_us - LOOK_BACK_US:
            if len(self._likely) > MOST_TOLD:
                self._likely.clear()
            self._likely[one.identity] = told_of(self._farm, self._journal, one.identity)
        return self._likely.get(one.identity)

    def _tell_band(self, series: Series, side: str, newest_us: int) -> Callable[..., dict[str, Any]]:
        def tell(held: Sequence[ExcursionEntry], worst: ExcursionEntry, times: int) -> dict[str, Any]:
            text, step = band_text(self._farm, series, side, worst.extreme, worst.limit, times)
            found = next((told for one in reversed(held) if (told := self._told_of(one, newest_us))), None)
            detail = detail_of(
                self._farm, AlarmKind.OUT_OF_BAND, held[0].onset_us, text, series=series, limit=worst.limit,
                worst=worst.extreme, first_step=step, caution=CAUTIONS_OF.get(series.quantity, ""),
                excursion=held[-1].identity, times=times,
            )  # fmt: skip
            return detail | found.over(detail) if found is not None else detail

        return tell

    # Fixed limits.

    def _follow(self, one: Limited, first_us: int, last_us: int) -> None:
        start_us = first_us - one.back_us
        reach_us = last_us + one.back_us
        kept = self._book.of(one.condition)
        touches = any(
            entry.onset_us <= reach_us and (entry.returned_us is None or entry.returned_us >= start_us)
            for entry in kept
        )
        if not touches and one.every_us:
            put_off_us = min(first_us, self._put_off.pop(one.condition, first_us))
            if 0 <= last_us - put_off_us < one.every_us:
                self._put_off[one.condition] = put_off_us
                return
            start_us -= first_us - put_off_us
        if not touches:
            _, value = one.values(self._store, start_us, last_us + 1)
            if not ((value < one.low) | (value > one.high)).any():
                return
        start_us = self._book.chain_start(one.condition, start_us - HOUR_US)
        found, until_us = self._run(one, start_us, reach_us)
        newest_us = self._newest.get(one.series, last_us)
        alarms = alarms_of(
            self._farm.name, one.condition, one.rule, found, newest_us,
            lambda _, worst, __: one.tell(self._store, worst), _no_delay,
        )  # fmt: skip
        later = [entry for entry in kept if entry.onset_us > until_us]
        self._book.propose(one.condition, start_us, [*alarms, *later])

    def _run(self, one: Limited, start_us: int, reach_us: int) -> tuple[list[Excursion], int]:
        """Return the stretches outside from an instant on, until nothing is under way beyond another instant."""
        newest_us = self._newest.get(one.series, reach_us)
        found: list[Excursion] = []
        state, from_us, step_us = INSIDE, start_us, one.back_us
        while True:
            until_us = min(reach_us, newest_us)
            time_us, value = one.values(self._store, from_us, until_us + 1)
            ended, state = excursions(time_us, value, one.low, one.high, one.machine, state)
            found += ended
            under_way = state is not INSIDE or any(  # also what would be damped into one with what is found
                entry.onset_us <= until_us + HOUR_US and (entry.returned_us is None or entry.returned_us > until_us)
                for entry in self._book.of(one.condition)
            )
            if until_us >= newest_us or not under_way:
                break
            from_us, reach_us, step_us = until_us + 1, until_us + 2 * step_us, 2 * step_us
        if state.open_excursion is not None:
            found.append(state.open_excursion)
        return found, until_us

    # Silence.

    def _silent_now(self, series: Series, newest_us: int, longest_us: int) -> bool:
        return self._now_us() - max(newest_us, self._arrived[series]) >= longest_us

    def _silence(self, series: Series, stretches: Sequence[Stretch], newest_us: int | None) -> list[Stretch]:
        """Follow readings of a series, and return holes in them that may be holes in all that arrives."""
        longest_us = min(self._silences.longest_us(series), self._silences.whole_us)
        standing = next(reversed(self._book.of(f"{AlarmKind.SILENCE}/{series.key}")), None)
        is_open = standing is not None and standing.returned_us is None
        holes = []
        for first, last in stretches:
            since_us = first if newest_us is None else newest_us
            if since_us <= first and not is_open and last - since_us <= longest_us:
                continue  # in order, and without a hole
            holes += self._silent(series, first, last)
        return holes

    def _silent(self, series: Series, first_us: int, last_us: int) -> list[Stretch]:
        """Work a series' silence out anew about a stretch; returns its holes that may be those of the whole farm."""
        condition = f"{AlarmKind.SILENCE}/{series.key}"
        longest_us = self._silences.longest_us(series)
        start_us = self._book.chain_start(condition, first_us - longest_us - HOUR_US)
        before = self._store.last_before(series, start_us + 1)
        left_us = before.time_us if before is not None else start_us
        newest_us = self._newest.get(series, last_us)
        end_us = min(last_us + longest_us, newest_us)
        time_us = self._store.read(series, left_us, end_us + 1).time_us
        while end_us < newest_us and (len(time_us) == 0 or time_us[-1] <= last_us):
            end_us = min(end_us + 2 * (end_us - left_us) + longest_us, newest_us)
            time_us = self._store.read(series, left_us, end_us + 1).time_us
        if len(time_us) == 0:
            return []
        spells = gaps_between(time_us, longest_us)
        if int(time_us[-1]) == newest_us and self._silent_now(series, newest_us, longest_us):
            spells.append(Spell(newest_us, None))
        rule = self._silences.rule_for(series)._replace(on_delay_us=0)
        text = (
            f"No reading from {self._farm.label_of(series)} in {self._farm.zone_label(series.zone)}: "
            "the sensor, its power or its network is silent."
        )
        alarms = alarms_of(
            self._farm.name, condition, rule, [Stood(one.onset_us, one.end_us) for one in spells],
            max(newest_us, self._now_us() if spells and spells[-1].end_us is None else newest_us),
            lambda held, _, times: detail_of(
                self._farm, AlarmKind.SILENCE, held[0].onset_us, text, series=series, times=times,
                first_step="Check the sensor, its power and its name.",
            ),
            lambda _: (longest_us, 0),
        )  # fmt: skip
        edge_us = int(time_us[-1])
        alarms = [one for one in alarms if one.onset_us >= left_us]
        later = [one for one in self._book.of(condition) if one.onset_us >= edge_us and one.onset_us != newest_us]
        known = {one.onset_us for one in alarms}
        self._book.propose(condition, left_us, [*alarms, *(one for one in later if one.onset_us not in known)])
        whole_us = self._silences.whole_us
        return [(one.onset_us, one.end_us) for one in gaps_between(time_us, whole_us) if one.end_us is not None]

    def _no_data(
        self, changed: Mapping[Series, Sequence[Stretch]], holes: list[Stretch], before_us: int | None
    ) -> None:
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
                holes = [*holes, (one.onset_us, one.returned_us or (self._newest_of_all() or one.onset_us))]
        for begin_us, end_us in _joined(holes):
            time_us = times_of(self._store, self._farm.described, begin_us, end_us + 1)
            spells = gaps_between(time_us, whole_us)
            later = [one for one in self._book.of(condition) if one.onset_us >= end_us]
            self._book.propose(condition, begin_us, [*self._no_data_alarms(spells), *later])

    def _no_data_alarms(self, spells: Iterable[Spell]) -> list[AlarmEntry]:
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

    # Sensors' faults.

    def _faults(self, series: Series, first_us: int, last_us: int) -> None:
        rule = rule_of(self._farm, AlarmKind.SENSOR_FAULT, series.quantity)
        condition = f"{AlarmKind.SENSOR_FAULT}/{series.key}"
        start_us = self._book.chain_start(condition, first_us - rule.off_delay_us - HOUR_US)
        newest_us = self._newest.get(series, last_us)
        marks = [
            one
            for one in self._journal.marks.between(series, start_us, newest_us + 1)
            if one.flag == Flag.FAIL and one.first_us >= start_us
        ]
        spells: list[Stood] = []
        for mark in marks:
            if spells and mark.first_us - (spells[-1].end_us or 0) <= rule.off_delay_us:
                spells[-1] = Stood(spells[-1].onset_us, max(spells[-1].end_us or 0, mark.last_us))
            else:
                spells.append(Stood(mark.first_us, mark.last_us))
        tests = sorted({one.test for one in marks})
        text = (
            f"{self._farm.label_of(series)} in {self._farm.zone_label(series.zone)} fails its tests "
            f"({', '.join(one.replace('_', ' ') for one in tests)}): what it reads is not used."
        )
        alarms = alarms_of(
            self._farm.name, condition, rule, spells, newest_us,
            lambda held, _, times: detail_of(
                self._farm, AlarmKind.SENSOR_FAULT, held[0].onset_us, text, series=series, times=times,
                first_step="Look at the sensor, its plug and its place.",
            ),
            _no_delay,
        )  # fmt: skip
        self._book.propose(condition, start_us, alarms)
        if alarms and alarms[-1].returned_us is None:
            at_us = _again_at(spells[-1].end_us or newest_us, newest_us)
            self._due[condition] = series, at_us, lambda: self._faults(series, first_us, last_us)


def _again_at(end_us: int, newest_us: int) -> int:
    """Return when to look again at what is over but has not returned: each quarter of an hour."""
    return max(end_us, newest_us) + HOUR_US // 4


def _ended(one: AlarmEntry, at_us: int) -> AlarmEntry:
    detail = one.detail | {"ended_by": "The description does not name it any more."}
    return AlarmEntry(
        one.farm, one.condition, one.onset_us, one.alarm_us, at_us, one.priority, one.group, one.suppressed_by,
        one.revision, detail,
    )  # fmt: skip


def _joined(holes: Iterable[Stretch]) -> list[Stretch]:
    found: list[Stretch] = []
    for begin_us, end_us in sorted(holes):
        if found and begin_us <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end_us)
        else:
            found.append((begin_us, end_us))
    return found
