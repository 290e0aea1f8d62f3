"""Sends what waits in the outbox, each channel by itself, until it is taken, refused, or too old."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from collections.abc import Callable, Iterator

from farm.alarm_words import Priority
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND
from store.contract import StoreUnavailable, StoreUnusable
from store.fault_points import reached
from store.journal import Journal
from store.notice_entries import Notice, NoticeKind, NoticeState, Outcome, Try
from watch.channels import Answer, Channels, Message
from watch.links import Links
from watch.time_limits import LONGEST_TRY_S, TimeLimit
from watch.told import MINUTE_US

logger = logging.getLogger(__name__)

DELAYS_S = (10, 30, 60, 120, 300, 600, 1200, 2400, 3600)  # before the second try, the third ...; our choice, no source
JITTER = 0.2  # share by which a delay is longer or shorter, so that many do not come back at once; our choice
LEAST_TRIES = 6  # however old a notice is: the clock may have been set forward; our choice, no source
LONGEST_DELAY_US = int(DELAYS_S[-1] * (1 + JITTER)) * MICROSECONDS_PER_SECOND


class Sender:
    """Sends one farm's notices.

    Each channel of each person has a thread of its own while something is sent by it: one that is slow, or hangs, holds
    up its own notices and no others.

    Parameters
    ----------
    farm : Farm
        The description, with its people.
    journal : Journal
        The outbox.
    channels : Channels
        Everybody's addresses.
    links : Links
        For acknowledging.
    now_us : callable
        The clock. [µs since 1970 UTC]
    longest_try_s : float
        When a try counts as ended, whatever its channel does. [s]
    """

    def __init__(
        self,
        farm: Farm,
        journal: Journal,
        channels: Channels,
        links: Links,
        now_us: Callable[[], int],
        longest_try_s: float = LONGEST_TRY_S,
    ) -> None:
        self._farm, self._journal, self._links, self._now_us = farm, journal, links, now_us
        self._limited = TimeLimit(channels.send, longest_try_s)
        self._busy: dict[tuple[str, str], threading.Thread] = {}

    def send_due(self) -> int:
        """Begin a try for each notice that is due and whose channel is free, and return how many."""
        now_us = self._now_us()
        self._busy = {lane: thread for lane, thread in self._busy.items() if thread.is_alive()}
        begun = 0
        for notice in self._due(now_us):
            lane = (notice.person, notice.channel)
            if lane not in self._busy:
                thread = threading.Thread(target=self._alone, args=(notice,), name=f"notice {lane[1]}", daemon=True)
                self._busy[lane] = thread
                thread.start()
                begun += 1
        return begun

    def _due(self, now_us: int) -> Iterator[Notice]:
        """Yield what is to be tried now, the most urgent first; what is over never goes before what it ends."""
        waiting = [one for one in self._journal.outbox.waiting(self._farm.name) if one.kind is not NoticeKind.TEST]
        held: set[tuple[str, str, str]] = set()
        due = []
        for one in waiting:  # oldest first
            groups = {(one.person, one.channel, told.group) for told in one.told}
            due_by_now = one.next_us <= now_us or one.next_us > now_us + LONGEST_DELAY_US  # the clock was set back
            if due_by_now and not (one.kind is NoticeKind.RETURNED and groups & held):
                due.append(one)
            held |= groups
        order = list(Priority)
        yield from sorted(due, key=lambda one: (order.index(one.priority), one.made_us))

    def settle(self, longest_s: float | None = None) -> None:
        """Wait until no try is under way, or for so long."""
        until_s = None if longest_s is None else time.monotonic() + longest_s
        for thread in list(self._busy.values()):
            thread.join(None if until_s is None else max(0.0, until_s - time.monotonic()))

    def _alone(self, notice: Notice) -> None:
        try:
            self.attempt(notice)
        except (StoreUnavailable, StoreUnusable) as error:
            logger.warning("what came of notice %s cannot be noted, so it is tried again: %s", notice.identity, error)
        except Exception:
            logger.exception("notice %s failed", notice.identity)

    def attempt(self, notice: Notice) -> Answer:
        """Try to send one notice: the try is durable before it begins, and its outcome as soon as it is known."""
        farm, outbox, began_us = self._farm, self._journal.outbox, self._now_us()
        too_old = began_us - notice.made_us >= farm.notices.give_up_hours * 60 * MINUTE_US
        if too_old and notice.tries >= LEAST_TRIES:
            why = f"given up after {farm.notices.give_up_hours:g} h"
            outbox.drop(farm.name, notice.identity, began_us, NoticeState.GIVEN_UP, why)
            logger.error("notice %s to %s by %s: %s", notice.identity, notice.person, notice.channel, why)
            return Answer(Outcome.REFUSED, why)
        link = self._links.of(notice, began_us)
        number = outbox.begin(farm.name, notice.identity, began_us)
        reached("try begun")
        person = farm.notices.people.get(notice.person)
        label = notice.person if person is None else person.label
        try:
            answer = self._limited.send(Message(notice, farm.farm.title, label, link))
        except Exception as error:  # else it would be tried at each look, without a delay between
            logger.exception("notice %s cannot be put as %s needs it", notice.identity, notice.channel)
            answer = Answer(Outcome.UNSURE, f"failed within Leafweather, please report it: {type(error).__name__}")
        reached("notice handed over")
        ended_us = self._now_us()
        state, next_us = NoticeState.WAITING, ended_us + delay_us(notice.identity, number, answer.retry_after_s)
        if answer.outcome in (Outcome.TAKEN, Outcome.REFUSED):
            state = NoticeState.SENT if answer.outcome is Outcome.TAKEN else NoticeState.REFUSED
        done = Try(notice.identity, number, began_us, ended_us, answer.outcome, answer.text)
        outbox.end(farm.name, done, state, next_us)
        reached("try noted")
        told = logger.info if answer.outcome is Outcome.TAKEN else logger.warning
        told("notice %s to %s by %s: %s", notice.identity, notice.person, notice.channel, answer.outcome)
        return answer


def delay_us(identity: str, tries: int, at_least_s: float = 0.0) -> int:
    """Return how long to wait after a number of tries; longer each time, and for each notice a little different.

    Examples
    --------
    >>> [round(delay_us("a", tries) / 1e6) for tries in (1, 2, 3, 9, 50)] == [
    ...     round(delay_us("a", tries) / 1e6) for tries in (1, 2, 3, 9, 50)]
    True
    """
    delay_s = DELAYS_S[min(tries, len(DELAYS_S)) - 1]
    chance = int.from_bytes(hashlib.sha256(f"{identity}/{tries}".encode()).digest()[:4]) / 2**32
    return int(max(delay_s * (1 + JITTER * (2 * chance - 1)), at_least_s) * MICROSECONDS_PER_SECOND)
