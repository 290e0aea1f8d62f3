"""The whole path with real parts: a broker, the service as a process of its own, and HTTP."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import paho.mqtt.client as mqtt
import psychrolib
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from farm.readings import Series
from store.embedded import EmbeddedStore
from tests.conftest import SMALL_FARM, eventually, free_port
from tests.store.disks import filled, small_disk

psychrolib.SetUnitSystem(psychrolib.SI)
ROOT = Path(__file__).parents[1]


class Served:
    """``leafweather serve`` as a process that can be killed and started again."""

    def __init__(self, folder: Path, mqtt_port: int) -> None:
        self.folder, self.mqtt_port, self.port = folder, mqtt_port, free_port()
        (folder / "farm.toml").write_text(SMALL_FARM)
        self.process: subprocess.Popen | None = None
        self.http = httpx.Client(base_url=f"http://127.0.0.1:{self.port}/api/v1", timeout=10)

    def start(self) -> None:
        log = (self.folder / "log").open("ab")
        command = [sys.executable, "-m", "leafweather", "serve", str(self.folder / "farm.toml"),
                   "--data", str(self.folder / "data"), "--port", str(self.port),
                   "--mqtt-port", str(self.mqtt_port)]  # fmt: skip
        self.process = subprocess.Popen(command, stdout=log, stderr=log, cwd=ROOT)
        log.close()
        eventually(self._connected, 20)

    def _connected(self) -> bool:
        assert self.process.poll() is None, self.log
        try:
            return self.http.get("/health").json()["broker"]["connected"]
        except httpx.TransportError:
            return False

    @property
    def log(self) -> str:
        return (self.folder / "log").read_text()

    def latest(self) -> dict[str, dict]:
        return {row["key"]: row for row in self.http.get("/latest").json()["latest"]}

    def end(self, how: signal.Signals = signal.SIGTERM) -> int:
        self.process.send_signal(how)
        return self.process.wait(15)


@pytest.fixture
def served(mosquitto, tmp_path):
    folder = tmp_path / "served"
    folder.mkdir()
    one = Served(folder, mosquitto.port)
    one.start()
    yield one
    if one.process.poll() is None:
        one.end()
    one.http.close()


def publisher(port: int) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.max_queued_messages_set(0)
    client.max_inflight_messages_set(500)
    client.connect("127.0.0.1", port)
    client.loop_start()
    return client


def publish(port: int, topic: str, *payloads: bytes) -> None:
    client = publisher(port)
    for payload in payloads:
        client.publish(topic, payload, qos=1).wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


@pytest.mark.skipif(
    shutil.which("mosquitto_pub") is None, reason="Debian's package mosquitto-clients has mosquitto_pub"
)
def test_a_message_by_hand_appears_with_its_vpd_and_dew_point_within_5_s(served):
    payload = '[{"bn":"room/","n":"air_temperature","u":"Cel","v":24.0},{"n":"relative_humidity","u":"%RH","v":65.0}]'
    began = time.monotonic()
    subprocess.run(
        ["mosquitto_pub", "-p", str(served.mqtt_port), "-q", "1", "-t", "leafweather/by-hand", "-m", payload],
        check=True,
    )
    latest = eventually(lambda: served.latest() if "room/vapour_pressure_deficit" in served.latest() else None, 5)
    assert time.monotonic() - began < 5
    assert latest["room/air_temperature"]["value"] == 24.0
    dew_point = psychrolib.GetTDewPointFromRelHum(24.0, 0.65)
    vpd_kpa = psychrolib.GetSatVapPres(24.0) * 0.35 / 1000
    assert latest["room/dew_point_temperature"]["value"] == pytest.approx(dew_point, abs=1e-3)
    assert latest["room/vapour_pressure_deficit"]["value"] == pytest.approx(vpd_kpa, abs=1e-3)


def test_bad_input_is_refused_with_reasons_and_the_service_lives(served):
    bad = [
        b"not json",
        b'[{"n":"room/air_temperature","v":"warm"},{"n":"room/relative_humidity","v":61}]',
        b'[{"n":"room/air_temperature","v":NaN},{"n":"room/air_temperature","v":1e999}]',
        b'[{"n":"room/air_temprature","v":20}]',
        b'[{"n":"room/air_temperature","u":"kPa","v":20}]',
        b'[{"n":"room/air_temperature","t":7e9,"v":20},{"n":"room/air_temperature","t":3e8,"v":20}]',
        b"[" + b" " * 10_000_000 + b"]",
        b"\x00\xff\xfe",
    ]
    publish(served.mqtt_port, "leafweather/x", *bad)
    publish(served.mqtt_port, "leafweather/x", *2 * [b'[{"n":"row/ppfd","t":1772366400,"v":250}]'])
    publish(served.mqtt_port, "leafweather/x", b'[{"n":"row/ppfd","t":1772366400,"v":251}]')
    counts = eventually(lambda: (c := served.http.get("/rejects").json()["counts"]).get("conflict") and c)
    assert counts == {
        "malformed": 2, "wrong_type": 1, "not_finite": 2, "unknown_name": 1, "wrong_unit": 1,
        "future": 1, "too_old": 1, "too_large": 1, "conflict": 1,
    }  # fmt: skip
    latest = served.latest()
    assert latest["room/relative_humidity"]["value"] == 61, "the good reading in a pack with a bad one is kept"
    assert latest["row/ppfd"]["value"] == 250, "the first of two conflicting readings stands"
    health = served.http.get("/health").json()
    assert (health["status"], health["ingest"]["duplicates"], health["ingest"]["conflicts"]) == ("ok", 1, 1)
    [topic] = health["ingest"]["topics"]
    assert (topic["topic"], topic["messages"], topic["refused"]) == ("leafweather/x", 11, 10)
    metrics = httpx.get(f"http://127.0.0.1:{served.port}/metrics").text
    assert 'leafweather_ingest_conflicts_total{farm="testfarm"} 1.0' in metrics
    assert 'leafweather_topic_messages_total{farm="testfarm",topic="leafweather/x"} 11.0' in metrics
    assert served.end() == 0


@pytest.mark.slow
def test_kill_9_in_a_flood_of_20000_messages_loses_nothing_and_doubles_nothing(served):
    count = 20_000
    base = 1_772_366_400
    client = publisher(served.mqtt_port)

    def flood() -> None:
        for n in range(count):
            payload = f'[{{"n":"room/air_temperature","t":{base + n},"v":{20 + n % 50 / 10}}}]'
            client.publish("leafweather/flood", payload, qos=1)

    flooding = threading.Thread(target=flood)
    flooding.start()
    for share in (0.1, 0.4):
        eventually(
            lambda share=share: served.http.get("/health").json()["ingest"]["readings"] > share * 0.3 * count, 60
        )
        served.end(signal.SIGKILL)
        served.start()
    flooding.join()
    eventually(lambda: client.want_write() is False and len(client._out_messages) == 0, 60)
    client.disconnect()
    client.loop_stop()

    def stored() -> int:
        answer = served.http.get(
            "/series/room/air_temperature/readings",
            params={"start": "2026-03-01T00:00:00Z", "end": "2026-03-02T00:00:00Z", "every": "1d", "raw": True},
        )
        return sum(answer.json()["count"])

    eventually(lambda: stored() == count, 60)
    assert served.end() == 0
    with EmbeddedStore(served.folder / "data") as store:
        columns = store.read(Series.parse("testfarm", "room/air_temperature"), 0, 2**62)
    assert columns.time_us.tolist() == [(base + n) * 1_000_000 for n in range(count)]
    assert columns.value.tolist() == [20 + n % 50 / 10 for n in range(count)]


def test_readings_published_while_the_service_is_away_arrive_when_it_is_back(served):
    served.end()
    publish(served.mqtt_port, "leafweather/x", b'[{"n":"room/air_temperature","v":19.5}]')
    served.start()
    eventually(lambda: served.latest().get("room/air_temperature", {}).get("value") == 19.5)


def test_a_reading_without_a_time_that_waited_in_the_broker_is_flagged(served):
    publish(served.mqtt_port, "plain/co2", b"800")
    eventually(lambda: served.latest().get("room/co2_mole_fraction", {}).get("flag") in (1, 2))
    served.end()
    publish(served.mqtt_port, "plain/co2", b"900")
    served.start()
    row = eventually(lambda: (r := served.latest()["room/co2_mole_fraction"])["value"] == 900 and r)
    assert row["flag"] == 3, "nobody knows when it was measured"
    time.sleep(1.2)
    publish(served.mqtt_port, "plain/co2", b"910")
    row = eventually(lambda: (r := served.latest()["room/co2_mole_fraction"])["value"] == 910 and r)
    assert row["flag"] in (1, 2)


@pytest.mark.slow
def test_a_full_disk_stops_the_acknowledging_and_nothing_is_lost(mosquitto, tmp_path):
    folder = tmp_path / "served"
    folder.mkdir()
    with small_disk(folder / "data", size="8m") as disk:
        served = Served(folder, mosquitto.port)
        served.start()
        publish(served.mqtt_port, "leafweather/x", b'[{"n":"room/air_temperature","t":1772366400,"v":18}]')
        eventually(lambda: served.latest().get("room/air_temperature", {}).get("value") == 18)
        ballast = filled(disk)
        base = 1_772_366_401
        packs = [
            json.dumps([{"n": "room/air_temperature", "t": base + 50 * pack + n, "v": 20} for n in range(50)]).encode()
            for pack in range(40)
        ]
        publish(served.mqtt_port, "leafweather/x", *packs)
        waiting = eventually(lambda: served.http.get("/health").json()["ingest"]["waiting_for_store"], 20)
        assert "free some space" in waiting
        assert served.http.get("/health").status_code == 503
        ballast.unlink()
        eventually(lambda: served.http.get("/health").json()["ingest"]["waiting_for_store"] is None, 20)
        eventually(lambda: served.http.get("/health").json()["ingest"]["readings"] == 2001, 20)
        assert served.end() == 0
        served.http.close()
        with EmbeddedStore(folder / "data") as store:
            columns = store.read(Series.parse("testfarm", "room/air_temperature"), 0, 2**62)
        assert columns.time_us.tolist() == [(1_772_366_400 + n) * 1_000_000 for n in range(2001)]


def test_a_broker_that_goes_away_is_told_and_its_return_noticed(served, mosquitto):
    mosquitto.stop()
    answer = eventually(lambda: (a := served.http.get("/health")).status_code == 503 and a)
    assert any("broker" in text for text in answer.json()["troubles"])
    mosquitto.start()
    eventually(lambda: served.http.get("/health").json()["broker"]["connected"], 20)
    publish(served.mqtt_port, "leafweather/x", b'[{"n":"room/air_temperature","v":18.5}]')
    eventually(lambda: served.latest().get("room/air_temperature", {}).get("value") == 18.5)


def leafweather(*arguments: str, **environment: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "leafweather", *arguments], capture_output=True, text=True, timeout=30, cwd=ROOT,
        env={**os.environ, **environment}, check=False,
    )  # fmt: skip


@pytest.mark.slow
def test_serve_says_plainly_why_it_cannot_start(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text("")
    done = leafweather("serve", str(file))
    assert (done.returncode, "farm: found nothing" in done.stderr, "Traceback" in done.stderr) == (2, True, False)
    file.write_text(SMALL_FARM)
    everywhere = ("serve", str(file), "--host", "0.0.0.0", "--data", str(tmp_path / "d"))
    done = leafweather(*everywhere)
    assert (done.returncode, "--tls-cert" in done.stderr, "--behind-proxy" in done.stderr) == (2, True, True)
    done = leafweather(*everywhere, "--behind-proxy", "--port", "0")
    assert (done.returncode, "leafweather token make" in done.stderr) == (2, True)
    done = leafweather("serve", str(file), LEAFWEATHER_MQTT_PORT="many")
    assert (done.returncode, "LEAFWEATHER_MQTT_PORT: found 'many'" in done.stderr) == (2, True)
    done = leafweather("serve", str(file), "--data", str(tmp_path / "d"), LEAFWEATHER_STORE="ftp://x/y")
    assert (done.returncode, "LEAFWEATHER_STORE" in done.stderr, "file:///" in done.stderr) == (2, True, True)
    done = leafweather("serve", str(file), "--data", str(file))
    assert (done.returncode, "cannot write to" in done.stderr, "--data" in done.stderr) == (2, True, True)


def test_a_second_service_on_the_same_data_refuses(served):
    done = leafweather("serve", str(served.folder / "farm.toml"), "--data", str(served.folder / "data"), "--port", "0")
    assert (done.returncode, "another Leafweather works on" in done.stderr) == (2, True)


def test_farm_check_and_schema(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM)
    done = leafweather("farm", "check", str(file))
    assert (done.returncode, "Test farm: 3 zones, 6 series" in done.stdout) == (0, True)
    file.write_text(SMALL_FARM.replace('quantity = "ppfd"', 'quantity = "pfd"'))
    done = leafweather("farm", "check", str(file))
    assert (done.returncode, "did you mean ppfd?" in done.stderr) == (1, True)
    assert leafweather("farm", "check", str(tmp_path / "none.toml")).returncode == 2
    schema = json.loads(leafweather("farm", "schema").stdout)
    assert schema["properties"].keys() >= {"farm", "zones", "series", "surfaces", "equipment", "crops", "batches"}
