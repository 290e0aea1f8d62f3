"""A broker of our own for the demonstration: Mosquitto if it is installed, else one in pure Python."""

from __future__ import annotations

import getpass
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Literal

from leafweather.starting import CannotStart

START_WITHIN_S = 20.0
STOP_WITHIN_S = 10.0

# Mosquitto's defaults would drop acknowledged messages for a service that is away (queue of 1,000)
# and write its queue to disk only every half hour: neither suits a record that must lose nothing.
MOSQUITTO_CONF = """\
listener {port} 127.0.0.1
allow_anonymous true
persistence true
persistence_location {folder}/
autosave_interval 1
max_queued_messages 0
max_queued_bytes 1073741824
max_inflight_messages 0
log_dest file {folder}/mosquitto.log
{user}"""


class DemoBroker:
    """A broker on loopback in a process of its own; a context manager that starts and ends it."""

    def __init__(self, folder: Path, port: int, *, embedded: bool = False) -> None:
        self.port = port or _free_port()
        self._folder = folder
        path = os.environ.get("PATH", "") + os.pathsep + "/usr/sbin"
        self._mosquitto = None if embedded else shutil.which("mosquitto", path=path)
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def name(self) -> str:
        """What kind of broker it is, for people."""
        return "Mosquitto" if self._mosquitto else "the embedded demo broker"

    @property
    def protocol(self) -> Literal["5", "3.1.1"]:
        """The MQTT version to speak to it."""
        return "5" if self._mosquitto else "3.1.1"

    def __enter__(self) -> DemoBroker:
        if _answers(self.port):
            raise CannotStart(
                f"port {self.port}, meant for the demo's broker, is in use: stop the program that uses it, "
                "or choose another with --mqtt-port"
            )
        log = (self._folder / "broker.log").open("wb")
        # A session of its own: Ctrl-C must reach us first, so that the broker is the last to stop.
        self._process = subprocess.Popen(  # noqa: S603  # our own command line
            self._command(), stdout=log, stderr=log, start_new_session=True
        )
        log.close()
        deadline = time.monotonic() + START_WITHIN_S
        while not _answers(self.port):
            if self._process.poll() is not None or time.monotonic() > deadline:
                self.__exit__()
                last = (self._folder / "broker.log").read_text(errors="replace").strip().splitlines()[-1:]
                raise CannotStart(f"{self.name} did not start ({' '.join(last) or 'no message'}): see {log.name}")
            time.sleep(0.05)
        return self

    def __exit__(self, *exc: object) -> None:
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(STOP_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _command(self) -> list[str]:
        if self._mosquitto is None:
            return [sys.executable, "-m", "leafweather.embedded_broker", str(self.port)]
        user = f"user {getpass.getuser()}\n" if os.geteuid() == 0 else ""
        folder = self._folder / "broker"
        folder.mkdir(exist_ok=True)
        configuration = folder / "mosquitto.conf"
        configuration.write_text(MOSQUITTO_CONF.format(port=self.port, folder=folder, user=user))
        return [self._mosquitto, "-c", str(configuration)]


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
