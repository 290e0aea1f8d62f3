"""Servers that a benchmark starts for itself on loopback, and stops by the handle it has of them."""

from __future__ import annotations

import contextlib
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path


class LeftOut(Exception):
    """Why a rival is not measured here."""


def program(name, *folders):
    """Return where a program is, on the path or in one of the folders (patterns; the last that fits)."""
    found = shutil.which(name)
    for pattern in folders:
        found = max(map(str, Path("/").glob(f"{pattern}/{name}")), default=found)
    if found is None:
        raise LeftOut(f"{name} is not installed")
    return found


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def disk_bytes(folder):
    """Return what the files of a folder take on the disk."""
    total = 0
    for path in folder.rglob("*"):
        with contextlib.suppress(FileNotFoundError):  # a server removes files meanwhile
            total += 0 if path.is_dir() else path.stat().st_blocks * 512
    return total


class Server:
    """A program that serves while it is measured."""

    def __init__(self, command, log, *, stop_by=signal.SIGTERM, **how):
        self._log, self._stop_by = log, stop_by
        with log.open("wb") as out:
            self._process = subprocess.Popen(command, stdout=out, stderr=out, stdin=subprocess.DEVNULL, **how)
        self.peak_mb = 0.0

    def wait_until(self, answers, patience_s=30.0):
        """Wait until ``answers`` no longer raises; LeftOut if the server ends or takes too long."""
        deadline = time.monotonic() + patience_s
        while True:
            try:
                return answers()
            except Exception as error:
                if self._process.poll() is not None or time.monotonic() > deadline:
                    said = self._log.read_text(errors="replace").strip().splitlines() or [str(error)]
                    raise LeftOut(f"it did not start: {said[-1]}") from error
            time.sleep(0.05)

    def look_at_memory(self):
        """Note how much memory the server and its children share out among themselves, if it is the most so far."""
        used = sum(map(_proportional_kb, _with_children(self._process.pid)))
        self.peak_mb = max(self.peak_mb, used / 1024)

    def stop(self):
        if self._process.poll() is None:
            self._process.send_signal(self._stop_by)
            try:
                self._process.wait(60)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()


def _with_children(pid):
    children = Path(f"/proc/{pid}/task/{pid}/children")
    found = [pid]
    with contextlib.suppress(OSError):
        for child in children.read_text().split():
            found += _with_children(int(child))
    return found


def _proportional_kb(pid):
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1])
    return 0
