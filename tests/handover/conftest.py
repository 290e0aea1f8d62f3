"""A stored farm, and data sets of it that many tests look at."""

from __future__ import annotations

import pytest

from handover.asking import Imprint
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.handover.words import fill, made


@pytest.fixture(scope="session")
def kept(tmp_path_factory):
    """The folder of a stored farm; nobody writes to it."""
    folder = tmp_path_factory.mktemp("kept")
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        fill(store, journal)
    return folder


@pytest.fixture(scope="session")
def raw(kept, tmp_path_factory):
    """A raw data set in every format."""
    target = tmp_path_factory.mktemp("sets") / "raw"
    return target, made(kept, target, imprint=Imprint("Kim Hill", "CC-BY-4.0"))


@pytest.fixture(scope="session")
def wide(kept, tmp_path_factory):
    """A cleaned data set, an hour a cell, every format."""
    target = tmp_path_factory.mktemp("sets") / "wide"
    return target, made(kept, target, cleaned=True, every="1h")
