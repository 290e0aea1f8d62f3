"""When a series, or the whole farm, was silent: in event time, and by the clock only for what is silent still."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from analytics.alarm_damping import Spell
from farm.alarm_words import AlarmKind
from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from watch.alarm_rules import Rule, rule_of


class Silences:
    """What counts as silence on one farm."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self.rule = rule_of(farm, AlarmKind.SILENCE)
        self.rule_of_farm = rule_of(farm, AlarmKind.NO_DATA)
        cadences = [one.cadence_s for one in farm.described.values()]
        self.farm_longest_us = int(SILENT_AFTER_CADENCES * min(cadences, default=60.0) * MICROSECONDS_PER_SECOND)

    def rule_for(self, series: Series) -> Rule:
        """Return the rule of a series' silence."""
        return rule_of(self._farm, AlarmKind.SILENCE, series.quantity)

    def longest_us(self, series: Series) -> int:
        """Return how long a series may be silent: three cadences and the on-delay, after which it is an alarm."""
        cadence_s = self._farm.described[series].cadence_s
        return int(cadence_s * SILENT_AFTER_CADENCES * MICROSECONDS_PER_SECOND) + self.rule.on_delay_us

    @property
    def whole_us(self) -> int:
        """How long nothing at all may arrive: three of the shortest cadence and the on-delay."""
        return self.farm_longest_us + self.rule_of_farm.on_delay_us


def gaps_between(time_us: np.ndarray, longest_us: int) -> list[Spell]:
    """Return the stretches between readings that are longer than that: from the last before to the first after."""
    places = np.flatnonzero(np.diff(time_us) > longest_us)
    return [Spell(int(time_us[place]), int(time_us[place + 1])) for place in places.tolist()]


def times_of(store: ReadingStore, several: Iterable[Series], start_us: int, end_us: int) -> np.ndarray:
    """Return the times of the readings of several series, ascending, each once."""
    read = [store.read(one, start_us, end_us).time_us for one in several]
    return np.unique(np.concatenate(read)) if read else np.empty(0, np.int64)


def newest_of(latest: Mapping[Series, int]) -> int | None:
    """Return the newest time of all series; None where nothing has arrived."""
    return max(latest.values(), default=None)
