"""Alarms of bands that are left: from excursions, with what findings say of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from farm.alarm_words import AlarmKind
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.entries import ExcursionEntry
from watch.alarm_findings import LOOK_BACK_US, Told, told_of
from watch.alarm_ground import HOUR_US, Ground
from watch.alarm_rules import rule_of
from watch.alarm_spells import alarms_of
from watch.alarm_texts import CAUTIONS as CAUTIONS_OF
from watch.alarm_texts import band_text, detail_of

END_OF_TIME_US = 2**62
RECENT_US = 72 * HOUR_US  # excursions held in memory that long
MOST_TOLD = 5_000  # findings of former excursions held in memory


class BandAlarms:
    """Keeps the alarms of bands true to excursions and to their likely causes."""

    def __init__(self, ground: Ground) -> None:
        self._ground, self._farm, self._journal, self._book = ground, ground.farm, ground.journal, ground.book
        self._newest = ground.newest
        self._excursions: dict[Series, tuple[int, list[ExcursionEntry]]] = {}
        self._likely: dict[str, Told | None] = {}  # by an excursion's identity

    def take_up(self, told: Mapping[str, Told]) -> None:
        """Keep what findings say of excursions, by their identity, for alarms to come."""
        self._likely |= told

    def follow_findings(self, told: Mapping[str, Told]) -> None:
        """Take up what findings say of excursions, in the alarms that stand too."""
        fresh = {identity: one for identity, one in told.items() if self._likely.get(identity) != one}
        self.take_up(fresh)
        for series in {one.series for one in fresh.values() if one.series is not None}:
            self.renew_held(series, min(one.onset_us for one in fresh.values() if one.series == series))

    def renew(self, series: Series, from_us: int, entries: Sequence[ExcursionEntry]) -> None:
        """Follow a series' excursions, which are these from an instant on."""
        since_us, known = self._excursions.get(series, (END_OF_TIME_US, []))
        known = [
            *(one for one in known if one.onset_us < from_us),
            *(one for one in entries if one.onset_us >= from_us),
        ]
        since_us = min(since_us, from_us)
        newest_us = max([self._newest.get(series, 0), *(one.end_us or one.last_us for one in known)])
        conditions = {side: f"{AlarmKind.OUT_OF_BAND}/{series.key}/{side}" for side in ("low", "high")}
        start_us = min(self._book.chain_start(condition, from_us - HOUR_US) for condition in conditions.values())
        if start_us < since_us:
            found = self._journal.excursions(self._farm.name, series=series, start_us=start_us)
            since_us, known = start_us, [one for one in found if one.onset_us >= start_us]
        trimmed_us = max(since_us, newest_us - RECENT_US)
        self._excursions[series] = trimmed_us, [one for one in known if one.onset_us >= trimmed_us]
        for side, condition in conditions.items():
            rule = rule_of(self._farm, AlarmKind.OUT_OF_BAND, series.quantity, side)
            begin_us = self._book.chain_start(condition, from_us - HOUR_US)
            several = [one for one in known if one.side == side and one.onset_us >= begin_us]
            if not several and not self._book.of(condition):
                continue
            alarms = alarms_of(
                self._farm.name,
                condition,
                rule,
                several,
                newest_us,
                self._tell_band(series, side, newest_us),
                self._delays(series),
                self._book.onsets_before(condition, begin_us),
            )
            self._book.propose(condition, begin_us, alarms)
            if alarms and alarms[-1].returned_us is None and several[-1].end_us is not None:
                self._ground.look_again(condition, series, several[-1].end_us, lambda: self.renew_held(series, from_us))

    def renew_held(self, series: Series, from_us: int) -> None:
        """Follow a series' excursions from an instant on, as the journal has them."""
        found = self._journal.excursions(self._farm.name, series=series, start_us=from_us)
        self.renew(series, from_us, [one for one in found if one.onset_us >= from_us])

    def _delays(self, series: Series) -> Callable[[int], tuple[int, int]]:
        def passed(onset_us: int) -> tuple[int, int]:
            phase = self._farm.phase_at(series.zone, instant(onset_us)) if series.zone in self._farm.zones else None
            band = phase.bands.get(series.quantity) if phase is not None else None
            if band is None:
                return 0, 0
            return int(band.on_delay_s * MICROSECONDS_PER_SECOND), int(band.off_delay_s * MICROSECONDS_PER_SECOND)

        return passed

    def _told_of(self, one: ExcursionEntry, newest_us: int) -> Told | None:
        """Return what findings say of an excursion; of one that began long ago, as the journal has it."""
        if one.identity not in self._likely and one.onset_us < newest_us - LOOK_BACK_US:
            if len(self._likely) > MOST_TOLD:
                self._likely.clear()
            self._likely[one.identity] = told_of(self._farm, self._journal, one.identity)
        return self._likely.get(one.identity)

    def _tell_band(self, series: Series, side: str, newest_us: int) -> Callable[..., dict[str, Any]]:
        def tell(held: Sequence[ExcursionEntry], worst: ExcursionEntry, times: int) -> dict[str, Any]:
            text, step = band_text(self._farm, series, side, worst.extreme, worst.limit, times)
            found = next((told for one in reversed(held) if (told := self._told_of(one, newest_us))), None)
            detail = detail_of(
                self._farm, AlarmKind.OUT_OF_BAND, held[0].onset_us, text, series=series, limit=worst.limit,
                worst=worst.extreme, first_step=step, caution=CAUTIONS_OF.get(series.quantity, ""),
                excursion=held[-1].identity, times=times,
            )  # fmt: skip
            return detail | found.over(detail) if found is not None else detail

        return tell
