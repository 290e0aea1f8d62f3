"""The embedded engine keeps the store's contract."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

from store.embedded import EmbeddedStore
from tests.store.conformance import StoreConformance
from tests.store.model import StoreMachine


@pytest.fixture
def store(tmp_path):
    with EmbeddedStore(tmp_path) as opened:
        yield opened


@pytest.fixture
def reopened(tmp_path):
    return lambda: EmbeddedStore(tmp_path)


@pytest.fixture
def opening(tmp_path):
    return f"""
from pathlib import Path
from store.embedded import EmbeddedStore
store = EmbeddedStore(Path({str(tmp_path)!r}))
"""


class TestEmbeddedStore(StoreConformance):
    """Every sentence of the contract."""


class EmbeddedMachine(StoreMachine):
    def opened(self):
        self.folder = Path(tempfile.mkdtemp())
        return EmbeddedStore(self.folder)

    def reopened(self):
        return EmbeddedStore(self.folder)

    def roll_up(self, farm, before):
        self.store.roll_up_due(farm, before)

    def seal(self, farm, before):
        self.store.seal_due(farm, before)

    def teardown(self):
        super().teardown()
        shutil.rmtree(self.folder)


TestEmbeddedModel = EmbeddedMachine.TestCase
TestEmbeddedModel.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
