"""The InfluxDB engine keeps the store's contract on a real InfluxDB 2 server: ``make test-influx``.

The server is the one that LEAFWEATHER_TEST_INFLUX_URL, _TOKEN and _ORG name (the token must be allowed to
make and remove buckets: each test has one of its own), or else one started in a container, where a
container engine answers. Without either, these tests are skipped.
"""

from __future__ import annotations

import gc
import os
import secrets
import time
import warnings

import docker
import pytest
from docker.errors import DockerException
from hypothesis import settings
from influxdb_client import BucketRetentionRules, InfluxDBClient

from farm.readings import Series
from store.contract import StoreUnavailable, StoreUnusable
from store.influx import InfluxStore
from tests.store.conformance import StoreConformance
from tests.store.model import StoreMachine
from tests.store.test_influx_wire import ODD_NAMES
from tests.store.words import AIR, HOUR, VPD, columns, everything, reading, windows

pytestmark = pytest.mark.slow

IMAGE = os.environ.get("LEAFWEATHER_TEST_INFLUX_IMAGE", "influxdb:2")
PREFIX = "LEAFWEATHER_TEST_INFLUX_"


@pytest.fixture(scope="module")
def influx():
    """Address, token and organisation of a real server."""
    given = [os.environ.get(PREFIX + name) for name in ("URL", "TOKEN", "ORG")]
    if all(given):
        yield given
        return
    if any(given):
        pytest.fail(f"set all of {PREFIX}URL, {PREFIX}TOKEN and {PREFIX}ORG, or none")
    engine = container_engine()
    if engine is None:
        pytest.skip(f"no InfluxDB server: no container engine answers, and {PREFIX}URL, _TOKEN and _ORG are not set")
    token = secrets.token_urlsafe(24)
    environment = {
        "DOCKER_INFLUXDB_INIT_MODE": "setup",
        "DOCKER_INFLUXDB_INIT_USERNAME": "tests",
        "DOCKER_INFLUXDB_INIT_PASSWORD": secrets.token_urlsafe(16),
        "DOCKER_INFLUXDB_INIT_ORG": "leafweather",
        "DOCKER_INFLUXDB_INIT_BUCKET": "first",
        "DOCKER_INFLUXDB_INIT_ADMIN_TOKEN": token,
    }
    try:
        container = engine.containers.run(
            IMAGE, detach=True, environment=environment, ports={"8086/tcp": ("127.0.0.1", None)}
        )
    except DockerException as error:
        engine.close()
        pytest.skip(f"no InfluxDB server: the container engine cannot start {IMAGE} ({error})")
    try:
        container.reload()
        url = f"http://127.0.0.1:{container.ports['8086/tcp'][0]['HostPort']}"
        wait_for(url, token)
        yield url, token, "leafweather"
    finally:
        container.remove(force=True, v=True)
        engine.close()


def container_engine():
    """Return the container engine of this machine; None where none answers."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # the library leaves a socket open when nobody answers
        try:
            return docker.from_env()  # asks the engine for its version
        except DockerException:
            return None
        finally:
            gc.collect()


def wait_for(url, token):
    """Wait until a new server's first bucket can be read: it restarts once while it sets itself up."""
    give_up = time.monotonic() + 90
    while True:
        try:
            InfluxStore(url, "leafweather", "first", token, patience_s=0.5).close()
        except (StoreUnavailable, StoreUnusable):
            if time.monotonic() > give_up:
                raise
            time.sleep(0.5)
        else:
            return


class Bucket:
    """A bucket of one test's own on a real server."""

    def __init__(self, influx, **more):
        url, token, org = influx
        self.name = f"leafweather-test-{secrets.token_hex(6)}"
        self.parameters = (url, org, self.name, token)
        self.client = InfluxDBClient(url, token, org=org)
        self.bucket = self.client.buckets_api().create_bucket(bucket_name=self.name, org=org, **more)

    def opened(self, **more):
        return InfluxStore(*self.parameters, **more)

    def removed(self):
        self.client.buckets_api().delete_bucket(self.bucket)
        self.client.close()


@pytest.fixture
def bucket(influx):
    made = Bucket(influx)
    yield made
    made.removed()


@pytest.fixture
def store(bucket):
    with bucket.opened() as opened:
        yield opened


@pytest.fixture
def reopened(bucket):
    return bucket.opened


@pytest.fixture
def opening(bucket):
    return f"""
from store.influx import InfluxStore
store = InfluxStore(*{bucket.parameters!r})
"""


class TestInfluxStore(StoreConformance):
    """Every sentence of the contract, on a real server."""


def test_any_calls_in_any_order_agree_with_a_dictionary(influx):
    class InfluxMachine(StoreMachine):
        def opened(self):
            self.bucket = Bucket(influx)
            return self.reopened()

        def reopened(self):
            return self.bucket.opened(page=3)

        def teardown(self):
            super().teardown()
            self.bucket.removed()

    machine = InfluxMachine.TestCase
    machine.settings = settings(max_examples=5, stateful_step_count=12, deadline=None)
    machine("runTest").runTest()


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_come_back_and_match_nothing_else(store, name):
    odd = Series(name, name, "air_temperature", name)
    store.append([reading(1), reading(1, 5.0, 3, odd), reading(2, 6.0, 1, odd)])
    assert everything(store, odd) == [(1, 5.0, 3), (2, 6.0, 1)]
    assert [one.series for one in store.known(name)] == [odd]
    store.settle(store.touched(name, 5))
    assert (windows(store, name), windows(store)) == ([], [(AIR, 1, 1)])
    derived = odd._replace(quantity="vapour_pressure_deficit")
    store.replace(derived, 0, 10, columns((1, 1.0, 1), (2, 2.0, 1)))
    store.replace(derived, 0, 10, columns((1, 1.0, 3)))
    assert everything(store, derived) == [(1, 1.0, 3)]


def test_a_deletion_ends_before_its_range_does(store):
    store.replace(VPD, 0, 100, columns(*((time, 1.0, 1) for time in range(100))))
    store.replace(VPD, 20, 40, columns())
    assert [row[0] for row in everything(store, VPD)] == [*range(20), *range(40, 100)]


def test_a_large_batch_and_its_pages(bucket):
    rows = [(time * 1_000_000, time / 7, (1, 1, 1, 3, 4)[time % 5]) for time in range(30_000)]
    with bucket.opened(page=1000) as store:
        assert store.append([reading(*row) for row in rows]).stored == 30_000
        assert everything(store, AIR) == rows
        assert store.append([reading(*row) for row in rows]).duplicate == 30_000


def test_settled_notes_are_cleared_and_old_versions_stay_old(store, monkeypatch):
    monkeypatch.setattr("store.influx_notes.SETTLED_KEPT", 3)
    store.append([reading(hour * HOUR) for hour in range(6)])
    notes = store.touched("north", 10)
    store.settle(notes)
    store.append([reading(5 * HOUR + 1)])
    store.settle(notes)
    assert windows(store) == [(AIR, 5 * HOUR + 1, 5 * HOUR + 1)]


def test_a_bucket_that_forgets_a_wrong_token_and_a_wrong_bucket_are_refused(influx):
    url, token, org = influx
    forgetful = Bucket(influx, retention_rules=BucketRetentionRules(type="expire", every_seconds=86_400))
    try:
        with pytest.raises(StoreUnusable, match="forgets readings after 86400 s"):
            forgetful.opened()
        with pytest.raises(StoreUnavailable, match="check LEAFWEATHER_INFLUX_TOKEN"):
            InfluxStore(url, org, forgetful.name, "wrong")
        with pytest.raises(StoreUnavailable, match="no such organisation or bucket"):
            InfluxStore(url, org, "leafweather-test-nowhere", token)
    finally:
        forgetful.removed()
