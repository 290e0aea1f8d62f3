"""What tests of several folders share: a small farm, readings in one line, ports and real brokers."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from farm.check import check_text
from farm.description import Farm

# PsychroLib compiles itself where numba is installed, as the simulator has it: then it answers NaN with 0 instead of
# refusing, and takes minutes. The oracle is the library as it is written.
_NUMBA = sys.modules.pop("numba", None)
sys.modules["numba"] = None  # type: ignore[assignment]  # what Python itself puts there for "not to be imported"
import psychrolib  # noqa: E402, F401

del sys.modules["numba"]
if _NUMBA is not None:
    sys.modules["numba"] = _NUMBA

MOSQUITTO = shutil.which("mosquitto", path=os.environ.get("PATH", "") + os.pathsep + "/usr/sbin")
settings.register_profile("leafweather", deadline=None)  # a busy machine is no finding
settings.load_profile("leafweather")

T0_US = 1_772_323_200_000_000  # 2026-03-01T00:00:00Z
MINUTE_US = 60_000_000

SMALL_FARM = """
[farm]
name = "testfarm"
title = "Test farm"
timezone = "Europe/Oslo"
elevation_m = 120

[zones.room]
kind = "room_air"
label = "Room"
crop = "cress"
phase = "growing"
lights = "row/lights_on"

[zones.row]
kind = "growing_row"
label = "Row"
crop = "cress"
phase = "growing"
lights = "row/lights_on"
leaf_offset_k = -1.0

[zones.outdoors]
kind = "outdoors"
label = "Outdoors"

[[series]]
zone = "room"
quantity = "air_temperature"
[[series]]
zone = "room"
quantity = "relative_humidity"
[[series]]
zone = "room"
quantity = "co2_mole_fraction"
topic = "plain/co2"
[[series]]
zone = "row"
quantity = "ppfd"
[[series]]
zone = "row"
quantity = "lights_on"
[[series]]
zone = "outdoors"
quantity = "air_temperature"
wire = "yard-1"
unit = "degF"

[[surfaces]]
name = "north-wall"
label = "north wall"
zone = "room"
outside = "outdoors"
r_value_m2k_w = 3.8744

[crops.cress]
label = "Cress"
[crops.cress.phases.growing]
photoperiod_h = 16
lights_on_at = 06:00:00
daily_light_integral = [12, 17]
[crops.cress.phases.growing.bands]
air_temperature = { lit = [20, 24], dark = [16, 20], on_delay_s = 300, off_delay_s = 120, deadband = 0.5 }
relative_humidity = { always = [50, 75], on_delay_s = 300, off_delay_s = 120, deadband = 2 }
"""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Where everything is installed (LEAFWEATHER_TEST_ALL), a skipped test is a failed one, InfluxDB's aside."""
    report = yield
    if report.skipped and os.environ.get("LEAFWEATHER_TEST_ALL") and not hasattr(report, "wasxfail"):
        reason = str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)
        if "InfluxDB" not in reason:
            report.outcome, report.longrepr = "failed", f"nothing may be skipped here, but was: {reason}"
    return report


@pytest.fixture(scope="session")
def small_farm() -> Farm:
    farm, mistakes = check_text(SMALL_FARM)
    assert farm is not None, mistakes
    return farm


def samples(text: str, step_us: int = MINUTE_US, start_us: int = T0_US) -> list[tuple[int, float]]:
    """Return (time, value) of a notation like "24*3 31 _*2 24": ``_`` is a missing sample, ``*n`` repeats."""
    rows, time_us = [], start_us
    for word in text.split():
        value, _, times = word.partition("*")
        for _ in range(int(times or 1)):
            if value != "_":
                rows.append((time_us, float(value)))
            time_us += step_us
    return rows


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Mosquitto:
    """A real broker on loopback that can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.folder = folder
        self._process: subprocess.Popen | None = None
        (folder / "mosquitto.conf").write_text(
            textwrap.dedent(f"""\
            listener {self.port} 127.0.0.1
            allow_anonymous true
            persistence true
            persistence_location {folder}/
            autosave_interval 1
            max_queued_messages 0
            user {"root" if os.geteuid() == 0 else ""}
            """).replace("user \n", "")
        )

    def start(self) -> None:
        log = (self.folder / "log").open("ab")
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log, start_new_session=True
        )
        log.close()
        deadline = time.monotonic() + 10
        while time.monotonic() < deadline:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise AssertionError("mosquitto did not start: " + (self.folder / "log").read_text())

    def stop(self) -> None:
        """End it as an operator would: its queue is on disk."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    if MOSQUITTO is None:
        pytest.skip("mosquitto is not installed: Debian's package mosquitto has it")
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    yield broker
    broker.stop()


def eventually(check, within_s: float = 10.0):
    """Return the first truthy value of ``check()``; fail if there is none in time."""
    deadline = time.monotonic() + within_s
    while True:
        value = check()
        if value:
            return value
        assert time.monotonic() < deadline, f"not within {within_s} s: last {value!r}"
        time.sleep(0.02)
