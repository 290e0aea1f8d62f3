"""What several commands need before they begin: a folder to write to, and the word for what keeps them from it."""

from __future__ import annotations

from pathlib import Path


class CannotStart(Exception):
    """The service cannot start as it is told to; the message says why and what to do."""


def made_folder(folder: Path) -> Path:
    """Return the data folder, made if it was not there yet."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise CannotStart(
            f"cannot write to {folder} ({error.strerror}): choose another folder with --data, or mend its permissions"
        ) from error
    return folder.resolve()
