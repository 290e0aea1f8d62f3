"""Readings of one series about a day: their lines between events, and the steps in them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analytics.at_rest import means_of_pauses
from analytics.events import Event
from analytics.lines import LEAST_SAMPLES, NOTHING, Estimate, Line, lines_between
from analytics.step_size import step_size
from analytics.steps import scatter, steps_found
from analytics.student import CONFIDENCE, student_quantile
from farm.readings import MICROSECONDS_PER_SECOND

MINUTE_US = 60 * MICROSECONDS_PER_SECOND
# Our choices, no source:
JOIN_US = 30 * MINUTE_US  # pulses no further apart are one dose
LONGEST_DOSE_US = 120 * MINUTE_US  # a doser that pulses for longer is looked at in parts of so long
SETTLE_US = 10 * MINUTE_US  # mixing, and lag of the probes
STEP_WINDOW_US = 20 * MINUTE_US  # means over it, before and after, show a top-up
EDGE_US = 5 * MINUTE_US  # by how much the edges of a step that readings show may be off
SIDE_US = 60 * MINUTE_US  # readings used on either side of a step
SIDE_AT_REST_US = 120 * MINUTE_US  # the same, where only means of pauses count
LEAST_LINE_US = 20 * MINUTE_US  # a shorter stretch between events tells too little of its slope
PART_US = 20 * MINUTE_US  # of a pause between a pump's runs, for a mean of a level at rest
LEAST_IN_PART = 3  # readings
LEAST_PARTS = 3  # on one line
TIMES_SCATTER = 6.0  # of the difference of two means
REACH_US = 4 * 60 * MINUTE_US  # lines go on half-way through no longer an event


@dataclass(frozen=True)
class Track:
    """Readings of one series about a day, NaN where flagged as no data, with its give or take. [its unit].

    ``of_pause``, of a level read at rest, is the pause between a pump's runs that each reading lies in.
    """

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    gap_us: int
    plus_or_minus: float = math.nan
    of_pause: NDArray[np.int64] | None = None

    @property
    def relative_accuracy(self) -> float:
        """The give or take as a share of the usual value; 0 where it is not known."""
        known = self.value[~np.isnan(self.value)]
        usual = abs(float(np.median(known))) if len(known) else 0.0
        return self.plus_or_minus / usual if usual > 0.0 and math.isfinite(self.plus_or_minus) else 0.0

    def lines(self, events: Sequence[Event], settle_us: int) -> list[Line]:
        """Return the straight lines between events; at rest, through the means of the pauses."""
        spans = [(one.start_us, one.end_us) for one in events]
        if self.of_pause is not None:
            return self._lines_at_rest(self.of_pause, spans, settle_us)
        least = max(LEAST_SAMPLES, round(LEAST_LINE_US / self.cadence_us))
        return lines_between(self.time_us, self.value, spans, settle_us, self.gap_us, least)

    def _stretches(
        self, of_pause: NDArray[np.int64], spans: Sequence[tuple[int, int]], settle_us: int
    ) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
        """Return which readings no event disturbs, and a number for each pause, or the part of it between events."""
        clear = ~np.isnan(self.value)
        for start_us, end_us in spans:
            clear[slice(*np.searchsorted(self.time_us, [start_us, end_us + settle_us + 1]))] = False
        starts_us = np.sort(np.array([start_us for start_us, _ in spans], dtype=np.int64))
        return clear, of_pause + np.searchsorted(starts_us, self.time_us, side="right")

    def _means(
        self, of_pause: NDArray[np.int64], spans: Sequence[tuple[int, int]], settle_us: int
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return the means of pauses, which events cut."""
        clear, part = self._stretches(of_pause, spans, settle_us)
        return means_of_pauses(self.time_us[clear], self.value[clear], part[clear], PART_US, LEAST_IN_PART)

    def _lines_at_rest(
        self, of_pause: NDArray[np.int64], spans: Sequence[tuple[int, int]], settle_us: int
    ) -> list[Line]:
        """Return the lines through means of pauses; each begins and ends with the pauses of its first and last mean."""
        at_us, mean = self._means(of_pause, spans, settle_us)
        seen_us = self.time_us[~np.isnan(self.value)]
        found = lines_between(at_us, mean, spans, settle_us, self.gap_us, LEAST_PARTS, seen_us)
        clear, part = self._stretches(of_pause, spans, settle_us)
        whole = [self._whole(one, part[clear], self.time_us[clear]) for one in found]
        return [self._in_stairs(one, of_pause[clear], self.time_us[clear]) for one in whole]

    @staticmethod
    def _in_stairs(line: Line, of_pause: NDArray[np.int64], time_us: NDArray[np.int64]) -> Line:
        """Return a line whose slope's error holds that each end lies anywhere on a stair: 1/√12 of it."""
        first, last = np.searchsorted(time_us, [line.start_us, line.end_us])
        pauses = int(of_pause[last] - of_pause[first]) + 1
        stair_per_s = abs(line.per_s) / pauses * math.sqrt(2.0 / 12.0)
        return replace(line, per_s_error=math.hypot(line.per_s_error, stair_per_s))

    @staticmethod
    def _whole(line: Line, of_stretch: NDArray[np.int64], time_us: NDArray[np.int64]) -> Line:
        """Return a line from the beginning of its first mean's pause to the end of its last one's."""
        first, last = np.searchsorted(time_us, [line.start_us, line.end_us])
        first = np.searchsorted(of_stretch, of_stretch[first])
        last = np.searchsorted(of_stretch, of_stretch[min(last, len(time_us) - 1)], side="right") - 1
        return replace(line, start_us=int(time_us[first]), end_us=int(time_us[last]))

    @property
    def cadence_us(self) -> float:
        """The usual time between two readings; without end where there are fewer."""
        return float(np.median(np.diff(self.time_us))) if len(self.time_us) > 1 else math.inf

    def step(self, one: Event, others: Sequence[Event], settle_us: int) -> Estimate:
        """Return the step an event made, from the readings between it and its neighbours among ``others``."""
        before = [other.end_us + settle_us for other in others if other.end_us < one.end_us and other != one]
        after = [other.start_us for other in others if other.start_us > one.start_us and other != one]
        before_us = max([one.start_us - SIDE_US, *before])
        after_us = min([one.end_us + settle_us + SIDE_US, *after])
        return step_size(self.time_us, self.value, one.start_us, one.end_us, before_us, after_us, settle_us)

    def step_at_rest(self, one: Event, others: Sequence[Event]) -> Estimate:
        """Return the step an event made in a level at rest, from means of pauses; NaN where too few of them tell."""
        if self.of_pause is None:
            return NOTHING
        at_us, mean = self._means(self.of_pause, [(each.start_us, each.end_us) for each in (one, *others)], 0)
        before_us = max([one.start_us - SIDE_AT_REST_US, *(each.end_us for each in others if each.end_us < one.end_us)])
        after_us = min(
            [one.end_us + SIDE_AT_REST_US, *(each.start_us for each in others if each.start_us > one.start_us)]
        )
        return step_size(at_us, mean, one.start_us, one.end_us, before_us, after_us, 0)

    def rise(self, start_us: int, end_us: int) -> Estimate:
        """Return by how much the readings rose between two instants, along their line; NaN where silence cuts it."""
        here = (self.time_us >= start_us) & (self.time_us < end_us)
        found = lines_between(self.time_us[here], self.value[here], [], 0, self.gap_us)
        if len(found) != 1:
            return NOTHING
        [line] = found
        passed_s = (end_us - start_us) / MICROSECONDS_PER_SECOND
        return Estimate(line.per_s * passed_s, student_quantile(line.degrees, CONFIDENCE) * line.per_s_error * passed_s)


def steps_in(track: Track, least: float) -> list[Event]:
    """Return the steps in a track that stand clear of its scatter, edges drawn wide; NaN for ``least`` is no bound."""
    in_window = max(STEP_WINDOW_US / track.cadence_us, 1.0)
    noise = scatter(track.value)
    by_scatter = TIMES_SCATTER * noise * math.sqrt(2.0 / in_window)
    least = by_scatter if math.isnan(least) else max(least, by_scatter)
    if not least > 0.0:
        return []
    value = track.value if track.of_pause is None else _bridged(track)
    return _wide(steps_found(track.time_us, value, STEP_WINDOW_US, least, track.gap_us))


def _bridged(track: Track) -> NDArray[np.float64]:
    """Return a level at rest with straight lines across the runs left out, so that a step over several stays one."""
    known = np.flatnonzero(~np.isnan(track.value))
    if len(known) < 2:
        return track.value
    after = np.minimum(np.searchsorted(known, np.arange(len(track.value))), len(known) - 1)
    before = np.maximum(after - 1, 0)
    apart = track.time_us[known[after]] - track.time_us[known[before]]
    line = np.interp(track.time_us, track.time_us[known], track.value[known], math.nan, math.nan)
    return np.where(np.isnan(track.value) & (apart <= track.gap_us), line, track.value)


def _wide(events: Sequence[Event]) -> list[Event]:
    return [Event(one.start_us - EDGE_US, one.end_us + EDGE_US, one.amount) for one in events]
