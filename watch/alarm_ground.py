"""What all that keeps alarms stands on: the farm, its readings and journal, the clock, and the alarms in memory."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from store.journal import Journal
from watch.alarm_book import AlarmBook

HOUR_US = 3600 * MICROSECONDS_PER_SECOND


@dataclass(frozen=True, slots=True)
class Stood:
    """One time that something was so, which has no value of its own: silence, a sensor's fault, a finding."""

    onset_us: int
    end_us: int | None
    last_us: int = 0
    extreme: float = 0.0
    extreme_us: int = 0
    limit: float = 0.0


@dataclass
class Ground:
    """One farm's, shared by all: ``newest`` is the time of each series' newest reading."""

    farm: Farm
    store: ReadingStore
    journal: Journal
    now_us: Callable[[], int]
    book: AlarmBook
    newest: dict[Series, int]
    _due: dict[str, tuple[Series, int, Callable[[], None]]] = field(default_factory=dict)

    def newest_of_all(self) -> int | None:
        """Return the time of the newest reading of what is described; None before the first."""
        return newest_of_all(self.farm, self.newest)

    def look_again(self, condition: str, series: Series, end_us: int, again: Callable[[], None]) -> None:
        """Have a condition that is over and has not returned looked at again: each quarter of an hour of its series."""
        self._due[condition] = series, max(end_us, self.newest.get(series, end_us)) + HOUR_US // 4, again

    def look_at_due(self) -> None:
        """Look again at what is due by the readings that have come."""
        for condition, (series, at_us, again) in list(self._due.items()):
            if self.newest.get(series, 0) >= at_us:
                del self._due[condition]
                again()


def newest_of_all(farm: Farm, newest: dict[Series, int]) -> int | None:
    """Return the newest time of what a farm describes; None where there is none."""
    return max((at_us for series, at_us in newest.items() if series in farm.described), default=None)


def no_delay(_: int) -> tuple[int, int]:
    """Return the delays that have passed before an onset is known: none."""
    return 0, 0
