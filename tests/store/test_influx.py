"""The InfluxDB engine keeps the store's contract, as far as a stand-in for the server can show."""

from __future__ import annotations

import pytest

from store.influx import InfluxStore
from tests.store.conformance import StoreConformance
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, StandIn


@pytest.fixture
def server():
    with StandIn() as stand_in:
        yield stand_in


@pytest.fixture
def reopened(server):
    return lambda **more: InfluxStore(server.url, ORG, BUCKET, TOKEN, patience_s=0.5, **more)


@pytest.fixture
def store(reopened):
    with reopened() as opened:
        yield opened


@pytest.fixture
def opening(server):
    return f"""
from store.influx import InfluxStore
store = InfluxStore({server.url!r}, {ORG!r}, {BUCKET!r}, {TOKEN!r})
"""


class TestInfluxStoreOnStandIn(StoreConformance):
    """Every sentence of the contract, on the stand-in."""
