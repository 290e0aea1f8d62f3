"""``/metrics``, read back by the client library's own parser."""

from __future__ import annotations

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as openmetrics_families
from prometheus_client.parser import text_string_to_metric_families

from tests.api.conftest import NOW_US, Client, assert_problem

HEALTH = {
    "status": "degraded",
    "broker": {"connected": False},
    "ingest": {"messages": 12, "committed": 11, "retained": 0, "readings": 30, "duplicates": 2, "conflicts": 1,
               "rejected": 4, "queued": 1, "last_commit": "2026-03-02T12:00:00Z"},
    "watch": {"rounds": 7, "notes": 9},
}  # fmt: skip
TOPICS = [
    {"topic": 'odd "\\\n name', "messages": 8, "readings": 20, "refused": 4, "bytes": 900, "over_rate": 3, "last": "x"}
]


@pytest.fixture(scope="module")
def asked(house):
    return Client(house, health=lambda: HEALTH, topics=lambda: TOPICS)


def samples(text, families=text_string_to_metric_families):
    return {
        (sample.name, *(value for key, value in sorted(sample.labels.items()) if key != "farm")): sample.value
        for family in families(text)
        for sample in family.samples
    }


def test_health_topics_rejects_and_newest_readings_are_there(asked):
    answer = asked("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=")
    found = samples(answer.text)
    assert found["leafweather_up",] == 0
    assert found["leafweather_broker_connected",] == 0
    assert found["leafweather_ingest_messages_total",] == 12
    assert found["leafweather_ingest_rejected_total",] == 4
    assert found["leafweather_ingest_queued",] == 1
    assert found["leafweather_ingest_last_commit_timestamp_seconds",] == NOW_US / 1e6
    assert found["leafweather_watch_rounds_total",] == 7
    assert found["leafweather_topic_over_rate_total", 'odd "\\\n name'] == 3
    assert found["leafweather_rejects_total", "unknown_name"] == 7
    assert found["leafweather_series_last_reading_timestamp_seconds", "room/air_temperature"] == NOW_US / 1e6 - 60
    every = [sample for family in text_string_to_metric_families(answer.text) for sample in family.samples]
    assert {sample.labels["farm"] for sample in every} == {"testfarm"}


def test_open_metrics_are_told_to_who_asks_for_them(asked):
    answer = asked("/metrics", headers={"Accept": "application/openmetrics-text; version=1.0.0"})
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    assert samples(answer.text, openmetrics_families)["leafweather_ingest_readings_total",] == 30


def test_each_answer_tells_the_counts_of_its_own_time(house):
    count = iter(range(1, 9))
    client = Client(house, health=lambda: {"status": "ok", "ingest": {"messages": next(count)}})
    told = [samples(client("/metrics").text)["leafweather_ingest_messages_total",] for _ in range(2)]
    assert told[1] > told[0]


def test_only_reading_is_allowed(asked):
    assert_problem(asked("/metrics", "POST"), 405)
