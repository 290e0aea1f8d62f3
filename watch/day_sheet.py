"""The summary of one local day: what every zone had, time in band, light, excursions and totals."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import Any

import numpy as np

from analytics.alignment import held_us
from analytics.counters import counted
from analytics.time_in_band import time_in_band
from farm.description import Farm
from farm.quantities import Kind
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from store.contract import ReadingStore
from store.entries import DaySheetEntry, ExcursionEntry, FindingEntry
from store.journal import Journal
from watch import cautions
from watch.bands import ONCE_A_LIGHT_DAY, limits_at, longest_hold_us, may_have_band, usable
from watch.carbon_dioxide_of_day import carbon_dioxide
from watch.climate_of_day import climate
from watch.day_data import DayData, day_data
from watch.energy_of_day import energy
from watch.feed_water_of_day import feed_water
from watch.filters_of_day import filters
from watch.finding_details import LAST_SEEN, LEADS_SINCE
from watch.flood_shelves_of_day import flood_shelves
from watch.irrigation_of_day import irrigation
from watch.lamps_of_day import lamps, light_evenness
from watch.light_of_day import light_days_of_day
from watch.probes_of_day import probes
from watch.quality_of_day import quality
from watch.root_zone_of_day import root_zone
from watch.surfaces_of_day import surfaces_of_day
from watch.water_balance_of_day import water_balance_of_day

SECONDS_PER_HOUR = 3600


def day_sheet(
    farm: Farm,
    description_hash: str,
    store: ReadingStore,
    journal: Journal,
    day: date,
    now_us: int,
    between: Callable[[], None] = lambda: None,
    ready: Mapping[str, Any] = MappingProxyType({}),
) -> DaySheetEntry:
    """Return the summary of a local day from what is stored; of a day that still lasts, until now.

    ``between`` is called before each section, and may raise to leave off. Sections in ``ready`` are taken as they are.
    """
    data = day_data(farm, store, journal, day, now_us)
    sheet: dict[str, Any] = {
        "farm": farm.name,
        "day": day.isoformat(),
        "start": iso_time(data.start_us),
        "end": iso_time(data.end_us),
        "complete": now_us >= data.end_us,
    }
    for name, section in SECTIONS.items():
        between()
        sheet[name] = ready[name] if name in ready else section(data)
    sheet["cautions"] = [cautions.ADVICE_ONLY]
    return DaySheetEntry(day, now_us, description_hash, sheet)


def sections_of_readings(
    farm: Farm, store: ReadingStore, journal: Journal, day: date, now_us: int
) -> Mapping[str, Any]:
    """Return the sections of a day's sheet that take long and look at nothing but readings, for `day_sheet`."""
    data = day_data(farm, store, journal, day, now_us)
    return {"quality": quality(data)}


def _zones(data: DayData) -> list[dict[str, Any]]:
    return [_zone(data.farm, data.store, zone, data.known, data.start_us, data.until_us) for zone in data.farm.zones]


def _excursions(data: DayData) -> list[dict[str, Any]]:
    found = data.journal.excursions(data.farm.name, start_us=data.start_us, end_us=data.until_us)
    return [excursion_summary(one) for one in found]


def _findings(data: DayData) -> list[dict[str, Any]]:
    found = data.journal.findings.between(data.farm.name, data.start_us, data.until_us)
    # Of one that goes on, a day's sheet says that it lasted to the day's end, whenever it was looked at last. One that
    # was last seen on a day before only looks back on that.
    return [
        finding_summary(replace(one, at_us=min(one.at_us, data.until_us)))
        for one in found
        if LAST_SEEN not in one.detail or one.detail[LAST_SEEN] > iso_time(data.start_us)
    ]


def finding_summary(one: FindingEntry) -> dict[str, Any]:
    """Return a finding as it stands in day sheets and answers."""
    return {
        "id": one.identity,
        "subject": one.subject,
        "onset": iso_time(one.onset_us),
        "end": None if one.end_us is None else iso_time(one.end_us),
        "at": iso_time(one.at_us),
        LEADS_SINCE: None,
        LAST_SEEN: None,
        **one.detail,
    }


def excursion_summary(one: ExcursionEntry) -> dict[str, Any]:
    """Return an excursion as it stands in day sheets."""
    return {
        "id": one.identity,
        "series": one.series.key,
        "side": str(one.side),
        "onset": iso_time(one.onset_us),
        "end": None if one.end_us is None else iso_time(one.end_us),
        "extreme": one.extreme,
        "limit": one.limit,
        "onset_limit": one.onset_limit,
        "dose": one.dose,
        "dose_unit": f"{one.series.registered.unit} h",
    }


def _zone(
    farm: Farm, store: ReadingStore, zone: str, known: list[Series], start_us: int, until_us: int
) -> dict[str, Any]:
    levels = [
        series
        for series in known
        if series.zone == zone
        and series.registered.kind is Kind.LEVEL
        and series.quantity not in (*ONCE_A_LIGHT_DAY, "air_change_rate")  # have tables of their own
    ]
    rows = [_row(farm, store, series, start_us, until_us) for series in levels]
    return {"zone": zone, "label": farm.zones[zone].label, "series": rows}


def _row(farm: Farm, store: ReadingStore, series: Series, start_us: int, until_us: int) -> dict[str, Any]:
    gap_us = longest_hold_us(farm, series)
    columns = store.read(series, start_us - gap_us, until_us)
    value = usable(columns)
    inside = value[columns.time_us >= start_us]
    inside = inside[~np.isnan(inside)]
    held = held_us(columns.time_us[~np.isnan(value)], start_us, until_us, gap_us)
    band = None
    if may_have_band(farm, series) and len(columns):
        limits = limits_at(farm, store, series, columns.time_us)
        hours = time_in_band(columns.time_us, value, limits.low, limits.high, start_us, until_us, gap_us)
        band = {
            "inside_h": hours.inside_s / SECONDS_PER_HOUR,
            "below_h": hours.below_s / SECONDS_PER_HOUR,
            "above_h": hours.above_s / SECONDS_PER_HOUR,
            "covered_h": hours.covered_s / SECONDS_PER_HOUR,
        }
    return {
        "key": series.key,
        "label": farm.label_of(series),
        "unit": series.registered.unit,
        "mean": float(inside.mean()) if len(inside) else None,
        "low": float(inside.min()) if len(inside) else None,
        "high": float(inside.max()) if len(inside) else None,
        "count": len(inside),
        "coverage": (int(held.sum()) / MICROSECONDS_PER_SECOND) / ((until_us - start_us) / MICROSECONDS_PER_SECOND),
        "band": band,
    }


def _totals(data: DayData) -> list[dict[str, Any]]:
    """Return what each counter counted in the day, from the last reading before it."""
    farm, store, start_us, until_us = data.farm, data.store, data.start_us, data.until_us
    rows = []
    for series in data.known:
        if series.registered.kind is not Kind.COUNTER:
            continue
        before = store.last_before(series, start_us)
        from_us = before.time_us if before else start_us
        described = farm.described.get(series)
        rolls_over_at = described.rolls_over if described else None
        total = counted(usable(store.read(series, from_us, until_us)), rolls_over_at)
        if not np.isnan(total):
            row = {"key": series.key, "label": farm.label_of(series), "unit": series.registered.unit, "total": total}
            rows.append(row)
    return rows


# The sheet's sections in their order: name in JSON -> what makes it from a day's data.
SECTIONS: dict[str, Callable[[DayData], Any]] = {
    "zones": _zones,
    "light_days": light_days_of_day,
    "light_evenness": light_evenness,
    "lamps": lamps,
    "surfaces": surfaces_of_day,
    "carbon_dioxide": carbon_dioxide,
    "energy": energy,
    "excursions": _excursions,
    "findings": _findings,
    "totals": _totals,
    "climate": climate,
    "root_zone": root_zone,
    "probes": probes,
    "irrigation": irrigation,
    "filters": filters,
    "flood_shelves": flood_shelves,
    "feed_water": feed_water,
    "water_balance": water_balance_of_day,
    "quality": quality,
}
