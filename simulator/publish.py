"""A simulation's readings, published over MQTT as SenML JSON."""

from __future__ import annotations

import logging
import os
from collections import deque
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

from farm.description import Farm
from simulator.senml import Packer
from simulator.simulation import STEP, Simulation, Snapshot

log = logging.getLogger(__name__)

RECORDS_PER_MESSAGE = 1000
MAX_IN_FLIGHT = 8  # messages sent and not yet acknowledged
UNSENT_SNAPSHOTS = 1440  # a day, kept while the broker is away
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
    """Publishes one simulated farm to ``leafweather/<farm>/sensors`` at QoS 1; use in ``with``.

    Parameters
    ----------
    host, port : str, int
        The broker. Plain TCP without a login: meant for a broker on this machine.
    farm : Farm
        The description that the simulation runs.
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
        farm: Farm,
        *,
        protocol: Protocol = "5",
        clock: Callable[[], datetime] = _wall_clock,
    ) -> None:
        self.topic = f"leafweather/{farm.name}/sensors"
        self.dropped = 0
        self._where = f"{host}:{port}"
        self._address = (host, port)
        self._clock = clock
        self._packer = Packer(farm)
        self._per_message = max(1, RECORDS_PER_MESSAGE // max(1, len(self._packer)))
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
            client_id=f"leafweather-simulator-{farm.name}-{os.getpid()}",
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
        simulation: Simulation,
        until: datetime,
        on_progress: Callable[[datetime], None],
        stop: Event,
        publish_after: datetime | None = None,
    ) -> bool:
        """Run the simulation up to ``until`` as fast as the broker takes it, many minutes a message.

        Parameters
        ----------
        simulation : Simulation
            Moved on in place, by whole minutes, never past ``until``.
        until : datetime
            Last instant wanted, aware.
        on_progress : callable
            Told the simulation's time after each message.
        stop : threading.Event
            Set it to leave early.
        publish_after : datetime, optional
            Readings up to this instant are simulated and not published: to go on with an earlier run,
            give a simulation with that run's description, seed, start and faults.

        Returns
        -------
        complete : bool
            True when everything was published and acknowledged; False after ``stop``.

        Raises
        ------
        PublishError
            If the broker refuses a message. While it is away, this waits.
        """
        waiting: list[Snapshot] = []
        while simulation.now + STEP <= until and not stop.is_set():
            snapshot = simulation.step()
            if publish_after is None or snapshot.time > publish_after:
                waiting.append(snapshot)
            if len(waiting) >= self._per_message:
                self._send_when_room(waiting, stop)
                waiting = []
                on_progress(simulation.now)
        if waiting:
            self._send_when_room(waiting, stop)
        while self._in_flight and not stop.is_set():
            self._collect(POLL_S)
        on_progress(simulation.now)
        return not stop.is_set()

    def live(self, simulation: Simulation, stop: Event) -> None:
        """Publish each minute when its time has come, until ``stop`` is set.

        A simulation that is behind the clock catches up first. While the broker is away, up to
        UNSENT_SNAPSHOTS wait; beyond that the oldest are dropped and counted in ``dropped``.

        Raises
        ------
        PublishError
            If the broker refuses a message.
        """
        unsent: deque[Snapshot] = deque()
        while not stop.is_set():
            wait_s = (simulation.now + STEP - self._clock()).total_seconds()
            full = len(unsent) >= UNSENT_SNAPSHOTS
            if wait_s > 0 or (full and self.connected):
                self._collect(min(POLL_S, wait_s) if wait_s > 0 else POLL_S)
            else:
                if full:
                    unsent.popleft()
                    self.dropped += 1
                    log.warning("broker %s is away: %d snapshots dropped so far", self._where, self.dropped)
                unsent.append(simulation.step())
            self._send_ready(unsent)
        if unsent:
            log.warning("%d snapshots were still unsent when told to stop", len(unsent))

    @property
    def connected(self) -> bool:
        """Whether the broker is there now."""
        return self._connected.is_set()

    def _send_ready(self, unsent: deque[Snapshot]) -> None:
        """Send what waits, as far as the broker is there and has room."""
        self._collect(0.0)
        while unsent and self.connected and len(self._in_flight) < MAX_IN_FLIGHT:
            self._send([unsent.popleft() for _ in range(min(self._per_message, len(unsent)))])

    def _send_when_room(self, snapshots: Sequence[Snapshot], stop: Event) -> None:
        """Send a message once fewer than MAX_IN_FLIGHT are under way."""
        self._collect(0.0)
        while not (self.connected and len(self._in_flight) < MAX_IN_FLIGHT):
            if stop.is_set():
                return
            self._collect(POLL_S)
        self._send(snapshots)

    def _send(self, snapshots: Sequence[Snapshot]) -> None:
        """Hand a message to the client, which sends it again after a broken connection."""
        payload = self._packer.pack(snapshots)
        self._in_flight.add(self._client.publish(self.topic, payload, qos=1, properties=self._properties).mid)

    def _collect(self, wait_s: float) -> None:
        """Take in acknowledgements, waiting up to ``wait_s`` for the first."""
        try:
            mid, refusal = self._acknowledged.get(wait_s > 0.0, wait_s or None)
            while True:
                self._in_flight.discard(mid)
                if refusal:
                    raise PublishError(f"the broker at {self._where} refuses messages to {self.topic}: {refusal}")
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
