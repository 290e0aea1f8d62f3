"""How large a step was that an event made in a reservoir's readings."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, Floats, samples
from analytics.lines import NOTHING, Estimate
from analytics.student import CONFIDENCE, student_quantile

LEAST_SAMPLES = 5  # on either side of a step; our choice, no source
SIGNIFICANT = 3.0  # standard errors; our choice, no source


def step_size(
    time_us: ArrayLike,
    value: ArrayLike,
    start_us: int,
    end_us: int,
    before_us: int,
    after_us: int,
    settle_us: int,
    confidence: float = CONFIDENCE,
) -> Estimate:
    """Return by how much a quantity moved through an event, apart from its drift before and after it.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings; a NaN counts as one that never came. [its unit]
    start_us, end_us : int
        The event. [µs since 1970 UTC]
    before_us, after_us : int
        Readings from here to the event, and from the event to here, are used: no other event may lie between.
        [µs since 1970 UTC]
    settle_us : int
        For how long readings after the event do not count. [µs]
    confidence : float
        Of the give or take. [1]

    Returns
    -------
    step : Estimate
        NaN where too little is there (fewer than five readings on a side), or where the drift before and
        after differs so clearly that more than half the step could be drift. [its unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``confidence`` is out of range.

    Notes
    -----
    Least squares of two lines of one slope, one before and one after; the step is the distance between them, as if it
    had happened at once. Errors are widened for correlated readings as in ``lines_between``.

    Examples
    --------
    >>> minutes = [minute * 60_000_000 for minute in range(12)]
    >>> step = step_size(minutes, [1.7] * 6 + [1.8] * 6, 330_000_000, 330_000_000, 0, 720_000_000, 0)
    >>> round(step.value, 6)
    0.1
    """
    times, values = samples(time_us, value)
    student_quantile(1.0, confidence)  # refuses a wrong confidence whatever the data
    known = ~np.isnan(values)
    left = known & (times >= before_us) & (times <= start_us)
    right = known & (times > end_us + settle_us) & (times <= after_us)
    if min(int(left.sum()), int(right.sum())) < LEAST_SAMPLES:
        return NOTHING
    middle_us = (start_us + end_us) / 2
    passed: Floats = (times - middle_us) / MICROSECONDS
    sides = [_Side.of(passed[side], values[side]) for side in (left, right)]
    spread = sum(one.spread for one in sides)
    slope = sum(one.spread * one.slope for one in sides) / spread
    size = sides[1].mean - sides[0].mean - slope * (sides[1].middle - sides[0].middle)
    variance, degrees = _scatter([one.residual(slope) for one in sides], 3)
    apart = sides[1].middle - sides[0].middle
    error = math.sqrt(variance * (sum(1 / len(one.about) for one in sides) + apart**2 / spread))
    turn = sides[1].slope - sides[0].slope
    own_variance, _ = _scatter([one.residual(one.slope) for one in sides], 4)
    turn_error = math.sqrt(own_variance * sum(1 / one.spread for one in sides))
    if abs(turn) > SIGNIFICANT * turn_error and abs(turn) * apart / 2 > abs(size) / 2:
        return NOTHING
    return Estimate(size, student_quantile(degrees, confidence) * error)


def _scatter(residuals: list[Floats], fitted: int) -> tuple[float, float]:
    """Return variance and degrees of freedom of residuals, widened for those that resemble their neighbours."""
    squares = sum(float(one @ one) for one in residuals)
    products = sum(float(one[:-1] @ one[1:]) for one in residuals)
    correlation = min(max(products / squares, 0.0), 0.99) if squares > 0.0 else 0.0
    widening = (1.0 + correlation) / (1.0 - correlation)
    degrees = sum(len(one) for one in residuals) - fitted
    return squares / degrees * widening, max(degrees / widening, 1.0)


@dataclass(frozen=True, slots=True)
class _Side:
    """The readings on one side of a step, about their own mean."""

    passed: Floats
    about: Floats
    middle: float
    mean: float
    spread: float
    slope: float

    @classmethod
    def of(cls, passed: Floats, values: Floats) -> _Side:
        middle, mean = float(passed.mean()), float(values.mean())
        passed, about = passed - middle, values - mean
        spread = float(passed @ passed)
        return cls(passed, about, middle, mean, spread, float(passed @ about) / spread)

    def residual(self, slope: float) -> Floats:
        return self.about - slope * self.passed
