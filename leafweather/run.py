"""The only wiring: store, journal, arrival, subscriber, watch and API made into one service."""

from __future__ import annotations

import logging
import threading
import time
from contextlib import ExitStack
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Self

from filelock import FileLock, Timeout

from api.house import House
from farm.check import Description
from farm.readings import instant, iso_time
from handover.archive import remove_leftovers
from ingest.arrival import Arrival
from ingest.counts import TopicCount
from ingest.subscriber import Subscriber
from leafweather.broker_link import broker_of
from leafweather.link_key import link_key
from leafweather.listening import access_of, listening_socket, server_of, somebody_may_come_in
from leafweather.memory import give_memory_back
from leafweather.outside import BadOutside, channels_of, pulse_of
from leafweather.second_process import opened_beside
from leafweather.settings import Settings
from leafweather.starting import CannotStart, made_folder
from leafweather.store_commands import DAY_US, SEAL_LAG_DAYS
from leafweather.telling import KEEPS_UP_S, Telling
from store.contract import StoreUnavailable, StoreUnusable
from store.embedded import EmbeddedStore
from store.open import open_both
from store.retention import Retention
from watch.jobs import Watch
from watch.pace import Pace

TOPICS_SHOWN = 20  # in the health's answer; /metrics has them all
KEEPING_S = 600.0  # between rounds of keeping the store
LOCK = "leafweather.lock"
LATE_US = 300_000_000  # an hour is summed up this long after its end, when most of its readings are in
_log = logging.getLogger(__name__)


def now_us() -> int:
    """Return the wall clock as microseconds since 1970 UTC."""
    return time.time_ns() // 1000


class Service:
    """One farm's service: receives, stores, watches and answers, until stopped.

    Use it as a context manager: entering starts it, leaving stops it cleanly.
    """

    def __init__(self, description: Description, settings: Settings) -> None:
        farm, access = description.farm, access_of(settings)
        broker = broker_of(settings, farm.name)
        try:
            channels, pulse = channels_of(farm.notices, settings), pulse_of(settings)
        except BadOutside as error:
            raise CannotStart(str(error)) from error
        with ExitStack() as undo:  # what is held already is let go where the service cannot start
            self._socket = listening_socket(settings.host, settings.port)
            undo.callback(self._socket.close)
            folder = made_folder(settings.data)
            self._locks = [_held_alone(folder, LOCK)]
            undo.callback(self._let_go)
            try:
                self.store, self.journal = open_both(settings.store, folder)
            except ValueError as error:
                raise CannotStart(f"LEAFWEATHER_STORE: {error}") from error
            undo.callback(self.store.close)
            undo.callback(self.journal.close)
            somebody_may_come_in(access, self.journal, farm.name, now_us())
            if isinstance(self.store, EmbeddedStore) and self.store.folder.resolve() != folder:
                self._locks.append(_held_alone(self.store.folder, f"{farm.name}.{LOCK}"))  # other farms may share it
            undo.pop_all()
        beside = partial(opened_beside, settings.store, folder)
        pace = Pace(settings.pace_s)
        self.watch = Watch(description, self.store, self.journal, now_us, beside, time.monotonic, pace)
        self.farm = farm
        self._stopping = threading.Event()
        self.subscriber = Subscriber(
            broker,
            farm.topic_filters,
            Arrival(farm),
            farm.name,
            self.store,
            self.journal,
            on_commit=self.watch.pace.arrived,
            clock_tolerance_s=farm.wire.clock_tolerance_s,
            most_per_minute=farm.wire.most_messages_per_minute,
        )
        self._watching = threading.Thread(target=self.watch.run, args=(self._stopping,), name="watch", daemon=True)
        self._retention = Retention(settings.keep_measured_days, settings.keep_derived_days, settings.keep_rollup_days)
        self._sealed_on: int | None = None  # day since 1970 of the last sealing
        self._store_trouble: str | None = None
        self._keeping = threading.Thread(target=self._keep_store, name="store", daemon=True)
        self._telling = Telling(
            farm,
            channels,
            pulse,
            settings.page_url,
            self.journal,
            now_us,
            lambda: self.watch.counts.caught_up_us,
            lambda: self.subscriber.counts.last_commit_us,
            lambda: self.watch.counts.broken_since_us,
            link_key(folder),
        )
        remove_leftovers(folder)
        house = House(
            farm, description.sha256, self.watch.readings, self.journal, self.health, now_us, self.topics, folder,
            access,
        )  # fmt: skip
        self._server, self._encrypted = server_of(house, settings), settings.tls_cert is not None
        self._serving = threading.Thread(target=self._serve, name="api", daemon=True)

    @property
    def address(self) -> str:
        """The page's address."""
        host, port = self._socket.getsockname()[:2]
        return f"http{'s' if self._encrypted else ''}://{f'[{host}]' if ':' in host else host}:{port}/"

    @property
    def caught_up(self) -> bool:
        """Whether all that has arrived is stored, and all that follows from it is worked out."""
        if self.subscriber.queued or self.store.touched(self.farm.name, 1) or not self.watch.found:
            return False
        # The sheet of the day that still grows is written once a minute: it may be due again at any time.
        today = instant(now_us()).astimezone(self.farm.farm.zone_info).date()
        return all(day >= today for day in self.journal.stale_days(self.farm.name))

    def __enter__(self) -> Self:
        give_memory_back()
        self._watching.start()
        self._keeping.start()
        self._serving.start()
        self.subscriber.start()
        self._telling.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._server.should_exit = True
        self._telling.stop()
        self._stopping.set()
        self.watch.pace.call()
        self.subscriber.stop()
        self._serving.join()
        self._watching.join()
        self._keeping.join()
        self._shut()

    def _shut(self) -> None:
        self.journal.close()
        self.store.close()
        self._socket.close()
        self._let_go()

    def _let_go(self) -> None:
        for lock in self._locks:
            lock.release()

    def _serve(self) -> None:
        self._server.run(sockets=[self._socket])

    def topics(self) -> list[dict[str, Any]]:
        """Return what came on each topic since the start, the busiest first."""
        return [_topic(one) for one in self.subscriber.topics()]

    def _keep_store(self) -> None:
        """Sum hours up that are over and, once a day, seal days that are long over, until stopped."""
        if not isinstance(self.store, EmbeddedStore):
            return  # a server engine keeps itself
        while not self._stopping.wait(KEEPING_S):
            today = now_us() // DAY_US
            try:
                self.store.roll_up_due(self.farm.name, now_us() - LATE_US)
                if self._sealed_on != today:
                    self.store.seal_due(self.farm.name, (today - SEAL_LAG_DAYS) * DAY_US)
                    self.store.drop_due(self.farm.name, now_us(), self._retention)
                self._sealed_on, self._store_trouble = today, None
            except (StoreUnavailable, StoreUnusable) as error:  # readings are safe; the next round tries again
                self._store_trouble = f"old days are not sealed: {error}"
                _log.warning("%s", self._store_trouble)

    def health(self) -> dict[str, Any]:
        """Return how the service is doing, in the shape that the API shows."""
        counts, watch = self.subscriber.counts, self.watch.counts
        try:
            waiting, store_trouble = bool(self.store.touched(self.farm.name, 1)), None
        except (StoreUnavailable, StoreUnusable) as error:
            waiting, store_trouble = True, str(error)
        notices, told = self._telling.health()
        behind_s = self._telling.behind_s()
        troubles = [
            text
            for text in (
                None if self.subscriber.connected else self.subscriber.trouble,
                counts.waiting_for_store,
                store_trouble,
                watch.trouble,
                *watch.broken.values(),
                None if self.subscriber.alive else "the thread that stores readings has died: restart Leafweather",
                None if self._watching.is_alive() else "the watch has died: restart Leafweather",
                self._store_trouble,
                None if behind_s <= KEEPS_UP_S else f"the watch is {behind_s:.0f} s behind what arrived",
                *told,
            )
            if text
        ]
        ingest = asdict(counts)
        ingest["last_commit"] = _iso(ingest.pop("last_commit_us"))
        return {
            "status": "degraded" if troubles else "ok",
            "time": iso_time(now_us()),
            "troubles": troubles,
            "broker": {"connected": self.subscriber.connected},
            "ingest": {
                **ingest,
                "queued": self.subscriber.queued,
                "flooding": self.subscriber.topics.flooding(now_us()),
                "topics": self.topics()[:TOPICS_SHOWN],
            },
            "watch": {
                "rounds": watch.rounds,
                "notes": watch.notes,
                "last_round": _iso(watch.last_round_us),
                "work_waiting": waiting,
                "behind_s": behind_s,
                "keeps_up": behind_s <= KEEPS_UP_S,
            },
            "notices": notices,
        }


def _topic(one: TopicCount) -> dict[str, Any]:
    shown = {name: getattr(one, name) for name in ("topic", "messages", "readings", "refused", "bytes", "over_rate")}
    return {**shown, "last": iso_time(one.last_us)}


def _iso(time_us: int | None) -> str | None:
    return None if time_us is None else iso_time(time_us)


def _held_alone(folder: Path, name: str) -> FileLock:
    """Return a lock that is ours while this process lives: two services would undo each other's work."""
    lock = FileLock(folder / name)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise CannotStart(
            f"another Leafweather works on {folder}: stop it, or choose another folder with --data (for the readings "
            "LEAFWEATHER_STORE, if it is set)"
        ) from error
    return lock
