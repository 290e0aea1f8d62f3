"""Which day sheets a change makes stale."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta

from farm.description import Farm
from farm.readings import Series, instant
from store.journal import Journal
from watch.day_data import LOOK_AROUND_US, LOOKS_BACK_DAYS, LOOKS_BACK_US, WEARS
from watch.stretches import Stretch


class StaleDays:
    """Notes the days whose sheets are to be written again, as far as ``today``."""

    def __init__(self, farm: Farm, journal: Journal, today: Callable[[], date]) -> None:
        self._farm, self._journal, self._today = farm, journal, today

    def mark(
        self,
        changed: Mapping[Series, list[Stretch]],
        moved: Iterable[Stretch] = (),
        under_way: Collection[date] = (),
        emptied: Sequence[Stretch] = (),
    ) -> set[date]:
        """Note, and return, the days that changed series and moved excursions or findings lie in, and who looks there.

        ``under_way`` are days whose sheets are being worked out: they count as written. Sheets look back on findings
        of empty bottles, ``emptied``, as they do on readings.
        """
        stretches = [*moved, *(one for several in changed.values() for one in several)]
        own = {day for first, last in stretches for day in self._days(first, last)}
        if not own:
            return set()
        written = {*self._journal.days(self._farm.name), *under_way}
        stale = own | (self.around(stretches) & written)
        reaches = [(WEARS.get(series.quantity, LOOKS_BACK_DAYS), several) for series, several in changed.items()]
        for reach_days, several in [*reaches, (LOOKS_BACK_DAYS, emptied)]:
            reach = timedelta(days=reach_days)
            for days in (self._days(*stretch) for stretch in several):
                stale |= {sheet for sheet in written if days and days[0] < sheet <= days[-1] + reach}
        self._journal.mark_days_stale(self._farm.name, stale)
        return stale

    def around(self, stretches: Iterable[Stretch]) -> set[date]:
        """Return the days that changes in some stretches lie in or reach into, what sheets look back on aside."""
        return {day for first, last in stretches for day in self._days(first - LOOK_AROUND_US, last + LOOKS_BACK_US)}

    def _days(self, first_us: int, last_us: int) -> list[date]:
        """Return the farm's local days that a stretch lies in."""
        first, last = (instant(one).astimezone(self._farm.farm.zone_info).date() for one in (first_us, last_us))
        last = min(last, self._today())
        return [first + timedelta(days=n) for n in range((last - first).days + 1)]
