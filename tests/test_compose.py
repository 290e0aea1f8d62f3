"""docker-compose.yml as far as it can be tried without a container engine: its schema, its broker, its environment."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import ssl
import subprocess
from pathlib import Path

import jsonschema
import paho.mqtt.client as mqtt
import pytest
import yaml
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from farm.check import read_description
from farm.readings import Series
from leafweather.broker_link import broker_of
from leafweather.listening import access_of
from leafweather.run import Service
from leafweather.settings import Settings
from store.open import INFLUX_TOKEN
from tests.conftest import MOSQUITTO, SMALL_FARM, eventually, free_port
from tests.store.influx_stand_in import TOKEN, StandIn

ROOT = Path(__file__).parents[1]
COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES = COMPOSE["services"]
GUIDE = (ROOT / "docs" / "compose.md").read_text(encoding="utf-8")
with_a_broker = [
    pytest.mark.slow,
    pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed: Debian's package mosquitto has it"),
    pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed: Debian's package openssl"),
]
RECORD = '[{"n":"room/air_temperature","u":"Cel","t":1772366400,"v":21.5}]'


def test_the_file_is_what_the_compose_specification_says():
    schema = json.loads((ROOT / "tests" / "vendor" / "compose_spec.json").read_text())
    assert schema["title"] == "Compose Specification"
    jsonschema.Draft201909Validator(schema).validate(COMPOSE)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft201909Validator(schema).validate({"services": {"broker": {"imag": "x"}}})


def mounts(service):
    return [tuple(one.split(":")) for one in SERVICES[service].get("volumes", [])]


def test_every_service_is_watched_comes_again_and_keeps_its_data_in_a_volume():
    assert set(SERVICES) == {"broker", "readings", "leafweather"}
    for name, service in SERVICES.items():
        assert service["restart"] == "unless-stopped", name
        assert service["healthcheck"]["test"][0] == "CMD", name
        assert any(source in COMPOSE["volumes"] for source, *_ in mounts(name)), name
    used = {source for name in SERVICES for source, *_ in mounts(name) if "/" not in source}
    assert used == set(COMPOSE["volumes"])
    assert {name: one["condition"] for name, one in SERVICES["leafweather"]["depends_on"].items()} == {
        "broker": "service_healthy",
        "readings": "service_healthy",
    }


def test_without_the_server_for_readings_the_file_refers_to_nothing_that_is_left_out():
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    kept = re.sub(r"^.*# with readings$\n", "", text, flags=re.MULTILINE)
    kept = re.sub(r"^  readings:\n(?:    .*\n)+", "", kept, flags=re.MULTILINE)
    left = yaml.safe_load(kept)
    assert set(left["services"]) == {"broker", "leafweather"}
    assert set(left["services"]["leafweather"]["depends_on"]) == {"broker"}
    assert set(left["volumes"]) == {"broker", "data"}
    assert "influx" not in kept.lower(), "nor a secret that is not needed"


def test_nothing_but_tls_is_open_to_other_computers():
    published = {name: service.get("ports", []) for name, service in SERVICES.items()}
    assert published == {"broker": ["8883:8883"], "readings": [], "leafweather": ["127.0.0.1:8800:8800"]}


def test_what_is_mounted_is_shipped_or_told_of_in_the_guide():
    for name in SERVICES:
        for source, _target, *rest in mounts(name):
            if source.startswith("./"):
                assert rest == ["ro"], source
                path = source.removeprefix("./")
                assert (ROOT / path).is_file() or f"{path}" in GUIDE, source
    for one in re.findall(r"\$\{(\w+):\?", (ROOT / "docker-compose.yml").read_text()):
        assert f'"{one}=$(openssl rand -hex ' in GUIDE, one
    ignored = (ROOT / ".gitignore").read_text().split()
    assert {".env", "/passwords", "/certificates/", "/authority/"} <= set(ignored), "secrets stay out of the history"


def environment(secrets):
    """What Leafweather's container has in its environment, as compose fills it in."""
    given = SERVICES["leafweather"]["environment"]
    return {name: re.sub(r"\$\{(\w+):\?[^}]*\}", lambda one: secrets[one[1]], value) for name, value in given.items()}


def test_leafweather_takes_its_environment_and_finds_its_file(monkeypatch):
    secrets = {"MQTT_PASSWORD": "p", "INFLUX_TOKEN": "t"}
    known = {f"LEAFWEATHER_{name.upper()}" for name in Settings.model_fields} | {INFLUX_TOKEN}
    assert environment(secrets).keys() <= known, "a misspelt name is passed over in silence"
    for name, value in environment(secrets).items():
        monkeypatch.setenv(name, value)
    settings = Settings()
    assert access_of(settings).required, "everybody signs in"
    assert (settings.mqtt_host, settings.mqtt_password.get_secret_value()) == ("broker", "p")
    assert broker_of(settings, "testfarm").tls is None, "it starts with that link"
    host, _, path = settings.store.removeprefix("influx+http://").partition("/")
    influx = SERVICES["readings"]["environment"]
    assert host.partition(":")[0] in SERVICES
    assert path == "{DOCKER_INFLUXDB_INIT_ORG}/{DOCKER_INFLUXDB_INIT_BUCKET}".format(**influx)
    assert influx["DOCKER_INFLUXDB_INIT_ADMIN_TOKEN"].startswith("${INFLUX_TOKEN:")
    image = (ROOT / "Dockerfile").read_text()
    [command] = re.findall(r'^CMD \["serve", "(.*)"\]', image, re.MULTILINE)
    targets = {target for _, target, *_ in mounts("leafweather")}
    assert command in targets
    assert re.search(r"LEAFWEATHER_DATA=(\S+)", image)[1] in targets
    assert "'.[influx]'" in image


@pytest.fixture
def made(tmp_path):
    """The folder after the guide's own commands."""
    for block in re.findall(r"^```sh\n(.*?)^```", GUIDE, re.MULTILINE | re.DOTALL):
        subprocess.run(["bash", "-euc", block], cwd=tmp_path, check=True, capture_output=True)
    return tmp_path


class Broker:
    """A real Mosquitto run by the shipped files, of which only ports and folders are changed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.ports = {port: free_port() for port in ("8883", "1883", "1884")}
        (folder / "data").mkdir()
        text = (ROOT / "docs" / "compose" / "mosquitto.conf").read_text()
        for target, source in [(target, source) for source, target, *_ in mounts("broker")]:
            place = folder / "data" if source == "broker" else folder / source
            if source.startswith("./docs/"):
                place = shutil.copy(ROOT / source, folder)
            text = text.replace(target, str(place))
        for port, ours in self.ports.items():
            assert f"listener {port}" in text
            text = re.sub(rf"^listener {port}\b.*$", f"listener {ours} 127.0.0.1", text, flags=re.MULTILINE)
        assert "/mosquitto/" not in re.sub(r"^#.*$", "", text, flags=re.MULTILINE), "every path is mounted"
        user = "user root\n" if os.geteuid() == 0 else ""
        (folder / "broker.conf").write_text(f"{user}log_dest file {folder}/log\n{text}")
        self.process = None

    def start(self):
        self.process = subprocess.Popen([MOSQUITTO, "-c", str(self.folder / "broker.conf")], start_new_session=True)

        def answers():
            assert self.process.poll() is None, (self.folder / "log").read_text()
            with socket.socket() as probe:
                return probe.connect_ex(("127.0.0.1", self.ports["1884"])) == 0

        eventually(answers)

    def stop(self):
        self.process.terminate()
        self.process.wait(10)

    def device(self, certificate="box-1", **more):
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5, **more)
        tls = ssl.create_default_context(cafile=self.folder / "authority" / "ca.crt")
        tls.check_hostname = False  # the certificate names broker.example.org, and this is 127.0.0.1
        if certificate:
            tls.load_cert_chain(
                self.folder / "authority" / f"{certificate}.crt", self.folder / "authority" / f"{certificate}.key"
            )
        client.tls_set_context(tls)
        client.max_queued_messages_set(0)
        client.connect("127.0.0.1", self.ports["8883"])
        client.loop_start()
        return client

    def leafweather(self, password, **more):
        client = mqtt.Client(CallbackAPIVersion.VERSION2, **more)
        if password:
            client.username_pw_set("leafweather", password)
        client.codes, client.heard = [], []
        client.on_connect = lambda _c, _u, _f, code, _p: client.codes.append(code)
        client.on_message = lambda _c, _u, message: client.heard.append(message.payload)
        client.connect("127.0.0.1", self.ports["1883"])
        client.loop_start()
        return client


@pytest.fixture
def broker(made):
    one = Broker(made)
    one.start()
    yield one
    one.stop()


def gone(client):
    client.disconnect()
    client.loop_stop()


def secrets_of(folder):
    return dict(line.split("=") for line in (folder / ".env").read_text().splitlines())


def marked(test):
    for mark in with_a_broker:
        test = mark(test)
    return test


@marked
def test_a_device_writes_below_its_own_name_alone_and_leafweather_reads(broker):
    reader = broker.leafweather(secrets_of(broker.folder)["MQTT_PASSWORD"])
    eventually(lambda: reader.codes)
    assert reader.codes[0] == 0
    reader.subscribe([("leafweather/#", 1), ("#", 1)])
    device = broker.device()
    eventually(device.is_connected)
    allowed = device.publish("leafweather/box-1/readings", b"mine", qos=1)
    allowed.wait_for_publish(5)
    eventually(lambda: b"mine" in reader.heard)
    for topic in ("leafweather/box-2/readings", "elsewhere/box-1", "leafweather"):
        sly = broker.device()  # Mosquitto ends its connection
        eventually(sly.is_connected)
        sly.publish(topic, b"not mine", qos=0)
        sly.publish("leafweather/box-1/readings", b"after it", qos=0)
        gone(sly)
    forger = broker.leafweather(secrets_of(broker.folder)["MQTT_PASSWORD"])
    eventually(lambda: forger.codes)
    forger.publish("leafweather/box-1/readings", b"forged", qos=0)
    gone(forger)
    device.publish("leafweather/box-1/readings", b"last", qos=1)
    eventually(lambda: b"last" in reader.heard)
    assert set(reader.heard) - {b"after it"} == {b"mine", b"last"}
    gone(device)
    gone(reader)


@marked
def test_nobody_comes_in_without_a_certificate_or_a_password(broker):
    device = mqtt.Client(CallbackAPIVersion.VERSION2)
    tls = ssl.create_default_context(cafile=broker.folder / "authority" / "ca.crt")
    tls.check_hostname = False
    device.tls_set_context(tls)
    seen = []
    device.on_connect = lambda _c, _u, _f, code, _p: seen.append(code)
    try:
        device.connect("127.0.0.1", broker.ports["8883"])
        for _ in range(20):
            if device.loop(0.1) != mqtt.MQTT_ERR_SUCCESS:
                break
    except (ssl.SSLError, OSError):
        pass
    assert seen == []
    for password in (None, "wrong"):
        other = broker.leafweather(password)
        eventually(lambda: other.codes)  # noqa: B023  # at once
        assert other.codes[0].is_failure
        gone(other)


@marked
@pytest.mark.skipif(shutil.which("mosquitto_sub") is None, reason="Debian's package mosquitto-clients has it")
def test_the_health_check_is_answered_and_reads_nothing_else(broker):
    check = [one.replace("$$", "$") for one in SERVICES["broker"]["healthcheck"]["test"][1:]]
    assert check[check.index("-p") + 1] == "1884"
    check[check.index("-p") + 1] = str(broker.ports["1884"])
    ran = subprocess.run(check, capture_output=True, text=True, timeout=30, check=False)
    assert (ran.returncode, "seconds" in ran.stdout) == (0, True), ran.stderr
    other = [("leafweather/#" if "SYS" in one else one) for one in check]
    other[other.index("-W") + 1] = "2"
    device = broker.device()
    eventually(device.is_connected)
    device.publish("leafweather/box-1/x", b"mine", qos=1, retain=True).wait_for_publish(5)
    gone(device)
    assert subprocess.run(other, capture_output=True, text=True, timeout=30, check=False).stdout == ""


@marked
def test_what_comes_while_leafweather_is_away_waits_on_disk(broker):
    password = secrets_of(broker.folder)["MQTT_PASSWORD"]
    durable = {"client_id": "leafweather-testfarm", "clean_session": False}
    first = broker.leafweather(password, **durable)
    eventually(lambda: first.codes)
    first.subscribe("leafweather/#", 1)
    eventually(lambda: not first.want_write())
    device = broker.device()
    device.publish("leafweather/box-1/readings", b"before", qos=1)
    eventually(lambda: first.heard)
    gone(first)
    sent = [device.publish("leafweather/box-1/readings", str(n).encode(), qos=1) for n in range(1500)]
    for one in sent:
        one.wait_for_publish(20)
    gone(device)
    broker.stop()
    broker.start()
    again = broker.leafweather(password, **durable)
    eventually(lambda: len(again.heard) >= 1500, 30)
    assert again.heard == [str(n).encode() for n in range(1500)], "more than Mosquitto's own 1,000"
    gone(again)


@marked
def test_a_reading_of_a_device_comes_to_be_stored(broker, monkeypatch):
    """Leafweather with the environment of the file, of which only addresses and ports are changed."""
    secrets = secrets_of(broker.folder) | {"INFLUX_TOKEN": TOKEN}
    with StandIn() as influx:
        for name, value in environment(secrets).items():
            value = value.replace("http://readings:8086", influx.url)
            monkeypatch.setenv(name, "127.0.0.1" if value in ("broker", "0.0.0.0") else value)
        monkeypatch.setenv("LEAFWEATHER_DATA", str(broker.folder / "leafweather-data"))
        monkeypatch.setenv("LEAFWEATHER_PORT", "0")
        monkeypatch.setenv("LEAFWEATHER_MQTT_PORT", str(broker.ports["1883"]))
        monkeypatch.setenv("LEAFWEATHER_REQUIRE_TOKEN", "false")
        monkeypatch.setenv("LEAFWEATHER_BEHIND_PROXY", "false")  # a token is made by another command
        settings = Settings()
        (broker.folder / "farm.toml").write_text(SMALL_FARM)
        with Service(read_description(broker.folder / "farm.toml"), settings) as service:
            eventually(lambda: service.subscriber.connected)
            device = broker.device()
            device.publish("leafweather/box-1/readings", RECORD, qos=1)
            series = Series.parse("testfarm", "room/air_temperature")
            eventually(lambda: len(service.store.read(series, 0, 2**62)) == 1, 20)
            assert service.store.read(series, 0, 2**62).value.tolist() == [21.5]
            gone(device)
        assert any("air_temperature" in one.body for one in influx.seen)
