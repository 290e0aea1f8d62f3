"""Tells people: decides which notices to make, and sends what waits in the outbox, until each is taken."""

from __future__ import annotations

import hashlib
import logging
import threading
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

from analytics.alarms import state_of
from farm.alarm_words import AlarmState, Priority
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND
from store.alarm_entries import AlarmEntry
from store.contract import StoreUnavailable, StoreUnusable
from store.fault_points import reached
from store.journal import Journal
from store.journal_alarms import names_of
from store.notice_entries import TELLING, Link, Notice, NoticeKind, NoticeState, Outcome, Try
from watch.channels import Answer, Channels, Message
from watch.notice_plan import DIGEST_REACHES, plan
from watch.notice_text import words
from watch.told import MINUTE_US, Raised

logger = logging.getLogger(__name__)

DELAYS_S = (10, 30, 60, 120, 300, 600, 1200, 2400, 3600)  # before the second try, the third ...; our choice, no source
JITTER = 0.2  # share by which a delay is longer or shorter, so that many do not come back at once; our choice
LONGEST_DELAY_US = int(DELAYS_S[-1] * (1 + JITTER)) * MICROSECONDS_PER_SECOND
IDLE_S = 1.0  # look for alarms and due notices this often
SHARE = 10.0  # nor more often than this many times as long as a look took: in a flood of alarms it takes longer
RETRY_S = 2.0
AT_ONCE = 4  # channels that are spoken to at the same time
STUCK_US = 10 * MINUTE_US  # a notice that waits for longer is told by the health; our choice, no source
LOOK_BACK_US = int(DIGEST_REACHES.total_seconds() + 3600) * MICROSECONDS_PER_SECOND
ENDING_S = 5.0  # how long to wait, when stopping, for tries that are under way: one left off is made again


@dataclass(frozen=True, slots=True)
class OutboxStatus:
    """How telling people goes."""

    waiting: int
    oldest_us: int | None  # when the oldest that waits was made
    stuck: bool
    refused: int  # within the last day, given up ones too
    last_sent_us: int | None


class Notifier:
    """Keeps people told of one farm's alarms.

    Parameters
    ----------
    farm : Farm
        The description, with its people and routes.
    journal : Journal
        Alarms, acts, outbox and links.
    channels : Channels
        Everybody's addresses.
    now_us : callable
        The clock. [µs since 1970 UTC]
    page_url : str or None
        Where people reach the page: links for acknowledging begin with it; None makes none.
    ready : callable
        Whether alarms are those of now: while a backlog is worked off, they may be of hours ago.
    """

    def __init__(
        self,
        farm: Farm,
        journal: Journal,
        channels: Channels,
        now_us: Callable[[], int],
        page_url: str | None = None,
        ready: Callable[[], bool] = lambda: True,
    ) -> None:
        self._farm, self._journal, self._channels, self._now_us = farm, journal, channels, now_us
        self._ready = ready
        self._page_url = None if page_url is None else page_url.rstrip("/")
        self._busy: dict[tuple[str, str], threading.Thread] = {}
        self._room = threading.BoundedSemaphore(AT_ONCE)
        self.trouble: str | None = None

    def run(self, stopping: threading.Event) -> None:
        """Look for what is to be told, now and then, until told to stop."""
        while not stopping.is_set():
            try:
                began_s = time.monotonic()
                if self._ready():
                    self.decide()
                self.send_due()
                self.trouble = None
                stopping.wait(max(IDLE_S, SHARE * (time.monotonic() - began_s)))
            except (StoreUnavailable, StoreUnusable) as error:
                self.trouble = f"people cannot be told of alarms: {error}"
                logger.warning("telling people waits for the journal: %s", error)
                stopping.wait(RETRY_S)
            except Exception as error:
                self.trouble = f"telling people failed, please report it: {type(error).__name__}: {error}"
                logger.exception("telling people failed on a round; it tries again")
                stopping.wait(RETRY_S)
        until_s = time.monotonic() + ENDING_S
        for thread in list(self._busy.values()):
            thread.join(max(0.0, until_s - time.monotonic()))

    def decide(self) -> list[Notice]:
        """Write the notices that are to be made now, and return them."""
        farm, now_us = self._farm, self._now_us()
        if not farm.notices.people:
            return []
        alarms, sent = self._at_hand(now_us)
        raised = [Raised(one, state) for one, state in self._states(alarms, now_us)]
        drafts = plan(farm.notices, farm.zones, farm.farm.zone_info, raised, sent, now_us)
        made: list[Notice] = []
        for draft in drafts:
            subject, text = words(farm, draft, now_us)
            made += [
                Notice(
                    farm.name, draft.kind, draft.person, channel, draft.group, draft.turn, draft.priority, draft.told,
                    now_us, subject, text, next_us=now_us,
                )
                for channel in self._channels.of(draft.person)
            ]  # fmt: skip
        if not made:
            return []
        reached("notices decided")
        new = self._journal.outbox.add(made)
        reached("notices written")
        return new

    def _at_hand(self, now_us: int) -> tuple[list[AlarmEntry], list[Notice]]:
        """Return the alarms that may have to be told and the notices that bear on them, oldest first.

        However long an alarm lasts, only what was told of late is read, and by name what was told of an older alarm
        that lasts, or whose end somebody has not been told.
        """
        farm, journal = self._farm.name, self._journal
        alarms = journal.alarms.between(farm, now_us - LOOK_BACK_US)
        owed = journal.outbox.owed(farm, list(self._farm.notices.people))
        known = {name for one in alarms for name in names_of(one)}
        alarms += journal.alarms.those(farm, {told.identity for one in owed for told in one.told} - known)
        old = [one for one in alarms if one.alarm_us < now_us - LOOK_BACK_US or len(names_of(one)) > 1]
        about = journal.outbox.about(farm, {name for one in old for name in names_of(one)})
        sent = [*journal.outbox.since(farm, now_us - LOOK_BACK_US), *about, *owed]
        by_name = {one.identity: one for one in sent}
        return alarms, sorted(by_name.values(), key=lambda one: (one.made_us, one.identity))

    def _states(self, alarms: Sequence[AlarmEntry], now_us: int) -> Iterator[tuple[AlarmEntry, AlarmState]]:
        acts = self._journal.alarms.acts_about_each(alarms)
        for one in alarms:
            yield one, state_of(one, acts[one.identity], now_us)

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

    def settle(self) -> None:
        """Wait until no try is under way: for tests and the command line."""
        for thread in list(self._busy.values()):
            thread.join()

    def _alone(self, notice: Notice) -> None:
        with self._room:
            try:
                self.attempt(notice)
            except (StoreUnavailable, StoreUnusable) as error:
                logger.warning(
                    "what came of notice %s cannot be noted, so it is tried again: %s", notice.identity, error
                )
            except Exception:
                logger.exception("notice %s failed", notice.identity)

    def attempt(self, notice: Notice) -> Answer:
        """Try to send one notice: the try is durable before it begins, and its outcome as soon as it is known."""
        farm, outbox, began_us = self._farm, self._journal.outbox, self._now_us()
        if began_us - notice.made_us >= farm.notices.give_up_hours * 60 * MINUTE_US:
            why = f"given up after {farm.notices.give_up_hours:g} h"
            outbox.drop(farm.name, notice.identity, began_us, NoticeState.GIVEN_UP, why)
            logger.error("notice %s to %s by %s: %s", notice.identity, notice.person, notice.channel, why)
            return Answer(Outcome.REFUSED, why)
        link = self._link(notice, began_us)
        number = outbox.begin(farm.name, notice.identity, began_us)
        reached("try begun")
        person = farm.notices.people.get(notice.person)
        label = notice.person if person is None else person.label
        try:
            answer = self._channels.send(Message(notice, farm.farm.title, label, link))
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

    def _link(self, notice: Notice, now_us: int) -> str | None:
        if self._page_url is None or notice.kind not in TELLING or not notice.group:
            return None
        expires_us = now_us + int(self._farm.notices.link_hours * 60 * MINUTE_US)
        alarms = tuple(one.identity for one in notice.told)
        link = Link(self._farm.name, notice.person, notice.identity, notice.group, alarms, expires_us)
        return f"{self._page_url}/acknowledge/{self._journal.links.make(link)}"

    def status(self) -> OutboxStatus:
        """Return how telling people goes."""
        now_us = self._now_us()
        return outbox_status(self._journal, self._farm.name, now_us)


def outbox_status(journal: Journal, farm: str, now_us: int) -> OutboxStatus:
    """Return how telling people goes, as the journal has it."""
    waiting = [one for one in journal.outbox.waiting(farm) if one.kind is not NoticeKind.TEST]
    recent = journal.outbox.since(farm, now_us - 24 * 60 * MINUTE_US)
    oldest_us = min((one.made_us for one in waiting), default=None)
    return OutboxStatus(
        waiting=len(waiting),
        oldest_us=oldest_us,
        stuck=oldest_us is not None and now_us - oldest_us > STUCK_US,
        refused=_count(recent, (NoticeState.REFUSED, NoticeState.GIVEN_UP)),
        last_sent_us=max((one.sent_us for one in recent if one.sent_us is not None), default=None),
    )


def _count(notices: Sequence[Notice], states: Collection[NoticeState]) -> int:
    return sum(one.state in states and one.kind is not NoticeKind.TEST for one in notices)


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
