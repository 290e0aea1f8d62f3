"""The broker connection: bounded queue, batch, durable commit, and only then the acknowledgement."""

from __future__ import annotations

import gc
import logging
import queue
import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from farm.readings import Reading
from farm.wire import DEFAULT_CLOCK_TOLERANCE_S, DEFAULT_MOST_PER_MINUTE
from ingest.arrival import Arrival
from ingest.batch import Batch, Message
from ingest.intake import Intake, Stopped
from store.contract import ReadingStore
from store.journal import Journal

logger = logging.getLogger(__name__)

BATCH_MESSAGES = 500
BATCH_READINGS = 20_000
BATCH_BYTES = 16 * 1024 * 1024
RECEIVE_MAXIMUM = 2 * BATCH_MESSAGES  # messages the broker may leave unacknowledged
QUEUE_MESSAGES = 4 * RECEIVE_MAXIMUM  # brokers may overrun the receive maximum; past this the socket waits
QUEUE_BYTES = 64 * 1024 * 1024  # nor do big messages that wait for the store fill the memory; our choice, no source
GC_THRESHOLD = 50_000  # objects that may come before the cycle collector looks at them; Python's is 700
LINGER_S = 0.05  # how long a batch waits for company
FULL_PAUSE_S = 0.01  # between looks whether a full queue has room again
PAUSE_S = 0.005  # between looks for it
SESSION_EXPIRY_S = 7 * 24 * 3600
KEEPALIVE_S = 60
QUIET_US = 1_000_000  # a pause this long ends the rush of what the broker kept for us while we were away
RETAINED_NOT_WANTED = 2  # MQTT 5, 3.8.3.1: do not send retained messages when subscribing


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the messages come from."""

    host: str = "127.0.0.1"
    port: int = 1883
    client_id: str = "leafweather"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    protocol_5: bool = True
    tls: ssl.SSLContext | None = field(default=None, repr=False)


class Subscriber:
    """Receives a farm's messages and stores their readings, losing none and storing none twice.

    A message is acknowledged after its readings, and the rejects it caused, are durable. Until
    then the broker keeps it for our persistent session and sends it again. ``on_commit`` is called
    with the readings of each batch of which something was stored.
    """

    def __init__(
        self,
        broker: Broker,
        topics: Sequence[str],
        arrival: Arrival,
        farm: str,
        store: ReadingStore,
        journal: Journal,
        *,
        now_us: Callable[[], int] = lambda: time.time_ns() // 1000,
        on_commit: Callable[[Sequence[Reading]], None] = lambda _: None,
        clock_tolerance_s: float = DEFAULT_CLOCK_TOLERANCE_S,
        most_per_minute: int = DEFAULT_MOST_PER_MINUTE,
    ) -> None:
        self._broker, self._topics = broker, topics
        self._intake = Intake(
            arrival, farm, store, journal, clock_tolerance_s=clock_tolerance_s, most_per_minute=most_per_minute
        )
        self.counts, self.topics = self._intake.counts, self._intake.topics
        self._now_us, self._on_commit = now_us, on_commit
        self._queue: queue.SimpleQueue[Message] = queue.SimpleQueue()  # bounded by us: see _on_message
        self._bytes_in = self._bytes_out = 0  # of the queue; each is written by one thread
        self._durable: deque[Message] = deque()  # waits to be acknowledged, without its payload
        self._in_hand = 0  # messages of the batch being made durable
        self._stopping = threading.Event()
        self._generation = 0
        self._catching_up = False
        self._last_message_us = 0
        self._worker = threading.Thread(target=self._work, name="ingest", daemon=True)
        self._client = self._made_client()
        self.connected = False
        self.trouble: str | None = "not connected yet"

    def start(self) -> None:
        """Connect in the background, again and again until it succeeds, and begin to store.

        The process's cycle collector is made to run less often: a batch is tens of thousands of small
        tuples without a cycle among them, and looking at each several times cost a third of our speed.
        """
        gc.set_threshold(GC_THRESHOLD, *gc.get_threshold()[1:])
        self._worker.start()
        address = (self._broker.host, self._broker.port, KEEPALIVE_S)
        if self._broker.protocol_5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = SESSION_EXPIRY_S
            properties.ReceiveMaximum = RECEIVE_MAXIMUM
            self._client.connect_async(*address, clean_start=False, properties=properties)
        else:
            self._client.connect_async(*address)
        self._client.loop_start()

    def stop(self) -> None:
        """Finish the batch in hand and disconnect; the broker keeps the session, and what waits in it."""
        self._stopping.set()
        self._worker.join()
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def queued(self) -> int:
        """Messages received and not durable yet."""
        return self._queue.qsize() + self._in_hand

    @property
    def _full(self) -> bool:
        return self._queue.qsize() >= QUEUE_MESSAGES or self._bytes_in - self._bytes_out >= QUEUE_BYTES

    @property
    def alive(self) -> bool:
        """Whether the thread that stores is running."""
        return self._worker.is_alive()

    def _made_client(self) -> mqtt.Client:
        five = self._broker.protocol_5
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._broker.client_id,
            clean_session=None if five else False,
            protocol=MQTTProtocolVersion.MQTTv5 if five else MQTTProtocolVersion.MQTTv311,
            manual_ack=True,
        )
        if self._broker.username is not None:
            client.username_pw_set(self._broker.username, self._broker.password)
        if self._broker.tls is not None:
            client.tls_set_context(self._broker.tls)
        client.reconnect_delay_set(1, 30)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        return client

    # Called by the client's network thread.

    def _on_connect(
        self, client: mqtt.Client, _userdata: object, flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        if reason.is_failure:
            self.trouble = f"the broker at {self._broker.host}:{self._broker.port} refuses us: {reason}"
            logger.warning("%s", self.trouble)
            return
        self._generation += 1
        self._catching_up = bool(getattr(flags, "session_present", False))
        self._last_message_us = self._now_us()
        if self._broker.protocol_5:
            options = SubscribeOptions(qos=1, retainHandling=RETAINED_NOT_WANTED)
            client.subscribe([(topic, options) for topic in self._topics])
        else:
            client.subscribe([(topic, 1) for topic in self._topics])
        self.trouble = "the broker has not confirmed our subscription yet"

    def _on_subscribe(
        self, _client: mqtt.Client, _userdata: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        refused = [f"{topic}: {one}" for topic, one in zip(self._topics, reasons, strict=False) if one.is_failure]
        if refused:
            self.trouble = f"the broker refuses our subscription to {'; '.join(refused)}"
            logger.warning("%s", self.trouble)
            return
        self.connected, self.trouble = True, None
        logger.info(
            "receiving %s from the broker at %s:%d", ", ".join(self._topics), self._broker.host, self._broker.port
        )

    def _on_connect_fail(self, _client: mqtt.Client, _userdata: object) -> None:
        by = ", or one whose certificate we do not trust" if self._broker.tls else ""
        self.trouble = f"no broker answers at {self._broker.host}:{self._broker.port}{by}"
        logger.warning("%s; trying again", self.trouble)

    def _on_disconnect(
        self, _client: mqtt.Client, _userdata: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self.connected = False
        if not self._stopping.is_set():
            self.trouble = f"the connection to the broker was lost: {reason}"
            logger.warning("%s; trying again", self.trouble)

    def _on_message(self, client: mqtt.Client, _userdata: object, message: mqtt.MQTTMessage) -> None:
        if message.retain:  # old news: a reading without its own time would get a wrong one
            self.counts.retained += 1
            client.ack(message.mid, message.qos)
            return
        arrived_us = self._now_us()
        if arrived_us - self._last_message_us > QUIET_US:
            self._catching_up = False
        self._last_message_us = arrived_us
        properties = message.properties
        one = Message(
            self._generation,
            message.mid,
            message.qos,
            message.topic,
            bytes(message.payload),
            arrived_us,
            getattr(properties, "ContentType", None) if properties is not None else None,
            self._catching_up or message.dup,
        )
        while self._full and not self._stopping.is_set():
            time.sleep(FULL_PAUSE_S)  # waiting here stops reading the socket: the broker holds the rest
        self._bytes_in += len(one.payload)
        self._queue.put(one)
        self._acknowledge()

    def _acknowledge(self) -> None:
        """Acknowledge what is durable; either thread may call it."""
        while self._durable:
            try:
                message = self._durable.popleft()
            except IndexError:  # the other thread was quicker
                return
            if message.generation == self._generation:
                self._client.ack(message.mid, message.qos)

    # Called by the worker thread.

    def _work(self) -> None:
        while not self._stopping.is_set():
            try:
                first = self._queue.get(timeout=0.2)
            except queue.Empty:
                continue
            self._in_hand = 1
            batch = self._batch(first)
            try:
                stored = self._intake.keep(batch, self._stopping)
            except Stopped:
                return  # what is not acknowledged comes again
            self.counts.last_commit_us = self._now_us()
            self._durable.extend(one._replace(payload=b"") for one in batch.messages)
            if self._queue.empty():  # else the network thread does it, which costs no change of threads
                self._acknowledge()
            if stored:
                self._on_commit(batch.readings)
            self._in_hand = 0

    def _batch(self, first: Message) -> Batch:
        """Return the first message and what came shortly after it, with all that they hold."""
        batch = Batch()
        began = self._bytes_out
        self._read(first, batch)
        deadline = time.monotonic() + LINGER_S
        while (
            len(batch.messages) < BATCH_MESSAGES
            and len(batch.readings) + batch.faults < BATCH_READINGS
            and self._bytes_out - began < BATCH_BYTES
        ):
            try:
                message = self._queue.get_nowait()
            except queue.Empty:
                if time.monotonic() > deadline:
                    break
                time.sleep(PAUSE_S)  # to be woken for every single message would cost more than to read it
                continue
            self._read(message, batch)
            self._in_hand = len(batch.messages)
        return batch

    def _read(self, message: Message, batch: Batch) -> None:
        self._bytes_out += len(message.payload)
        self._intake.read(message, batch)
