"""Files that survive a power cut: synced, and their folders with them."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path


def synced_folder(folder: Path) -> None:
    """Have the disk keep a folder's list of names; Windows does so by itself."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def synced_file(path: Path) -> None:
    """Have the disk keep a file's content."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def made_folders(folder: Path) -> None:
    """Make a folder and those above it, so that a power cut does not take them away again."""
    if not folder.is_dir():
        made_folders(folder.parent)
        folder.mkdir(exist_ok=True)
        synced_folder(folder.parent)


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
