"""What a batch has had: light, warmth and time in band, stay by stay and in all."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import numpy as np

from analytics.degree_hours import degree_hours
from analytics.light import held_light_integral, light_integral
from analytics.time_in_band import time_in_band
from farm.crops import Batch, Crop, Stay
from farm.description import Farm
from farm.quantities import Kind
from farm.readings import ESTIMATED, MICROSECONDS_PER_SECOND, Series, iso_time, microseconds
from store.contract import ReadingStore
from watch.bands import ONCE_A_LIGHT_DAY, limits_at, longest_hold_us, max_age_us, may_have_band, usable
from watch.derived import derived_series
from watch.estimated_light import light_hold_us, light_series
from watch.meters import batch_energy

SECONDS_PER_HOUR = 3600
BAND_HOURS = ("inside_h", "below_h", "above_h", "covered_h")


def batch_record(farm: Farm, store: ReadingStore, batch: Batch, now_us: int) -> dict[str, Any]:
    """Return what a batch has had until now: one entry a stay, and their sums.

    Each sum comes with the share of the time that readings speak for; at less than 1 it is a lower bound.
    """
    crop = farm.crops[batch.crop]
    known = {one.series for one in store.known(farm.name)}
    stays = [_stay(farm, store, crop, stay, known, now_us) for stay in batch.stays]
    return {
        "batch": batch.name,
        "crop": batch.crop,
        "crop_label": crop.label,
        "sown": batch.sown.isoformat(),
        "plants": batch.plants,
        "harvest_kg": batch.harvest_kg,
        "base_temperature_c": crop.base_temperature_c,
        "cap_temperature_c": crop.cap_temperature_c,
        "stays": stays,
        "total": _total(stays),
        "energy": batch_energy(farm, store, batch.name, now_us),
    }


def _stay(farm: Farm, store: ReadingStore, crop: Crop, stay: Stay, known: set[Series], now_us: int) -> dict[str, Any]:
    start_us = microseconds(farm.moment(stay.entered))
    left_us = None if stay.left is None else microseconds(farm.moment(stay.left))
    end_us = max(start_us, now_us if left_us is None else min(left_us, now_us))
    series = [one for one in (*farm.described, *derived_series(farm)) if one.zone == stay.zone and one in known]
    return {
        "zone": stay.zone,
        "label": farm.zone_label(stay.zone),
        "phase": stay.phase,
        "start": iso_time(start_us),
        "end": iso_time(end_us),
        "complete": left_us is not None and left_us <= now_us,
        "hours": (end_us - start_us) / MICROSECONDS_PER_SECOND / SECONDS_PER_HOUR,
        "light": _light(farm, store, stay.zone, start_us, end_us),
        "warmth": _warmth(farm, store, crop, stay.zone, start_us, end_us),
        "bands": [
            _band(farm, store, one, start_us, end_us)
            for one in series
            if one.registered.kind is Kind.LEVEL and one.quantity not in ONCE_A_LIGHT_DAY and may_have_band(farm, one)
        ],
    }


def _light(farm: Farm, store: ReadingStore, zone: str, start_us: int, end_us: int) -> dict[str, Any] | None:
    """Return the light that fell in a stay, the mean over the zone's sensors; None where nothing tells of it."""
    found = []
    for ppfd in light_series(farm):
        if ppfd.zone == zone:
            gap = light_hold_us(farm, ppfd)
            columns = store.read(ppfd, start_us - gap, end_us + gap)
            integral_of = held_light_integral if ppfd.sensor == ESTIMATED else light_integral
            found.append((ppfd, integral_of(columns.time_us, usable(columns), start_us, end_us, gap)))
    seen = [(ppfd, one) for ppfd, one in found if not math.isnan(one.mol)]
    if not seen:
        return None
    covered_h = float(np.mean([one.covered_s for _, one in seen])) / SECONDS_PER_HOUR
    return {
        "mol": float(np.mean([one.mol for _, one in seen])),
        "covered_h": covered_h,
        "estimated": any(ppfd.sensor == ESTIMATED for ppfd, _ in seen),
        "series": [ppfd.key for ppfd, _ in seen],
    }


def _warmth(
    farm: Farm, store: ReadingStore, crop: Crop, zone: str, start_us: int, end_us: int
) -> dict[str, Any] | None:
    """Return a stay's degree-hours, the mean over the zone's air sensors; None without base or readings."""
    if crop.base_temperature_c is None:
        return None
    cap = math.inf if crop.cap_temperature_c is None else crop.cap_temperature_c
    seen = []
    for air in farm.series_of(zone, "air_temperature"):
        gap = max_age_us(farm, air)
        columns = store.read(air, start_us - gap, end_us)
        found = degree_hours(columns.time_us, usable(columns), crop.base_temperature_c, start_us, end_us, gap, cap)
        if not math.isnan(found.degree_hours):
            seen.append((air, found))
    if not seen:
        return None
    hours = {
        name: float(np.mean([getattr(one.time, f"{part}_s") for _, one in seen])) / SECONDS_PER_HOUR
        for name, part in (("below_base_h", "below"), ("above_cap_h", "above"), ("covered_h", "covered"))
    }
    warmth = float(np.mean([one.degree_hours for _, one in seen]))
    return {"degree_hours_k_h": warmth, **hours, "series": [air.key for air, _ in seen]}


def _band(farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int) -> dict[str, Any]:
    gap = longest_hold_us(farm, series)
    columns = store.read(series, start_us - gap, end_us)
    limits = limits_at(farm, store, series, columns.time_us)
    held = time_in_band(columns.time_us, usable(columns), limits.low, limits.high, start_us, end_us, gap)
    return {
        "key": series.key,
        "quantity": series.quantity,
        "label": farm.label_of(series),
        "unit": series.registered.unit,
        "inside_h": held.inside_s / SECONDS_PER_HOUR,
        "below_h": held.below_s / SECONDS_PER_HOUR,
        "above_h": held.above_s / SECONDS_PER_HOUR,
        "covered_h": held.covered_s / SECONDS_PER_HOUR,
    }


def _total(stays: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the sums over a batch's stays; of a quantity's several sensors in one stay, their mean."""
    hours = sum(one["hours"] for one in stays)
    light = [one["light"] for one in stays if one["light"] is not None]
    warmth = [one["warmth"] for one in stays if one["warmth"] is not None]
    return {
        "hours": hours,
        "mol": sum(one["mol"] for one in light) if light else None,
        "mol_coverage": _share(light, hours),
        "mol_estimated": any(one["estimated"] for one in light),
        "degree_hours_k_h": sum(one["degree_hours_k_h"] for one in warmth) if warmth else None,
        "degree_hours_coverage": _share(warmth, hours),
        "bands": _band_totals(stays, hours),
    }


def _share(parts: list[dict[str, Any]], hours: float) -> float | None:
    return sum(one["covered_h"] for one in parts) / hours if hours else None


def _band_totals(stays: list[dict[str, Any]], hours: float) -> list[dict[str, Any]]:
    sums: dict[str, dict[str, float]] = defaultdict(lambda: dict.fromkeys(BAND_HOURS, 0.0))
    units: dict[str, str] = {}
    for stay in stays:
        together: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
        for row in stay["bands"]:
            together[row["quantity"]].append(row)
            units[row["quantity"]] = row["unit"]
        for quantity, rows in together.items():
            for name in BAND_HOURS:
                sums[quantity][name] += sum(row[name] for row in rows) / len(rows)
    return [
        {"quantity": quantity, "unit": units[quantity], **one, "coverage": one["covered_h"] / hours if hours else None}
        for quantity, one in sums.items()
    ]
