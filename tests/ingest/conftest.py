from __future__ import annotations

from collections.abc import Iterator

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from farm.check import check_text
from farm.readings import Series
from ingest.arrival import Arrival
from ingest.subscriber import Broker, Subscriber
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.conftest import eventually


class Receiving:
    """A subscriber with a real broker, a real store and a real journal."""

    def __init__(self, text, port, folder, **more):
        self.farm, mistakes = check_text(text)
        assert self.farm is not None, mistakes
        self.store = EmbeddedStore(folder)
        self.journal = Journal(f"sqlite:///{folder}/journal.sqlite")
        self.subscriber = Subscriber(
            Broker("127.0.0.1", port, client_id="testing"), self.farm.topic_filters, Arrival(self.farm), self.farm.name,
            self.store, self.journal, **more,
        )  # fmt: skip
        self.subscriber.start()
        eventually(lambda: self.subscriber.connected)
        self._publisher = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._publisher.connect("127.0.0.1", port)
        self._publisher.loop_start()

    def send(self, topic, *payloads, content_type=None):
        properties = Properties(PacketTypes.PUBLISH)
        if content_type:
            properties.ContentType = content_type
        for payload in payloads:
            self._publisher.publish(topic, payload, qos=1, properties=properties).wait_for_publish(10)

    def took(self, messages):
        """Wait until so many messages have been dealt with."""
        eventually(lambda: self.subscriber.counts.messages >= messages and self.subscriber.queued == 0)
        eventually(lambda: self.subscriber.counts.committed >= messages)

    def values(self, key):
        columns = self.store.read(Series.parse(self.farm.name, key), 0, 2**62)
        return columns.value.tolist()

    def flags(self, key):
        return self.store.read(Series.parse(self.farm.name, key), 0, 2**62).flag.tolist()

    def close(self):
        self._publisher.disconnect()
        self._publisher.loop_stop()
        self.subscriber.stop()
        self.journal.close()
        self.store.close()


@pytest.fixture
def receiving(mosquitto, tmp_path) -> Iterator:
    """Return a function that starts receiving for a description's text."""
    started: list[Receiving] = []

    def start(text, **more):
        folder = tmp_path / f"data-{len(started)}"
        folder.mkdir()
        started.append(Receiving(text, mosquitto.port, folder, **more))
        return started[-1]

    yield start
    for one in started:
        one.close()
