"""Alarms of sensors whose readings fail their tests."""

from __future__ import annotations

from farm.alarm_words import AlarmKind
from farm.flags import Flag
from farm.readings import Series
from watch.alarm_ground import HOUR_US, Ground, Stood, no_delay
from watch.alarm_rules import rule_of
from watch.alarm_spells import alarms_of
from watch.alarm_texts import detail_of


class FaultAlarms:
    """Keeps the alarms of sensors' faults true to the quality marks."""

    def __init__(self, ground: Ground) -> None:
        self._ground, self._farm, self._journal, self._book = ground, ground.farm, ground.journal, ground.book
        self._newest = ground.newest

    def renew(self, series: Series, first_us: int, last_us: int) -> None:
        """Work a series' alarm out anew about a stretch in which tests came to doubt or trust it."""
        rule = rule_of(self._farm, AlarmKind.SENSOR_FAULT, series.quantity)
        condition = f"{AlarmKind.SENSOR_FAULT}/{series.key}"
        start_us = self._book.chain_start(condition, first_us - rule.off_delay_us - HOUR_US)
        newest_us = self._newest.get(series, last_us)
        marks = [
            one
            for one in self._journal.marks.between(series, start_us, newest_us + 1)
            if one.flag == Flag.FAIL and one.first_us >= start_us
        ]
        spells: list[Stood] = []
        for mark in marks:
            if spells and mark.first_us - (spells[-1].end_us or 0) <= rule.off_delay_us:
                spells[-1] = Stood(spells[-1].onset_us, max(spells[-1].end_us or 0, mark.last_us))
            else:
                spells.append(Stood(mark.first_us, mark.last_us))
        tests = sorted({one.test for one in marks})
        text = (
            f"{self._farm.label_of(series)} in {self._farm.zone_label(series.zone)} fails its tests "
            f"({', '.join(one.replace('_', ' ') for one in tests)}): what it reads is not used."
        )
        alarms = alarms_of(
            self._farm.name, condition, rule, spells, newest_us,
            lambda held, _, times: detail_of(
                self._farm, AlarmKind.SENSOR_FAULT, held[0].onset_us, text, series=series, times=times,
                first_step="Look at the sensor, its plug and its place.",
            ),
            no_delay, self._book.onsets_before(condition, start_us),
        )  # fmt: skip
        self._book.propose(condition, start_us, alarms)
        if alarms and alarms[-1].returned_us is None:
            end_us = spells[-1].end_us or newest_us
            self._ground.look_again(condition, series, end_us, lambda: self.renew(series, first_us, last_us))
