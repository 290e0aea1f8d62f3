"""Electricity meters of a farm: which one measures the whole, and what each of them showed."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from analytics.energy import Energy, energy_from_counter, energy_from_power, share_by_plant_time
from farm.crops import Batch
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series, microseconds
from store.contract import ReadingStore
from watch.bands import max_age_us, usable

BATCH_CONVENTION = "by plants and time; our convention, no source"


class Meter(NamedTuple):
    """What one meter reports: a running total, power, or both; power may be derived from the total."""

    energy: Series | None
    power: Series
    power_is_measured: bool

    @property
    def first(self) -> Series:
        """The series that describes it."""
        return self.energy or self.power

    def max_age_us(self, farm: Farm) -> int:
        """Return for how long one of its readings speaks."""
        return max_age_us(farm, self.power if self.power_is_measured else self.first)

    def power_columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return its power, measured or derived, with NaN where unusable."""
        read = store.read(self.power, start_us, end_us)
        return Columns(read.time_us, usable(read), read.flag)


def meters(farm: Farm) -> list[Meter]:
    """Return a farm's meters in the description's order; one zone and sensor name is one meter."""
    found: dict[tuple[str, str], Meter] = {}
    for one in farm.described:
        if one.quantity in ("electrical_energy", "electrical_power"):
            energy, power = (one._replace(quantity=name) for name in ("electrical_energy", "electrical_power"))
            measured = power in farm.described
            found[one.zone, one.sensor] = Meter(energy if energy in farm.described else None, power, measured)
    return list(found.values())


def main_meter(farm: Farm) -> Meter | None:
    """Return the meter of the whole farm: the one that the description names, the only one, or the only unnamed one."""
    several = meters(farm)
    mains = farm.equipment.mains
    if mains is not None and mains.meter is not None:
        key = mains.meter
        return next(one for one in several if key in (one.power.key, one.energy and one.energy.key))
    if len(several) > 1:
        several = [one for one in several if not one.first.sensor]
    return several[0] if len(several) == 1 else None


def metered(farm: Farm, store: ReadingStore, meter: Meter, start_us: int, end_us: int) -> Energy:
    """Return a meter's energy from its last reading before ``start_us`` to its last one before ``end_us``.

    So adjoining windows leave nothing out. By its running total where it has one.
    """
    if meter.energy is None:
        return by_power(farm, store, meter, start_us, end_us)
    gap_us = max_age_us(farm, meter.energy)
    read = store.read(meter.energy, _from_us(store, meter.energy, start_us, gap_us), end_us)
    from_us = min(start_us, int(read.time_us[0])) if len(read) else start_us
    return energy_from_counter(
        read.time_us, usable(read), from_us, end_us, gap_us, farm.described[meter.energy].rolls_over
    )


def by_power(farm: Farm, store: ReadingStore, meter: Meter, start_us: int, end_us: int) -> Energy:
    """Return a meter's energy over the same stretch as ``metered``, from its power."""
    gap_us = meter.max_age_us(farm)
    read = meter.power_columns(farm, store, _from_us(store, meter.power, start_us, gap_us), end_us)
    from_us = min(start_us, int(read.time_us[0])) if len(read) else start_us
    return energy_from_power(read.time_us, read.value, from_us, end_us, gap_us)


def _from_us(store: ReadingStore, series: Series, start_us: int, gap_us: int) -> int:
    before = store.last_before(series, start_us)
    return before.time_us if before is not None and start_us - before.time_us <= gap_us else start_us


def batch_shares(farm: Farm, start_us: int, end_us: int) -> dict[str, float]:
    """Return each batch's share by plants and time of what the farm used in a stretch; NaN where counts are missing.

    Batches that were not there are left out.
    """
    present = {one.name: sum(_present_s(farm, one, start_us, end_us)) for one in farm.batches}
    there = [one for one in farm.batches if present[one.name] > 0.0]
    plants = [np.nan if one.plants is None else one.plants for one in there]
    shares = share_by_plant_time(plants, [present[one.name] for one in there])
    return {one.name: float(share) for one, share in zip(there, shares, strict=True)}


def _present_s(farm: Farm, batch: Batch, start_us: int, end_us: int) -> list[float]:
    """Return for how long each of a batch's stays lay in a stretch. [s]."""
    stays = [
        (
            microseconds(farm.moment(stay.entered)),
            end_us if stay.left is None else microseconds(farm.moment(stay.left)),
        )
        for stay in batch.stays
    ]
    return [max(0, min(left, end_us) - max(entered, start_us)) / MICROSECONDS_PER_SECOND for entered, left in stays]


def batch_energy(farm: Farm, store: ReadingStore, name: str, until_us: int) -> dict[str, Any]:
    """Return the energy that a batch bears, from its first stay until its last one ends or ``until_us``.

    JSON-able. ``kwh`` and ``kwh_per_kg`` are None where the farm has no meter of the whole, plants are not
    counted, or (for the latter) no harvest weight is known yet. ``coverage`` is the share of its time that the
    meter tells about.

    Raises
    ------
    ValueError
        If the farm has no batch of that name.
    """
    batch = next((one for one in farm.batches if one.name == name), None)
    if batch is None:
        raise ValueError(f"no batch {name!r}: the farm has {', '.join(one.name for one in farm.batches) or 'none'}")
    meter = main_meter(farm)
    moments = {
        microseconds(farm.moment(moment))
        for one in farm.batches
        for stay in one.stays
        for moment in (stay.entered, stay.left)
        if moment is not None
    }
    kwh = covered_s = span_s = 0.0
    for start_us, end_us in pairwise(sorted({one for one in moments if one < until_us} | {until_us})):
        share = batch_shares(farm, start_us, end_us).get(name)
        if share is None:
            continue
        span_s += (end_us - start_us) / MICROSECONDS_PER_SECOND
        if meter is not None and (used := metered(farm, store, meter, start_us, end_us)).covered_s:
            covered_s += used.covered_s
            kwh += share * used.kwh
    known = covered_s > 0.0 and not math.isnan(kwh)
    return {
        "kwh": kwh if known else None,
        "coverage": min(1.0, covered_s / span_s) if span_s else None,
        "kwh_per_kg": kwh / batch.harvest_kg if known and batch.harvest_kg else None,
        "convention": BATCH_CONVENTION,
    }
