"""Straight lines through the readings between events: how fast something drifts, and by how much it fell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, Floats, Times, samples
from analytics.student import CONFIDENCE, student_quantile

SECONDS_PER_DAY = 86_400
LEAST_SAMPLES = 5  # on one line; fewer say nothing of their own scatter; our choice, no source


class Estimate(NamedTuple):
    """A figure and its give or take, both NaN where unknown, in one unit."""

    value: float
    plus_or_minus: float


NOTHING = Estimate(math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through the readings of one stretch.

    ``mean`` is its value at ``mid_us``; ``per_s`` its slope; the errors are standard errors, of
    ``degrees`` degrees of freedom, the same for all lines of one call. ``run_us`` is the time without silence
    that it lies in, events included.
    """

    start_us: int
    end_us: int
    mid_us: float
    mean: float
    per_s: float
    mean_error: float
    per_s_error: float
    degrees: float
    count: int
    run_us: tuple[int, int]

    def at(self, at_us: float) -> Estimate:
        """Return its value at an instant with its standard error."""
        passed_s = (at_us - self.mid_us) / MICROSECONDS
        return Estimate(self.mean + self.per_s * passed_s, math.hypot(self.mean_error, self.per_s_error * passed_s))


@dataclass(frozen=True, slots=True)
class Drift:
    """How fast a quantity moved between events, at the stated confidence; NaN where no line tells."""

    per_day: float
    plus_or_minus_per_day: float
    covered_s: float
    stretches: int


@dataclass(frozen=True, slots=True)
class Change:
    """By how much a quantity moved between events within a window, apart from the events; [s] what lines tell of."""

    amount: float
    plus_or_minus: float
    covered_s: float


def lines_between(
    time_us: ArrayLike,
    value: ArrayLike,
    events_us: Sequence[tuple[int, int]],
    settle_us: int,
    max_gap_us: int,
    least_samples: int = LEAST_SAMPLES,
    seen_us: ArrayLike | None = None,
) -> list[Line]:
    """Return a straight line through the readings of each stretch that no event and no gap disturbs.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings; a NaN counts as one that never came. [its unit]
    events_us : sequence of (int, int)
        When each event began and ended: doses, top-ups. [µs since 1970 UTC]
    settle_us : int
        For how long readings after an event do not count: mixing, lag of the sensor. [µs]
    max_gap_us : int
        Readings further apart than this are on different lines, with silence between. [µs]
    least_samples : int
        A stretch with fewer readings is left out, 3 or more.
    seen_us : array_like of int, optional
        Where the readings are means: when what they are means of was read, ascending. Silence is then sought in these.
        [µs since 1970 UTC]

    Returns
    -------
    lines : list of Line
        Ascending in time.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a limit is out of range.

    Notes
    -----
    Least squares on each stretch; the scatter is pooled over all of them. Readings a minute apart are not
    independent: standard errors are widened by ``sqrt((1 + r)/(1 - r))`` and degrees of freedom cut by the
    same square, with r the residuals' lag-1 correlation where it is positive. A curve within a stretch
    raises r, and so the errors.

    References
    ----------
    .. [1] B. D. Santer et al., "Statistical significance of trends ...," J. Geophys. Res. 105, 2000,
       doi:10.1029/1999JD901105 (effective sample size).

    Examples
    --------
    >>> seconds = [0, 10, 20, 30, 40, 50]
    >>> [line] = lines_between([s * 1_000_000 for s in seconds], [1.0, 1.1, 1.2, 1.3, 1.4, 1.5], [], 0, 60_000_000)
    >>> round(line.per_s, 6), line.count
    (0.01, 6)
    """
    times, values = samples(time_us, value)
    if settle_us < 0 or max_gap_us <= 0 or least_samples < 3:
        raise ValueError(
            f"settle_us is {settle_us}, max_gap_us {max_gap_us}, least_samples {least_samples}: give 0 or more, above "
            "0, and 3 or more"
        )
    there = ~np.isnan(values)
    times, values = times[there], values[there]
    seen = times if seen_us is None else np.asarray(seen_us, np.int64)
    run_of_seen = np.concatenate([[0], np.cumsum(np.diff(seen) > max_gap_us)])[: len(seen)]
    run = run_of_seen[np.searchsorted(seen, times, side="right") - 1] if len(seen) else run_of_seen
    clear = np.ones(len(times), bool)
    for start_us, end_us in events_us:
        begin, after = np.searchsorted(times, start_us), np.searchsorted(times, end_us + settle_us, side="right")
        clear[begin:after] = False
    starts_us = np.sort(np.array([start_us for start_us, _ in events_us], dtype=np.int64))
    passed = np.searchsorted(starts_us, times[clear], side="right")
    cuts = np.flatnonzero((np.diff(run[clear]) > 0) | (np.diff(passed) > 0)) + 1
    kept = np.flatnonzero(clear)
    fits = []
    for first, last in pairwise([0, *cuts.tolist(), len(kept)]):
        if last - first >= least_samples:
            place = kept[first:last]
            ends = (
                np.searchsorted(run_of_seen, run[place[0]], side="left"),
                np.searchsorted(run_of_seen, run[place[0]], side="right") - 1,
            )
            run_us = (int(seen[ends[0]]), int(seen[ends[1]]) + max_gap_us)
            fits.append(_fit(times[place], values[place], run_us))
    return _with_errors(fits)


def drift(
    lines: Sequence[Line],
    start_us: int,
    end_us: int,
    reach_us: int,
    confidence: float = CONFIDENCE,
    paces_us: Sequence[int] = (),
) -> Drift:
    """Return how fast a quantity drifted apart from events, on average over a window.

    Parameters
    ----------
    lines, start_us, end_us, reach_us, confidence, paces_us
        As for ``change_between``.

    Returns
    -------
    drift : Drift
        [its unit per day], [s]

    Raises
    ------
    ValueError
        As for ``change_between``.

    Notes
    -----
    The mean of the lines' slopes by the time each speaks for, not by precision: rate times time is then what
    really happened, by day and by night. On one stretch it is ordinary least squares.

    Examples
    --------
    >>> at_us = [minute * 60_000_000 for minute in range(6)]
    >>> ph = lines_between(at_us, [6.00, 6.01, 6.02, 6.03, 6.04, 6.05], [], 0, 180_000_000)
    >>> round(drift(ph, 0, 300_000_000, 0).per_day, 6)
    14.4
    """
    change = change_between(lines, start_us, end_us, reach_us, confidence, paces_us)
    if not change.covered_s > 0.0:
        return Drift(math.nan, math.nan, 0.0, 0)
    days = change.covered_s / SECONDS_PER_DAY
    told = sum(_overlap_us(one.start_us, one.end_us, start_us, end_us) > 0.0 for one in lines)
    return Drift(change.amount / days, change.plus_or_minus / days, change.covered_s, told)


def change_between(
    lines: Sequence[Line],
    start_us: int,
    end_us: int,
    reach_us: int,
    confidence: float = CONFIDENCE,
    paces_us: Sequence[int] = (),
) -> Change:
    """Return by how much a quantity moved within a window apart from events: the sum of slopes times time.

    Parameters
    ----------
    lines : sequence of Line
        As from ``lines_between``.
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    reach_us : int
        Through an event between two lines each goes on half-way to the other, if they are no further apart
        than this; beyond others by half of it. None goes on into silence: that is not covered. [µs]
    confidence : float
        Of the give or take. [1]
    paces_us : sequence of int
        When the pace changed for a known reason: each line goes on as far as that, not half-way. [µs since 1970 UTC]

    Returns
    -------
    change : Change
        In the covered part; NaN where nothing is covered. [its unit], [s]

    Notes
    -----
    Through events the pace is not seen: by how much the lines' slopes differ, beyond their own errors, is in the
    give or take for that time. Lines with a change of pace between them are not compared, where others can be.

    Raises
    ------
    ValueError
        If the window runs backward, ``reach_us`` is negative, or ``confidence`` is out of range.

    Examples
    --------
    >>> at_us = [minute * 60_000_000 for minute in range(6)]
    >>> level = lines_between(at_us, [90.0, 89.0, 88.0, 87.0, 86.0, 85.0], [], 0, 180_000_000)
    >>> round(change_between(level, 0, 300_000_000, 0).amount, 6)
    -5.0
    """
    if end_us < start_us or reach_us < 0:
        raise ValueError(f"window {start_us} to {end_us}, reach_us {reach_us}: give a window forward, and 0 or more")
    amount, variance, covered_us = 0.0, 0.0, 0.0
    spread = _spread(lines, paces_us)
    for one, (first_us, last_us) in zip(lines, _spans(lines, reach_us, paces_us), strict=True):
        spoken_s = _overlap_us(first_us, last_us, start_us, end_us) / MICROSECONDS
        seen_s = _overlap_us(one.start_us, one.end_us, start_us, end_us) / MICROSECONDS
        amount += one.per_s * spoken_s
        variance += (one.per_s_error * spoken_s) ** 2 + (spread * (spoken_s - seen_s)) ** 2
        covered_us += spoken_s * MICROSECONDS
    reach = student_quantile(lines[0].degrees if lines else 1.0, confidence)
    if covered_us <= 0.0:
        return Change(math.nan, math.nan, 0.0)
    return Change(amount, reach * math.sqrt(variance), covered_us / MICROSECONDS)


def value_at(lines: Sequence[Line], at_us: int, reach_us: int, confidence: float = CONFIDENCE) -> Estimate:
    """Return the value that the line which reaches an instant gives there, free of the readings' scatter.

    Parameters
    ----------
    lines : sequence of Line
        As from ``lines_between``.
    at_us : int
        The instant. [µs since 1970 UTC]
    reach_us : int
        As for ``change_between``. [µs]
    confidence : float
        Of the give or take. [1]

    Returns
    -------
    estimate : Estimate
        NaN where no line reaches. [its unit]

    Raises
    ------
    ValueError
        If ``confidence`` is out of range.

    Examples
    --------
    >>> at_us = [minute * 60_000_000 for minute in range(6)]
    >>> level = lines_between(at_us, [90.0, 89.0, 88.0, 87.0, 86.0, 85.0], [], 0, 180_000_000)
    >>> round(value_at(level, 330_000_000, 60_000_000).value, 6)
    84.5
    """
    reach = student_quantile(lines[0].degrees if lines else 1.0, confidence)
    for one, (first_us, last_us) in zip(lines, _spans(lines, reach_us), strict=True):
        if first_us <= at_us <= last_us:
            value, error = one.at(at_us)
            return Estimate(value, reach * error)
    return NOTHING


def _spans(lines: Sequence[Line], reach_us: int, paces_us: Sequence[int] = ()) -> list[tuple[float, float]]:
    """Return for each line from when to when it speaks."""
    spans = [
        (max(one.start_us - reach_us / 2, one.run_us[0]), min(one.end_us + reach_us / 2, one.run_us[1]))
        for one in lines
    ]
    for index, (one, other) in enumerate(pairwise(lines)):
        if one.run_us == other.run_us and other.start_us - one.end_us <= reach_us:
            changed = [at_us for at_us in paces_us if one.end_us <= at_us <= other.start_us]
            middle_us = (min(changed) + max(changed)) / 2 if changed else (one.end_us + other.start_us) / 2
            spans[index] = (spans[index][0], middle_us)
            spans[index + 1] = (middle_us, spans[index + 1][1])
    return spans


def _overlap_us(first_us: float, last_us: float, start_us: float, end_us: float) -> float:
    return max(0.0, min(last_us, end_us) - max(first_us, start_us))


def _spread(lines: Sequence[Line], paces_us: Sequence[int] = ()) -> float:
    """Return the standard deviation of the lines' true slopes at one pace: of the found ones, less their errors."""
    of_pace = np.searchsorted(np.unique(np.array(paces_us, dtype=np.int64)), [one.mid_us for one in lines])
    groups = [np.flatnonzero(of_pace == one) for one in np.unique(of_pace)]
    groups = [one for one in groups if len(one) > 1] or [np.arange(len(lines))]
    if len(lines) < 2:
        return 0.0
    several = [lines[place] for one in groups for place in one.tolist()]
    weight = np.array([one.end_us - one.start_us for one in several], dtype=float)
    weight /= weight.sum()
    errors = np.array([one.per_s_error for one in several])
    slopes = np.array([one.per_s for one in several])
    about, first = np.empty(len(several)), 0
    for group in groups:
        here = slice(first, first + len(group))
        about[here] = slopes[here] - np.average(slopes[here], weights=weight[here])
        first += len(group)
    excess = float(weight @ about**2) - float(weight @ np.nan_to_num(errors) ** 2)
    return math.sqrt(max(excess, 0.0))


class _Fit(NamedTuple):
    line: Line  # without its errors
    spread: float  # sum of squares of the times about their mean, s2
    residual: Floats


def _fit(times: Times, values: Floats, run_us: tuple[int, int]) -> _Fit:
    passed_s = (times - times[0]) / MICROSECONDS
    middle_s = float(passed_s.mean())
    about = passed_s - middle_s
    spread = float(about @ about)
    mean = float(values.mean())
    per_s = float(about @ (values - mean)) / spread
    line = Line(int(times[0]), int(times[-1]), float(times[0]) + middle_s * MICROSECONDS, mean, per_s,
                math.nan, math.nan, math.nan, len(times), run_us)  # fmt: skip
    return _Fit(line, spread, values - mean - per_s * about)


def _with_errors(fits: list[_Fit]) -> list[Line]:
    """Return the lines with errors from the scatter of all of them."""
    squares = sum(float(one.residual @ one.residual) for one in fits)
    degrees = sum(one.line.count - 2 for one in fits)
    if degrees < 1:
        return [one.line for one in fits]
    products = sum(float(one.residual[:-1] @ one.residual[1:]) for one in fits)
    correlation = min(max(products / squares, 0.0), 0.99) if squares > 0.0 else 0.0
    widening = (1.0 + correlation) / (1.0 - correlation)
    variance = squares / degrees * widening
    return [
        replace(
            one.line,
            mean_error=math.sqrt(variance / one.line.count),
            per_s_error=math.sqrt(variance / one.spread),
            degrees=max(degrees / widening, 1.0),
        )
        for one in fits
    ]
