"""Energy on the day sheet: kWh of the whole and by part, peaks against the service, cost, each batch's share."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.alignment import Floats, Times, hold_as_of, instants_of_any
from analytics.carbon_dioxide_exposure import LimitStanding, limit_standing
from analytics.demand import (
    FIFTEEN_MINUTES_US,
    THREE_HOURS_US,
    Demand,
    continuous_rating,
    peak_demand,
    service_rating,
)
from analytics.energy import meter_disagreement
from analytics.light import ON, lit_seconds
from farm.description import Farm, LampGroup
from farm.readings import iso_time
from watch import cautions
from watch.bands import lights_series, max_age_us, usable
from watch.day_data import DayData, or_none
from watch.derivation import accuracy_at
from watch.meters import BATCH_CONVENTION, Meter, batch_shares, by_power, main_meter, metered, meters
from watch.photoperiods import lit_from_ppfd

SECONDS_PER_HOUR = 3600.0
WINDOWS = {"average_15min": FIFTEEN_MINUTES_US, "average_3h": THREE_HOURS_US}
WH_PER_KWH = 1000.0
METER_SHARE = 0.02  # plus or minus of power worked out from a counting meter; common practice, no source


def energy(data: DayData) -> dict[str, Any]:
    """Return the day's energy; empty for a farm without an electricity meter and lamps of known power."""
    farm, store = data.farm, data.store
    several, whole = meters(farm), main_meter(farm)
    lamps = [_lamps(data, group) for group in farm.equipment.lamp_groups]
    if not several and not lamps:
        return {}
    parts = [_part(data, one) for one in several if one != whole]
    if whole is None:
        return {"meter": None, "parts": parts, "lamps": lamps}
    used = metered(farm, store, whole, data.start_us, data.until_us)
    disagreement = math.nan
    if whole.energy is not None and whole.power_is_measured:
        disagreement = meter_disagreement(by_power(farm, store, whole, data.start_us, data.until_us), used)
    mains = farm.equipment.mains
    price = mains.price_per_kwh if mains is not None else None
    shares = batch_shares(farm, data.start_us, data.until_us)
    return {
        "meter": whole.first.key,
        "kwh": or_none(used.kwh),
        "coverage": used.coverage,
        "power_meter_disagreement": or_none(disagreement),
        "cost": None if price is None else or_none(used.kwh * price),
        "currency": farm.farm.currency,
        "peaks": _peaks(data, whole),
        "parts": parts,
        "lamps": lamps,
        "batches": [
            {"name": name, "share": or_none(share), "kwh": or_none(share * used.kwh)} for name, share in shares.items()
        ],
        "batch_convention": BATCH_CONVENTION,
    }


def _part(data: DayData, meter: Meter) -> dict[str, Any]:
    used = metered(data.farm, data.store, meter, data.start_us, data.until_us)
    return {
        "key": meter.first.key,
        "label": data.farm.label_of(meter.first),
        "kwh": or_none(used.kwh),
        "coverage": used.coverage,
    }


def _lamps(data: DayData, group: LampGroup) -> dict[str, Any]:
    """Return a lamp group's energy as estimated from lit time and nameplate power.

    While all its light sensors read dark it takes none, whatever the switch says: ``dark_h``.
    """
    switches = [lights_series(data.farm, zone) for zone in group.zones]
    switch = next((one for one in switches if one is not None), None)
    row: dict[str, Any] = {"name": group.name, "lit_h": None, "dark_h": None, "estimated_kwh": None, "coverage": 0.0}
    if switch is None:
        return row
    gap_us = max_age_us(data.farm, switch)
    read = data.store.read(switch, data.start_us - gap_us, data.until_us)
    on = usable(read)
    lit = lit_seconds(read.time_us, on, data.start_us, data.until_us, gap_us)
    if lit.covered_s:
        at_us, dark = _dark(data, group, read.time_us, on, gap_us)
        lit_h = lit.lit_s / SECONDS_PER_HOUR
        dark_h = lit_seconds(at_us, dark, data.start_us, data.until_us, gap_us).lit_s / SECONDS_PER_HOUR
        dark_h = min(dark_h, lit_h)  # a light reading may be younger than the switch's, and be held for longer
        estimated_kwh = (lit_h - dark_h) * group.power_w / WH_PER_KWH
        row |= {"lit_h": lit_h, "dark_h": dark_h, "estimated_kwh": estimated_kwh, "coverage": lit.coverage}
    return row


def _dark(data: DayData, group: LampGroup, switch_us: Times, on: Floats, gap_us: int) -> tuple[Times, Floats]:
    """Return instants, and 1 where a group is on and each of its light sensors that is heard reads dark, else 0."""
    sensors = [one for one in data.farm.described if one.quantity == "ppfd" and one.zone in group.zones]
    reads = [data.store.read(one, data.start_us - gap_us, data.until_us) for one in sensors]
    at_us = instants_of_any([switch_us, *(one.time_us for one in reads)])
    switched = hold_as_of(switch_us, on, at_us, gap_us).value
    levels = [
        hold_as_of(read.time_us, usable(read), at_us, max_age_us(data.farm, one)).value
        for one, read in zip(sensors, reads, strict=True)
    ]
    brightest = np.fmax.reduce(levels, axis=0) if levels else np.full(len(at_us), math.nan)
    return at_us, np.where((switched >= ON) & (brightest < lit_from_ppfd(group.commissioning_ppfd)), 1.0, 0.0)


def _peaks(data: DayData, meter: Meter) -> dict[str, Any]:
    """Return the day's highest reading and averages, and how the highest of 3 h stands against the service."""
    farm = data.farm
    gap_us = meter.max_age_us(farm)
    from_us = data.start_us - max(WINDOWS.values()) - gap_us
    read = meter.power_columns(farm, data.store, from_us, data.until_us)
    inside = np.where(read.time_us >= data.start_us, read.value, np.nan)
    known = np.flatnonzero(~np.isnan(inside))
    place = int(known[np.argmax(inside[known])]) if known.size else None
    reading = Demand(math.nan, None) if place is None else Demand(float(inside[place]), int(read.time_us[place]))
    peaks: dict[str, Any] = {"reading": _demand(reading)}
    for name, window_us in WINDOWS.items():
        highest = peak_demand(read.time_us, read.value, data.start_us, data.until_us, window_us, gap_us)
        peaks[name] = _demand(highest)
    mains = farm.equipment.mains
    if mains is None:
        return peaks | {"service_rating_w": None, "continuous_rating_w": None, "standing": None, "caution": None}
    rating = continuous_rating(
        mains.voltage_v, mains.breaker_a, mains.phases, mains.continuous_share, mains.power_factor
    )
    service = service_rating(mains.voltage_v, mains.breaker_a, mains.phases, mains.power_factor)
    standing = _against(farm, meter, peaks["average_3h"], rating)
    over = _against(farm, meter, peaks["reading"], service)
    alarming = {standing, over} & {LimitStanding.NEAR, LimitStanding.ABOVE}
    return peaks | {
        "service_rating_w": service,
        "continuous_rating_w": rating,
        "continuous_share": mains.continuous_share,
        "power_factor": mains.power_factor,
        "standing": standing,
        "reading_standing": over,
        "caution": cautions.MAINS if alarming else None,
    }


def _demand(found: Demand) -> dict[str, Any]:
    return {"power_w": or_none(found.power_w), "at": None if found.end_us is None else iso_time(found.end_us)}


def _against(farm: Farm, meter: Meter, demand: dict[str, Any], limit: float) -> LimitStanding:
    power = math.nan if demand["power_w"] is None else demand["power_w"]
    give_or_take = float(accuracy_at(farm, meter.power, power)) if meter.power_is_measured else METER_SHARE * power
    return limit_standing(power, 1.0, limit, give_or_take)
