"""Telling people, as a part of the service: the notifier and the heartbeat with their threads, and how they do."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Any

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, iso_time
from store.contract import StoreUnavailable, StoreUnusable
from store.journal import Journal
from watch.channels import Channels
from watch.heartbeat import Heartbeat, Pulse
from watch.notifying import ENDING_S, Notifier, OutboxStatus, outbox_status
from watch.telling import listed

KEEPS_UP_S = 60.0  # what arrived is worked out within this, or the watch does not keep up; our choice, no source
BACKLOG_S = 120.0  # alarms of a backlog wait this long for its end, then they are told as they are; our choice
SETTLED_S = 15.0  # further behind than this, there is a backlog: three of the watch's idle rounds
BROKEN_S = 600.0  # what alarms rest on may fail so long before signs of life stop; our choice, no source
NO_ALARMS_REST_ON = ("findings", "the sheet of ")  # beginnings of what may be broken and takes no alarm from people
QUIET_S = 300.0  # no reading at all for so long, or for three of the fastest cadence, is none arriving; our choice


class Telling:
    """Tells people of one farm's alarms, and an outside address that all is well.

    Parameters
    ----------
    farm : Farm
        The description.
    channels : Channels
        Everybody's addresses.
    pulse : Pulse or None
        Where signs of life go.
    page_url : str or None
        Where people reach the page.
    journal : Journal
        Alarms and outbox.
    now_us : callable
        The clock. [µs since 1970 UTC]
    caught_up_us : callable
        Until when all that had arrived is worked out; None before the first time.
    arrived_us : callable
        When the last reading was stored; None before the first.
    broken_since_us : callable
        What cannot be worked out, and since when.
    link_key : bytes or None
        What links for acknowledging are made with.
    """

    def __init__(
        self,
        farm: Farm,
        channels: Channels,
        pulse: Pulse | None,
        page_url: str | None,
        journal: Journal,
        now_us: Callable[[], int],
        caught_up_us: Callable[[], int | None],
        arrived_us: Callable[[], int | None],
        broken_since_us: Callable[[], Mapping[str, int]] = dict,
        link_key: bytes | None = None,
    ) -> None:
        self._farm, self._journal, self._now_us = farm, journal, now_us
        self._caught_up_us, self._arrived_us, self._begun_us = caught_up_us, arrived_us, now_us()
        self._broken_since_us = broken_since_us
        self._settled_us = self._begun_us  # when no backlog was last seen
        self._notifier = Notifier(farm, journal, channels, now_us, page_url, self._ready, link_key)
        self._heartbeat = None if pulse is None else Heartbeat(pulse, self.amiss, now_us)
        self._stopping = threading.Event()
        self._threads = [
            threading.Thread(target=self._notifier.run, args=(self._stopping,), name="notices", daemon=True)
        ]
        if self._heartbeat is not None:
            beating = threading.Thread(
                target=self._heartbeat.run, args=(self._stopping,), name="heartbeat", daemon=True
            )
            self._threads.append(beating)

    def start(self) -> None:
        """Begin."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End; what is being sent may end first, for some seconds."""
        self._stopping.set()
        for thread in self._threads:
            thread.join(ENDING_S + 1)

    def behind_s(self) -> float:
        """Return how far the watch is behind what arrived, at most since the start. [s]."""
        return (self._now_us() - (self._caught_up_us() or self._begun_us)) / MICROSECONDS_PER_SECOND

    def _ready(self) -> bool:
        """Return whether people are told now: there is no backlog, or it has been waited for long enough."""
        behind_s, now_us = self.behind_s(), self._now_us()
        if behind_s <= SETTLED_S and self._caught_up_us() is not None:
            self._settled_us = now_us
            return True
        return behind_s > BACKLOG_S or now_us - self._settled_us > BACKLOG_S * MICROSECONDS_PER_SECOND

    def amiss(self) -> str | None:
        """Return why an outside address gets no sign of life now; None where all is well."""
        behind_s = self.behind_s()
        if behind_s > KEEPS_UP_S:
            return f"the watch is {behind_s:.0f} s behind what arrived"
        cadences = [one.cadence_s for one in self._farm.series]
        longest_s = max(QUIET_S, 3 * min(cadences, default=0.0))
        arrived_us = self._arrived_us()
        if arrived_us is None or self._now_us() - arrived_us > longest_s * MICROSECONDS_PER_SECOND:
            return f"no reading has arrived for {longest_s:.0f} s"
        if not self._threads[0].is_alive():
            return "the thread that tells people has died"
        if self._notifier.trouble is not None:
            return self._notifier.trouble
        if broken := self._long_broken():
            return f"{listed(broken)} cannot be worked out for more than {BROKEN_S / 60:.0f} min"
        try:
            return "notices are stuck in the outbox" if self._status().stuck else None
        except (StoreUnavailable, StoreUnusable) as error:
            return str(error)

    def _long_broken(self) -> list[str]:
        """Return what alarms rest on and what has not been worked out for long."""
        now_us = self._now_us()
        return sorted(
            what
            for what, since_us in list(self._broken_since_us().items())  # another thread writes them
            if not what.startswith(NO_ALARMS_REST_ON)
            and abs(now_us - since_us) > BROKEN_S * MICROSECONDS_PER_SECOND  # ahead only if the clock was set back
        )

    def _status(self) -> OutboxStatus:
        return outbox_status(self._journal, self._farm.name, self._now_us())

    def health(self) -> tuple[dict[str, Any], list[str]]:
        """Return how telling people goes, in the shape that the API shows, and what troubles it."""
        troubles = [self._notifier.trouble]
        shown: dict[str, Any] = {"people": len(self._farm.notices.people)}
        try:
            status = self._status()
        except (StoreUnavailable, StoreUnusable) as error:
            troubles.append(str(error))
        else:
            oldest_s = 0.0 if status.oldest_us is None else (self._now_us() - status.oldest_us) / 1e6
            shown |= {
                "waiting": status.waiting,
                "oldest_waiting_s": oldest_s,
                "stuck": status.stuck,
                "refused_within_a_day": status.refused,
                "last_sent": _iso(status.last_sent_us),
            }
            if status.stuck:
                troubles.append(
                    f"{status.waiting} notices wait, the oldest for {oldest_s / 60:.0f} min: leafweather notice list "
                    "says why"
                )
            if status.refused:
                troubles.append(
                    f"{status.refused} notices were refused within a day: leafweather notice list says by whom"
                )
        if self._threads[0].ident is not None and not self._threads[0].is_alive():
            troubles.append("the thread that tells people has died: restart Leafweather")
        if self._heartbeat is not None:
            shown["heartbeat"] = {"last": _iso(self._heartbeat.last_us), "held_back": self._heartbeat.held_back}
            troubles.append(self._heartbeat.trouble)
        return shown, [one for one in troubles if one]


def _iso(time_us: int | None) -> str | None:
    return None if time_us is None else iso_time(time_us)
