"""Alarms of fixed limits: dangerous CO2, lost mains, open doors, fast changes, no water."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from analytics.excursions import INSIDE, Excursion, excursions
from farm.readings import Series
from watch.alarm_conditions import Limited, limited
from watch.alarm_ground import HOUR_US, Ground, no_delay
from watch.alarm_spells import alarms_of
from watch.pace import Pressing
from watch.stretches import Stretch


class LimitAlarms:
    """Keeps the alarms of fixed limits true to readings."""

    def __init__(self, ground: Ground) -> None:
        self._farm, self._store, self._book, self._newest = ground.farm, ground.store, ground.book, ground.newest
        self._limited: defaultdict[Series, list[Limited]] = defaultdict(list)
        for one in limited(ground.farm):
            self._limited[one.series].append(one)
        self._put_off: dict[str, int] = {}  # since when readings wait to be looked at

    def watches(self, condition: str, series: Series) -> bool:
        """Return whether a condition of a series is one of those that the description makes."""
        return any(one.condition == condition for one in self._limited.get(series, ()))

    def pressing(self, series: Series) -> list[Pressing]:
        """Return which single readings of a series would begin an alarm."""
        return [
            one.pressing._replace(delay_us=one.rule.on_delay_us)
            for one in self._limited.get(series, ())
            if one.pressing and not any(entry.returned_us is None for entry in self._book.of(one.condition))
        ]

    def follow(self, series: Series, stretches: Sequence[Stretch]) -> None:
        """Follow readings of a series that changed."""
        for one in self._limited.get(series, ()):
            for first, last in stretches:
                self._follow_one(one, first, last)

    def _follow_one(self, one: Limited, first_us: int, last_us: int) -> None:
        start_us = first_us - one.back_us
        reach_us = last_us + one.back_us
        kept = self._book.of(one.condition)
        touches = any(
            entry.onset_us <= reach_us and (entry.returned_us is None or entry.returned_us >= start_us)
            for entry in kept
        )
        if not touches and one.every_us:
            put_off_us = min(first_us, self._put_off.pop(one.condition, first_us))
            if 0 <= last_us - put_off_us < one.every_us:
                self._put_off[one.condition] = put_off_us
                return
            start_us -= first_us - put_off_us
        if not touches:
            until_us = min(reach_us, self._newest.get(one.series, last_us))  # late readings reach those after them
            _, value = one.values(self._store, start_us, until_us + 1)
            if not ((value < one.low) | (value > one.high)).any():
                return
        start_us = self._book.chain_start(one.condition, start_us - HOUR_US)
        found, until_us = self._run(one, start_us, reach_us)
        newest_us = self._newest.get(one.series, last_us)
        alarms = alarms_of(
            self._farm.name, one.condition, one.rule, found, newest_us,
            lambda _, worst, __: one.tell(self._store, worst), no_delay,
            self._book.onsets_before(one.condition, start_us),
        )  # fmt: skip
        later = [entry for entry in kept if entry.onset_us > until_us]
        self._book.propose(one.condition, start_us, [*alarms, *later])

    def _run(self, one: Limited, start_us: int, reach_us: int) -> tuple[list[Excursion], int]:
        """Return the stretches outside from an instant on, until nothing is under way beyond another instant."""
        newest_us = self._newest.get(one.series, reach_us)
        found: list[Excursion] = []
        state, from_us, step_us = INSIDE, start_us, one.back_us
        while True:
            until_us = min(reach_us, newest_us)
            time_us, value = one.values(self._store, from_us, until_us + 1)
            ended, state = excursions(time_us, value, one.low, one.high, one.machine, state)
            found += ended
            if until_us >= newest_us or not (state is not INSIDE or self._book.goes_on(one.condition, until_us)):
                break
            from_us, reach_us, step_us = until_us + 1, until_us + 2 * step_us, 2 * step_us
        if state.open_excursion is not None:
            found.append(state.open_excursion)
        return found, until_us
