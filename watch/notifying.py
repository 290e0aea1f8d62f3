"""Tells people: decides which notices to make, has them sent, and says how that goes."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

from analytics.alarm_history import state_of
from farm.alarm_words import AlarmState
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND
from store.alarm_entries import AlarmEntry
from store.contract import StoreUnavailable, StoreUnusable
from store.fault_points import reached
from store.journal import Journal
from store.journal_alarms import names_of
from store.notice_entries import Notice, NoticeKind, NoticeState
from watch.channels import Channels
from watch.links import Links
from watch.notice_plan import DIGEST_REACHES, plan
from watch.notice_text import words
from watch.sending import Sender
from watch.told import MINUTE_US, Raised

logger = logging.getLogger(__name__)

IDLE_S = 1.0  # look for alarms and due notices this often
SHARE = 10.0  # nor more often than this many times as long as a look took: in a flood of alarms it takes longer
RETRY_S = 2.0
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
    link_key : bytes or None
        What links' tokens are derived with.
    """

    def __init__(
        self,
        farm: Farm,
        journal: Journal,
        channels: Channels,
        now_us: Callable[[], int],
        page_url: str | None = None,
        ready: Callable[[], bool] = lambda: True,
        link_key: bytes | None = None,
    ) -> None:
        self._farm, self._journal, self._channels, self._now_us = farm, journal, channels, now_us
        self._ready = ready
        links = Links(journal, page_url, farm.notices.link_hours, link_key)
        self.sender = Sender(farm, journal, channels, links, now_us)
        self.trouble: str | None = None

    def run(self, stopping: threading.Event) -> None:
        """Look for what is to be told, now and then, until told to stop."""
        while not stopping.is_set():
            try:
                began_s = time.monotonic()
                if self._ready():
                    self.decide()
                self.sender.send_due()
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
        self.sender.settle(ENDING_S)

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
