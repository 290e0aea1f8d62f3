"""Publishing to a real broker, which is stopped and started again."""

from __future__ import annotations

import json
import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from simulator import publish, source
from simulator.demo import demo_farm
from simulator.farms import invented_farm
from simulator.faults import Fault, FaultKind
from simulator.publish import Publisher, PublishError
from simulator.simulation import Simulation
from simulator.source import Source

START = datetime(2026, 2, 2, tzinfo=UTC)
NAME = "northern-demo"
MINUTE = timedelta(minutes=1)


def simulated(seed=1, faults=(), **options):
    return [Source(Simulation(demo_farm(), seed=seed, start=START, faults=faults), **options)]


def eventually(check, within_s=20.0):
    deadline = time.monotonic() + within_s
    while not check():
        assert time.monotonic() < deadline, f"not within {within_s} s"
        time.sleep(0.02)


class Subscriber:
    """Keeps (name, time) -> value of everything that arrives; its session outlives a broken connection."""

    def __init__(self, port: int) -> None:
        self.readings: dict[tuple[str, float], object] = {}
        self.sizes: list[int] = []
        self.order: list[float] = []
        self.topics: dict[str, int] = {}
        self.subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="test-subscriber", clean_session=False)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe("leafweather/#", qos=1)
        self._client.on_subscribe = lambda *_: self.subscribed.set()
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self.subscribed.wait(10)

    def _take(self, _client, _data, message) -> None:
        self.topics[message.topic] = self.topics.get(message.topic, 0) + 1
        self.sizes.append(len(message.payload))
        base, when = "", 0.0
        for record in json.loads(message.payload):
            base, when = record.get("bn", base), record.get("bt", when)
            self.order.append(when)
            self.readings[base + record["n"], when] = record.get("v", record.get("vb"))

    @property
    def minutes(self) -> set[float]:
        return {when for _, when in self.readings.copy()}

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def subscribed(port: int) -> Iterator[Subscriber]:
    subscriber = Subscriber(port)
    try:
        yield subscriber
    finally:
        subscriber.close()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_backfill_arrives_whole(mosquitto, protocol):
    until = START + timedelta(hours=5, seconds=30)
    seen = []
    with subscribed(mosquitto.port) as subscriber:
        with Publisher("127.0.0.1", mosquitto.port, NAME, protocol=protocol) as publisher:
            assert publisher.backfill(simulated(), until, seen.append, threading.Event())
        wanted = {
            (one.key, (START + minute * MINUTE).timestamp()) for one in demo_farm().series for minute in range(1, 301)
        }
        eventually(lambda: len(subscriber.readings) == len(wanted))
        assert set(subscriber.readings) == wanted
        assert max(subscriber.sizes) < 250_000
        assert set(subscriber.topics) == {"leafweather/northern-demo/sensors"}
        per_message = source.RECORDS_PER_MESSAGE // len(demo_farm().series)
        assert len(subscriber.sizes) == math.ceil(300 / per_message)
    assert seen == sorted(seen)
    assert seen[-1] == START + 300 * MINUTE


def test_a_later_run_goes_on_where_the_first_ended(mosquitto):
    port = mosquitto.port
    middle, end = START + 100 * MINUTE, START + 150 * MINUTE
    with subscribed(port) as whole, Publisher("127.0.0.1", port, NAME) as publisher:
        assert publisher.backfill(simulated(), end, lambda _: None, threading.Event())
        eventually(lambda: len(whole.minutes) == 150)
        expected = dict(whole.readings)
    with subscribed(port) as second, Publisher("127.0.0.1", port, NAME) as publisher:
        assert publisher.backfill(simulated(), end, lambda _: None, threading.Event(), publish_after=middle)
        eventually(lambda: len(second.minutes) == 50)
        assert second.readings == {
            (name, when): value for (name, when), value in expected.items() if when > middle.timestamp()
        }


def test_live_goes_on_after_the_broker_was_away(mosquitto):
    clock = [START]
    stop = threading.Event()
    with (
        subscribed(mosquitto.port) as subscriber,
        Publisher("127.0.0.1", mosquitto.port, NAME, clock=lambda: clock[0]) as publisher,
    ):
        worker = threading.Thread(target=publisher.live, args=(simulated(), stop))
        worker.start()
        try:
            clock[0] += 5 * MINUTE
            eventually(lambda: len(subscriber.minutes) == 5)
            mosquitto.stop()
            clock[0] += 30 * MINUTE
            time.sleep(0.5)
            assert len(subscriber.minutes) == 5
            mosquitto.start()
            eventually(lambda: len(subscriber.minutes) == 35)
            clock[0] += MINUTE
            eventually(lambda: len(subscriber.minutes) == 36)
        finally:
            stop.set()
            worker.join(10)
        assert not worker.is_alive()
        assert len(subscriber.readings) == 36 * len(demo_farm().series)
        assert publisher.dropped == 0


def test_live_counts_what_it_must_drop(mosquitto, monkeypatch):
    monkeypatch.setattr(publish, "UNSENT_SNAPSHOTS", 10)
    clock = [START]
    stop = threading.Event()
    with (
        subscribed(mosquitto.port) as subscriber,
        Publisher("127.0.0.1", mosquitto.port, NAME, clock=lambda: clock[0]) as publisher,
    ):
        mosquitto.stop()
        eventually(lambda: not publisher.connected)
        worker = threading.Thread(target=publisher.live, args=(simulated(), stop))
        worker.start()
        try:
            clock[0] += 40 * MINUTE
            eventually(lambda: publisher.dropped == 30)
            mosquitto.start()
            eventually(lambda: len(subscriber.minutes) == 10)
        finally:
            stop.set()
            worker.join(10)
        assert subscriber.minutes == {(START + minute * MINUTE).timestamp() for minute in range(31, 41)}
        assert publisher.dropped == 30


def test_a_backfill_waits_for_the_broker_and_then_ends(mosquitto):
    begun = threading.Event()
    result = []
    with Publisher("127.0.0.1", mosquitto.port, NAME) as publisher:

        def work():
            result.append(
                publisher.backfill(simulated(), START + timedelta(days=4), lambda _: begun.set(), threading.Event())
            )

        worker = threading.Thread(target=work)
        worker.start()
        assert begun.wait(10)
        mosquitto.stop()
        time.sleep(0.7)
        assert worker.is_alive()
        mosquitto.start()
        worker.join(20)
        assert result == [True]


def test_stop_leaves_a_backfill_early(mosquitto):
    stop = threading.Event()
    running = simulated()
    with Publisher("127.0.0.1", mosquitto.port, NAME) as publisher:
        assert not publisher.backfill(running, START + timedelta(days=30), lambda _: stop.set(), stop)
    assert running[0].now < START + timedelta(days=1)


def test_a_cut_link_brings_the_new_first_and_then_all_that_it_held(mosquitto):
    cut = Fault(FaultKind.LINK_CUT, START + 20 * MINUTE, START + 50 * MINUTE, 0.0)
    order = []
    with subscribed(mosquitto.port) as subscriber:
        subscriber.order = order
        with Publisher("127.0.0.1", mosquitto.port, NAME) as publisher:
            assert publisher.backfill(simulated(faults=[cut]), START + 60 * MINUTE, lambda _: None, threading.Event())
        eventually(lambda: len(subscriber.minutes) == 60)
    minutes = [round((when - START.timestamp()) / 60) for when in order]
    assert list(dict.fromkeys(minutes)) == [*range(1, 20), 50, *range(20, 50), *range(51, 61)]


def test_many_farms_share_a_connection(mosquitto):
    made = [invented_farm(seed).farm for seed in (1, 2, 3)]
    sources = [Source(Simulation(farm, seed=number, start=START)) for number, farm in enumerate(made)]
    topics = {}
    with subscribed(mosquitto.port) as subscriber:
        subscriber.topics = topics
        with Publisher("127.0.0.1", mosquitto.port, "many") as publisher:
            assert publisher.backfill(sources, START + 10 * MINUTE, lambda _: None, threading.Event())
        eventually(lambda: len(topics) == 3)
    assert set(topics) == {f"leafweather/{farm.name}/sensors" for farm in made}


def test_a_speed_makes_time_go_faster_and_the_end_is_kept(mosquitto):
    began = datetime(2026, 5, 5, tzinfo=UTC)
    clock = [began]
    sources = simulated(until=START + 90 * MINUTE, speed=60.0, began=began)
    with (
        subscribed(mosquitto.port) as subscriber,
        Publisher("127.0.0.1", mosquitto.port, NAME, clock=lambda: clock[0]) as publisher,
    ):
        worker = threading.Thread(target=publisher.live, args=(sources, threading.Event()))
        worker.start()
        clock[0] += MINUTE
        eventually(lambda: len(subscriber.minutes) == 60)
        time.sleep(0.6)
        assert len(subscriber.minutes) == 60
        clock[0] += MINUTE
        worker.join(20)
        assert not worker.is_alive()
        eventually(lambda: len(subscriber.minutes) == 90)


def test_no_broker_is_a_clear_error(mosquitto):
    mosquitto.stop()
    with (
        pytest.raises(PublishError, match=f"no MQTT broker answers at 127.0.0.1:{mosquitto.port}.*start one"),
        Publisher("127.0.0.1", mosquitto.port, NAME),
    ):
        pass
