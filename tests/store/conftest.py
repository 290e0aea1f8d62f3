import pytest

pytest.register_assert_rewrite("tests.store.conformance")

from store.influx import InfluxStore  # noqa: E402
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, StandIn  # noqa: E402


@pytest.fixture
def influx_server():
    """A stand-in for an InfluxDB 2 server; see its module for what it does not prove."""
    with StandIn() as stand_in:
        yield stand_in


@pytest.fixture
def influx_opened(influx_server):
    """A function that opens the engine on the stand-in."""
    return lambda **more: InfluxStore(influx_server.url, ORG, BUCKET, TOKEN, **{"patience_s": 0.5, **more})


@pytest.fixture
def influx_store(influx_opened):
    with influx_opened() as opened:
        yield opened
