"""The house's counts as Prometheus text, at ``/metrics``: read when asked, no state of their own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request, Response
from prometheus_client import CollectorRegistry
from prometheus_client.exposition import choose_encoder
from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from api.house import House, TheHouse
from farm.readings import MICROSECONDS_PER_SECOND

router = APIRouter()

_INGEST = {
    "messages": "Messages received from the broker.",
    "committed": "Messages of which everything that follows is durable.",
    "retained": "Retained messages, which are passed over: old news without a time.",
    "readings": "Readings stored.",
    "duplicates": "Readings that were stored already.",
    "conflicts": "Readings whose series and time held another value; the first stays.",
    "rejected": "Records and messages refused.",
    "suspect": "Readings flagged because their device's clock is wrong.",
}
_BY_TOPIC = {
    "messages": "Messages received on a topic.",
    "readings": "Readings taken from a topic.",
    "refused": "Records and messages refused on a topic.",
    "bytes": "Payload received on a topic.",
    "over_rate": "Messages beyond the rate that farm.toml calls normal; stored all the same.",
}
_WATCH = {"rounds": "Rounds the watch has worked.", "notes": "Changed stretches it has worked off."}


class HouseCollector(Collector):
    """Reads a house's health, topics, rejects and newest readings."""

    def __init__(self, house: House) -> None:
        self._house = house

    def collect(self) -> Iterator[Metric]:
        """Yield every metric, as things stand now."""
        health = self._house.health()
        ingest, watch = health.get("ingest", {}), health.get("watch", {})
        broker = health.get("broker", {})
        yield self._gauge("up", "1 if the house can do its work, else 0.", health.get("status") == "ok")
        if "connected" in broker:
            yield self._gauge("broker_connected", "1 if the broker has our subscription.", broker["connected"])
        for name, help_ in _INGEST.items():
            if name in ingest:
                yield self._counter(f"ingest_{name}", help_, [((), ingest[name])])
        if "queued" in ingest:
            yield self._gauge("ingest_queued", "Messages received and not stored yet.", ingest["queued"])
        if ingest.get("last_commit"):
            at = datetime.fromisoformat(ingest["last_commit"]).timestamp()
            yield self._gauge("ingest_last_commit_timestamp_seconds", "When a batch was last made durable.", at)
        for name, help_ in _WATCH.items():
            if name in watch:
                yield self._counter(f"watch_{name}", help_, [((), watch[name])])
        topics = self._house.topics()
        for name, help_ in _BY_TOPIC.items():
            rows = [((one["topic"],), one[name]) for one in topics]
            yield self._counter(f"topic_{name}", help_, rows, ("topic",))
        counts = self._house.journal.reject_counts(self._house.farm.name)
        rejects = [((str(reason),), count) for reason, count in counts.items()]
        yield self._counter("rejects", "Refused arrivals by reason, over all starts.", rejects, ("reason",))
        yield self._last_readings()

    def _last_readings(self) -> Metric:
        help_ = "Time of the newest reading of a series, by its own time."
        family = GaugeMetricFamily(
            "leafweather_series_last_reading_timestamp_seconds", help_, labels=("farm", "series")
        )
        farm = self._house.farm.name
        for series, reading in sorted(self._house.store.latest(farm).items()):
            family.add_metric((farm, series.key), reading.time_us / MICROSECONDS_PER_SECOND)
        return family

    def _gauge(self, name: str, help_: str, value: float) -> Metric:
        family = GaugeMetricFamily(f"leafweather_{name}", help_, labels=("farm",))
        family.add_metric((self._house.farm.name,), float(value))
        return family

    def _counter(
        self, name: str, help_: str, rows: Iterable[tuple[tuple[str, ...], Any]], labels: tuple[str, ...] = ()
    ) -> Metric:
        family = CounterMetricFamily(f"leafweather_{name}", help_, labels=("farm", *labels))
        for values, value in rows:
            family.add_metric((self._house.farm.name, *values), float(value))
        return family


@router.get("/metrics", include_in_schema=False)
def metrics(house: TheHouse, request: Request) -> Response:
    """Tell the house's counts as Prometheus reads them."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(HouseCollector(house))
    encode, content_type = choose_encoder(request.headers.get("accept", ""))
    return Response(encode(registry), headers={"Content-Type": content_type})
