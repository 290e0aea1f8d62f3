"""One URL chooses the engine."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import unquote, urlsplit

from store.contract import ReadingStore
from store.embedded import EmbeddedStore


def open_store(url: str) -> ReadingStore:
    """Return the store that a URL names.

    Parameters
    ----------
    url : str
        ``file:///absolute/folder`` or ``file:relative/folder``: the embedded engine in that folder.

    Raises
    ------
    ValueError
        If no engine goes by that URL.
    StoreUnavailable, StoreUnusable
        See the engine.
    """
    parts = urlsplit(url)
    if parts.scheme != "file" or parts.netloc or not parts.path:
        raise ValueError(f"{url!r} names no store: write file:///absolute/folder or file:relative/folder")
    return EmbeddedStore(Path(unquote(parts.path)))
