"""A soak: a steady stream of readings while the service is killed and the broker restarted at random.

A reading counts as acknowledged when the broker has acknowledged it to the publisher. At the end every
acknowledged reading must be stored, once, with its value. Memory is that of the service's process.

    python bench/soak.py [--quick] [--minutes 30] [--rate 5000] [--seed 1]
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from queue import SimpleQueue

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

# This file's folder would come first and hide packages of its files' names.
ROOT = Path(__file__).resolve().parent.parent
sys.path[0] = str(ROOT)

from farm.readings import Series
from leafweather.broker import DemoBroker
from store.embedded import EmbeddedStore

ZONES = 30  # each with a temperature and a humidity, so that the watch has work too
SERIES = 2 * ZONES
PACK = 50
STEP_S = 0.01  # between two readings of a series
WAVE_S = 1200  # in which temperature and humidity go up and down, as under a thermostat
KILL_EVERY_S = (20, 90)
QUICK_KILL_EVERY_S = (5, 12)


def farm_toml() -> str:
    text = '[farm]\nname = "soak"\ntitle = "Soak"\ntimezone = "UTC"\n'
    for zone in range(ZONES):
        text += f'[zones.z{zone}]\nkind = "room_air"\nlabel = "Z{zone}"\n'
    for zone in range(ZONES):
        for quantity in ("air_temperature", "relative_humidity"):
            text += f'[[series]]\nzone = "z{zone}"\nquantity = "{quantity}"\ncadence_s = 1\n'
    return text


def reading(n: int) -> tuple[str, float, float]:
    """Return name, time after the beginning and value of the n-th reading: all three follow from n."""
    kind, after_s = n % SERIES, round(n // SERIES * STEP_S, 2)
    wave = math.sin(math.tau * after_s / WAVE_S + kind)
    if kind % 2:
        return f"z{kind // 2}/relative_humidity", after_s, round(65 + 4 * wave, 3)
    return f"z{kind // 2}/air_temperature", after_s, round(22 + 2 * wave, 3)


class Stream(threading.Thread):
    """Publishes packs at a steady rate and remembers which the broker acknowledged."""

    def __init__(self, port: int, base_s: float, rate: float) -> None:
        super().__init__(daemon=True)
        self.base_s, self.rate = base_s, rate
        self.acknowledged: set[int] = set()  # packs
        self.published = 0
        self.stopping = threading.Event()
        self._packs: dict[int, int] = {}  # message id -> pack, until acknowledged
        # Filled by the network thread; a queue, because the client holds its own lock while it calls us.
        self._mids: SimpleQueue[int] = SimpleQueue()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id="soak-stream", clean_session=False,
            protocol=MQTTProtocolVersion.MQTTv311,
        )  # fmt: skip
        self._client.max_queued_messages_set(0)
        self._client.max_inflight_messages_set(200)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, _client, _userdata, mid, _reason, _properties) -> None:
        self._mids.put(mid)

    def _collect(self) -> None:
        while not self._mids.empty():
            self.acknowledged.add(self._packs.pop(self._mids.get()))

    def run(self) -> None:
        began = time.monotonic()
        while not self.stopping.is_set():
            due = int((time.monotonic() - began) * self.rate / PACK)
            while self.published < due:
                first = self.published * PACK
                records = [dict(zip("ntv", reading(n), strict=True)) for n in range(first, first + PACK)]
                records[0] |= {"bt": self.base_s}
                info = self._client.publish("leafweather/soak", json.dumps(records), qos=1)
                self._packs[info.mid] = self.published
                self.published += 1
            self._collect()
            time.sleep(0.01)

    def finish(self, within_s: float) -> None:
        self.stopping.set()
        self.join()
        deadline = time.monotonic() + within_s
        while self._packs and time.monotonic() < deadline:
            self._collect()
            time.sleep(0.1)
        self._client.disconnect()
        self._client.loop_stop()


class Served:
    """``leafweather serve`` in a process of its own."""

    def __init__(self, folder: Path, mqtt_port: int) -> None:
        self.folder, self.mqtt_port = folder, mqtt_port
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        (folder / "farm.toml").write_text(farm_toml())
        self.start()

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "leafweather", "serve", str(self.folder / "farm.toml"), "--data",
                 str(self.folder / "data"), "--port", str(self.port), "--mqtt-port", str(self.mqtt_port)],
                stdout=log, stderr=log, cwd=ROOT,
            )  # fmt: skip

    def memory_mb(self) -> float:
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) / 1024
        return float("nan")

    def health(self) -> dict | None:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/api/v1/health", timeout=5) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            return json.load(error)
        except OSError:
            return None

    def kill(self, how: signal.Signals) -> None:
        self.process.send_signal(how)
        self.process.wait(60)


def soak(minutes: float, rate: float, kill_every_s: tuple[int, int], rng: random.Random) -> list[str]:
    memory: list[list[float]] = [[]]  # by life of the service
    kills = restarts = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        broker = DemoBroker(folder, 0)
        broker.__enter__()
        service = Served(folder, broker.port)
        while not ((health := service.health()) and health["broker"]["connected"]):
            time.sleep(0.1)
        base_s = time.time() - minutes * 60 - 3600
        stream = Stream(broker.port, round(base_s), rate)
        stream.start()
        end = time.monotonic() + minutes * 60
        next_fault = time.monotonic() + rng.uniform(*kill_every_s)
        while time.monotonic() < end:
            time.sleep(1)
            if service.process.poll() is not None:
                raise SystemExit(f"the service stopped by itself:\n{(folder / 'log').read_text()[-2000:]}")
            memory[-1].append(service.memory_mb())
            if time.monotonic() < next_fault:
                continue
            if rng.random() < 0.6:
                service.kill(signal.SIGKILL)
                service.start()
                memory.append([])
                kills += 1
            else:
                broker.__exit__()
                broker.__enter__()
                restarts += 1
            next_fault = time.monotonic() + rng.uniform(*kill_every_s)
            print(f"{kills} kills, {restarts} restarts, {stream.published * PACK:,} readings published", flush=True)
        stream.finish(60)
        deadline = time.monotonic() + 120
        newest = None
        while time.monotonic() < deadline:  # until what the broker kept is stored: nothing new for 5 s
            time.sleep(5)
            health = service.health()
            seen = health and (health["ingest"]["messages"], health["ingest"]["queued"])
            if seen and seen == newest and seen[1] == 0 and health["broker"]["connected"]:
                break
            newest = seen
        caught_up_s = 0.0
        began = time.monotonic()
        while (health := service.health()) and health["watch"]["work_waiting"] and caught_up_s < 120:
            time.sleep(0.2)
            caught_up_s = time.monotonic() - began
        service.kill(signal.SIGTERM)
        broker.__exit__()
        lost, wrong, extra = compare(folder / "data", stream)
    lives = [life for life in memory if len(life) > 20]
    for life in lives:
        print(
            f"life of {len(life)} s: {life[10]:.0f} MB after 10 s, {life[-1]:.0f} at its end, {max(life):.0f} at most"
        )
    growth = max((sum(life[-5:]) / 5 - sum(life[10:15]) / 5 for life in lives), default=float("nan"))
    peak = max(max(life) for life in memory if life)
    acknowledged = len(stream.acknowledged) * PACK
    return [
        f"soak_minutes {minutes:g} min",
        f"soak_service_kills {kills} 1",
        f"soak_broker_restarts {restarts} 1",
        f"soak_acknowledged_readings {acknowledged} 1",
        f"soak_lost_readings {lost} 1",
        f"soak_wrong_readings {wrong} 1",
        f"soak_unexpected_readings {extra} 1",
        f"soak_memory_peak_mb {peak:.0f} MB",
        f"soak_memory_growth_mb {growth:.0f} MB",
        f"soak_memory_drift_mb {drift_mb(lives):.0f} MB",
        f"soak_catch_up_s {caught_up_s:.1f} s",
    ]


def drift_mb(lives: list[list[float]]) -> float:
    """Return by how much the peaks of the last third of the lives lie above those of the first third.

    In a life caches fill, up to a bound; memory is flat if a service that goes on with many readings needs no more
    than one that began with few.
    """
    peaks = [max(life) for life in lives]
    third = len(peaks) // 3
    return sum(peaks[-third:]) / third - sum(peaks[:third]) / third if third else float("nan")


def compare(data: Path, stream: Stream) -> tuple[int, int, int]:
    """Return acknowledged readings that are not stored, stored ones with another value, and ones never sent."""
    expected: dict[str, dict[int, float]] = {}
    acknowledged: dict[str, set[int]] = {}
    for pack in range(stream.published):
        for n in range(pack * PACK, (pack + 1) * PACK):
            name, after_s, value = reading(n)
            time_us = round((stream.base_s + after_s) * 1_000_000)
            expected.setdefault(name, {})[time_us] = value
            if pack in stream.acknowledged:
                acknowledged.setdefault(name, set()).add(time_us)
    lost = wrong = extra = 0
    with EmbeddedStore(data) as store:
        for name, values in expected.items():
            columns = store.read(Series.parse("soak", name), 0, 2**62)
            stored = dict(zip(columns.time_us.tolist(), columns.value.tolist(), strict=True))
            if len(stored) != len(columns):
                wrong += len(columns) - len(stored)
            lost += len(acknowledged.get(name, set()) - stored.keys())
            extra += len(stored.keys() - values.keys())
            wrong += sum(values[at] != value for at, value in stored.items() if at in values)
    return lost, wrong, extra


def main() -> None:
    parser = argparse.ArgumentParser(description="Readings at a steady rate through kills and restarts.")
    parser.add_argument("--quick", action="store_true", help="half a minute")
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--rate", type=float, default=5000, help="readings a second")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    minutes = 0.5 if given.quick else given.minutes
    lines = soak(minutes, given.rate, QUICK_KILL_EVERY_S if given.quick else KILL_EVERY_S, random.Random(given.seed))
    print("\n".join(lines))
    if any(line.split()[1] != "0" for line in lines if line.startswith(("soak_lost", "soak_wrong", "soak_unexp"))):
        os._exit(1)


if __name__ == "__main__":
    main()
