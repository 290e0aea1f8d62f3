"""Keeps a farm's alarms in the journal true to its readings, touching only what changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from farm.alarm_words import AlarmKind
from farm.description import Farm
from farm.readings import Series
from store.alarm_entries import AlarmEntry
from store.contract import ReadingStore
from store.entries import ExcursionEntry
from store.journal import Journal
from watch.alarm_bands import BandAlarms
from watch.alarm_book import AlarmBook, named, series_of
from watch.alarm_faults import FaultAlarms
from watch.alarm_findings import FindingsTold, findings_told
from watch.alarm_ground import Ground, newest_of_all
from watch.alarm_limits import LimitAlarms
from watch.alarm_no_data import NoDataAlarm
from watch.alarm_silences import Silences
from watch.alarm_silent_series import SilenceAlarms
from watch.pace import Pressing
from watch.planned_work import PlannedWorks
from watch.running_out import RunningOut
from watch.stretches import Stretch

BUILT = "alarms"  # the kind of basis in the journal


class AlarmKeeper:
    """Keeps alarms true to readings, excursions, quality marks and findings, whatever order they came in.

    All times are those of the readings; the clock counts for what is silent still, and for nothing else. ``steady_s``
    is a clock that nobody sets.
    """

    def __init__(
        self,
        farm: Farm,
        store: ReadingStore,
        journal: Journal,
        now_us: Callable[[], int],
        steady_s: Callable[[], float] | None = None,
    ) -> None:
        self._farm, self._store, self._journal, self._now_us = farm, store, journal, now_us
        newest = {series: one.time_us for series, one in store.latest(farm.name).items()}
        self._works = PlannedWorks(farm, journal)
        horizon_us = newest_of_all(farm, newest) or now_us()
        self._book = AlarmBook(farm, journal, horizon_us, self._works.reaches)
        self._ground = Ground(farm, store, journal, now_us, self._book, newest)
        silences = Silences(farm)
        self._bands, self._limits = BandAlarms(self._ground), LimitAlarms(self._ground)
        self._silence = SilenceAlarms(self._ground, silences, steady_s)
        self._no_data = NoDataAlarm(self._ground, silences)
        self._faults, self._running_out = FaultAlarms(self._ground), RunningOut(farm, store, journal)
        self._log_state: tuple[int, int] | None = None

    def begin(self) -> None:
        """Make alarms of the excursions of before there were alarms, and end those that nothing would ever end."""
        name = self._farm.name
        self._bands.take_up(self._found(self._ground.newest_of_all() or self._now_us()).of_excursions)
        if self._journal.bases(name, BUILT).get("", "") == "":
            for series in {one.series for one in self._journal.excursions(name)}:
                self._bands.renew(series, 0, self._journal.excursions(name, series=series))
            self.write()
            self._journal.note_bases(name, BUILT, {"": "1"})
        for one in self._book.standing():
            about = series_of(self._farm, one.condition)
            if about is None:
                continue
            if named(one.condition).kind is AlarmKind.OUT_OF_BAND:
                self._bands.renew_held(about, one.onset_us)
            elif named(one.condition).kind is AlarmKind.SENSOR_FAULT and about in self._farm.described:
                self._faults.renew(about, one.onset_us, one.onset_us)
            elif not self._watched(one.condition, about):
                ended_us = max(one.alarm_us + 1, self._ground.newest.get(about, one.alarm_us))
                self._book.propose(one.condition, one.onset_us, [_ended(one, ended_us)])
        self.write()

    def _watched(self, condition: str, series: Series) -> bool:
        if named(condition).kind in (AlarmKind.SILENCE, AlarmKind.SENSOR_FAULT):
            return series in self._farm.described
        return self._limits.watches(condition, series)

    def note_excursions(self, series: Series, from_us: int, entries: Sequence[ExcursionEntry]) -> None:
        """Follow a series' excursions, which are these from an instant on."""
        self._book.look_back(from_us)
        self._bands.renew(series, from_us, entries)

    def note(self, changed: Mapping[Series, Sequence[Stretch]], doubted: Mapping[Series, Sequence[Stretch]]) -> None:
        """Follow readings that changed, and readings that quality tests came to doubt or to trust."""
        if not changed:
            return
        self._book.look_back(min(first for several in changed.values() for first, _ in several))
        ground, before_all_us = self._ground, self._ground.newest_of_all()
        holes: list[Stretch] = []
        for series, stretches in changed.items():
            newest_us = ground.newest.get(series)
            ground.newest[series] = max([last for _, last in stretches] + ([newest_us] if newest_us else []))
            if series in self._farm.described:
                self._silence.note_arrival(series)
                holes += self._silence.follow(series, stretches, newest_us)
            self._limits.follow(series, stretches)
        self._no_data.follow(changed, holes, before_all_us)
        for series, stretches in doubted.items():
            for first, last in stretches:
                self._faults.renew(series, first, last)
        ground.look_at_due()
        newest_us = ground.newest_of_all()
        if newest_us is not None:
            for condition, from_us, entries in self._running_out.renew(changed, newest_us, self._book.of):
                self._book.propose(condition, from_us, entries)

    def pressing(self, series: Series) -> list[Pressing]:
        """Return which single readings of a series would begin an alarm of a fixed limit."""
        return self._limits.pressing(series)

    def look_at_clock(self) -> None:
        """See what is silent by now."""
        if self._silence.look_at_clock():
            self._no_data.look_at_clock(self._silence.arrived_us)

    def note_log(self, log_state: tuple[int, int]) -> None:
        """Take up planned work, if anything was written into the log since the last look."""
        if log_state != self._log_state:
            self._book.plan(self._works.look())
            self._running_out.note_log()
            self._log_state = log_state

    def note_findings(self, until_us: int) -> None:
        """Take up likely causes found up to an instant: beside excursions, and where there is no excursion."""
        told = self._found(until_us)
        self._bands.follow_findings(told.of_excursions)
        for condition, from_us, entries in told.conditions:
            self._book.propose(condition, from_us, entries)

    def _found(self, until_us: int) -> FindingsTold:
        first_us = min((one.first_us for one in self._store.known(self._farm.name)), default=until_us)
        return findings_told(self._farm, self._journal, first_us, until_us, self._book.of)

    def write(self) -> list[AlarmEntry]:
        """Write what changed, durably, and return it."""
        written = self._book.write(self._now_us())
        if (newest_us := self._ground.newest_of_all()) is not None:
            self._book.forget_before(newest_us)
        return written


def _ended(one: AlarmEntry, at_us: int) -> AlarmEntry:
    detail = one.detail | {"ended_by": "The description does not name it any more."}
    return AlarmEntry(
        one.farm, one.condition, one.onset_us, one.alarm_us, at_us, one.priority, one.group, one.suppressed_by,
        one.revision, detail,
    )  # fmt: skip
