"""Simulated farms' readings, published over MQTT as SenML JSON."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from queue import Empty, SimpleQueue
from threading import Event
from typing import Literal, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from simulator.source import Source

log = logging.getLogger(__name__)

MAX_IN_FLIGHT = 8  # messages sent and not yet acknowledged
UNSENT_SNAPSHOTS = 1440  # a day, kept while the broker is away
TURN_MINUTES = 60  # that a farm is run at once
CONNECT_S = 10.0
LAST_WORDS_S = 5.0  # how long leaving waits for acknowledgements
POLL_S = 0.25
RECONNECT_MOST_S = 15
CONTENT_TYPE = "application/senml+json"

Protocol = Literal["5", "3.1.1"]


class PublishError(Exception):
    """The broker cannot be reached or refuses us; the message says which and what to do."""


def _wall_clock() -> datetime:
    return datetime.now(UTC)


class Publisher:
    """Publishes simulated farms at QoS 1, each to ``leafweather/<farm>/sensors``; use in ``with``.

    Parameters
    ----------
    host, port : str, int
        The broker. Plain TCP without a login: meant for a broker on this machine.
    name : str
        Tells this publisher from others at the broker.
    protocol : "5" or "3.1.1"
        MQTT version.
    clock : callable
        What ``live`` takes for now.

    Attributes
    ----------
    dropped : int
        Snapshots that ``live`` had to give up because the broker was away too long.
    """

    def __init__(
        self,
        host: str,
        port: int,
        name: str,
        *,
        protocol: Protocol = "5",
        clock: Callable[[], datetime] = _wall_clock,
    ) -> None:
        self.dropped = 0
        self._where = f"{host}:{port}"
        self._address = (host, port)
        self._clock = clock
        self._in_flight: set[int] = set()
        # Filled by the network thread; a queue, because the client holds its own lock while it calls us.
        self._acknowledged: SimpleQueue[tuple[int, str]] = SimpleQueue()
        self._connected = Event()
        self._answered = Event()
        self._refusal = ""
        self._properties: Properties | None = None
        if protocol == "5":
            self._properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # the client's own
            self._properties.ContentType = CONTENT_TYPE
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"leafweather-simulator-{name}-{os.getpid()}",
            protocol=MQTTProtocolVersion.MQTTv5 if protocol == "5" else MQTTProtocolVersion.MQTTv311,
        )
        self._client.max_inflight_messages_set(MAX_IN_FLIGHT)
        self._client.reconnect_delay_set(1, RECONNECT_MOST_S)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish

    def __enter__(self) -> Self:
        try:
            self._client.connect(*self._address)
        except OSError as error:
            raise PublishError(
                f"no MQTT broker answers at {self._where} ({error}): start one there or give its address"
            ) from error
        self._client.loop_start()
        if not self._answered.wait(CONNECT_S) or self._refusal:
            self._client.loop_stop()
            reason = self._refusal or f"no answer within {CONNECT_S:g} s"
            raise PublishError(f"the MQTT broker at {self._where} did not let us in: {reason}")
        return self

    def __exit__(self, *exc: object) -> None:
        if self.connected:
            self._collect_until_empty(LAST_WORDS_S)
        if self._in_flight:
            log.warning("%d messages to %s were not acknowledged", len(self._in_flight), self._where)
        self._client.disconnect()
        self._client.loop_stop()

    def backfill(
        self,
        sources: Sequence[Source],
        until: datetime,
        on_progress: Callable[[datetime], None],
        stop: Event,
        publish_after: datetime | None = None,
    ) -> bool:
        """Run simulations up to ``until`` as fast as the broker takes them, many minutes a message.

        Farms take turns, an hour each, so that their times go up together.

        Parameters
        ----------
        sources : sequence of Source
            Moved on in place, by whole minutes, never past ``until``.
        until : datetime
            Last instant wanted, aware.
        on_progress : callable
            Told the simulated time after each message.
        stop : threading.Event
            Set it to leave early.
        publish_after : datetime, optional
            What arrives up to this instant is simulated and not published: to go on with an earlier
            run, give sources with that run's description, seed, start and faults.

        Returns
        -------
        complete : bool
            True when everything was published and acknowledged; False after ``stop``.

        Raises
        ------
        PublishError
            If the broker refuses a message. While it is away, this waits.
        """
        running = list(sources)
        while running and not stop.is_set():
            for source in running:
                source.run(min(TURN_MINUTES, source.minutes_to(until)), publish_after)
                while len(source.unsent) >= source.per_message and not stop.is_set():
                    self._send_when_room(source, stop)
                    on_progress(source.now)
            running = [source for source in running if source.minutes_to(until)]
        for source in sources:
            while source.unsent and not stop.is_set():
                self._send_when_room(source, stop)
        while self._in_flight and not stop.is_set():
            self._collect(POLL_S)
        if sources:
            on_progress(min(source.now for source in sources))
        return not stop.is_set()

    def live(self, sources: Sequence[Source], stop: Event) -> None:
        """Publish each minute when its time has come, until ``stop`` is set or every source has reached its end.

        A simulation that is behind the clock catches up first. While the broker is away, up to
        UNSENT_SNAPSHOTS of each farm wait; beyond that the oldest are dropped and counted in ``dropped``.

        Raises
        ------
        PublishError
            If the broker refuses a message.
        """
        while not stop.is_set():
            wall = self._clock()
            waits = [POLL_S]
            for source in sources:
                due = source.minutes_due(wall)
                full = len(source.unsent) >= UNSENT_SNAPSHOTS
                if due > 0 and not (full and self.connected):
                    source.run(min(due, TURN_MINUTES))
                    self._drop_oldest(source)
                    waits.append(0.0)
                elif due == 0:
                    waits.append(source.wait_s(wall))
                self._send_ready(source)
            if all(source.over for source in sources):
                break
            self._collect(max(0.0, min(waits)))
        while self._in_flight and not stop.is_set():
            self._collect(POLL_S)
        if left := sum(len(source.unsent) for source in sources):
            log.warning("%d snapshots were still unsent when told to stop", left)

    @property
    def connected(self) -> bool:
        """Whether the broker is there now."""
        return self._connected.is_set()

    def _drop_oldest(self, source: Source) -> None:
        """Give up what is too much to keep while the broker is away."""
        before = self.dropped
        while len(source.unsent) > UNSENT_SNAPSHOTS:
            source.unsent.popleft()
            self.dropped += 1
        if self.dropped > before:
            log.warning("broker %s is away: %d snapshots dropped so far", self._where, self.dropped)

    def _send_ready(self, source: Source) -> None:
        """Send what waits, as far as the broker is there and has room."""
        self._collect(0.0)
        while source.unsent and self.connected and len(self._in_flight) < MAX_IN_FLIGHT:
            self._send(source)

    def _send_when_room(self, source: Source, stop: Event) -> None:
        """Send a message once fewer than MAX_IN_FLIGHT are under way."""
        self._collect(0.0)
        while not (self.connected and len(self._in_flight) < MAX_IN_FLIGHT):
            if stop.is_set():
                return
            self._collect(POLL_S)
        self._send(source)

    def _send(self, source: Source) -> None:
        """Hand a message to the client, which sends it again after a broken connection."""
        self._in_flight.add(
            self._client.publish(source.topic, source.next_message(), qos=1, properties=self._properties).mid
        )

    def _collect(self, wait_s: float) -> None:
        """Take in acknowledgements, waiting up to ``wait_s`` for the first."""
        try:
            mid, refusal = self._acknowledged.get(wait_s > 0.0, wait_s or None)
            while True:
                self._in_flight.discard(mid)
                if refusal:
                    raise PublishError(f"the broker at {self._where} refuses messages: {refusal}")
                mid, refusal = self._acknowledged.get_nowait()
        except Empty:
            return

    def _collect_until_empty(self, wait_s: float) -> None:
        """Wait for every acknowledgement, but not for ever."""
        deadline = _wall_clock().timestamp() + wait_s
        while self._in_flight and _wall_clock().timestamp() < deadline:
            self._collect(POLL_S)

    def _on_connect(
        self, _client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._refusal = str(reason) if reason.is_failure else ""
        if not reason.is_failure:
            self._connected.set()
        self._answered.set()

    def _on_disconnect(
        self, _client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._connected.clear()
        log.info("connection to %s ended: %s", self._where, reason)

    def _on_publish(
        self, _client: mqtt.Client, _data: object, mid: int, reason: ReasonCode, _properties: object
    ) -> None:
        self._acknowledged.put((mid, str(reason) if reason.is_failure else ""))
