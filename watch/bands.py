"""Which limits hold when: the crop plan's bands laid over time, by phase and by lights."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from farm.crops import Band, Phase
from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.flags import SEVERITY, Flag
from farm.readings import ESTIMATED, MICROSECONDS_PER_SECOND, Columns, Series, instant, microseconds
from store.contract import ReadingStore
from watch.outlook import BandStretch

LIT, DARK, UNKNOWN = 1, 0, -1
HOURLY = {"mould_index"}  # derived quantities that are told once an hour
ONE_A_NIGHT_US = 36 * 3600 * MICROSECONDS_PER_SECOND  # until the next night has told; our choice, no source
USUAL_CADENCE_S = 60  # of a series that is not described any more; our choice, no source

ONCE_A_LIGHT_DAY = ("daily_light_integral", "photoperiod", "lamp_output")  # a value stands at the day's start
LONGEST_LIGHT_DAY_US = 36 * 3600 * MICROSECONDS_PER_SECOND

# Flag -> how severe, and back: arrays so that a whole column is looked up at once.
FLAG_RANK = np.zeros(256, np.uint8)
FLAG_RANK[list(SEVERITY)] = np.arange(len(SEVERITY))
FLAG_OF_RANK = np.array(SEVERITY, np.uint8)
IS_NO_DATA = np.isin(np.arange(256), (Flag.FAIL, Flag.MISSING))


def max_age_us(farm: Farm, series: Series) -> int:
    """Return for how long a reading of a described series speaks for the time after it, in microseconds."""
    return int(farm.described[series].cadence_s * SILENT_AFTER_CADENCES * MICROSECONDS_PER_SECOND)


def longest_hold_us(farm: Farm, series: Series) -> int:
    """Return for how long a reading speaks for the time after it; a derived one as its zone's slowest sensor."""
    if series.quantity in ONCE_A_LIGHT_DAY:
        return LONGEST_LIGHT_DAY_US
    if series.quantity == "air_change_rate":
        return ONE_A_NIGHT_US
    if series in farm.described:
        return max_age_us(farm, series)
    if series.quantity in HOURLY:
        return SILENT_AFTER_CADENCES * 3600 * MICROSECONDS_PER_SECOND
    holds = [max_age_us(farm, one) for one in farm.described if one.zone == series.zone]
    return max(holds, default=int(SILENT_AFTER_CADENCES * USUAL_CADENCE_S * MICROSECONDS_PER_SECOND))


def lights_series(farm: Farm, zone: str) -> Series | None:
    """Return the series that tells whether a zone is lit; None where the description names none."""
    key = farm.zones[zone].lights
    return Series.parse(farm.name, key) if key else None


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits by instant: ``low`` and ``high`` infinite where a side is open, NaN where none hold.

    ``lit`` is 1 for lights on, 0 for off, -1 where nothing tells. All arrays have one length.
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    lit: NDArray[np.int8]


def plan_bands(farm: Farm, quantity: str) -> list[Band]:
    """Return every band that the crop plan has for a quantity, in any phase of any crop."""
    phases = [phase for crop in farm.crops.values() for phase in crop.phases.values()]
    return [phase.bands[quantity] for phase in phases if quantity in phase.bands]


def may_have_band(farm: Farm, series: Series) -> bool:
    """Return whether the crop plan could at some time set limits for a series.

    PPFD that was estimated from the lamps' nameplate has none: an excursion needs something measured.
    """
    if series.sensor == ESTIMATED and series.quantity == "ppfd":
        return False
    grows = (series.zone in farm.zones and farm.zones[series.zone].phase) or any(
        stay.zone == series.zone for batch in farm.batches for stay in batch.stays
    )
    return bool(grows and plan_bands(farm, series.quantity))


def lit_at(farm: Farm, store: ReadingStore, zone: str, at_us: NDArray[np.int64]) -> NDArray[np.int8]:
    """Return whether a zone is lit at each of some ascending instants.

    The lights' own readings decide while they are fresh; else the plan's hours; else unknown.
    """
    lit = np.full(len(at_us), UNKNOWN, np.int8)
    if len(at_us) == 0:
        return lit
    for start, end, phase in phase_stretches(farm, zone, int(at_us[0]), int(at_us[-1]) + 1):
        if phase is not None:
            here = slice(*np.searchsorted(at_us, [start, end]))
            lit[here] = _planned_light(farm, phase, at_us[here])
    series = lights_series(farm, zone)
    if series is not None:
        age = max_age_us(farm, series)
        state = store.read(series, int(at_us[0]) - age, int(at_us[-1]) + 1)
        held = hold_as_of(state.time_us, state.value, at_us, age).value
        lit[held >= 0.5] = LIT
        lit[held < 0.5] = DARK
    return lit


def _planned_light(farm: Farm, phase: Phase, at_us: NDArray[np.int64]) -> NDArray[np.int8]:
    """Return the plan's lights: on from ``lights_on_at`` local time for ``photoperiod_h`` hours."""
    if phase.photoperiod_h is None or phase.lights_on_at is None or len(at_us) == 0:
        return np.full(len(at_us), UNKNOWN, np.int8)
    lit = np.full(len(at_us), DARK, np.int8)
    day = instant(int(at_us[0])).astimezone(farm.farm.zone_info).date() - timedelta(days=1)
    last = instant(int(at_us[-1])).astimezone(farm.farm.zone_info).date()
    length_us = int(phase.photoperiod_h * 3600 * MICROSECONDS_PER_SECOND)
    while day <= last:
        on_us = microseconds(datetime.combine(day, phase.lights_on_at, farm.farm.zone_info))
        lit[slice(*np.searchsorted(at_us, [on_us, on_us + length_us]))] = LIT
        day += timedelta(days=1)
    return lit


def phase_stretches(farm: Farm, zone: str, start_us: int, end_us: int) -> list[tuple[int, int, Phase | None]]:
    """Return the phases that hold in a zone over ``[start_us, end_us)``, as stretches without a gap."""
    cuts = {start_us, end_us}
    for batch in farm.batches:
        for stay in batch.stays:
            if stay.zone == zone:
                moments = [stay.entered] + ([stay.left] if stay.left is not None else [])
                instants = [microseconds(farm.moment(moment)) for moment in moments]
                cuts.update(cut for cut in instants if start_us < cut < end_us)
    return [(start, end, farm.phase_at(zone, instant(start))) for start, end in pairwise(sorted(cuts))]


def limits_at(farm: Farm, store: ReadingStore, series: Series, at_us: NDArray[np.int64]) -> Limits:
    """Return the limits of a series' quantity at each of some ascending instants."""
    low = np.full(len(at_us), np.nan)
    high = np.full(len(at_us), np.nan)
    if len(at_us) == 0:
        return Limits(low, high, np.empty(0, np.int8))
    lit = lit_at(farm, store, series.zone, at_us)
    for start, end, phase in phase_stretches(farm, series.zone, int(at_us[0]), int(at_us[-1]) + 1):
        here = slice(*np.searchsorted(at_us, [start, end]))
        if phase is not None and series.quantity == "daily_light_integral" and phase.daily_light_integral:
            low[here], high[here] = phase.daily_light_integral
        band = phase.bands.get(series.quantity) if phase else None
        if band is None:
            continue
        for state, limits in _limits_by_light(band):
            chosen = np.ones(len(lit[here]), bool) if state is None else lit[here] == state
            low[here][chosen], high[here][chosen] = limits
    return Limits(low, high, lit)


def _limits_by_light(band: Band) -> list[tuple[int | None, tuple[float, float]]]:
    if not band.by_light:
        return [(None, band.always)] if band.always else []
    return [(state, limits) for state, limits in ((LIT, band.lit), (DARK, band.dark)) if limits]


def band_stretches(
    farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int, step_s: int = 60
) -> list[BandStretch]:
    """Return the stretches of ``[start_us, end_us)`` over which one pair of limits held.

    Looked at every ``step_s`` seconds of the clock, which is the accuracy of the stretches' edges.
    """
    step_us = step_s * MICROSECONDS_PER_SECOND
    at_us = np.arange(start_us - start_us % step_us, end_us, step_us)
    at_us[:1] = start_us
    limits = limits_at(farm, store, series, at_us)
    if len(at_us) == 0:
        return []
    columns = np.stack([limits.low, limits.high, limits.lit.astype(float)])
    same = (columns[:, 1:] == columns[:, :-1]) | (np.isnan(columns[:, 1:]) & np.isnan(columns[:, :-1]))
    cuts = [0, *(np.flatnonzero(~same.all(axis=0)) + 1).tolist()]
    ends = [*(int(at_us[cut]) for cut in cuts[1:]), end_us]
    return [
        BandStretch(
            start_us=int(at_us[cut]),
            end_us=end,
            lit=None if limits.lit[cut] == UNKNOWN else bool(limits.lit[cut]),
            low=None if np.isnan(limits.low[cut]) else float(limits.low[cut]),
            high=None if np.isnan(limits.high[cut]) else float(limits.high[cut]),
        )
        for cut, end in zip(cuts, ends, strict=True)
    ]


def local_midnights(farm: Farm, start_us: int, end_us: int) -> list[int]:
    """Return the farm's local midnights in ``[start_us, end_us)``, as instants; true over clock changes."""
    day = instant(start_us).astimezone(farm.farm.zone_info).date()
    midnights = []
    while (midnight := microseconds(datetime.combine(day, time(), farm.farm.zone_info).astimezone(UTC))) < end_us:
        if midnight >= start_us:
            midnights.append(midnight)
        day += timedelta(days=1)
    return midnights


def worse_flags(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return, element by element, the more severe of two columns of flags."""
    return FLAG_OF_RANK[np.maximum(FLAG_RANK[one], FLAG_RANK[other])]


def usable(columns: Columns) -> NDArray[np.float64]:
    """Return readings' values with NaN where the flag says that the value is no data."""
    value, no_data = columns.value.copy(), IS_NO_DATA[columns.flag]
    if no_data.any():
        value[no_data] = np.nan
    return value
