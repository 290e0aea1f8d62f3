"""Opens, follows and closes excursions: the state machine of the science over stored readings."""

from __future__ import annotations

import numpy as np

from analytics.excursions import INSIDE, Excursion, Rule, State, excursions
from farm.crops import DEADBAND_SHARE, Band
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series
from store.contract import ReadingStore
from store.entries import ExcursionEntry, Side
from store.journal import Journal
from watch.bands import limits_at, phase_stretches, plan_bands, usable

END_OF_TIME_US = 2**62


class ExcursionKeeper:
    """Keeps one series' excursions in the journal true to its readings, whatever order they came in.

    Readings after the last one seen continue from the state in memory. Anything earlier, or a new
    start of the program, goes back to an instant from which the machine must come to the same
    states, and replays from there.
    """

    def __init__(self, farm: Farm, store: ReadingStore, journal: Journal, series: Series, max_gap_us: int) -> None:
        self._farm, self._store, self._journal, self._series = farm, store, journal, series
        self._max_gap_us = max_gap_us
        self._state: State | None = None
        self._seen_us = 0

    def renew(self, first_us: int) -> None:
        """Bring the journal up to date for readings (or limits) that changed from ``first_us`` on."""
        if self._state is not None and first_us > self._seen_us:
            state, from_us = self._state, self._seen_us + 1
            keep_from = state.stretch.onset_us if state.stretch else from_us
        else:
            state, from_us = INSIDE, self._replay_from(first_us)
            keep_from = from_us
        columns = self._store.read(self._series, from_us, END_OF_TIME_US)
        if len(columns) == 0:
            return
        ended, state = self._run(columns, state)
        under_way = state.open_excursion
        found = [self._entry(one) for one in (*ended, *([under_way] if under_way else []))]
        self._journal.replace_excursions(self._farm.name, self._series, keep_from, found)
        self._state, self._seen_us = state, int(columns.time_us[-1])

    def _run(self, columns: Columns, state: State) -> tuple[list[Excursion], State]:
        """Return the excursions that end within the readings, and the state after them, phase by phase."""
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
        return found, state

    def _replay_from(self, first_us: int) -> int:
        """Return an instant before ``first_us`` at which the machine may start afresh.

        Whatever was pending or returning that long before ``first_us`` has been decided since, and
        stands in the journal as an excursion; the onset of one is always a fresh start.
        """
        bands = plan_bands(self._farm, self._series.quantity)
        slowest_s = max(band.on_delay_s + band.off_delay_s for band in bands)
        decided_us = int(slowest_s * MICROSECONDS_PER_SECOND) + 2 * self._max_gap_us
        from_us = first_us - decided_us
        around = self._journal.excursions(
            self._farm.name, series=self._series, start_us=from_us - decided_us, end_us=first_us + 1
        )
        return min([from_us, *(one.onset_us for one in around)])

    def _rule(self, band: Band | None) -> Rule:
        """Return a band's delays and deadband; without a band, whatever was outside is back at once."""
        if band is None:
            return Rule(0, 0, 0.0, self._max_gap_us)
        return Rule(
            on_delay_us=int(band.on_delay_s * MICROSECONDS_PER_SECOND),
            off_delay_us=int(band.off_delay_s * MICROSECONDS_PER_SECOND),
            deadband=_deadband(band),
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
        )


def _deadband(band: Band) -> float:
    """Return the stated deadband, else the usual share of the narrowest width that has two limits."""
    if band.deadband is not None:
        return band.deadband
    widths = [high - low for low, high in filter(None, (band.always, band.lit, band.dark))]
    return DEADBAND_SHARE * min([width for width in widths if np.isfinite(width)], default=0.0)
