"""The InfluxDB engine keeps the store's contract, as far as a stand-in for the server can show."""

from __future__ import annotations

import pytest

from tests.store.conformance import StoreConformance
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN


@pytest.fixture
def store(influx_store):
    return influx_store


@pytest.fixture
def reopened(influx_opened):
    return influx_opened


@pytest.fixture
def opening(influx_server):
    return f"""
from store.influx import InfluxStore
store = InfluxStore({influx_server.url!r}, {ORG!r}, {BUCKET!r}, {TOKEN!r})
"""


class TestInfluxStoreOnStandIn(StoreConformance):
    """Every sentence of the contract, on the stand-in."""
