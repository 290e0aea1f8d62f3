"""A sign of life to an outside address, which tells people when it stops coming."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from farm.readings import MICROSECONDS_PER_SECOND
from store.notice_entries import Outcome
from watch.plain_http import PATIENCE_S, ask

logger = logging.getLogger(__name__)

LOOK_S = 5.0  # between looks at whether one is due
RETRY_US = 30 * MICROSECONDS_PER_SECOND  # after one that was not taken


@dataclass(frozen=True, slots=True)
class Pulse:
    """Where a sign of life goes, and how often."""

    url: str = field(repr=False)
    every_us: int
    post: bool = False
    ca_file: Path | None = None
    patience_s: float = PATIENCE_S


class Heartbeat:
    """Sends signs of life while all is well.

    Parameters
    ----------
    pulse : Pulse
        Where to, and how often.
    amiss : callable
        Why there is to be no sign of life now; None where all is well.
    now_us : callable
        The clock. [µs since 1970 UTC]
    """

    def __init__(self, pulse: Pulse, amiss: Callable[[], str | None], now_us: Callable[[], int]) -> None:
        self._pulse, self._amiss, self._now_us = pulse, amiss, now_us
        self._next_us = 0
        self.last_us: int | None = None  # the last that was taken
        self.held_back: str | None = None
        self.trouble: str | None = None

    def run(self, stopping: threading.Event) -> None:
        """Send one whenever it is due, until told to stop."""
        while not stopping.wait(LOOK_S):
            try:
                self.beat()
            except Exception as error:
                self.trouble = f"the heartbeat failed, please report it: {type(error).__name__}"
                logger.exception("the heartbeat failed; it tries again")

    def beat(self) -> bool:
        """Send one if it is due and all is well, and return whether it was taken."""
        now_us = self._now_us()
        longest_us = max(self._pulse.every_us, RETRY_US)
        if now_us < self._next_us <= now_us + longest_us:  # further ahead only if the clock was set back
            return False
        self.held_back = self._amiss()
        if self.held_back is not None:
            return False
        replied = ask(
            self._pulse.url,
            body=b"" if self._pulse.post else None,
            headers={"User-Agent": "leafweather"},
            ca_file=self._pulse.ca_file,
            patience_s=self._pulse.patience_s,
        )
        taken = replied.outcome is Outcome.TAKEN
        if taken:
            self.last_us, self.trouble = now_us, None
        else:
            self.trouble = f"the heartbeat was not taken: {replied.text}"
            logger.warning("%s", self.trouble)
        self._next_us = now_us + (self._pulse.every_us if taken else min(RETRY_US, self._pulse.every_us))
        return taken
