"""What becomes of messages: read into a batch, clocks judged, everything made durable and counted."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable
from typing import TypeVar

from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series
from ingest.arrival import Arrival
from ingest.batch import Batch, Message
from ingest.clocks import DeviceClocks
from ingest.counts import IngestCounts, TopicCounts
from ingest.records import Fault
from store.contract import ReadingStore, StoreUnavailable, StoreUnusable
from store.entries import Reason
from store.journal import Journal

logger = logging.getLogger(__name__)
T = TypeVar("T")

SUSPECT = int(Flag.SUSPECT)
RETRY_S = 2.0  # between attempts on a store that is unavailable
DAY_US = 86_400 * MICROSECONDS_PER_SECOND


class Stopped(Exception):
    """Told to stop while the store does not take what is to be kept: it is not durable."""


class Intake:
    """Reads a farm's messages and keeps what they hold, in its store and its journal."""

    def __init__(
        self,
        arrival: Arrival,
        farm: str,
        store: ReadingStore,
        journal: Journal,
        *,
        clock_tolerance_s: float,
        most_per_minute: int,
    ) -> None:
        self._arrival, self._farm, self._store, self._journal = arrival, farm, store, journal
        self._clocks = DeviceClocks(clock_tolerance_s)
        self.counts = IngestCounts()
        self.topics = TopicCounts(most_per_minute)

    def read(self, message: Message, batch: Batch) -> None:
        """Read a message into a batch."""
        self.counts.messages += 1
        try:
            readings, faults = self._arrival.read(
                message.topic, message.payload, message.arrived_us, message.content_type
            )
        except Exception:
            logger.exception("a message on %s could not be read; it is kept among the rejects", message.topic)
            readings, faults = [], [Fault(Reason.MALFORMED, "", "this message upset Leafweather: please report it")]
        readings = self._judged(message, readings, batch)
        batch.add(message, readings, faults)
        self.topics.note(message.topic, len(message.payload), len(readings), len(faults), message.arrived_us)

    def _judged(self, message: Message, readings: list[Reading], batch: Batch) -> list[Reading]:
        """Return a message's readings, those with a time of their own flagged if the device's clock is wrong."""
        newest_us = max((one.time_us for one in readings if one.time_us != message.arrived_us), default=None)
        if newest_us is None:
            return readings
        wrong = self._clocks.judged(message.topic, newest_us, message.arrived_us, message.payload)
        if wrong is None:
            return readings
        flagged = [one if one.time_us == message.arrived_us else one._replace(flag=SUSPECT) for one in readings]
        batch.suspect(message.topic, wrong, sum(one.flag == SUSPECT for one in flagged), message.arrived_us)
        return flagged

    def keep(self, batch: Batch, stopping: threading.Event) -> int:
        """Make a batch durable and return how many readings were new.

        Each write is repeated until it is taken, and none that was taken is repeated.

        Raises
        ------
        Stopped
            If told to stop before the store would take it.
        """
        appended = self._patiently(lambda: self._store.append(batch.readings), stopping)
        conflicting = self._patiently(lambda: self._of_other_value(appended.conflicting), stopping)
        batch.refuse_conflicts(conflicting, batch.messages[-1].arrived_us)
        self._patiently(lambda: self._journal.add_rejects(self._farm, batch.rejects), stopping)
        self._patiently(lambda: self._journal.add_unknown_names(self._farm, batch.unknown_names), stopping)
        self._patiently(lambda: self._journal.add_clock_faults(self._farm, batch.clock_faults), stopping)
        if self.counts.waiting_for_store is not None:
            logger.info("the store works again")
            self.counts.waiting_for_store = None
        self.counts.committed += len(batch.messages)
        self.counts.readings += appended.stored
        self.counts.duplicates += appended.duplicate + len(appended.conflicting) - len(conflicting)
        self.counts.conflicts += len(conflicting)
        self.counts.rejected += sum(one.count for one in batch.rejects) - len(conflicting)
        self.counts.suspect += sum(one.readings for one in batch.clock_faults)
        return appended.stored

    def _of_other_value(self, conflicting: Iterable[Reading]) -> list[Reading]:
        """Return those whose value is another than the stored one's.

        A message that comes again may have its clock judged otherwise: the same value with another flag
        is a duplicate, and the flag of its first arrival stays.
        """
        by_day: dict[tuple[Series, int], list[Reading]] = {}
        for one in conflicting:
            by_day.setdefault((one.series, one.time_us // DAY_US), []).append(one)
        other: list[Reading] = []
        for (series, _), readings in by_day.items():
            times = [one.time_us for one in readings]
            found = self._store.read(series, min(times), max(times) + 1)
            stored = dict(zip(found.time_us.tolist(), found.value.tolist(), strict=True))
            other += [one for one in readings if stored.get(one.time_us) != one.value]
        return other

    def _patiently(self, write: Callable[[], T], stopping: threading.Event) -> T:
        """Return what a write returns, once the store takes it."""
        while True:
            try:
                return write()
            except (StoreUnavailable, StoreUnusable) as error:
                if self.counts.waiting_for_store is None:
                    logger.warning("nothing is acknowledged until the store works again: %s", error)
                self.counts.waiting_for_store = str(error)
                if stopping.wait(RETRY_S):
                    raise Stopped from error
