"""Counts by topic: bounded, nothing uncounted, and a flood is told although it is stored."""

from __future__ import annotations

from ingest.counts import MOST_TOPICS, OTHER_TOPICS, TopicCounts
from tests.conftest import SMALL_FARM

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z, a whole minute
MINUTE_US = 60_000_000


def test_each_topic_is_counted_and_the_busiest_stands_first():
    counts = TopicCounts(100)
    counts.note("a", 10, 1, 0, NOW_US)
    for n in range(3):
        counts.note("b", 20, 2, 1, NOW_US + n)
    busy, quiet = counts()
    assert (busy.topic, busy.messages, busy.readings, busy.refused, busy.bytes) == ("b", 3, 6, 3, 60)
    assert (busy.last_us, quiet.messages) == (NOW_US + 2, 1)


def test_any_number_of_topics_stays_bounded_and_the_rest_is_counted_together():
    counts = TopicCounts(1)
    for n in range(MOST_TOPICS + 500):
        counts.note(f"t/{n}", 1, 1, 0, NOW_US)
    counts.note("t/7", 1, 1, 0, NOW_US)
    found = counts()
    assert len(found) == MOST_TOPICS + 1
    assert (found[0].topic, found[0].messages) == (OTHER_TOPICS, 500)
    assert sum(one.messages for one in found) == MOST_TOPICS + 501
    assert counts.flooding(NOW_US) == ["t/7"], "what is counted together is no one topic's flood"


def test_a_topic_floods_while_it_is_over_its_rate_and_a_minute_longer():
    counts = TopicCounts(5)
    for n in range(5):
        counts.note("a", 1, 1, 0, NOW_US + n)
    assert (counts.flooding(NOW_US), counts()[0].over_rate) == ([], 0)
    for n in range(3):
        counts.note("a", 1, 1, 0, NOW_US + 10 + n)
    assert (counts.flooding(NOW_US), counts()[0].over_rate) == (["a"], 3)
    assert counts.flooding(NOW_US + MINUTE_US) == ["a"]
    assert counts.flooding(NOW_US + 2 * MINUTE_US) == []
    counts.note("a", 1, 1, 0, NOW_US + MINUTE_US)
    assert (counts.flooding(NOW_US + MINUTE_US), counts()[0].over_rate) == ([], 3)


def test_a_flood_through_a_real_broker_is_stored_whole_and_counted(receiving):
    farm = receiving(SMALL_FARM, most_per_minute=50)
    farm.send("leafweather/calm", b'[{"n":"room/air_temperature","v":20}]')
    farm.send(
        "leafweather/wild", *(f'[{{"n":"row/ppfd","t":{1_772_366_400 + n},"v":{n}}}]'.encode() for n in range(120))
    )
    farm.send("leafweather/wild", *(b"rubbish" for _ in range(30)))
    farm.took(151)
    assert farm.values("row/ppfd") == list(range(120))
    wild, calm = farm.subscriber.topics()
    assert (wild.topic, wild.messages, wild.readings, wild.refused) == ("leafweather/wild", 150, 120, 30)
    assert wild.over_rate >= 50, "150 messages in at most two minutes of 50"
    assert (calm.messages, calm.over_rate) == (1, 0)
    assert sum(one.count for one in farm.journal.rejects("testfarm")) == 30
