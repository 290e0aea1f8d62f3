"""The night to come at one surface, from what the last nights were indoors and out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from analytics.condensation import (
    condensation_margin_uncertainty,
    condensation_temperature,
    temperature_factor_from_temperatures,
)
from analytics.night_ahead import (
    DAY_US,
    LOOK_BACK_US,
    NIGHTS,
    NightAhead,
    coldest_of_night,
    lowest_margin_against,
    margin_of_night,
)
from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import max_age_us
from watch.derivation import Values, accuracy, accuracy_at
from watch.surfaces import SurfaceAir

STEP_US = 15 * 60 * 1_000_000  # readings are looked at as means of so long; our choice, no source
LEAST_DIFFERENCE_K = 5.0  # indoors to outdoors, below which a probe shows no temperature factor; our choice, no source


@dataclass(frozen=True, slots=True)
class Expected:
    """What a night may bring to a surface, and with what temperature factor it was worked out."""

    coldest: NightAhead
    margin: NightAhead
    factor: float


class Past:
    """Readings before an instant as means over quarters of an hour; each stretch is read once for all surfaces."""

    def __init__(self, farm: Farm, store: ReadingStore, now_us: int) -> None:
        self.farm, self.now_us, self._store = farm, now_us, store
        self._read: dict[tuple[Series, int], Columns] = {}

    def since(self, series: Series, start_us: int) -> Columns:
        """Return a series' means from an instant on; a stretch without usable readings is left out."""
        if (series, start_us) not in self._read:
            found = self._store.aggregate(series, start_us, self.now_us, STEP_US)
            came = found.count > 0
            self._read[series, start_us] = Columns(found.time_us[came], found.mean[came], found.flag[came])
        return self._read[series, start_us]

    def at(self, series: Series, at_us: NDArray[np.int64], start_us: int) -> Values:
        """Return a series' means at the times of another's."""
        found = self.since(series, start_us)
        return hold_as_of(found.time_us, found.value, at_us, self.gap_us(series)).value

    def gap_us(self, series: Series) -> int:
        """Return for how long a mean over a quarter of an hour holds."""
        return STEP_US + max_age_us(self.farm, series)


def expected_margin(past: Past, air: SurfaceAir, start_us: int, end_us: int) -> Expected | None:
    """Return what the night ``[start_us, end_us)`` may bring to a surface, seen from where the past ends.

    None where the description names no outdoor air, or too little is known: of the last nights, or of how
    the surface follows the outdoor air.
    """
    if air.outdoors is None or start_us >= end_us:
        return None
    outdoors, gap_us = past.since(air.outdoors, past.now_us - LOOK_BACK_US), past.gap_us(air.outdoors)
    coldest = coldest_of_night(outdoors.time_us, outdoors.value, past.now_us, start_us, end_us, gap_us)
    if math.isnan(coldest.value):
        return None
    from_us = start_us - NIGHTS * DAY_US - STEP_US
    inside = past.since(air.temperature, from_us)
    rh = past.at(air.humidity, inside.time_us, from_us)
    factor = air.factor
    if air.probe is not None:
        probe = past.at(air.probe, inside.time_us, from_us)
        outside = hold_as_of(outdoors.time_us, outdoors.value, inside.time_us, gap_us).value
        at_night = (inside.time_us - start_us) % DAY_US < end_us - start_us
        factor = _shown_factor(probe[at_night], inside.value[at_night], outside[at_night])
    if factor is None or math.isnan(factor):
        return None
    dew_point = condensation_temperature(inside.value, rh, air.phase)
    gap_us = past.gap_us(air.temperature)
    lowest = [
        lowest_margin_against(
            inside.time_us, inside.value, dew_point, coldest.value, factor,
            start_us - n * DAY_US, end_us - n * DAY_US, gap_us,
        )
        for n in range(1, NIGHTS + 1)
    ]  # fmt: skip
    known = ~np.isnan(inside.value + rh)
    if not known.any():
        return None
    margin = margin_of_night(coldest, factor, lowest, _sensors(past.farm, air, factor, inside.value[known], rh[known]))
    return None if math.isnan(margin.value) else Expected(coldest, margin, factor)


def _sensors(farm: Farm, air: SurfaceAir, factor: float, inside: Values, rh: Values) -> float:
    """Return a margin's give or take from its sensors, in the usual air of the last nights."""
    own = (1.0 - factor) * accuracy(farm, air.outdoors) if air.outdoors is not None else 0.0
    usual = float(np.median(inside)), float(np.median(rh))
    accuracies = accuracy(farm, air.temperature), accuracy_at(farm, air.humidity, usual[1]), own
    return float(condensation_margin_uncertainty(*usual, *accuracies, factor, air.phase))


def _shown_factor(probe: Values, inside: Values, outside: Values) -> float:
    """Return the temperature factor that a probe shows: the median where indoors and outdoors are apart."""
    shown = temperature_factor_from_temperatures(probe, inside, outside)[np.abs(inside - outside) >= LEAST_DIFFERENCE_K]
    shown = shown[~np.isnan(shown)]
    return float(np.median(shown)) if len(shown) else float("nan")


def wet_probability(margin: float, give_or_take: float) -> float:
    """Return the probability that a margin is 0 or less, its give or take being two standard deviations.

    Examples
    --------
    >>> round(wet_probability(0.0, 1.0), 2), round(wet_probability(1.0, 1.0), 3)
    (0.5, 0.023)
    """
    if not give_or_take > 0.0:
        return float(margin <= 0.0)
    return 0.5 * math.erfc(margin / (give_or_take / 2.0) / math.sqrt(2.0))
