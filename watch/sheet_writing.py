"""When to write which day sheet, and whether here or, of a long backlog, in a second process."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import date
from typing import Any

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from store.journal import Journal
from watch.day_sheet import day_sheet, sections_of_readings
from watch.judged import JudgedReadings
from watch.sheets_beside import Opened, SheetsBeside
from watch.stale_days import StaleDays
from watch.stretches import Stretch

logger = logging.getLogger(__name__)

SHEET_EVERY_S = 60.0  # the sheet of a day that still grows is written at most this often, ...
SHEET_PACES = 12  # ... or once in so many rounds where these are far apart (our choice, no source), ...
SHEET_SHARE = 20.0  # ... nor more often than this many times as long as one took: then readings come too thick
AWAIT_S = 0.2  # for a sheet of the second process, between looks at whether to leave off

Alone = Callable[[str], AbstractContextManager[None]]


class SheetWriting:
    """Writes the sheets of days that are noted stale.

    Parameters
    ----------
    farm, description_hash, journal
        As `watch.day_sheet.day_sheet` takes them.
    readings : JudgedReadings
        The farm's readings as they are judged by now.
    store : ReadingStore
        The same readings as they are read in this thread.
    stale : StaleDays
        Tells which days a change makes stale.
    alone, leave_off : callable
        Lets one sheet fail without the others; raises when it is time to stop.
    begun_us : int
        When the program began. [us since 1970 UTC]
    opened : callable, optional
        Opens the store and the journal once more, for the second process; without it there is none.
    pace_s : float
        Seconds between rounds that do not press.
    """

    def __init__(
        self,
        farm: Farm,
        description_hash: str,
        readings: JudgedReadings,
        store: ReadingStore,
        journal: Journal,
        stale: StaleDays,
        alone: Alone,
        leave_off: Callable[[], None],
        begun_us: int,
        opened: Opened | None = None,
        pace_s: float = 0.0,
    ) -> None:
        self._farm, self._hash, self._journal = farm, description_hash, journal
        self._readings, self._store, self._stale = readings, store, stale
        self._alone, self._leave_off = alone, leave_off
        self._begun_us = begun_us
        self._written_us: dict[date, int] = {}
        self._every_s, self._slowest_s = max(SHEET_EVERY_S, SHEET_PACES * pace_s), 0.0
        self._opened = opened
        self._beside: SheetsBeside | None = None

    def mark(
        self,
        changed: Mapping[Series, list[Stretch]],
        moved: Iterable[Stretch] = (),
        emptied: Sequence[Stretch] = (),
    ) -> None:
        """Note which days' sheets do not hold any more by what changed and which excursions or findings moved.

        ``emptied`` are those of the findings that tell of empty bottles.
        """
        under_way = self._beside.under_way if self._beside else ()
        stale = self._stale.mark(changed, moved, under_way, emptied)
        if self._beside:
            self._beside.note({series: _span(several) for series, several in changed.items() if several}, stale)

    def mark_over(self, day: date) -> None:
        """Note that a day is over: its sheet, so far of a part of it, does not hold any more."""
        self._journal.mark_days_stale(self._farm.name, [day])
        if self._beside:
            self._beside.note({}, {day})

    def write(self, waiting: Mapping[Series, list[Stretch]], now_us: int, *, far: bool) -> None:
        """Write the sheets of days that changed, each at most once a minute; rather when nothing more waits for it.

        While the end of what waits is ``far``, a second process works them out meanwhile.
        """
        self._keep_finished()
        growing = self._stale.around(stretch for several in waiting.values() for stretch in several)
        due = [day for day in self._journal.stale_days(self._farm.name) if self._is_due(day, growing, now_us)]
        if due and far and self._beside is None and self._opened:
            self._beside = SheetsBeside(self._farm, self._hash, self._opened)
        if self._beside:
            due = [day for day in due if day not in self._beside.under_way and day not in self._beside.failed]
            if due:
                log_state = self._journal.log.state(self._farm.name)
                ready = {day: self._sections(day, now_us) for day in due} if self._beside.far_behind else {}
                self._beside.ask(due, now_us, self._readings.judgement, log_state, self._store, ready)
            return
        for day in due:
            with self._alone(f"the sheet of {day}"):
                began_s = time.monotonic()
                log_state = self._journal.log.state(self._farm.name)  # the command may write while we work
                entry = day_sheet(self._farm, self._hash, self._store, self._journal, day, now_us, self._leave_off)
                self._journal.save_day_sheet(self._farm.name, entry, log_state)
                self._slowest_s = max(self._slowest_s, time.monotonic() - began_s)
            self._written_us[day] = now_us

    def _sections(self, day: date, now_us: int) -> Mapping[str, Any]:
        """Return sections of a sheet that the second process has no time for; none where that fails: it tells why."""
        self._leave_off()
        try:
            return sections_of_readings(self._farm, self._store, self._journal, day, now_us)
        except Exception as error:
            logger.debug("sections of %s are left to the second process: %s", day, error)
            return {}

    def _is_due(self, day: date, growing: set[date], now_us: int) -> bool:
        pause_us = int(max(self._every_s, SHEET_SHARE * self._slowest_s) * MICROSECONDS_PER_SECOND)
        return now_us - self._written_us.get(day, self._begun_us if day in growing else 0) >= pause_us

    def _keep_finished(self, patience_s: float = 0.0) -> None:
        """Keep the sheets that the second process has finished, and do without it once it is gone."""
        if self._beside:
            for entry, log_state in self._beside.finished(patience_s):
                self._journal.save_day_sheet(self._farm.name, entry, log_state)
                self._written_us[entry.day] = entry.computed_us
            if not self._beside.running:
                logger.warning("the process that works day sheets out is gone: they are worked out here from now on")
                self._opened = None
                self.close()

    def catch_up(self) -> None:
        """Wait for the sheets that the second process has under way, and end it."""
        while self._beside and self._beside.under_way:
            self._leave_off()
            self._keep_finished(AWAIT_S)
        self.close()

    def close(self) -> None:
        """End the second process, if there is one: what it has under way stays noted stale."""
        if self._beside:
            self._beside.close()
            self._beside = None


def _span(several: Sequence[Stretch]) -> Stretch:
    return min(first for first, _ in several), max(last for _, last in several)
