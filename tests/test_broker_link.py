"""The link to the broker: encrypted, or plain where that is said; against a real broker with TLS."""

from __future__ import annotations

import gc
from pathlib import Path
from types import SimpleNamespace

import paho.mqtt.publish as publish
import pytest
import trustme
from cryptography.hazmat.primitives import serialization

from farm.check import check_text
from ingest.arrival import Arrival
from ingest.subscriber import Subscriber
from leafweather.broker_link import broker_of, link_tls
from leafweather.checkup import Level
from leafweather.checkup_of_broker import broker
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.conftest import SMALL_FARM, T0_US, eventually

SENML = f'[{{"bn":"room/","n":"air_temperature","u":"Cel","v":24.0,"t":{T0_US // 1_000_000}}}]'
# The client library leaves a socket whose handshake failed to the collector.
LEFT_SOCKETS = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost"])
def test_on_this_machine_a_plain_link_needs_no_word(host):
    assert link_tls(Settings(mqtt_host=host)) is None


def test_a_plain_link_to_another_machine_is_used_only_if_that_is_said():
    with pytest.raises(CannotStart, match=r"broker\.example is not on this machine.*LEAFWEATHER_MQTT_TLS=true"):
        broker_of(Settings(mqtt_host="broker.example"), "testfarm")
    assert broker_of(Settings(mqtt_host="broker.example", mqtt_plain=True), "testfarm").tls is None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"mqtt_ca_file": Path("ca.pem")}, "LEAFWEATHER_MQTT_CA_FILE is given without LEAFWEATHER_MQTT_TLS=true"),
        ({"mqtt_tls": True, "mqtt_cert": Path("our.pem")}, "go together"),
        ({"mqtt_tls": True, "mqtt_ca_file": Path("not-there.pem")}, "LEAFWEATHER_MQTT_CA_FILE: what is there cannot"),
        (
            {"mqtt_tls": True, "mqtt_cert": Path("not-there.pem"), "mqtt_key": Path("not-there.key")},
            "LEAFWEATHER_MQTT_CERT and LEAFWEATHER_MQTT_KEY: what is there cannot be used",
        ),
    ],
)
def test_files_that_cannot_serve_are_told_before_anything_starts(given, said):
    with pytest.raises(CannotStart, match=said):
        link_tls(Settings(**given))


def test_a_key_that_asks_for_a_password_is_told_and_waits_for_nobody(tmp_path):
    issued = trustme.CA().issue_cert("leafweather")
    key = serialization.load_pem_private_key(issued.private_key_pem.bytes(), None)
    locked = serialization.BestAvailableEncryption(b"a password")
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked)
    (tmp_path / "our.key").write_bytes(pem)
    issued.cert_chain_pems[0].write_to_path(tmp_path / "our.pem")
    with pytest.raises(CannotStart, match="the key asks for a password"):
        link_tls(Settings(mqtt_tls=True, mqtt_cert=tmp_path / "our.pem", mqtt_key=tmp_path / "our.key"))


@pytest.fixture
def encrypted(mosquitto, tmp_path):
    """A broker that speaks TLS and asks for certificates of one authority, and files to reach it with."""
    ours, others = trustme.CA(), trustme.CA()
    ours.cert_pem.write_to_path(tmp_path / "ca.pem")
    others.cert_pem.write_to_path(tmp_path / "other-ca.pem")
    for name, issued in (("broker", ours.issue_cert("127.0.0.1")), ("client", ours.issue_cert("leafweather"))):
        issued.private_key_pem.write_to_path(tmp_path / f"{name}.key")
        for blob in issued.cert_chain_pems:
            blob.write_to_path(tmp_path / f"{name}.pem", append=True)
    mosquitto.stop()
    file = mosquitto.folder / "mosquitto.conf"
    with file.open("a") as more:
        more.write(
            f"cafile {tmp_path}/ca.pem\ncertfile {tmp_path}/broker.pem\nkeyfile {tmp_path}/broker.key\n"
            "require_certificate true\n"
        )
    mosquitto.start()

    def settings(**more):
        files = {"mqtt_ca_file": "ca.pem", "mqtt_cert": "client.pem", "mqtt_key": "client.key"} | more
        paths = {name: tmp_path / file for name, file in files.items() if file is not None}
        return Settings(mqtt_port=mosquitto.port, mqtt_tls=True, **paths)

    return SimpleNamespace(settings=settings, port=mosquitto.port, folder=tmp_path)


def test_readings_come_over_tls(encrypted):
    farm, mistakes = check_text(SMALL_FARM)
    assert farm is not None, mistakes
    folder = encrypted.folder / "data"
    folder.mkdir()
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        link = broker_of(encrypted.settings(), farm.name)
        subscriber = Subscriber(link, farm.topic_filters, Arrival(farm), farm.name, store, journal)
        subscriber.start()
        try:
            eventually(lambda: subscriber.connected)
            tls = {name: str(encrypted.folder / file) for name, file in
                   (("ca_certs", "ca.pem"), ("certfile", "client.pem"), ("keyfile", "client.key"))}  # fmt: skip
            publish.single("leafweather/x", SENML, qos=1, port=encrypted.port, hostname="127.0.0.1", tls=tls)
            eventually(lambda: store.latest(farm.name))
        finally:
            subscriber.stop()
        assert [one.value for one in store.latest(farm.name).values()] == [24.0]


@LEFT_SOCKETS
@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({}, "lets us in"),
        ({"mqtt_ca_file": "other-ca.pem"}, "proves itself by nothing that we trust"),
        ({"mqtt_ca_file": "not-there.pem"}, "LEAFWEATHER_MQTT_CA_FILE: what is there cannot be used"),
    ],
)
def test_the_doctor_tells_what_is_wrong_with_the_certificates(encrypted, files, said):
    told = broker(encrypted.settings(**files), ["leafweather/#"], 0.1)
    assert said in told.text
    assert told.level is (Level.WRONG if files else Level.MIND)
    gc.collect()


@LEFT_SOCKETS
def test_a_broker_that_is_not_trusted_gets_nothing_and_the_service_says_so(encrypted):
    farm, _ = check_text(SMALL_FARM)
    folder = encrypted.folder / "data"
    folder.mkdir()
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        link = broker_of(encrypted.settings(mqtt_ca_file="other-ca.pem"), farm.name)
        subscriber = Subscriber(link, farm.topic_filters, Arrival(farm), farm.name, store, journal)
        subscriber.start()
        try:
            eventually(lambda: "certificate" in (subscriber.trouble or ""))
            assert not subscriber.connected
        finally:
            subscriber.stop()
        gc.collect()
