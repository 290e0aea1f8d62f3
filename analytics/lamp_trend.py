"""How lamps fade: a robust trend of their output over the hours burnt, and when it reaches a share."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats

KILOHOUR = 1000.0
TIMES_AHEAD = 6.0  # ANSI/IES TM-21 lets lamp life be projected to six times the hours tested; from memory


@dataclass(frozen=True, slots=True)
class OutputTrend:
    """A straight line through lamps' output over the hours burnt.

    It rises by ``per_1000_h`` (between ``low`` and ``high`` at the confidence asked for; infinite where there
    are too few days to bound it) and goes through ``output`` at ``at_h``, the medians of ``days`` days that
    lie ``span_h`` burnt hours apart. NaN with fewer than two days. [the output's unit], [h], [1].
    """

    per_1000_h: float
    low: float
    high: float
    at_h: float
    output: float
    days: int
    span_h: float

    @property
    def significant(self) -> bool:
        """Whether the interval leaves out "no change"."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class ReachedAfter:
    """Burnt hours after which a share is reached, on the trend's own count; ``latest_h`` may be infinite. [h]."""

    hours: float
    earliest_h: float
    latest_h: float


def output_trend(
    lamp_hours: ArrayLike, output: ArrayLike, confidence: float = 0.95, independent: bool = False
) -> OutputTrend:
    """Return the trend of lamps' output over the hours burnt.

    Parameters
    ----------
    lamp_hours : array_like
        Hours burnt at each light day, in any order. [h]
    output : array_like
        Output of each, e.g. per cent of commissioning. NaN is no data. [its own]
    confidence : float
        Of the interval, above 0 and below 1. [1]
    independent : bool
        Days' errors are taken as alike from day to day (a sensor's drift, leaves that grow before it), and the
        interval is widened by their correlation; True leaves that out.

    Returns
    -------
    output_trend : OutputTrend
        Per 1000 h burnt.

    Raises
    ------
    ValueError
        If the arrays are not one-dimensional and of one length, or the confidence is not between 0 and 1.

    Notes
    -----
    Slope: median of the slopes of all pairs (Theil; Sen), which up to 29 % of outlying days do not move far.
    Interval: ranks of those slopes, Sen's eq. 2.6 with his correction for ties; where the ranks asked for lie
    outside the slopes there are, the side is infinite. For days that follow one another, Kendall's
    variance is taken (1 + r) / (1 - r) times as large, r the residuals' correlation from one day to the
    next where above 0 (first-order autoregression; Bayley and Hammersley 1946, from memory).

    References
    ----------
    .. [1] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau," J. Am. Stat. Assoc. 63,
       1968.

    Examples
    --------
    >>> output_trend([0.0, 1000.0, 2000.0, 3000.0], [98.0, 97.0, 96.0, 95.0]).per_1000_h
    -1.0
    """
    hours, level = np.asarray(lamp_hours, dtype=float), np.asarray(output, dtype=float)
    if hours.ndim != 1 or hours.shape != level.shape:
        raise ValueError(
            f"lamp_hours has shape {hours.shape} and output {level.shape}: give two one-dimensional arrays "
            "of one length"
        )
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}: give a share above 0 and below 1, e.g. 0.95")
    came = ~(np.isnan(hours) | np.isnan(level))
    hours, level = hours[came], level[came]
    order = np.argsort(hours, kind="stable")
    hours, level = hours[order], level[order]
    first, second = np.triu_indices(hours.size, 1)
    apart = hours[second] - hours[first]
    slopes = np.sort((level[second] - level[first])[apart > 0] / apart[apart > 0])
    if not slopes.size:
        return OutputTrend(math.nan, -math.inf, math.inf, math.nan, math.nan, hours.size, 0.0)
    slope, at_h, middle = float(np.median(slopes)), float(np.median(hours)), float(np.median(level))
    widened = 1.0 if independent else _variance_ratio(level - slope * hours)
    low, high = _slope_limits(slopes, hours, level, confidence, widened)
    span_h = float(hours[-1] - hours[0])
    return OutputTrend(slope * KILOHOUR, low * KILOHOUR, high * KILOHOUR, at_h, middle, hours.size, span_h)


def _slope_limits(
    slopes: Floats, hours: Floats, level: Floats, confidence: float, widened: float
) -> tuple[float, float]:
    """Return the slopes at the ranks that bound the median slope."""
    days = hours.size
    variance = (_kendall(days) - sum(_kendall(n) for axis in (hours, level) for n in _repeats(axis))) / 18.0
    reach = NormalDist().inv_cdf(0.5 + confidence / 2.0) * math.sqrt(max(variance, 0.0) * widened)
    below, above = round((slopes.size - reach) / 2.0) - 1, round((slopes.size + reach) / 2.0)
    return (
        float(slopes[below]) if below >= 0 else -math.inf,
        float(slopes[above]) if above < slopes.size else math.inf,
    )


def _kendall(n: int) -> int:
    return n * (n - 1) * (2 * n + 5)


def _repeats(values: Floats) -> list[int]:
    counts = np.unique(values, return_counts=True)[1]
    return [int(n) for n in counts[counts > 1]]


def _variance_ratio(residual: Floats) -> float:
    """Return how much larger the variance is for residuals that resemble their neighbours."""
    centred = residual - residual.mean()
    power = float((centred**2).sum())
    if residual.size < 3 or power <= 0.0:
        return 1.0
    correlation = min(max(float((centred[1:] * centred[:-1]).sum()) / power, 0.0), 0.99)
    return (1.0 + correlation) / (1.0 - correlation)


def output_reaches(trend: OutputTrend, share: float) -> ReachedAfter | None:
    """Return after how many burnt hours fading lamps reach an output, with the trend's interval.

    Parameters
    ----------
    trend : OutputTrend
        From ``output_trend``.
    share : float
        The output asked for, e.g. 90 per cent of commissioning ("L90", common practice). [the output's unit]

    Returns
    -------
    reached : ReachedAfter or None
        None where the trend is not a significant fall, or the hours lie further from their middle than six times
        those observed. A latest time beyond that is infinite. [h]

    Notes
    -----
    The line through the medians with the slope and each of its limits; the medians' own error is left out.
    The six times are the limit of ANSI/IES TM-21 (from memory), made for laboratory tests of 6000 h and more:
    from a few hundred hours on a farm they are generous.

    Examples
    --------
    >>> hours = [100.0 * n for n in range(40)]
    >>> reached = output_reaches(output_trend(hours, [99.0 - 0.001 * h for h in hours]), 90.0)
    >>> round(reached.hours)
    9000
    """
    if not trend.high < 0.0:
        return None
    furthest = trend.at_h + TIMES_AHEAD * trend.span_h
    hours, earliest, latest = (
        trend.at_h + (share - trend.output) / slope * KILOHOUR if math.isfinite(slope) else trend.at_h
        for slope in (trend.per_1000_h, trend.low, trend.high)
    )
    if share > trend.output:  # passed already: the flatter line passed earlier
        earliest, latest = latest, earliest
    return ReachedAfter(hours, earliest, latest if latest <= furthest else math.inf) if hours <= furthest else None
