"""The InfluxDB engine against a dictionary, after any calls in any order, on the stand-in."""

from __future__ import annotations

from hypothesis import settings

from store.influx import InfluxStore
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, StandIn
from tests.store.model import StoreMachine


class InfluxMachine(StoreMachine):
    def opened(self):
        self.server = StandIn().__enter__()
        return self.reopened()

    def reopened(self):
        return InfluxStore(self.server.url, ORG, BUCKET, TOKEN, patience_s=0.5, page=3)  # short pages: many of them

    def teardown(self):
        super().teardown()
        self.server.__exit__()


TestInfluxModel = InfluxMachine.TestCase
TestInfluxModel.settings = settings(max_examples=6, stateful_step_count=15, deadline=None)
