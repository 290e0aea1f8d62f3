from __future__ import annotations

import pytest

from farm.check import Description
from farm.flags import Flag
from farm.readings import Reading, Series
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.conftest import MINUTE_US, T0_US
from watch.jobs import Watch


class House:
    """A small farm with a real store, a real journal and a watch whose clock stands where we put it."""

    def __init__(self, farm, folder):
        folder.mkdir(parents=True, exist_ok=True)
        self.farm = farm
        self.store = EmbeddedStore(folder)
        self.journal = Journal(f"sqlite:///{folder}/journal.sqlite")
        self.sha256 = "first"
        self.now_us = T0_US + 30 * 24 * 60 * MINUTE_US
        self.steady_s = None
        self.fresh_watch()

    def fresh_watch(self):
        """Forget what the watch has in memory, as a restart does."""
        description = Description(self.farm, "its text", self.sha256)
        self.watch = Watch(description, self.store, self.journal, lambda: self.now_us, steady_s=self.steady_s)
        self.watch.begin()

    def series(self, key):
        return Series.parse(self.farm.name, key)

    def put(self, key, rows):
        return self.store.append([Reading(self.series(key), at, value, Flag.NOT_EVALUATED) for at, value in rows])

    def work(self):
        while self.watch.round():
            pass

    def read(self, key):
        columns = self.store.read(self.series(key), 0, 2**62)
        return dict(zip(columns.time_us.tolist(), columns.value.tolist(), strict=True))

    def close(self):
        self.store.close()
        self.journal.close()


@pytest.fixture
def house(small_farm, tmp_path):
    made = House(small_farm, tmp_path / "house")
    yield made
    made.close()
