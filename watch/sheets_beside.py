"""Day sheets of a long backlog, worked out by a second process while this one goes on deriving.

The second process only reads, and hands each sheet back: whoever asked keeps it, or does not. A sheet follows from
what is stored, so one that is lost with its process is asked for again.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
import threading
from collections.abc import Callable, Collection, Mapping, Sequence, Set
from contextlib import suppress
from datetime import date
from multiprocessing.connection import Connection
from queue import Empty, Queue, SimpleQueue
from types import MappingProxyType
from typing import Any, NamedTuple

from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore
from store.entries import DaySheetEntry
from store.journal import Journal
from store.journal_log import LogState
from watch.day_sheet import day_sheet
from watch.judged import JudgedReadings, Judgement
from watch.pressure import pressure_corrections
from watch.remembering import HOUR_US, Remembered
from watch.stretches import Stretch

Opened = Callable[[], tuple[ReadingStore, Journal]]  # in the second process: it must be fit to be pickled
MOST_WAITING = 2  # requests that wait for the second process
LONGEST_TOLD_US = 15 * 24 * HOUR_US  # of a derived series at once; our choice, no source
logger = logging.getLogger(__name__)


class _Request(NamedTuple):
    number: int
    days: Sequence[date]
    now_us: int
    changed: Mapping[Series, Stretch]  # since the last request
    derived: Mapping[Series, Columns]  # what was derived over these stretches, as far as it is told
    handed_over: Collection[tuple[int, date]]  # answers of these requests and days were taken since the last one
    judgement: Judgement
    ready: Mapping[date, Mapping[str, Any]]  # sections that are worked out already


class _Answer(NamedTuple):
    number: int  # of the request
    day: date
    entry: DaySheetEntry | None  # None where it could not be worked out


class SheetsBeside:
    """A second process that works day sheets out, one after another in the order asked for.

    For one thread. What is asked for and noted stale before it is finished is dropped.

    Parameters
    ----------
    farm, description_hash
        As `watch.day_sheet.day_sheet` takes them.
    opened : callable
        Opens the store and the journal once more, in the second process.
    """

    def __init__(self, farm: Farm, description_hash: str, opened: Opened) -> None:
        context = multiprocessing.get_context("spawn")  # a fork would copy locks that other threads hold
        self._connection, there = context.Pipe()
        self._process = context.Process(
            target=_work, args=(there, farm, description_hash, opened), name="day sheets", daemon=True
        )
        self._process.start()
        there.close()  # here: so that each side is told when the other one is gone
        self._farm = farm
        self._number = 0
        self._requests: Queue[_Request | None] = Queue(MOST_WAITING)
        self._asked: dict[date, tuple[int, LogState]] = {}
        self._failed: set[date] = set()
        self._changed: dict[Series, Stretch] = {}
        self._handed_over: list[tuple[int, date]] = []
        self._answers: SimpleQueue[_Answer | None] = SimpleQueue()
        self.running = True
        threading.Thread(target=_send, args=(self._connection, self._requests), daemon=True).start()
        threading.Thread(target=_receive, args=(self._connection, self._answers), daemon=True).start()

    @property
    def under_way(self) -> Collection[date]:
        """The days whose sheets are being worked out."""
        return self._asked.keys()

    @property
    def failed(self) -> Collection[date]:
        """The days whose sheets could not be worked out, and that were not noted stale again since."""
        return self._failed

    @property
    def far_behind(self) -> bool:
        """Whether to ask now is to wait: there is time to work sections out here."""
        return self._requests.full()

    def ask(
        self,
        days: Sequence[date],
        now_us: int,
        judgement: Judgement,
        log_state: LogState,
        store: ReadingStore,
        ready: Mapping[date, Mapping[str, Any]] = MappingProxyType({}),
    ) -> None:
        """Ask for the sheets of some days as the store and the journal are now; wait while it is far behind.

        What was derived is read from ``store``, which remembers it, and told: the other process reads it more slowly.
        ``ready`` are sections of these days that need not be worked out any more.
        """
        self._number += 1
        self._asked |= dict.fromkeys(days, (self._number, log_state))
        derived = {
            series: store.read(series, first, last + 1)
            for series, (first, last) in self._changed.items()
            if series not in self._farm.described and last - first <= LONGEST_TOLD_US
        }
        self._requests.put(
            _Request(
                self._number, list(days), now_us, self._changed, derived, self._handed_over, judgement, dict(ready)
            )
        )
        self._changed, self._handed_over = {}, []

    def note(self, changed: Mapping[Series, Stretch], stale: Set[date]) -> None:
        """Note the stretches over which series changed, and the days whose sheets do not hold any more by it."""
        for series, (first, last) in changed.items():
            before = self._changed.get(series, (first, last))
            self._changed[series] = min(first, before[0]), max(last, before[1])
        for day in stale:
            self._asked.pop(day, None)
        self._failed -= stale

    def finished(self, patience_s: float = 0.0) -> list[tuple[DaySheetEntry, LogState]]:
        """Return the sheets worked out since the last call, with the log's state when they were asked for.

        Waits a while for the first one. Once the process is gone, no day is under way any more.
        """
        found = []
        with suppress(Empty):
            answer = self._answers.get(patience_s > 0.0, patience_s)
            while answer is not None:
                number, log_state = self._asked.get(answer.day, (0, (0, 0)))
                if number == answer.number:
                    del self._asked[answer.day]
                    if answer.entry is None:
                        self._failed.add(answer.day)
                    else:
                        found.append((answer.entry, log_state))
                self._handed_over.append((answer.number, answer.day))
                answer = self._answers.get_nowait()
            self.running = False
            self._asked.clear()
        return found

    def close(self) -> None:
        """End the second process; closing twice is harmless."""
        self.running = False
        self._asked.clear()
        self._process.kill()
        self._process.join()
        self._requests.put(None)
        self._connection.close()


def _send(connection: Connection, requests: Queue[_Request | None]) -> None:
    """Hand requests on: the other side takes one when it is done with the one before."""
    while (request := requests.get()) is not None:
        with suppress(OSError):  # it is gone: the answers say so
            connection.send(request)


def _receive(connection: Connection, answers: SimpleQueue[_Answer | None]) -> None:
    """Take answers as they come, so that the other side never waits for us; None once there will be no more."""
    with suppress(EOFError, OSError):
        while True:
            answers.put(connection.recv())
    answers.put(None)


# --- in the second process


def _work(connection: Connection, farm: Farm, description_hash: str, opened: Opened) -> None:
    """Work sheets out until nobody is there to ask for them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the first process, which ends us
    store, journal = opened()
    readings = JudgedReadings(farm.name, store, journal, pressure_corrections(farm))
    arrived = Remembered(store)
    judged = Remembered(readings.over(arrived))
    ahead = _Ahead(journal)
    with suppress(EOFError, OSError):
        while True:
            request: _Request = connection.recv()
            readings.judge_by(request.judgement)
            for series, (first, last) in request.changed.items():
                judged.forget(series, first)
                arrived.forget(series, first)
                if series in request.derived:
                    judged.know(series, first, last + 1, request.derived[series])
            ahead.forget(request.handed_over)
            for day in request.days:
                entry = None
                try:
                    ready = request.ready.get(day, {})
                    entry = day_sheet(farm, description_hash, judged, ahead, day, request.now_us, ready=ready)
                    ahead.keep(request.number, entry)
                except Exception as error:  # whoever asked works it out again, and tells of it
                    logger.debug("the sheet of %s is left to the first process: %s", day, error)
                connection.send(_Answer(request.number, day, entry))


class _Ahead(Journal):
    """The journal with the sheets in mind that were worked out here and may not have been kept yet."""

    def __init__(self, journal: Journal) -> None:
        self.__dict__.update(journal.__dict__)
        self._sheets: dict[date, tuple[int, DaySheetEntry]] = {}

    def keep(self, number: int, entry: DaySheetEntry) -> None:
        """Have a sheet that a request asked for stand in place of the one in the journal."""
        self._sheets[entry.day] = number, entry

    def forget(self, handed_over: Collection[tuple[int, date]]) -> None:
        """Let go of the sheets of some requests and days: the journal has them, or they do not hold."""
        for number, day in handed_over:
            if day in self._sheets and self._sheets[day][0] == number:
                del self._sheets[day]

    def days(self, farm: str) -> list[date]:
        """Return the days that have a sheet, in order."""
        return sorted({*super().days(farm), *self._sheets})

    def day_sheet_parts(
        self, farm: str, days: Collection[date], *paths: tuple[str, ...]
    ) -> dict[date, tuple[Any, ...]]:
        """Return parts of some days' sheets by their paths of names."""
        here = {day: self._sheets[day][1].sheet for day in days if day in self._sheets}
        found = super().day_sheet_parts(farm, [day for day in days if day not in here], *paths)
        return found | {day: tuple(_part(sheet, path) for path in paths) for day, sheet in here.items()}


def _part(sheet: Any, path: Sequence[str]) -> Any:  # noqa: ANN401  # JSON
    for name in path:
        sheet = sheet.get(name) if isinstance(sheet, dict) else None
    return sheet
