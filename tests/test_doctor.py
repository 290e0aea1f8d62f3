"""``leafweather doctor``: each thing it looks at, sound and wrong."""

from __future__ import annotations

import datetime
import sqlite3
import threading
import time
from contextlib import closing
from types import SimpleNamespace

import paho.mqtt.publish as publish
import pytest
import trustme
from typer.testing import CliRunner

from farm.check import Description, check_text
from farm.flags import Flag
from farm.readings import Reading
from leafweather import checkup as looks
from leafweather.checkup import Level, checkup
from leafweather.checkup_of_broker import broker
from leafweather.cli import app
from leafweather.settings import Settings
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.conftest import SMALL_FARM, free_port

NOW_US = 1_772_366_400_000_000
FARM = check_text(SMALL_FARM)[0]
DESCRIPTION = Description(FARM, SMALL_FARM, "hash")


def found(folder, what, **settings):
    checks = checkup(DESCRIPTION, Settings(data=folder, **settings), NOW_US)
    return [(one.level, one.text) for one in checks if one.what == what]


@pytest.fixture
def kept(tmp_path):
    with EmbeddedStore(tmp_path) as store:
        store.append([Reading(series, NOW_US - 1, 20.0, Flag.GOOD) for series in FARM.described])
    Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}").close()
    return tmp_path


def test_what_is_sound_is_called_good(kept):
    checks = list(checkup(DESCRIPTION, Settings(data=kept), NOW_US))
    assert {one.what for one in checks if one.level is Level.GOOD} >= {
        "description", "data folder", "disk", "readings", "readings come", "journal", "page"}  # fmt: skip
    assert [one for one in checks if one.level is Level.WRONG] == []


def test_nothing_is_changed(kept):
    before = {path.name: path.read_bytes() for path in kept.iterdir() if path.suffix == ".sqlite"}
    list(checkup(DESCRIPTION, Settings(data=kept), NOW_US))
    assert {path.name: path.read_bytes() for path in kept.iterdir() if path.suffix == ".sqlite"} == before


def test_before_the_first_start_nothing_is_wrong(tmp_path):
    [(level, text)] = found(tmp_path / "data", "readings")
    assert (level, text) == (Level.MIND, "readings.sqlite is not there yet: the service makes it")
    assert not (tmp_path / "data").exists()


def test_a_folder_that_cannot_be_made_is_wrong(tmp_path):
    [(level, text)] = found(tmp_path / "no" / "data", "data folder")
    assert level is Level.WRONG
    assert text.startswith(f"{tmp_path / 'no'} is not there: make it")


@pytest.mark.parametrize(("free", "level"), [(1e8, Level.WRONG), (1e9, Level.MIND), (1e10, Level.GOOD)])
def test_little_room_is_told(kept, monkeypatch, free, level):
    usage = SimpleNamespace(free=free)  # a stand-in: disks are not filled here
    monkeypatch.setattr(looks.shutil, "disk_usage", lambda _: usage)
    [(told, text)] = found(kept, "disk")
    assert told is level
    assert text.startswith(f"{free / 1e9:,.1f} GB free")


def test_a_damaged_file_is_wrong(kept):
    (kept / "journal.sqlite").write_bytes(b"no database" * 100)
    [(level, text)] = found(kept, "journal")
    assert level is Level.WRONG
    assert "put it back from a backup" in text


@pytest.mark.parametrize(
    ("version", "level", "said"), [(2, Level.MIND, "brings it up to date"), (99, Level.WRONG, "of a newer version")]
)
def test_another_versions_file_is_told(kept, version, level, said):
    with closing(sqlite3.connect(kept / "readings.sqlite")) as file, file:
        file.execute(f"PRAGMA user_version = {version}")
    [(told, text)] = found(kept, "readings")
    assert told is level
    assert said in text


def test_silent_series_and_readings_of_a_time_to_come_are_told(kept):
    one, *_ = FARM.described
    late = list(checkup(DESCRIPTION, Settings(data=kept), NOW_US + 86_400_000_000))
    assert [check.text.split(":")[0] for check in late if check.what == "readings come"] == [
        f"{len(FARM.described)} of {len(FARM.described)} series are silent"
    ]
    with EmbeddedStore(kept) as store:
        store.append([Reading(one, NOW_US + 3_600_000_000, 20.0, Flag.GOOD)])
    [(level, text)] = found(kept, "times")
    assert level is Level.WRONG
    assert text.startswith("the newest reading is 3,600 s ahead")


@pytest.mark.parametrize(("state", "level"), [(0, Level.GOOD), (5, Level.MIND)])
def test_a_clock_that_nothing_keeps_right_is_told(monkeypatch, state, level):
    class Kernel:  # a stand-in: a test does not set this machine's clock
        def adjtimex(self, _buffer):
            return state

    monkeypatch.setattr(looks.ctypes, "CDLL", lambda _: Kernel())
    assert looks._clock().level is level


def test_a_page_that_would_not_start_is_told_with_why(kept):
    [(level, text)] = found(kept, "page", host="0.0.0.0")
    assert level is Level.WRONG
    assert "--behind-proxy" in text
    [(level, text)] = found(kept, "page", host="0.0.0.0", behind_proxy=True)
    assert level is Level.WRONG
    assert "there is no token yet" in text


@pytest.mark.parametrize(("days", "level", "said"), [
    (90, Level.GOOD, "is valid until"), (10, Level.MIND, "renew it"), (-1, Level.WRONG, "expired"),
])  # fmt: skip
def test_a_certificate_near_its_end_is_told(tmp_path, days, level, said):
    now = datetime.datetime.now(datetime.UTC)
    end = now + datetime.timedelta(days=days)
    begin = now - datetime.timedelta(days=100)
    issued = trustme.CA().issue_cert("farm.example", not_before=begin, not_after=end)
    issued.private_key_pem.write_to_path(tmp_path / "key.pem")
    for blob in issued.cert_chain_pems:
        blob.write_to_path(tmp_path / "cert.pem", append=True)
    told = looks._certificate(Settings(tls_cert=tmp_path / "cert.pem", tls_key=tmp_path / "key.pem"), now)
    assert told.level is level
    assert said in told.text


class TestBroker:
    def test_one_that_is_not_there(self):
        port = free_port()
        told = broker(Settings(mqtt_port=port), ["leafweather/#"], 0.1)
        assert (told.level, told.what) == (Level.WRONG, "broker")
        assert f"127.0.0.1 port {port} does not answer" in told.text

    @pytest.mark.parametrize("protocol", ["5", "3.1.1"])
    def test_one_that_lets_us_in(self, mosquitto, protocol):
        settings = Settings(mqtt_port=mosquitto.port, mqtt_protocol=protocol)
        told = broker(settings, ["leafweather/#"], 0.1)
        assert told.level is Level.MIND
        assert "nothing came" in told.text
        sending = threading.Event()

        def send():
            while not sending.wait(0.05):
                publish.single("leafweather/x", "1", port=mosquitto.port)

        sender = threading.Thread(target=send)
        sender.start()
        told = broker(settings, ["leafweather/#"], 10.0)
        sending.set()
        sender.join()
        assert told == ("broker", Level.GOOD, f"127.0.0.1 port {mosquitto.port} lets us in, and messages come")

    def test_one_that_refuses_us(self, mosquitto):
        mosquitto.stop()
        text = (mosquitto.folder / "mosquitto.conf").read_text()
        (mosquitto.folder / "mosquitto.conf").write_text(text.replace("allow_anonymous true", "allow_anonymous false"))
        mosquitto.start()
        told = broker(Settings(mqtt_port=mosquitto.port), ["leafweather/#"], 0.1)
        assert told.level is Level.WRONG
        assert "does not let us in" in told.text
        assert "LEAFWEATHER_MQTT_USERNAME" in told.text


class TestCommand:
    def run(self, *arguments):
        return CliRunner().invoke(app, ["doctor", *map(str, arguments), "--listen-s", "0"])

    @pytest.fixture
    def file(self, tmp_path):
        (tmp_path / "farm.toml").write_text(SMALL_FARM)
        return tmp_path / "farm.toml"

    def test_something_wrong_is_exit_status_1(self, file, kept, monkeypatch):
        monkeypatch.setenv("LEAFWEATHER_MQTT_PORT", str(free_port()))
        told = self.run(file, "--data", kept)
        assert told.exit_code == 1
        assert told.stderr == "1 thing is wrong.\n"
        assert any(line.startswith("wrong  broker") for line in told.stdout.splitlines())

    def test_nothing_wrong_is_exit_status_0(self, file, kept, mosquitto, monkeypatch):
        monkeypatch.setenv("LEAFWEATHER_MQTT_PORT", str(mosquitto.port))
        with EmbeddedStore(kept) as store:
            at_us = time.time_ns() // 1000
            store.append([Reading(series, at_us, 20.0, Flag.GOOD) for series in FARM.described])
        told = self.run(file, "--data", kept)
        assert (told.exit_code, told.stderr) == (0, "")

    def test_mistakes_in_the_description_are_told_first(self, file):
        file.write_text("[farm]\nname = 3\n")
        told = self.run(file)
        assert told.exit_code == 1
        assert "farm.toml: line 2" in told.stderr
        assert self.run(file.with_name("none.toml")).exit_code == 2

    def test_a_setting_that_cannot_be_is_a_bad_call(self, file, monkeypatch):
        monkeypatch.setenv("LEAFWEATHER_MQTT_PORT", "many")
        told = self.run(file)
        assert told.exit_code == 2
        assert told.stderr.startswith("LEAFWEATHER_MQTT_PORT: ")
