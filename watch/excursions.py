"""Opens, follows and closes excursions: the state machine of the science over stored readings."""

from __future__ import annotations

import numpy as np

from analytics.excursions import INSIDE, Excursion, Rule, Stage, State, excursions
from farm.alarms import AlarmRule
from farm.crops import DEADBAND_SHARE, Band
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from store.entries import ExcursionEntry, Side
from store.journal import Journal
from watch.bands import limits_at, longest_hold_us, phase_stretches, plan_bands, usable
from watch.pace import Pressing

END_OF_TIME_US = 2**62
MOST_KNOWN = 50  # excursions of a series kept in memory, those of the last hours aside; our choice, no source


class ExcursionKeeper:
    """Keeps one series' excursions in the journal true to its readings, whatever order they came in.

    New readings are followed from a checkpoint shortly before the newest one. Anything earlier, or a
    new start of the program, goes back to an instant from which the machine must come to the same
    states, and replays from there until those states are again the ones found before.
    """

    def __init__(self, farm: Farm, store: ReadingStore, journal: Journal, series: Series) -> None:
        self._farm, self._store, self._journal, self._series = farm, store, journal, series
        self._max_gap_us = longest_hold_us(farm, series)
        slowest_s = max(band.on_delay_s + band.off_delay_s for band in plan_bands(farm, series.quantity))
        # By then whatever was pending or returning is decided, one way or the other.
        self._decided_us = int(slowest_s * MICROSECONDS_PER_SECOND) + 2 * self._max_gap_us
        self._checkpoint: tuple[int, State] | None = None
        self._known_since_us = END_OF_TIME_US  # from when on we know the excursions in the journal, which ...
        self._known: list[ExcursionEntry] = []  # ... nobody else writes
        self.renewed: tuple[int, list[ExcursionEntry]] | None = None  # from when on they are these, if they changed
        self._newest_us = 0
        self.pressing = Pressing()  # readings to come that begin an excursion, or decide on one

    def renew(
        self, first_us: int, last_us: int, until_us: int = END_OF_TIME_US, *, again: bool = False
    ) -> list[tuple[int, int]]:
        """Bring the journal up to date for readings (or limits) that changed between two instants.

        Readings from ``until_us`` on are left for a later call, which must come.
        Returns the stretches of the excursions that began, ended or vanished by it; with ``again``, which says
        that it may have been done before and what follows not, of all that were looked at.
        """
        self.renewed = None
        newest = self._store.last_before(self._series, until_us)
        if newest is None:
            return []
        if self._checkpoint is not None and first_us > self._checkpoint[0]:
            from_us, state = self._checkpoint[0] + 1, self._checkpoint[1]
        else:
            from_us, state = self._replay_from(first_us), INSIDE
        keep_from = state.stretch.onset_us if state.stretch else from_us
        before = [one for one in self._overlapping(keep_from, END_OF_TIME_US) if one.onset_us >= keep_from]
        after = self._replayed(from_us, state, last_us, newest.time_us, before)
        if after != before or again:
            self.renewed = keep_from, after
        if after != before:
            self._journal.replace_excursions(self._farm.name, self._series, keep_from, after)
            self._known = [one for one in self._known if one.onset_us < keep_from] + after
        self._let_go(newest.time_us)
        seen = {(one.identity, one.end_us) for one in before} ^ {(one.identity, one.end_us) for one in after}
        return [
            (one.onset_us, one.last_us if one.end_us is None else one.end_us)
            for one in (*before, *after)
            if again or (one.identity, one.end_us) in seen
        ]

    def _overlapping(self, start_us: int, end_us: int) -> list[ExcursionEntry]:
        """Return the series' excursions that overlap ``[start_us, end_us)``, by onset."""
        if start_us < self._known_since_us:
            self._known = self._journal.excursions(self._farm.name, series=self._series, start_us=start_us)
            self._known_since_us = start_us
        return [one for one in self._known if one.onset_us < end_us and (one.end_us is None or one.end_us > start_us)]

    def _let_go(self, newest_us: int) -> None:
        """Forget what is over for long: only a late reading asks for it."""
        if len(self._known) > MOST_KNOWN:
            self._known_since_us = max(self._known_since_us, newest_us - 2 * self._decided_us)
            self._known = self._overlapping(self._known_since_us, END_OF_TIME_US)

    def _replayed(
        self, from_us: int, state: State, last_us: int, newest_us: int, before: list[ExcursionEntry]
    ) -> list[ExcursionEntry]:
        """Return the excursions from an instant on: replayed, and from where nothing differs, as they were."""
        found: list[ExcursionEntry] = []
        settled_us = newest_us - self._decided_us
        step_us = self._decided_us
        until_us = max(from_us, last_us) + step_us
        while until_us < settled_us:
            ended, state = self._run(from_us, until_us, state)
            found += map(self._entry, ended)
            if state is INSIDE and not any(_lasts_at(one, until_us) for one in before):
                return [*found, *(one for one in before if one.onset_us >= until_us)]
            from_us, step_us = until_us, 2 * step_us
            until_us += step_us
        if from_us <= settled_us:
            ended, state = self._run(from_us, settled_us + 1, state)
            found += map(self._entry, ended)
            from_us = settled_us + 1
            self._checkpoint = (settled_us, state)
        ended, state = self._run(from_us, newest_us + 1, state)
        under_way = [state.open_excursion] if state.open_excursion else []
        later = [one for one in before if one.onset_us > newest_us]
        return [*found, *map(self._entry, (*ended, *under_way)), *later]

    def _replay_from(self, first_us: int) -> int:
        """Return an instant before ``first_us`` at which the machine may start afresh.

        Whatever was pending or returning that long before ``first_us`` has been decided since, and
        stands in the journal as an excursion; the onset of one is always a fresh start.
        """
        from_us = first_us - self._decided_us
        around = self._overlapping(from_us - self._decided_us, first_us + 1)
        return min([from_us, *(one.onset_us for one in around)])

    def _run(self, start_us: int, end_us: int, state: State) -> tuple[list[Excursion], State]:
        """Return the excursions that end within ``[start_us, end_us)``, and the state after it, phase by phase."""
        columns = self._store.read(self._series, start_us, end_us)
        if len(columns) == 0:
            return [], state
        time_us, value = columns.time_us, usable(columns)
        limits = limits_at(self._farm, self._store, self._series, time_us)
        low = np.where(np.isnan(limits.low), -np.inf, limits.low)
        high = np.where(np.isnan(limits.high), np.inf, limits.high)
        found: list[Excursion] = []
        for start, end, phase in phase_stretches(self._farm, self._series.zone, int(time_us[0]), int(time_us[-1]) + 1):
            here = slice(*np.searchsorted(time_us, [start, end]))
            rule = self._rule(phase.bands.get(self._series.quantity) if phase else None)
            ended, state = excursions(time_us[here], value[here], low[here], high[here], rule, state)
            found += ended
        if time_us[-1] >= self._newest_us:
            self._newest_us = int(time_us[-1])
            self.pressing = _pressing(state, float(low[-1]), float(high[-1]), rule)
        return found, state

    def _rule(self, band: Band | None) -> Rule:
        """Return a band's delays and deadband; without a band, whatever was outside is back at once."""
        if band is None:
            return Rule(0, 0, 0.0, self._max_gap_us)
        return Rule(
            on_delay_us=int(band.on_delay_s * MICROSECONDS_PER_SECOND),
            off_delay_us=int(band.off_delay_s * MICROSECONDS_PER_SECOND),
            deadband=_deadband(band, self._farm.alarms.quantities.get(self._series.quantity)),
            max_gap_us=self._max_gap_us,
        )

    def _entry(self, excursion: Excursion) -> ExcursionEntry:
        return ExcursionEntry(
            series=self._series,
            side=Side(excursion.side),
            onset_us=excursion.onset_us,
            end_us=excursion.end_us,
            last_us=excursion.last_us,
            extreme=excursion.extreme,
            extreme_us=excursion.extreme_us,
            limit=excursion.limit,
            dose=excursion.dose,
            onset_limit=excursion.onset_limit,
        )


def _pressing(state: State, low: float, high: float, rule: Rule) -> Pressing:
    if state.stage is Stage.PENDING and state.stretch:
        return Pressing(due_us=state.stretch.onset_us + rule.on_delay_us)
    return Pressing(low, high, rule.on_delay_us) if state is INSIDE else Pressing()


def _lasts_at(one: ExcursionEntry, at_us: int) -> bool:
    return one.onset_us < at_us and (one.end_us is None or one.end_us >= at_us)


def _deadband(band: Band, rule: AlarmRule | None) -> float:
    """Return the stated deadband, else that of the quantity's alarms, else a share of the narrowest width."""
    if band.deadband is not None:
        return band.deadband
    if rule is not None and rule.deadband is not None:
        return rule.deadband
    widths = [high - low for low, high in filter(None, (band.always, band.lit, band.dark))]
    return DEADBAND_SHARE * min([width for width in widths if np.isfinite(width)], default=0.0)
