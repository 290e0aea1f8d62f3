"""Durable ingest against a subscriber that throws everything away, through a real Mosquitto.

Both drain an offline queue: messages that the broker kept for a session while it was away, so that no
publisher competes for the processor. They take turns; the median ratio counts. Before that, how fast
each form of payload is decoded and checked, without broker or store.

    python bench/ingest.py [--quick]
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import cbor2
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

# This file's folder would come first and hide the package of its name.
sys.path[0] = str(Path(__file__).resolve().parent.parent)

from farm.check import check_text
from ingest.arrival import Arrival
from ingest.subscriber import GC_THRESHOLD, KEEPALIVE_S, RECEIVE_MAXIMUM, SESSION_EXPIRY_S, Broker, Subscriber
from leafweather.broker import DemoBroker
from store.embedded import EmbeddedStore
from store.journal import Journal

SERIES = 60
RECORDS_A_PACK = 100
ROUNDS = 3
BASE_S = 1_772_366_400  # 2026-03-01T12:00:00Z
NOW_US = (BASE_S + 10**6) * 1_000_000  # later than any of the messages


def bench_farm(more: str = ""):
    text = (
        '[farm]\nname = "bench"\ntitle = "Bench"\ntimezone = "UTC"\n[zones.room]\nkind = "room_air"\nlabel = "Room"\n'
    )
    for n in range(SERIES):
        text += f'[[series]]\nzone = "room"\nquantity = "air_temperature"\nsensor = "s{n}"\n'
    farm, mistakes = check_text(text + more)
    assert farm is not None, mistakes
    return farm


def single(n: int) -> bytes:
    return f'[{{"n":"room/air_temperature/s{n % SERIES}","t":{BASE_S + n // SERIES},"v":{20 + n % 97 / 10}}}]'.encode()


def pack(n: int) -> bytes:
    records = [{"n": f"s{k % SERIES}", "t": k // SERIES, "v": 20 + (n + k) % 97 / 10} for k in range(RECORDS_A_PACK)]
    records[0] |= {"bn": "room/air_temperature/", "bt": BASE_S + 2 * n}
    return json.dumps(records).encode()


def connection(client: mqtt.Client, port: int) -> None:
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = SESSION_EXPIRY_S
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    client.connect("127.0.0.1", port, KEEPALIVE_S, clean_start=False, properties=properties)


def session_client(name: str) -> mqtt.Client:
    return mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTProtocolVersion.MQTTv5)


def fill(port: int, name: str, payloads: list[bytes]) -> None:
    """Leave messages in the broker for the session of a subscriber that is away."""
    subscribed = threading.Event()
    away = session_client(name)
    away.on_subscribe = lambda *_: subscribed.set()
    away.on_connect = lambda client, *_: client.subscribe(f"bench/{name}", qos=1)
    connection(away, port)
    away.loop_start()
    if not subscribed.wait(10):
        sys.exit("the broker did not confirm the subscription")
    away.disconnect()
    away.loop_stop()
    publisher = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    publisher.max_queued_messages_set(0)
    publisher.max_inflight_messages_set(1000)
    publisher.connect("127.0.0.1", port)
    publisher.loop_start()
    for payload in payloads:
        last = publisher.publish(f"bench/{name}", payload, qos=1)
    last.wait_for_publish(120)
    publisher.disconnect()
    publisher.loop_stop()


def throw_away(port: int, name: str, messages: int) -> float:
    """Return the seconds a subscriber needs that acknowledges and forgets."""
    seen = 0
    first = 0.0
    done = threading.Event()

    def on_message(_client, _userdata, _message) -> None:
        nonlocal seen, first
        seen += 1
        if seen == 1:
            first = time.perf_counter()
        if seen == messages:
            done.set()

    client = session_client(name)
    client.on_message = on_message
    connection(client, port)
    client.loop_start()
    if not done.wait(120):
        sys.exit(f"only {seen} of {messages} messages came")
    seconds = time.perf_counter() - first
    client.disconnect()
    client.loop_stop()
    return seconds


def durable(port: int, name: str, messages: int, readings: int, folder: Path) -> float:
    """Return the seconds until every reading is on disk and acknowledged."""
    farm = bench_farm()
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        first: list[float] = []
        arrival = Arrival(farm)
        read = arrival.read

        def timed(*message):
            if not first:
                first.append(time.perf_counter())
            return read(*message)

        arrival.read = timed
        broker = Broker("127.0.0.1", port, client_id=name)
        subscriber = Subscriber(broker, [f"bench/{name}"], arrival, farm.name, store, journal, most_per_minute=10**9)
        subscriber.start()
        deadline = time.monotonic() + 120
        while subscriber.counts.readings < readings:
            if time.monotonic() > deadline:
                sys.exit(f"only {subscriber.counts} after 120 s")
            time.sleep(0.002)
        seconds = time.perf_counter() - first[0]
        subscriber.stop()
        assert subscriber.counts.messages >= messages
        return seconds


def measure(port: int, kind: str, payloads: list[bytes], per_message: int, folder: Path) -> tuple[float, float]:
    """Return the median ratio and our median readings per second."""
    ratios, speeds = [], []
    for turn in range(ROUNDS):
        names = (f"{kind}-away-{turn}", f"{kind}-ours-{turn}")
        for name in names:
            fill(port, name, payloads)
        place = folder / names[1]
        place.mkdir()
        base = throw_away(port, names[0], len(payloads))
        ours = durable(port, names[1], len(payloads), len(payloads) * per_message, place)
        ratios.append(base / ours)
        speeds.append(len(payloads) * per_message / ours)
        print(f"{kind:8} round {turn + 1}: thrown away {len(payloads) / base:8,.0f} messages/s, "
              f"durable {len(payloads) / ours:8,.0f} messages/s = {speeds[-1]:9,.0f} readings/s, "
              f"ratio {ratios[-1]:.2f}")  # fmt: skip
    return statistics.median(ratios), statistics.median(speeds)


RULE = """
[[wire.rules]]
topic = "boxes/{sensor}"
time = "ts"
time_format = "ms"
[[wire.rules.values]]
path = "data.temp"
name = "room/air_temperature/{sensor}"
"""


def decoding(quick: bool) -> list[tuple[str, float]]:
    """Return how many readings a second each form of payload yields, decoded and checked."""
    packs = [pack(n) for n in range(500 if quick else 5_000)]
    labels = {"bn": -2, "bt": -3, "n": 0, "t": 6, "v": 2}
    cbor_packs = [cbor2.dumps([{labels[k]: v for k, v in one.items()} for one in json.loads(each)]) for each in packs]
    singles = [single(n) for n in range(len(packs) * 20)]
    objects = [
        f'{{"ts":{(BASE_S + n) * 1000},"data":{{"temp":{20 + n % 97 / 10}}}}}'.encode() for n in range(len(singles))
    ]
    forms = [
        ("senml_json_pack", "bench/x", packs),
        ("senml_cbor_pack", "bench/x", cbor_packs),
        ("senml_json_single", "bench/x", singles),
        ("json_by_rule", "boxes/s1", objects),
    ]
    found = []
    for name, topic, payloads in forms:
        arrival = Arrival(bench_farm(RULE))
        speeds = []
        for _ in range(ROUNDS):
            start = time.perf_counter()
            readings = sum(len(arrival.read(topic, payload, NOW_US).readings) for payload in payloads)
            speeds.append(readings / (time.perf_counter() - start))
        assert readings >= len(payloads)
        found.append((f"ingest_decode_{name}", statistics.median(speeds)))
        print(f"decoded and checked, {name:18} {found[-1][1]:11,.0f} readings/s")
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description="Durable ingest against a throw-away subscriber.")
    parser.add_argument("--quick", action="store_true", help="fewer messages, under 50 s")
    quick = parser.parse_args().quick
    gc.set_threshold(GC_THRESHOLD, *gc.get_threshold()[1:])  # as the service has it
    decoded = decoding(quick)
    singles = [single(n) for n in range(10_000 if quick else 60_000)]
    packs = [pack(n) for n in range(2_000 if quick else 20_000)]
    with tempfile.TemporaryDirectory() as folder, DemoBroker(Path(folder), 0) as broker:
        if broker.protocol != "5":
            sys.exit("this benchmark needs Mosquitto: install Debian's package mosquitto")
        single_ratio, single_speed = measure(broker.port, "single", singles, 1, Path(folder))
        pack_ratio, pack_speed = measure(broker.port, "pack", packs, RECORDS_A_PACK, Path(folder))
    print(f"ingest_single_ratio {single_ratio:.3f} 1")
    print(f"ingest_pack_ratio {pack_ratio:.3f} 1")
    print(f"ingest_single_messages_per_s {single_speed:.0f} 1/s")
    print(f"ingest_pack_readings_per_s {pack_speed:.0f} 1/s")
    for name, speed in decoded:
        print(f"{name}_per_s {speed:.0f} 1/s")


if __name__ == "__main__":
    main()
