"""When the watch works off what arrived: at once where it presses, else a few times a minute."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence
from math import inf
from typing import NamedTuple

from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series

PACE_S = 2.0  # our choice, no source
IDLE_S = 5.0  # look for notes this often even if nobody calls; likewise
END_OF_TIME_US = 2**62


class Pressing(NamedTuple):
    """Readings of a series that press: those outside limits, if that counts after a delay, or those of a time or later.

    Where the delay is longer than the watch's pace, it will see what is outside in time, and when that counts a pace
    later at most.
    """

    low: float = -inf
    high: float = inf
    delay_us: int = 0
    due_us: int = END_OF_TIME_US


class Pace:
    """Calls the watch to work: at once for readings that may begin an alarm, else no more often than ``pace_s``.

    It only decides when, never what: whatever waits is in the store's notes. The thread that stores readings calls
    `arrived`; the watch's own says with `aim` what presses, and waits.

    Parameters
    ----------
    pace_s : float
        Seconds from the beginning of one piece of work to the next that does not press.
    steady_s : callable
        A clock that nobody sets. [s]
    """

    def __init__(self, pace_s: float = PACE_S, steady_s: Callable[[], float] = time.monotonic) -> None:
        self.pace_s, self._steady_s = pace_s, steady_s
        self._pressing: dict[Series, Pressing] = {}  # by any of what was said
        self._called, self._pressed = threading.Event(), threading.Event()
        self._began_s = -inf

    def aim(self, series: Series, several: Sequence[Pressing]) -> None:
        """Say which readings of a series press from now on."""
        soon = [one for one in several if one.delay_us < self.pace_s * MICROSECONDS_PER_SECOND]
        low, high = max((one.low for one in soon), default=-inf), min((one.high for one in soon), default=inf)
        self._pressing[series] = Pressing(low, high, 0, min((one.due_us for one in several), default=END_OF_TIME_US))

    def arrived(self, readings: Iterable[Reading]) -> None:
        """Call for work because readings were stored."""
        for one in readings:
            pressing = self._pressing.get(one.series)
            if pressing and (not pressing.low <= one.value <= pressing.high or one.time_us >= pressing.due_us):
                self._pressed.set()
                break
        self._called.set()

    def call(self) -> None:
        """Call for work at once."""
        self._pressed.set()
        self._called.set()

    @property
    def due(self) -> bool:
        """Whether it is time to work."""
        rested = self._steady_s() - self._began_s >= self.pace_s
        return self.presses or (rested and self._called.is_set())

    @property
    def presses(self) -> bool:
        """Whether something came that must not wait."""
        return self._pressed.is_set()

    def begin(self) -> None:
        """Say that work begins on all that was called for."""
        self._called.clear()
        self._pressed.clear()
        self._began_s = self._steady_s()

    def wait(self) -> None:
        """Return when it is time to work, or to see whether it is."""
        self._pressed.wait(max(0.0, self._began_s + self.pace_s - self._steady_s()))
        self._called.wait(IDLE_S)
