"""Real small disks, for what happens when one is full or may only be read."""

from __future__ import annotations

import shutil
import subprocess
from contextlib import contextmanager, suppress

import pytest


@contextmanager
def small_disk(folder, *, size="2m"):
    """Mount a small disk in memory; skip where that is not allowed."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("mounting a small disk in memory needs root on Linux")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def filled(disk):
    """Fill a disk to the last page and return the file that does it."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(4096))
    return ballast
