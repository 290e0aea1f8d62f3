"""Evenness of the air: how far zones lie apart at the same times, and how far their sensors alone would put them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

CONFIDENCE = 0.95  # of the sensors' accuracies, and of the limit that follows from them; our choice, no source
COVERAGE_FACTOR = 1.959964  # standard deviations in the half-width of a 95 % interval: JCGM 100:2008, table G.1


@dataclass(frozen=True, slots=True)
class ZoneSpread:
    """How far zones lie apart, over the instants at which all of them are known.

    ``range_...`` is highest less lowest, ``deviation_...`` the sample standard deviation, each as median and 95th
    percentile over the instants; NaN where there are none. ``range_of_sensors`` is the range that equal air would
    show in 95 of 100 cases from the sensors' give or take alone. All in the quantity's unit; then a count and a share.
    """

    range_median: float
    range_p95: float
    deviation_median: float
    deviation_p95: float
    range_of_sensors: float
    instants: int
    coverage: float

    @property
    def distinguishable(self) -> bool | None:
        """Whether zones lie further apart than the sensors' give or take explains; None where nobody knows."""
        if math.isnan(self.range_median) or math.isnan(self.range_of_sensors):
            return None
        return self.range_median > self.range_of_sensors


def zone_spread(value: ArrayLike, accuracy: ArrayLike) -> ZoneSpread:
    """Return how far zones lie apart in one quantity at the same times.

    Parameters
    ----------
    value : array_like
        One row a zone, two zones at least, one column an instant. NaN where a zone is not known.
    accuracy : array_like
        Plus or minus of the zones' sensors at 95 % confidence, one for all or one a zone; NaN where nobody knows.
        Of several the greatest counts. [the quantity's unit]

    Returns
    -------
    spread : ZoneSpread
        Only instants at which every zone is known count; ``coverage`` is their share of all.

    Raises
    ------
    ValueError
        If ``value`` is not of two dimensions with two rows at least, or ``accuracy`` does not fit.

    Notes
    -----
    The spread of the readings is that of the air and of the sensors' errors together, and errors that are
    mostly offsets do not average out over time. So it is not made smaller by subtraction, but compared with the
    range that errors alone reach: ``range_from_accuracy``. A spread below that says nothing about the air.

    Examples
    --------
    >>> spread = zone_spread([[22.0, 22.4], [22.5, 23.4], [22.2, 22.9]], accuracy=0.3)
    >>> round(spread.range_median, 2), round(spread.range_of_sensors, 2), spread.distinguishable
    (0.75, 0.51, True)
    """
    values = np.asarray(value, dtype=float)
    if values.ndim != 2 or values.shape[0] < 2:
        raise ValueError(
            f"the values have shape {values.shape}: give one row a zone, two at least, one column an instant"
        )
    zones, instants = values.shape
    try:
        accuracies = np.broadcast_to(np.asarray(accuracy, dtype=float), (zones,))
    except ValueError as error:
        raise ValueError(
            f"{np.shape(accuracy)} accuracies for {zones} zones: give one for all, or one for each"
        ) from error
    known = values[:, ~np.isnan(values).any(axis=0)]
    ranges, deviations = np.ptp(known, axis=0), known.std(axis=0, ddof=1)
    return ZoneSpread(
        range_median=_percentile(ranges, 50.0),
        range_p95=_percentile(ranges, 95.0),
        deviation_median=_percentile(deviations, 50.0),
        deviation_p95=_percentile(deviations, 95.0),
        range_of_sensors=range_from_accuracy(zones, float(accuracies.max())),
        instants=known.shape[1],
        coverage=known.shape[1] / instants if instants else math.nan,
    )


def range_from_accuracy(count: int, accuracy: float) -> float:
    """Return the range that sensors of one accuracy show, in 95 of 100 cases at most, where all is equal.

    Parameters
    ----------
    count : int
        How many sensors, 2 or more. [1]
    accuracy : float
        Plus or minus of each at 95 % confidence, 0 or more. [any unit]

    Returns
    -------
    range_of_sensors : float
        NaN where ``accuracy`` is NaN. [the accuracy's unit]

    Raises
    ------
    ValueError
        If ``count`` is below 2 or ``accuracy`` negative.

    Notes
    -----
    Independent normal errors of standard deviation accuracy / 1.96 (JCGM 100:2008, 4.3.4 and table G.1), times the
    95 % point of the studentised range with infinitely many degrees of freedom, which solves
    ``n int phi(x) (Phi(x + q) - Phi(x))^(n - 1) dx = 0.95``.

    References
    ----------
    .. [1] H. L. Harter, "Tables of range and studentized range," Ann. Math. Statist. 31, 1960 (from memory).

    Examples
    --------
    >>> round(range_from_accuracy(2, 0.3), 3)
    0.424
    """
    if count < 2:
        raise ValueError(f"count is {count}: a range needs two sensors at least")
    if accuracy < 0.0:
        raise ValueError(f"accuracy is {accuracy}: give plus or minus of a sensor, 0 or more")
    return _range_point(count) * accuracy / COVERAGE_FACTOR


@lru_cache
def _range_point(count: int) -> float:
    """Return the 95 % point of the range of ``count`` standard normal values, by bisection."""
    grid = np.linspace(-8.0, 8.0, 1601)
    density = np.exp(-(grid**2) / 2.0) / math.sqrt(2.0 * math.pi)
    below = _normal_share(grid)
    low, high = 0.0, 20.0
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        inside = (_normal_share(grid + middle) - below) ** (count - 1)
        share = count * float(np.sum(density * inside)) * float(grid[1] - grid[0])
        low, high = (middle, high) if share < CONFIDENCE else (low, middle)
    return (low + high) / 2.0


def _normal_share(x: np.ndarray[tuple[int], np.dtype[np.float64]]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([0.5 * (1.0 + math.erf(one / math.sqrt(2.0))) for one in x.tolist()])


def _percentile(values: np.ndarray[tuple[int], np.dtype[np.float64]], percent: float) -> float:
    return float(np.percentile(values, percent)) if values.size else math.nan
