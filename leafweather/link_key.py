"""The key that links for acknowledging are made with: in a file beside the journal, and in no backup."""

from __future__ import annotations

import logging
import os
import secrets
from pathlib import Path

from store.durable import synced_file, synced_folder
from watch.links import KEY_BYTES

NAME = "links.key"
_log = logging.getLogger(__name__)


def link_key(folder: Path) -> bytes:
    """Return the key of a data folder, made of chance where there is none.

    With another key the links of notices that went out still work; a notice that is tried again gets another link.
    """
    path = folder / NAME
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
        if len(key) == KEY_BYTES:
            return key
        _log.warning("%s holds no key of %d bytes: another is made", path, KEY_BYTES)
    except FileNotFoundError:
        pass
    except ValueError:
        _log.warning("%s holds no key in hexadecimal digits: another is made", path)
    key, new = secrets.token_bytes(KEY_BYTES), path.with_suffix(".new")
    new.unlink(missing_ok=True)
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
        file.write(key.hex() + "\n")
    synced_file(new)
    new.replace(path)
    synced_folder(folder)
    return key
