"""Electrical energy: kWh from power and from counting meters, photons for it, and each batch's share."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS, check_window, samples
from analytics.counters import increments
from analytics.integrals import time_integral
from analytics.saturation import Floats, broadcast

J_PER_KWH = 3.6e6  # exact, by definition
ENOUGH_COVERAGE = 0.9  # of a window, for two meters to be compared; our choice, no source


@dataclass(frozen=True, slots=True)
class Energy:
    """Energy used in the covered part of a window; NaN where nothing was covered. [kWh], [s], [s]."""

    kwh: float
    covered_s: float
    span_s: float

    @property
    def coverage(self) -> float:
        """The covered share of the window, 0..1; NaN for an empty window. [1]."""
        return self.covered_s / self.span_s if self.span_s else math.nan


def energy_from_power(time_us: ArrayLike, power_w: ArrayLike, start_us: int, end_us: int, max_gap_us: int) -> Energy:
    """Return the energy that a power meter shows for a window.

    Parameters
    ----------
    time_us, start_us, end_us, max_gap_us
        As for ``time_integral``. [µs since 1970 UTC], [µs]
    power_w : array_like
        NaN counts as a sample that never came. [W]

    Returns
    -------
    energy : Energy
        [kWh]

    Raises
    ------
    ValueError
        As for ``time_integral``.

    Notes
    -----
    ``sum P dt`` by trapezoids. A load that switches between two samples is off by up to half the step for each
    switching; the errors of on and off cancel over many.

    See Also
    --------
    energy_from_counter : The better figure, where the meter counts.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> energy_from_power([0, 8 * hour, 16 * hour], [1000.0, 1000.0, 1000.0], 0, 16 * hour, 8 * hour).kwh
    16.0
    """
    found = time_integral(time_us, power_w, start_us, end_us, max_gap_us)
    return Energy(found.total / J_PER_KWH, found.covered_s, found.span_s)


def energy_from_counter(
    time_us: ArrayLike,
    energy_kwh: ArrayLike,
    start_us: int,
    end_us: int,
    max_gap_us: int,
    rolls_over_at: float | None = None,
) -> Energy:
    """Return the energy that a counting meter shows for a window.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending; hand in the neighbours just outside the window too.
        [µs since 1970 UTC]
    energy_kwh : array_like
        The counter. NaN counts as a reading that never came. [kWh]
    start_us, end_us : int
        The window, half-open. [µs since 1970 UTC]
    max_gap_us : int
        Between readings further apart than this nobody knows when it was counted, above 0. [µs]
    rolls_over_at : float, optional
        Where the counter begins again at 0. [kWh]

    Returns
    -------
    energy : Energy
        [kWh]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, the window runs backward, or a limit is not
        positive.

    Notes
    -----
    ``increments`` of the counter (it tells how resets and roll-overs are seen). A counter counts on while
    nobody reads it: a gap within the window loses nothing. What was counted between a reading outside the window
    and one inside is shared by time, but only if they are at most ``max_gap_us`` apart; else it is left out, and
    that time is not covered.

    Examples
    --------
    >>> minute = 60_000_000
    >>> energy_from_counter([0, minute, 60 * minute], [5.0, 5.1, 8.0], 0, 60 * minute, 3 * minute).kwh
    3.0
    """
    times, values = samples(time_us, energy_kwh)
    check_window(start_us, end_us, max_gap_us)
    came = ~np.isnan(values)
    times, steps = times[came], increments(values[came], rolls_over_at)[1:]
    before, after = times[:-1], times[1:]
    inside = np.minimum(after, end_us) - np.maximum(before, start_us)
    whole = after - before
    used = (inside > 0) & ((inside == whole) | (whole <= max_gap_us))
    share = inside[used] / whole[used]
    return Energy(
        kwh=float(np.sum(steps[used] * share)) if used.any() else math.nan,
        covered_s=int(inside[used].sum()) / MICROSECONDS,
        span_s=(end_us - start_us) / MICROSECONDS,
    )


def meter_disagreement(from_power: Energy, from_counter: Energy) -> float:
    """Return by which share of the counter's energy the energy from power differs from it.

    Parameters
    ----------
    from_power, from_counter : Energy
        Of one window, as from ``energy_from_power`` and ``energy_from_counter``.

    Returns
    -------
    disagreement : float
        Positive where power gives more. NaN where less than 90 % of either window is covered (our choice, no
        source), or the counter counted nothing. [1]

    Notes
    -----
    A few per cent is what sampling of switching loads makes. More: a wrong factor (per_count, a current
    transformer's ratio), or the two do not measure the same.

    Examples
    --------
    >>> round(meter_disagreement(Energy(10.2, 3600.0, 3600.0), Energy(10.0, 3600.0, 3600.0)), 3)
    0.02
    """
    covered = min(from_power.coverage, from_counter.coverage) >= ENOUGH_COVERAGE
    if not covered or not from_counter.kwh > 0.0:
        return math.nan
    return from_power.kwh / from_counter.kwh - 1.0


def photon_efficacy(ppfd: ArrayLike, lit_area_m2: ArrayLike, power_w: ArrayLike) -> Floats:
    """Return the photons that reach the crop for each joule its lamps draw.

    Parameters
    ----------
    ppfd : array_like
        Mean over the lit area. [umol m-2 s-1]
    lit_area_m2, power_w : array_like
        [m2], [W]

    Returns
    -------
    photon_efficacy : numpy.ndarray
        NaN where an input is NaN or the power is not above 0. [umol/J]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    Photon flux over electrical power. A lamp's own photosynthetic photon efficacy counts all photons it emits;
    this counts those that arrive, so it is the smaller one.

    Examples
    --------
    >>> float(photon_efficacy(270.0, 10.0, 1000.0))
    2.7
    """
    light, area, power = broadcast(ppfd, lit_area_m2, power_w)
    return light * area / np.where(power > 0.0, power, np.nan)


def ppfd_from_efficacy(photon_efficacy_umol_j: ArrayLike, lit_area_m2: ArrayLike, power_w: ArrayLike) -> Floats:
    """Return the mean PPFD that lamps give: the inverse of ``photon_efficacy``.

    Parameters
    ----------
    photon_efficacy_umol_j, lit_area_m2, power_w : array_like
        [umol/J], [m2], [W]

    Returns
    -------
    ppfd : numpy.ndarray
        NaN where an input is NaN or the area is not above 0. [umol m-2 s-1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Examples
    --------
    >>> float(ppfd_from_efficacy(2.7, 10.0, 1000.0))
    270.0
    """
    efficacy, area, power = broadcast(photon_efficacy_umol_j, lit_area_m2, power_w)
    return efficacy * power / np.where(area > 0.0, area, np.nan)


def share_by_plant_time(plants: ArrayLike, present_s: ArrayLike) -> Floats:
    """Return the share of what a whole farm used that falls to each batch.

    Parameters
    ----------
    plants : array_like
        Plants of each batch; NaN where nobody counted. [1]
    present_s : array_like
        For how long each batch stood in the farm. [s]

    Returns
    -------
    share : numpy.ndarray
        They sum to 1; all NaN where a batch that was there has no count, or nothing was there. [1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``plants x time`` over the sum of all: our convention, no source. A seedling bears as much of the energy as a
    plant before harvest, which holds for nothing but a farm that is always in the same mixture.

    Examples
    --------
    >>> share_by_plant_time([480.0, 160.0], [86400.0, 43200.0]).round(4).tolist()
    [0.8571, 0.1429]
    """
    count, time = broadcast(plants, present_s)
    plant_time = np.where(time > 0.0, count * time, 0.0)
    total = plant_time.sum()
    return plant_time / (total if total > 0.0 else np.nan)
