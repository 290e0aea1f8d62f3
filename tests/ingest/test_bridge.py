"""Store and forward with two real brokers, over TLS, by the very configurations that are shipped."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from farm.check import check_text
from farm.readings import Series
from ingest.arrival import Arrival
from ingest.subscriber import Broker, Subscriber
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.conftest import MOSQUITTO, SMALL_FARM, eventually, free_port

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed: Debian's package mosquitto has it"),
    pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed: Debian's package openssl"),
]
SHIPPED = Path(__file__).parents[2] / "docs" / "bridge"
BASE_S = 1_772_366_400  # 2026-03-01T12:00:00Z
EACH = 400  # readings sent in each part of a test


def certificates(folder: Path) -> None:
    """An authority of our own, and a certificate for the centre and for the farm, as the guide says."""

    def openssl(*arguments):
        subprocess.run(["openssl", *arguments], check=True, capture_output=True, cwd=folder)

    new = ("-newkey", "rsa:2048", "-nodes")
    openssl("req", "-x509", *new, "-days", "2", "-subj", "/CN=Our farms", "-keyout", "ca.key", "-out", "ca.crt")
    (folder / "names").write_text("subjectAltName=DNS:localhost")
    for name, common, more in (("central", "central", ("-extfile", "names")), ("farm", "north", ())):
        openssl("req", *new, "-subj", f"/CN={common}", "-keyout", f"{name}.key", "-out", f"{name}.csr")
        openssl("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial",
                "-days", "2", "-out", f"{name}.crt", *more)  # fmt: skip


class Shipped:
    """A broker run by a shipped configuration, of which only addresses, ports and folders are changed."""

    def __init__(self, name: str, folder: Path, port: int, changes: dict[str, str]) -> None:
        self.folder, self.port = folder, port
        text = (SHIPPED / name).read_text()
        for old, new in changes.items():
            assert old in text, f"{name} has no {old!r} any more"
            text = text.replace(old, new)
        user = "user root\n" if os.geteuid() == 0 else ""
        (folder / "mosquitto.conf").write_text(f"{user}log_dest file {folder}/log\n{text}")
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        self.process = subprocess.Popen([MOSQUITTO, "-c", str(self.folder / "mosquitto.conf")], start_new_session=True)

        def answers():
            assert self.process.poll() is None, (self.folder / "log").read_text()
            with socket.socket() as probe:
                return probe.connect_ex(("127.0.0.1", self.port)) == 0

        eventually(answers)

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None


class Link:
    """The cable between two brokers: passes bytes on until it is cut, in the middle of whatever passes."""

    def __init__(self, to_port: int) -> None:
        self.port, self._to_port = free_port(), to_port
        self._listening: socket.socket | None = None
        self._ends: list[socket.socket] = []
        self.passed = 0

    def mend(self) -> None:
        self._listening = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, args=(self._listening,), daemon=True).start()

    def cut(self) -> None:
        ends, self._ends = [self._listening, *self._ends], []
        self._listening = None
        for end in filter(None, ends):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self, listening: socket.socket) -> None:
        while True:
            try:
                ours, _ = listening.accept()
            except OSError:
                return
            try:
                theirs = socket.create_connection(("127.0.0.1", self._to_port))
            except OSError:
                ours.close()
                continue
            self._ends += [ours, theirs]
            for one, other in ((ours, theirs), (theirs, ours)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        try:
            while data := one.recv(4096):
                other.sendall(data)
                self.passed += len(data)
        except OSError:
            pass
        for end in (one, other):
            end.close()


class Chain:
    """Devices -> broker in the farm -> link -> broker at the centre -> Leafweather's ingest -> store."""

    def __init__(self, folder: Path) -> None:
        for name in ("farm", "central", "certificates", "data"):
            (folder / name).mkdir()
        certificates(folder / "certificates")
        shutil.copy(SHIPPED / "central.acl", folder / "central.acl")
        tls_port, local_port, farm_port = free_port(), free_port(), free_port()
        self.tls_port, self.link = tls_port, Link(tls_port)
        place = {"/etc/mosquitto/certs": str(folder / "certificates")}
        self.central = Shipped("central.conf", folder / "central", local_port, place | {
            "listener 8883": f"listener {tls_port} 127.0.0.1",
            "listener 1883": f"listener {local_port}",
            "/etc/mosquitto/leafweather.acl": str(folder / "central.acl"),
            "/var/lib/mosquitto/": f"{folder / 'central'}/",
        })  # fmt: skip
        self.farm = Shipped("farm.conf", folder / "farm", farm_port, place | {
            "listener 1883": f"listener {farm_port}",
            "central.example.org:8883": f"localhost:{self.link.port}",
            "/var/lib/mosquitto/": f"{folder / 'farm'}/",
            "restart_timeout 2 30": "restart_timeout 1 1",  # so that the test is short
        })  # fmt: skip
        farm, mistakes = check_text(
            SMALL_FARM.replace("[zones.room]", '[wire]\ntopic = "leafweather/north/#"\n[zones.room]')
        )
        assert farm is not None, mistakes
        self.store = EmbeddedStore(folder / "data")
        self.journal = Journal(f"sqlite:///{folder}/data/journal.sqlite")
        broker = Broker("127.0.0.1", local_port, client_id="leafweather-testfarm")
        self.ingest = Subscriber(broker, farm.topic_filters, Arrival(farm), farm.name, self.store, self.journal)
        self.sent = 0

    def start(self) -> None:
        self.central.start()
        self.ingest.start()
        eventually(lambda: self.ingest.connected)
        self.link.mend()
        self.farm.start()
        self._device = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="device", clean_session=False)
        self._device.max_queued_messages_set(0)
        self._device.reconnect_delay_set(1, 1)
        self._device.connect("127.0.0.1", self.farm.port)
        self._device.loop_start()

    def send(self, count: int = EACH) -> None:
        """Publish readings on the farm's broker, and wait until it has taken them all."""
        eventually(self._device.is_connected)
        for _ in range(count):
            record = {"n": "room/air_temperature", "t": BASE_S + self.sent, "v": 20 + self.sent % 50 / 10}
            last = self._device.publish("leafweather/box", json.dumps([record]), qos=1)
            self.sent += 1
        last.wait_for_publish(20)
        assert last.is_published()

    def stored(self) -> int:
        return len(self.store.read(Series.parse("testfarm", "room/air_temperature"), 0, 2**62))

    def settled(self) -> int:
        """Wait until nothing more arrives, and return what is stored then."""
        before = -1
        while (now := self.stored()) != before:
            before = now
            time.sleep(0.7)
        return now

    def assert_each_once(self) -> None:
        eventually(lambda: self.stored() >= self.sent, 60)
        columns = self.store.read(Series.parse("testfarm", "room/air_temperature"), 0, 2**62)
        assert columns.time_us.tolist() == [(BASE_S + n) * 1_000_000 for n in range(self.sent)]
        assert columns.value.tolist() == [20 + n % 50 / 10 for n in range(self.sent)]
        assert self.ingest.counts.conflicts == 0
        assert self.journal.rejects("testfarm") == []

    def end(self) -> None:
        self._device.disconnect()
        self._device.loop_stop()
        self.farm.stop()
        self.link.cut()
        self.ingest.stop()
        self.central.stop()
        self.journal.close()
        self.store.close()


@pytest.fixture
def chain(tmp_path) -> Iterator[Chain]:
    one = Chain(tmp_path)
    one.start()
    yield one
    one.end()


def test_a_cut_link_loses_nothing_and_doubles_nothing(chain):
    chain.send()
    eventually(lambda: chain.stored() == EACH, 20)
    for _ in range(2):  # cut in the middle of a flood, so that acknowledgements are lost on the way
        flooding = threading.Thread(target=chain.send)
        passed = chain.link.passed
        flooding.start()
        eventually(lambda before=passed: chain.link.passed > before + 8_000)
        chain.link.cut()
        flooding.join()
        before = chain.settled()
        chain.send()
        assert chain.settled() == before < chain.sent, "what is sent behind a cut link cannot arrive"
        chain.link.mend()
    chain.assert_each_once()


def test_each_broker_may_stop_and_start_while_messages_wait(chain):
    chain.send()
    eventually(lambda: chain.stored() == EACH, 20)
    chain.central.stop()
    chain.send()
    chain.farm.stop()  # more than Mosquitto's own limit of 1,000 would have to wait in it
    chain.farm.start()
    chain.send(1200)
    assert chain.stored() == EACH
    chain.central.start()
    chain.assert_each_once()


def test_a_farm_may_write_below_its_own_name_only(chain, tmp_path):
    """The shipped access list: no other farm's topics, and nothing to read."""
    heard: list[str] = []
    record = json.dumps([{"n": "room/air_temperature", "t": BASE_S, "v": 20}])
    folder = tmp_path / "certificates"

    def as_the_farm(topic, subscribe):
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        client.tls_set(str(folder / "ca.crt"), str(folder / "farm.crt"), str(folder / "farm.key"))
        client.on_message = lambda _client, _userdata, message: heard.append(message.topic)
        client.connect("localhost", chain.tls_port)
        client.loop_start()
        eventually(client.is_connected)
        if subscribe:
            client.subscribe("leafweather/#", qos=1)
        sent = client.publish(topic, record, qos=1)
        # Mosquitto 2.0.11 ends the connection of a client that writes where it may not.
        eventually(lambda: sent.is_published() or not client.is_connected())
        client.disconnect()
        client.loop_stop()

    as_the_farm("leafweather/south/x", subscribe=True)
    as_the_farm("leafweather/north/x", subscribe=False)
    eventually(lambda: chain.stored() == 1)
    assert chain.settled() == 1
    assert chain.ingest.counts.messages == 1
    assert heard == []


def test_without_a_certificate_nobody_gets_in(chain, tmp_path):
    stranger = mqtt.Client(CallbackAPIVersion.VERSION2)
    stranger.tls_set(str(tmp_path / "certificates" / "ca.crt"))
    welcomed = threading.Event()
    stranger.on_connect = lambda _client, _userdata, _flags, reason, _properties: reason.is_failure or welcomed.set()
    try:
        stranger.connect("localhost", chain.tls_port)
        stranger.loop_start()
    except OSError:
        return
    assert not welcomed.wait(1.0)
    stranger.loop_stop()
