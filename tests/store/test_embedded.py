"""The embedded engine keeps the store's contract."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis.stateful import rule

from store import embedded_sql as sql
from store import hot_readings
from store.embedded import FILE_NAME, EmbeddedStore
from tests.store.conformance import StoreConformance
from tests.store.model import StoreMachine
from tests.store.words import DAY


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
        self.patch = pytest.MonkeyPatch()
        self.patch.setattr(hot_readings, "MOST_IN_BLOCK", 3)  # so that a few readings are several blocks
        self.folder = Path(tempfile.mkdtemp())
        return EmbeddedStore(self.folder)

    def reopened(self):
        return EmbeddedStore(self.folder)

    def roll_up(self, farm, before):
        self.store.roll_up_due(farm, before)

    @rule()
    def have_derived_rows_of_an_older_program(self):
        """Before there were blocks, derived readings were kept like measured ones."""
        with contextlib.closing(sqlite3.connect(self.folder / FILE_NAME)) as file, file:
            for (number,) in file.execute("SELECT DISTINCT series FROM block").fetchall():
                rows = hot_readings.hot_rows(file, number, -100 * DAY, 100 * DAY)
                hot_readings.clear(file, number, -100 * DAY, 100 * DAY)
                columns = (rows.time_us.tolist(), rows.value.tolist(), rows.flag.tolist())
                file.executemany(sql.ADD_READING, [(number, *row) for row in zip(*columns, strict=True)])

    def seal(self, farm, before):
        self.store.seal_due(farm, before)

    def teardown(self):
        super().teardown()
        self.patch.undo()
        shutil.rmtree(self.folder)


TestEmbeddedModel = EmbeddedMachine.TestCase
TestEmbeddedModel.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
