"""Alarms of what is silent: one series, by its readings and for what is silent still by the clock."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from analytics.alarm_damping import Spell
from farm.alarm_words import AlarmKind
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.alarm_ground import HOUR_US, Ground, Stood
from watch.alarm_silences import Silences, gaps_between
from watch.alarm_spells import alarms_of
from watch.alarm_texts import detail_of
from watch.stretches import Stretch

LOOK_EVERY_US = 5 * MICROSECONDS_PER_SECOND  # at the clock
SET_US = 30 * MICROSECONDS_PER_SECOND  # beyond it the clock was set, or the machine slept; our choice, no source


class SilenceAlarms:
    """Keeps the alarms of silent series true to readings and, for what is silent still, to the clock.

    ``steady_s`` is a clock that nobody sets: what the other goes further between two looks is no time that passed.
    """

    def __init__(self, ground: Ground, silences: Silences, steady_s: Callable[[], float] | None = None) -> None:
        self._ground, self._farm, self._store, self._book = ground, ground.farm, ground.store, ground.book
        self._newest, self._silences = ground.newest, silences
        begun_us = ground.now_us()
        self._arrived = dict.fromkeys(ground.farm.described, begun_us)  # by the clock
        self._looked_us = begun_us
        self._steady_s = steady_s
        self._steadily_looked_us = self._steady_us()

    def _steady_us(self) -> int:
        return self._ground.now_us() if self._steady_s is None else int(self._steady_s() * MICROSECONDS_PER_SECOND)

    @property
    def arrived_us(self) -> int:
        """When the last reading of any series arrived, by the clock."""
        return max(self._arrived.values())

    def note_arrival(self, series: Series) -> None:
        """Note that a series' readings arrive now."""
        self._arrived[series] = self._ground.now_us()

    def look_at_clock(self) -> bool:
        """See which series are silent by now, and return whether it was time to look."""
        now_us, steady_us = self._ground.now_us(), self._steady_us()
        set_us = (now_us - self._looked_us) - (steady_us - self._steadily_looked_us)
        if now_us < self._looked_us:  # the clock was set back: what arrived by the old one arrived by now
            self._arrived = {series: min(at_us, now_us) for series, at_us in self._arrived.items()}
        elif set_us > SET_US:  # set forward: what arrived by the old one arrived as much later by the new one
            self._arrived = {series: min(at_us + set_us, now_us) for series, at_us in self._arrived.items()}
        elif now_us - self._looked_us < LOOK_EVERY_US:
            return False
        self._looked_us, self._steadily_looked_us = now_us, steady_us
        for series in self._farm.described:
            newest_us = self._newest.get(series)
            if newest_us is not None and self._silent_now(series, newest_us, self._silences.longest_us(series)):
                self._renew(series, newest_us, newest_us)
        return True

    def _silent_now(self, series: Series, newest_us: int, longest_us: int) -> bool:
        return self._ground.now_us() - max(newest_us, self._arrived[series]) >= longest_us

    def follow(self, series: Series, stretches: Sequence[Stretch], newest_us: int | None) -> list[Stretch]:
        """Follow readings of a series, and return holes in them that may be holes in all that arrives."""
        longest_us = min(self._silences.longest_us(series), self._silences.whole_us)
        standing = next(reversed(self._book.of(f"{AlarmKind.SILENCE}/{series.key}")), None)
        is_open = standing is not None and standing.returned_us is None
        holes = []
        for first, last in stretches:
            since_us = first if newest_us is None else newest_us
            if since_us <= first and not is_open and last - since_us <= longest_us:
                continue  # in order, and without a hole
            holes += self._renew(series, first, last)
        return holes

    def _renew(self, series: Series, first_us: int, last_us: int) -> list[Stretch]:
        """Work a series' silence out anew about a stretch; returns its holes that may be those of the whole farm."""
        condition = f"{AlarmKind.SILENCE}/{series.key}"
        longest_us = self._silences.longest_us(series)
        start_us = self._book.chain_start(condition, first_us - longest_us - HOUR_US)
        before = self._store.last_before(series, start_us + 1)
        left_us = before.time_us if before is not None else start_us
        newest_us = self._newest.get(series, last_us)
        end_us = min(last_us + longest_us, newest_us)
        time_us = self._store.read(series, left_us, end_us + 1).time_us
        while end_us < newest_us and (
            len(time_us) == 0 or time_us[-1] <= last_us or self._book.goes_on(condition, int(time_us[-1]))
        ):
            end_us = min(end_us + 2 * (end_us - left_us) + longest_us, newest_us)
            time_us = self._store.read(series, left_us, end_us + 1).time_us
        if len(time_us) == 0:
            return []
        spells = gaps_between(time_us, longest_us)
        if int(time_us[-1]) == newest_us and self._silent_now(series, newest_us, longest_us):
            spells.append(Spell(newest_us, None))
        rule = self._silences.rule_for(series)._replace(on_delay_us=0)
        text = (
            f"No reading from {self._farm.label_of(series)} in {self._farm.zone_label(series.zone)}: "
            "the sensor, its power or its network is silent."
        )
        alarms = alarms_of(
            self._farm.name, condition, rule, [Stood(one.onset_us, one.end_us) for one in spells],
            max(newest_us, self._ground.now_us() if spells and spells[-1].end_us is None else newest_us),
            lambda held, _, times: detail_of(
                self._farm, AlarmKind.SILENCE, held[0].onset_us, text, series=series, times=times,
                first_step="Check the sensor, its power and its name.",
            ),
            lambda _: (longest_us, 0), self._book.onsets_before(condition, left_us),
        )  # fmt: skip
        edge_us = int(time_us[-1])
        alarms = [one for one in alarms if one.onset_us >= left_us]
        later = [one for one in self._book.of(condition) if one.onset_us >= edge_us and one.onset_us != newest_us]
        known = {one.onset_us for one in alarms}
        self._book.propose(condition, left_us, [*alarms, *(one for one in later if one.onset_us not in known)])
        whole_us = self._silences.whole_us
        return [(one.onset_us, one.end_us) for one in gaps_between(time_us, whole_us) if one.end_us is not None]
