"""What has arrived since the service started, in all and by topic; a topic that floods is told."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace

logger = logging.getLogger(__name__)

MOST_TOPICS = 1000  # counted apart; our choice, no source
OTHER_TOPICS = "(other topics)"
MINUTE_US = 60_000_000


@dataclass
class IngestCounts:
    """What has arrived since the service started, and what became of it."""

    messages: int = 0
    committed: int = 0  # messages dealt with: everything that follows from them is durable
    retained: int = 0
    readings: int = 0
    duplicates: int = 0
    conflicts: int = 0
    rejected: int = 0
    suspect: int = 0  # readings stored with a flag because their device's clock is wrong
    last_commit_us: int | None = None
    waiting_for_store: str | None = None


@dataclass
class TopicCount:
    """What came on one topic. ``over_rate`` are messages beyond the rate that was told to be normal."""

    topic: str
    messages: int = 0
    readings: int = 0
    refused: int = 0
    bytes: int = 0
    over_rate: int = 0
    last_us: int = 0
    minute: int = 0  # of the last message, and how many came in it
    in_minute: int = 0


class TopicCounts:
    """Counts by topic, at most `MOST_TOPICS` of them; the rest together. MQTT does not tell us the publisher.

    A topic with more messages in a minute than ``most_per_minute`` floods. Its messages are stored
    like any other: an acknowledged message must not be lost, and one that is not acknowledged comes
    again. What a flood cannot do is grow anything without bound: the queue, the rejects and these
    counts have their limits.
    """

    def __init__(self, most_per_minute: int) -> None:
        self._most_per_minute = most_per_minute
        self._counts: dict[str, TopicCount] = {}

    def note(self, topic: str, size: int, readings: int, refused: int, at_us: int) -> None:
        """Count one message."""
        count = self._counts.get(topic)
        if count is None:
            if len(self._counts) >= MOST_TOPICS:
                topic = OTHER_TOPICS
            count = self._counts.setdefault(topic, TopicCount(topic))
        count.messages += 1
        count.readings += readings
        count.refused += refused
        count.bytes += size
        count.last_us = at_us
        minute = at_us // MINUTE_US
        if minute != count.minute:
            count.minute, count.in_minute = minute, 0
        count.in_minute += 1
        if count.in_minute > self._most_per_minute and topic != OTHER_TOPICS:
            count.over_rate += 1
            if count.in_minute == self._most_per_minute + 1:
                logger.warning("more than %d messages in a minute on %s", self._most_per_minute, topic)

    def __call__(self) -> list[TopicCount]:
        """Return a copy of the counts, the busiest topic first."""
        return sorted((replace(one) for one in list(self._counts.values())), key=lambda one: -one.messages)

    def flooding(self, now_us: int) -> list[str]:
        """Return the topics that flood now, or did in the minute before."""
        minute = now_us // MINUTE_US
        return [
            one.topic
            for one in self()
            if one.topic != OTHER_TOPICS and one.in_minute > self._most_per_minute and minute - one.minute <= 1
        ]
