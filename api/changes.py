"""What changed since a moment ago, told to those who listen: looked for while somebody does, and never piled up."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any

from starlette.concurrency import run_in_threadpool

from api.house import House
from farm.readings import Reading, Series, iso_time
from store.contract import StoreUnavailable, StoreUnusable

MOST_LISTENERS = 32  # our choice, no source: each holds one connection
MOST_OF_ONE = 8  # with one token, so that nobody keeps all others out; likewise
EVERY_S = 1.0  # between two looks; likewise
PAUSES = 20  # times as long as a look took at least, so that a slow store is not kept busy; likewise

READINGS, ALARMS, FINDINGS, JOURNAL = "readings", "alarms", "findings", "journal"
log = logging.getLogger(__name__)


class Listener:
    """What one listener has not been told yet: one event of a kind at most, so that it never grows with time."""

    def __init__(self, token: str | None = None) -> None:
        self.token = token
        self.woken, self.over = asyncio.Event(), False
        self._waiting: dict[str, dict[str, Any]] = {}

    def tell(self, events: Mapping[str, Mapping[str, Any]]) -> None:
        """Add events to those that wait; of one kind the newer takes the older one's place, with its series too."""
        for kind, data in events.items():
            newest = {**self._waiting.get(kind, {}).get("newest", {}), **data.get("newest", {})}
            self._waiting[kind] = {**data, "newest": newest} if newest else dict(data)
        self.woken.set()

    def end(self) -> None:
        """Have the listener hear no more."""
        self.over = True
        self.woken.set()

    async def next(self, patience_s: float) -> dict[str, dict[str, Any]]:
        """Return what waits, by kind; nothing where nothing came in time, or it is over."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self.woken.wait(), patience_s)
        self.woken.clear()
        told, self._waiting = self._waiting, {}
        return told


class Changes:
    """Looks every second what changed in a house, while anybody listens; for one event loop.

    Who wrote it does not matter: this service's threads, or a command on the same machine.
    """

    def __init__(self, house: House) -> None:
        self._house = house
        self._listeners: set[Listener] = set()
        self._task: asyncio.Task[None] | None = None
        self._looked = asyncio.Event()
        self._closed = False

    def full(self, token: str | None) -> bool:
        """Whether nobody more may listen, or nobody more with a token; without one they are on this machine."""
        theirs = sum(one.token == token for one in self._listeners) if token is not None else 0
        return self._closed or len(self._listeners) >= MOST_LISTENERS or theirs >= MOST_OF_ONE

    def close(self) -> None:
        """Let everybody hear that it is over, and nobody listen any more."""
        self._closed = True
        self._looked.set()  # also those who wait for a store that does not answer
        for one in self._listeners:
            one.end()

    @contextmanager
    def listening(self, token: str | None = None) -> Iterator[Listener]:
        """Hold a listener's place."""
        one = Listener(token)
        self._listeners.add(one)
        if self._task is None:
            self._looked = asyncio.Event()
            self._task = asyncio.create_task(self._watch())
        try:
            yield one
        finally:
            self._listeners.discard(one)
            if not self._listeners and self._task is not None:
                self._task.cancel()
                self._task = None

    async def begun(self) -> None:
        """Wait until the first look: what changes from then on is told."""
        await self._looked.wait()

    async def _watch(self) -> None:
        try:
            before = await self._look()
            self._looked.set()
            while True:
                began_s = time.monotonic()
                now = await self._look()
                if events := _told(before, now, iso_time(self._house.clock())):
                    for one in self._listeners:
                        one.tell(events)
                before = now
                await asyncio.sleep(max(EVERY_S, PAUSES * (time.monotonic() - began_s)))
        except Exception:
            log.exception("changes are not told any more to the %d who listen", len(self._listeners))
            for one in self._listeners:
                one.end()
            self._looked.set()
            self._task = None

    async def _look(self) -> dict[str, Any]:
        """Return what changes are seen by; waits for a store that does not answer."""
        while True:
            try:
                return await run_in_threadpool(self._seen)
            except (StoreUnavailable, StoreUnusable) as error:
                log.warning("whether anything changed is not known: %s", error)
                await asyncio.sleep(PAUSES * EVERY_S)

    def _seen(self) -> dict[str, Any]:
        journal, farm = self._house.journal, self._house.farm.name
        return {
            READINGS: self._house.store.as_arrived.latest(farm),
            ALARMS: journal.alarms.state(farm),
            FINDINGS: journal.findings.state(farm),
            JOURNAL: journal.log.state(farm),
        }


def _told(before: Mapping[str, Any], now: Mapping[str, Any], at: str) -> dict[str, dict[str, Any]]:
    """Return the events that tell the difference, by kind."""
    events: dict[str, dict[str, Any]] = {
        kind: {"time": at} for kind in (ALARMS, FINDINGS, JOURNAL) if before[kind] != now[kind]
    }
    was: dict[Series, Reading] = before[READINGS]
    latest: dict[Series, Reading] = now[READINGS]
    newest = {
        series.key: iso_time(one.time_us)
        for series, one in latest.items()
        if series not in was or was[series].time_us != one.time_us
    }
    return events | ({READINGS: {"time": at, "newest": newest}} if newest else {})
