"""One URL chooses the engine; beside it stands the journal."""

from __future__ import annotations

import os
from pathlib import Path
from urllib.parse import SplitResult, unquote, urlsplit

from store.contract import ReadingStore
from store.embedded import EmbeddedStore
from store.journal import Journal

INFLUX_TOKEN = "LEAFWEATHER_INFLUX_TOKEN"  # noqa: S105  # the variable's name, not a token
INFLUX_PORT = 8086  # InfluxDB's own, where an address names none


def open_store(url: str) -> ReadingStore:
    """Return the store that a URL names.

    Parameters
    ----------
    url : str
        ``file:///absolute/folder`` or ``file:relative/folder``: the embedded engine in that folder.
        ``influx+https://host:port/organisation/bucket``, or ``influx+http://`` where the network is your
        own: the server engine. Its API token comes from the environment, ``LEAFWEATHER_INFLUX_TOKEN``, and
        never stands in the URL.

    Raises
    ------
    ValueError
        If no engine goes by that URL, or what it needs is missing.
    StoreUnavailable, StoreUnusable
        See the engine.
    """
    parts = urlsplit(url)
    if parts.scheme in ("influx+http", "influx+https"):
        return _influx(parts)
    if parts.scheme != "file" or parts.netloc or not parts.path:
        raise ValueError(
            f"{_shown(parts)!r} names no store: write file:///absolute/folder or file:relative/folder, "
            "or influx+https://host:port/organisation/bucket"
        )
    return EmbeddedStore(Path(unquote(parts.path)))


def open_both(url: str | None, folder: Path) -> tuple[ReadingStore, Journal]:
    """Return the store that a URL names, or without one the embedded engine in a folder, and the folder's journal.

    Raises
    ------
    ValueError, StoreUnavailable, StoreUnusable
        See `open_store` and `store.journal.Journal`.
    """
    store = EmbeddedStore(folder) if url is None else open_store(url)
    return store, Journal(f"sqlite:///{folder / 'journal.sqlite'}")


def _influx(parts: SplitResult) -> ReadingStore:
    """Return the server engine for a URL, its token taken from the environment."""
    path = [unquote(name) for name in parts.path.strip("/").split("/")]
    if "@" in parts.netloc or parts.query or parts.fragment:
        raise ValueError(
            f"{_shown(parts)!r}: leave out what stands before '@' and after '?': the token belongs in {INFLUX_TOKEN}"
        )
    if not parts.hostname or len(path) != 2 or not all(path):
        raise ValueError(f"{_shown(parts)!r} names no bucket: write {parts.scheme}://host:port/organisation/bucket")
    token = os.environ.get(INFLUX_TOKEN, "")
    if not token:
        raise ValueError(f"{_shown(parts)}: its API token is missing: set {INFLUX_TOKEN} in the environment")
    try:
        from store.influx import InfluxStore
    except ImportError as error:
        raise ValueError(
            f"{_shown(parts)}: the InfluxDB client is not installed: pip install 'leafweather[influx]'"
        ) from error
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    address = f"{parts.scheme.removeprefix('influx+')}://{host}:{parts.port or INFLUX_PORT}"
    org, bucket = path
    return InfluxStore(address, org, bucket, token)


def _shown(parts: SplitResult) -> str:
    """Return a URL as it may be printed: without what might be a secret."""
    return parts._replace(netloc=parts.netloc.rpartition("@")[2], query="", fragment="").geturl()
