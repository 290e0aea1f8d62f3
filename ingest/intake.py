"""What becomes of messages: read into a batch, clocks judged, everything made durable and counted."""

from __future__ import annotations

import logging
import threading
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import TypeVar

from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series
from ingest.arrival import Arrival
from ingest.batch import Batch, Message
from ingest.clocks import DeviceClocks
from ingest.counts import IngestCounts, TopicCounts
from ingest.records import Fault
from store.contract import Appended, ReadingStore, StoreUnavailable, StoreUnusable
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
        arrived_us = message.arrived_us
        stated = [one.time_us for one in readings if one.time_us != arrived_us]
        if message.kept and len(stated) < len(readings):
            # The broker kept it for a while nobody knows: a reading without a time of its own has a doubtful one.
            readings = [one._replace(flag=SUSPECT) if one.time_us == arrived_us else one for one in readings]
        if stated:
            readings = self._judged(message, readings, max(stated), batch)
        batch.add(message, readings, faults)
        self.topics.note(message.topic, len(message.payload), len(readings), len(faults), message.arrived_us)

    def _judged(self, message: Message, readings: list[Reading], newest_us: int, batch: Batch) -> list[Reading]:
        """Return a message's readings, those with a time of their own flagged if the device's clock is wrong."""
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
        appended = self._patiently(lambda: self._append(batch), stopping)
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

    def _append(self, batch: Batch) -> Appended:
        """Store a batch's readings; those of a series that the store refuses become rejects."""
        try:
            return self._store.append(batch.readings)
        except ValueError:
            logger.exception("the store refuses a series; its readings are kept among the rejects")
        by_series: defaultdict[Series, list[Reading]] = defaultdict(list)
        for reading in batch.readings:
            by_series[reading.series].append(reading)
        done = []
        for series, readings in by_series.items():
            try:
                done.append(self._store.append(readings))
            except ValueError as error:
                fault = Fault(Reason.WRONG_TYPE, series.key, f"the store cannot take it: {error}")
                for reading in readings:
                    batch.refuse("", f"{reading.value:g}".encode(), reading.time_us, fault)
        conflicting = tuple(one for each in done for one in each.conflicting)
        return Appended(sum(one.stored for one in done), sum(one.duplicate for one in done), conflicting)

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
                trouble = str(error)
                if self.counts.waiting_for_store is None:
                    logger.warning("nothing is acknowledged until the store works again: %s", error)
            except Exception as error:
                trouble = f"storing failed in an unforeseen way, please report it: {type(error).__name__}: {error}"
                logger.exception("nothing is acknowledged until storing works again")
            self.counts.waiting_for_store = trouble
            if stopping.wait(RETRY_S):
                raise Stopped
