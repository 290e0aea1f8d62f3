"""When to compute what: works off the store's notes of what changed, late readings like new ones."""

from __future__ import annotations

import logging
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date

from farm.check import Description
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.contract import DayDamaged, ReadingStore, StoreUnavailable, StoreUnusable, Touched
from store.journal import Journal
from watch.alarms import AlarmKeeper
from watch.bands import lights_series, may_have_band
from watch.corrections import CorrectionKeeper
from watch.derived import derived_series
from watch.deriving import Deriver
from watch.excursions import END_OF_TIME_US, ExcursionKeeper
from watch.findings import FindingsKeeper
from watch.judged import JudgedReadings
from watch.pace import Pace
from watch.pressure import pressure_corrections
from watch.quality import QualityKeeper
from watch.quality_limits import quality_limits
from watch.remembering import Remembered
from watch.sheet_writing import SheetWriting
from watch.sheets_beside import Opened
from watch.stale_days import StaleDays
from watch.stretches import Stretch, joined

logger = logging.getLogger(__name__)

NOTES_AT_ONCE = 5_000
READ_AHEAD = 12  # times as many are read from the store in one go: there it looks at all that there are each time
FINDINGS_EVERY_S = 60.0  # findings are worked out at most this often, ...
FINDINGS_PACES = 30  # ... or once in so many paces where these are long: many farms then take turns; our choice, ...
FINDINGS_LATEST_S = 300.0  # ... but no later than this, as docs/findings.md promises, ...
FINDINGS_SHARE = 20.0  # ... nor more often than this many times as long as they took,
NEW_HOURS_SHARE = 2.0  # or this many where whole hours are new and nothing else comes
RETRY_S = 2.0
# Kinds of basis in the journal that tell of a beginning, or a round, that may have been cut off:
BEGINNING, ROUNDS, CUT_OFF = "beginning", "rounds", ""


class Stopped(Exception):
    """Told to stop between two pieces of work; nothing is lost, the notes stay."""


@dataclass
class WatchCounts:
    """How the watch is doing since the service started."""

    rounds: int = 0
    notes: int = 0
    last_round_us: int | None = None
    caught_up_us: int | None = None  # all that had arrived by then is worked out
    trouble: str | None = None
    broken: dict[str, str] = field(default_factory=dict)  # what cannot be worked out -> why
    broken_since_us: dict[str, int] = field(default_factory=dict)


class Watch:
    """Keeps derived series, excursions and day sheets true to the readings of one farm.

    ``opened`` opens the store and the journal once more, for a second process: while the end of a backlog is far, it
    works the day sheets out. Without it everything is done in this one. ``steady_s`` is a clock that nobody sets: by it
    a clock that was set forward is known from time that passed. ``pace`` tells when to work.
    """

    def __init__(
        self,
        description: Description,
        store: ReadingStore,
        journal: Journal,
        now_us: Callable[[], int],
        opened: Opened | None = None,
        steady_s: Callable[[], float] | None = None,
        pace: Pace | None = None,
    ) -> None:
        farm = description.farm
        self.pace = pace or Pace()
        self._description, self._farm = description, farm
        self._by_pressure = pressure_corrections(farm)
        self.readings = JudgedReadings(farm.name, store, journal, self._by_pressure)
        self._arrived = Remembered(store)  # for this thread alone, unlike readings
        judged = self.readings.over(self._arrived)
        self._store, self._journal, self._now_us = Remembered(judged), journal, now_us
        self._corrections = CorrectionKeeper(farm, self.readings, journal)
        self._quality = QualityKeeper(farm.name, quality_limits(farm), judged, journal)
        self._deriver = Deriver(farm, self._store, journal, self._alone)
        self._findings = FindingsKeeper(farm, self._arrived, self._store, journal, now_us)
        self._alarms = AlarmKeeper(farm, self._store, journal, now_us, steady_s)
        self._found_us, self._slowest_finding_s = 0, 0.0
        self._keepers: dict[Series, ExcursionKeeper] = {}
        self._sheets = SheetWriting(
            farm, description.sha256, self.readings, self._store, journal, StaleDays(farm, journal, self._today),
            self._alone, self._leave_off, now_us(), opened, self.pace.pace_s,
        )  # fmt: skip
        self._ahead: list[Touched] = []  # notes that were read and are not settled yet
        self._stopping = threading.Event()
        self._day = self._today()
        # Whether a round before this start may have been cut off, as far as the journal tells.
        self._again = self._under_way = journal.bases(farm.name, ROUNDS).get(CUT_OFF, "") != ""
        self.counts = WatchCounts()

    @property
    def found(self) -> bool:
        """Whether findings tell of every whole hour that has come."""
        return not self._findings.outrun

    def run(self, stopping: threading.Event) -> None:
        """Work whenever called (and now and then anyway) until told to stop; then ``pace`` is to be called too."""
        self._stopping = stopping
        try:
            self._run(stopping)
        finally:
            self._sheets.close()

    def _run(self, stopping: threading.Event) -> None:
        begun = False
        while not stopping.is_set():
            try:
                if not begun:
                    self.begin()
                    begun = True
                self.pace.begin()
                while self.round() >= NOTES_AT_ONCE and not stopping.is_set():
                    pass
                self.counts.trouble = None
                self.pace.wait()
            except Stopped:
                return  # within a round
            except (StoreUnavailable, StoreUnusable) as error:
                self.counts.trouble = str(error)
                logger.warning("the watch waits for the store: %s", error)
                stopping.wait(RETRY_S)
            except Exception as error:
                self.counts.trouble = f"the watch failed, please report it: {type(error).__name__}: {error}"
                logger.exception("the watch failed on a round; it tries again")
                stopping.wait(RETRY_S)
        if self._under_way and not self._again:
            self._journal.note_bases(self._farm.name, ROUNDS, {CUT_OFF: ""})

    def begin(self) -> None:
        """Bring what was worked out with an earlier description in line with the one in force now.

        A derived series is worked out anew over all that is stored where what it rests on has changed.
        Excursions found with earlier bands
        stay as they were found, except close to readings that come late; one that is open on a series
        which no longer has a band ends with its newest reading, since nothing would ever close it.
        """
        name = self._farm.name
        again = self._journal.bases(name, BEGINNING).get(CUT_OFF, "") != ""
        anew = self._deriver.anew(self._store.known(name))
        much = any(anew.values()) or bool(self._quality.outdated())
        if much:
            self._journal.note_bases(name, BEGINNING, {CUT_OFF: "yes, unless it ends"})
        changed = defaultdict(list, self._quality.retest(self._alone))
        self._follow_pressure(changed)
        self._deriver.renew(changed, anew, again=again)
        self._sheets.mark(changed)
        self._store.settle([])  # what was derived is durable before it is noted as done
        self._quality.settle()
        self._deriver.settle()
        if much or again:
            self._journal.note_bases(name, BEGINNING, {CUT_OFF: ""})
        if self._journal.description_in_force(name) != self._description.sha256:
            self._journal.note_description(name, self._description.sha256, self._description.text, self._now_us())
        watched = {*self._farm.described, *derived_series(self._farm)}
        for one in self._journal.excursions(name, open_only=True):
            if one.series not in watched or not may_have_band(self._farm, one.series):
                ended = replace(one, end_us=one.last_us)
                self._journal.replace_excursions(name, one.series, one.onset_us, [ended])
        self._alarms.begin()
        self._aim(self._farm.described)
        for day in self._journal.days(name)[-1:]:  # it may have ended while we were away
            self._journal.mark_days_stale(name, [day])

    def round(self) -> int:
        """Work off the notes there are, and return how many.

        The notes are settled after all that follows from them is durable: a crash in between repeats the
        round. What it had done by then shows no difference any more, so a round that may be a repeat takes all
        it reaches for changed.
        """
        again, self._again = self._again, True
        began_us = self._now_us()
        noted = self._noted()
        notes, waiting = noted[:NOTES_AT_ONCE], _stretches(noted[NOTES_AT_ONCE:], self._farm)
        changed = _stretches(notes, self._farm)
        if changed and not self._under_way:
            self._journal.note_bases(self._farm.name, ROUNDS, {CUT_OFF: "some may be, unless the watch ends in order"})
            self._under_way = True
        for series, since_us in self._corrections.follow().items():
            if (newest := self._store.last_before(series, END_OF_TIME_US)) and newest.time_us >= since_us:
                changed[series] = joined([*changed[series], (since_us, newest.time_us)])
        self._forget(changed)
        with self._alone("planned work"):
            self._alarms.note_log(self._corrections.log_state)
        if changed:
            doubted = self._test(changed, waiting, again=again)
            self._follow_pressure(changed)
            self._deriver.renew(changed, again=again)
            moved = self._follow_excursions(changed, waiting, again=again)
            self._sheets.mark(changed, moved)
            self._findings.note(changed, moved)
            with self._alone("alarms"):
                self._alarms.note(changed, doubted)
                self._alarms.write()
            self._aim(changed)
        self._store.settle(notes)
        del self._ahead[: len(notes)]
        self._corrections.settle()
        self._again = again and len(notes) >= NOTES_AT_ONCE  # then there may be more of those that were cut off
        if (today := self._today()) != self._day:
            self._sheets.mark_over(self._day)
            self._day = today
        if not waiting:  # what is still to be worked off may change all that they look at
            self._find(busy=bool(notes))  # meanwhile the second process goes on
            self._sheets.catch_up()
            with self._alone("silence"):
                self._alarms.look_at_clock()
                self._alarms.write()
        self._sheets.write(waiting, self._now_us(), far=len(noted) == 2 * NOTES_AT_ONCE)
        self.counts.rounds += 1
        self.counts.notes += len(notes)
        self.counts.last_round_us = self._now_us()
        if not waiting:
            self.counts.caught_up_us = began_us
        return len(notes)

    def _noted(self) -> list[Touched]:
        """Return the notes to work off next and as many that wait; one that was renewed since counts as another."""
        if len(self._ahead) < 2 * NOTES_AT_ONCE:
            self._ahead = self._store.touched(self._farm.name, READ_AHEAD * NOTES_AT_ONCE)
        return self._ahead[: 2 * NOTES_AT_ONCE]

    def _leave_off(self) -> None:
        """Raise Stopped when it is time to stop."""
        if self._stopping.is_set():
            raise Stopped

    @contextmanager
    def _alone(self, what: str) -> Iterator[None]:
        """Let one piece of work fail without the others: it is told, and tried again with the next change.

        A damaged day is such a failure, since all other readings can be read; a store that cannot serve, or
        cannot be used at all, ends the round, and its notes stay. Raises Stopped between two pieces, when
        it is time to stop.
        """
        self._leave_off()
        try:
            yield
        except Stopped:
            raise
        except Exception as error:
            if isinstance(error, StoreUnavailable | StoreUnusable) and not isinstance(error, DayDamaged):
                raise
            self.counts.broken[what] = f"{what} cannot be worked out: {type(error).__name__}: {error}"
            self.counts.broken_since_us.setdefault(what, self._now_us())
            logger.exception("%s cannot be worked out", what)
        else:
            self.counts.broken.pop(what, None)
            self.counts.broken_since_us.pop(what, None)

    def _test(
        self, changed: dict[Series, list[Stretch]], waiting: dict[Series, list[Stretch]], *, again: bool
    ) -> dict[Series, list[Stretch]]:
        """Test changed readings' quality, add the stretches where a verdict changed to ``changed``, and return them.

        They are tested no further than to what waits for the next round.
        """
        doubted: dict[Series, list[Stretch]] = {}
        for series in list(changed):
            with self._alone(f"the quality of {series.key}"):
                until_us = min((first for first, _ in waiting.get(series, [])), default=END_OF_TIME_US)
                verdicts = [
                    one
                    for stretch in changed[series]
                    for one in self._quality.renew(series, *stretch, until_us, again=again)
                ]
                changed[series] = joined([*changed[series], *verdicts])
                if verdicts:
                    doubted[series] = joined(verdicts)
        self._forget_judged(changed)  # verdicts are part of what is read
        return doubted

    def _forget(self, changed: dict[Series, list[Stretch]]) -> None:
        self._forget_judged(changed)
        for series, several in changed.items():
            self._arrived.forget(series, min((first for first, _ in several), default=END_OF_TIME_US))

    def _forget_judged(self, changed: dict[Series, list[Stretch]]) -> None:
        for series, several in changed.items():
            self._store.forget(series, min((first for first, _ in several), default=END_OF_TIME_US))

    def _follow_pressure(self, changed: dict[Series, list[Stretch]]) -> None:
        """Add to ``changed`` the CO2 readings that are corrected by air pressure which changed."""
        for series, one in self._by_pressure.items():
            if one.pressure.series in changed:
                reached = [(first, last + one.pressure.age_us) for first, last in changed[one.pressure.series]]
                changed[series] = joined([*changed.get(series, []), *reached])
        self._forget_judged({series: changed[series] for series in self._by_pressure if series in changed})

    def _follow_excursions(
        self, changed: dict[Series, list[Stretch]], waiting: dict[Series, list[Stretch]], *, again: bool
    ) -> list[Stretch]:
        """Renew the excursions that changes reach, and return the stretches of those that began or ended.

        They are followed no further than to what waits for the next round.
        """
        lights = {zone: lights_series(self._farm, zone) for zone in self._farm.zones}
        relit = {zone: changed[series] for zone, series in lights.items() if series in changed}
        known = {one.series for one in self._store.known(self._farm.name)} if relit else set()
        moved: list[Stretch] = []
        for series in {*changed, *(one for one in known if one.zone in relit)}:
            if not may_have_band(self._farm, series):
                continue
            with self._alone(f"excursions of {series.key}"):
                until_us = min((first for first, _ in waiting.get(series, [])), default=END_OF_TIME_US)
                for first, last in joined(changed.get(series, []) + relit.get(series.zone, [])):
                    keeper = self._keeper(series)
                    moved += keeper.renew(first, last, max(until_us, last + 1), again=again)
                    if keeper.renewed is not None:
                        self._alarms.note_excursions(series, *keeper.renewed)
        return moved

    def _aim(self, changed: Iterable[Series]) -> None:
        """Say which readings to come would begin an excursion, or decide on one."""
        now_us = self._now_us()
        for series in [one for one in changed if one in self._farm.described]:
            with self._alone(f"what presses of {series.key}"):
                keeper = self._keepers.get(series)
                several = [*self._alarms.pressing(series), *([keeper.pressing] if keeper else [])]
                sent = [self.readings.as_sent(series, now_us, (one.low, one.high)) for one in several]
                self.pace.aim(
                    series, [one._replace(low=low, high=high) for one, (low, high) in zip(several, sent, strict=True)]
                )

    def _keeper(self, series: Series) -> ExcursionKeeper:
        if series not in self._keepers:
            self._keepers[series] = ExcursionKeeper(self._farm, self._store, self._journal, series)
        return self._keepers[series]

    def _today(self) -> date:
        return instant(self._now_us()).astimezone(self._farm.farm.zone_info).date()

    def _find(self, *, busy: bool) -> None:
        """Work findings out where they are stale, each minute at most; new hours as soon as there is time."""
        now_us = self._now_us()
        pause_s = findings_pause_s(self.pace.pace_s, self._slowest_finding_s)
        if not busy and self._findings.outrun:
            pause_s = min(pause_s, NEW_HOURS_SHARE * self._slowest_finding_s)
        if now_us - self._found_us < int(pause_s * MICROSECONDS_PER_SECOND):
            return
        with self._alone("findings"):
            began_s = time.monotonic()
            moved = self._findings.renew(busy=busy)
            self._sheets.mark({}, moved.stretches, moved.emptied)
            self._alarms.note_findings(self._findings.until_us)
            self._slowest_finding_s = max(self._slowest_finding_s, time.monotonic() - began_s)
        self._found_us = now_us


def findings_pause_s(pace_s: float, slowest_s: float) -> float:
    """Return for how long findings are left alone, by the watch's pace and how long they took at most. [s]."""
    by_pace_s = min(FINDINGS_PACES * pace_s, FINDINGS_LATEST_S)
    return max(FINDINGS_EVERY_S, by_pace_s, FINDINGS_SHARE * slowest_s)


def _stretches(notes: Iterable[Touched], farm: Farm) -> defaultdict[Series, list[Stretch]]:
    """Return what changed by series; series that the description no longer has are passed over."""
    by_series: defaultdict[Series, list[Stretch]] = defaultdict(list)
    for note in notes:
        if note.series in farm.described:
            by_series[note.series].append((note.first_us, note.last_us))
    return defaultdict(list, {series: joined(stretches) for series, stretches in by_series.items()})
