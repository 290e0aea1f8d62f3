"""What the air conditioner did in a day: its cycling, the water and the heat it took, and the electricity for it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of, instants_of_any
from analytics.amounts import Amount, agreement, ratio_of_amounts
from analytics.coil import Convention, coil_heat, coil_heat_uncertainty
from analytics.counters import counted
from analytics.cycling import Cycling, cycling
from analytics.integrals import TimeIntegral, time_integral
from analytics.moisture import moisture_removal_rate, moisture_removal_rate_uncertainty
from farm.description import AirConditioner
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.air_conditioner import Coil, Compressor, air_pressure, coil_of, compressor_of
from watch.bands import max_age_us, usable
from watch.day_data import DayData
from watch.derivation import Values, accuracy_at
from watch.drying_of_weeks import ENOUGH_COVERAGE, drying_against_first_weeks

SECONDS_PER_HOUR = 3600
W_PER_KW = 1000.0
LONGEST_RUN_US = 24 * SECONDS_PER_HOUR * MICROSECONDS_PER_SECOND  # looked back for a run's beginning; our choice
# So long a stopped coil still counts: it stays cold, and sensors lag behind. Our choice, no source.
AFTER_RUN_US = 300 * MICROSECONDS_PER_SECOND
METER_SHARE = 0.02  # plus or minus of what a condensate meter counted; our choice, no source
KG_PER_LITRE = 1.0  # of condensate; 0.1 % too much at 15 degC
CONVENTION: Convention = "entering_humidity"


class Taken(NamedTuple):
    """What the coil took out of the air in a day, by the states of the air: water [kg], heat [kWh]."""

    water: Amount
    heat: Amount
    sensible: Amount
    latent: Amount


@dataclass(frozen=True)
class UnitDay:
    """A day of the air conditioner; a part is None where the description or the readings do not tell."""

    cycles: Cycling | None
    taken: Taken | None
    condensate: Amount | None
    electricity: Amount | None


def unit_day(data: DayData, unit: AirConditioner) -> UnitDay:
    """Return what an air conditioner did in a day."""
    compressor, coil = compressor_of(data.farm, unit), coil_of(data.farm, unit)
    cycles = _cycles(data, compressor, unit.min_off_s or 0.0) if compressor else None
    taken = _taken(data, coil, compressor) if coil and compressor else None
    condensate = _condensate(data, Series.parse(data.farm.name, unit.condensate)) if unit.condensate else None
    electricity = _electricity(data, unit, compressor, cycles) if compressor and cycles else None
    return UnitDay(cycles, taken, condensate, electricity)


def air_conditioner(data: DayData, unit: AirConditioner, day: UnitDay) -> dict[str, Any] | None:
    """Return the air conditioner's day as it stands in the sheet; None where no series tells of it."""
    if day.cycles is None and day.taken is None and day.condensate is None:
        return None
    return {
        "cycling": _cycling_row(unit, day.cycles),
        "water": _water_row(data, day),
        "heat": _heat_row(day.taken),
        "electricity": _electricity_row(day, compressor_of(data.farm, unit)),
    }


def drying(day: UnitDay) -> Amount:
    """Return the water taken an hour of compressor run [kg/h], by the drain's meter, else by the air."""
    if day.cycles is None:
        return Amount(math.nan)
    measured = [one for one in (day.condensate, day.taken and day.taken.water) if one and not math.isnan(one.value)]
    water = measured[0] if measured else Amount(math.nan)
    return ratio_of_amounts(water, Amount(day.cycles.on_s / SECONDS_PER_HOUR, 0.0, day.cycles.coverage))


def _cycles(data: DayData, compressor: Compressor, min_off_s: float) -> Cycling:
    read = data.store.read(compressor.series, data.start_us - LONGEST_RUN_US, data.until_us)
    gap_us = max_age_us(data.farm, compressor.series)
    return cycling(read.time_us, usable(read), data.start_us, data.until_us, gap_us, min_off_s, compressor.threshold)


def _taken(data: DayData, coil: Coil, compressor: Compressor) -> Taken:
    """Return what the coil took while the compressor ran and just after: later, sensors' offsets are all there is."""
    farm = data.farm
    inputs = (compressor.series, *coil.inputs)
    ages = [max_age_us(farm, one) for one in inputs]
    gap_us = max(ages)
    read = [data.store.read(one, data.start_us - AFTER_RUN_US - 2 * gap_us, data.until_us + gap_us) for one in inputs]
    at_us = instants_of_any([columns.time_us for columns in read])
    power, *air = (
        hold_as_of(columns.time_us, usable(columns), at_us, age).value for columns, age in zip(read, ages, strict=True)
    )
    works = _works(at_us, power, compressor.threshold)
    return_air = coil.return_air.state(farm, air[0], air[1])
    supply_air = coil.supply_air.state(farm, air[2], air[3])
    stream = (return_air, supply_air, coil.flow, air_pressure(farm, air[4] if coil.pressure else None))
    heat = coil_heat(*stream, CONVENTION)
    unknown = np.full(len(at_us), np.nan)

    def integral(value: Values) -> TimeIntegral:
        return time_integral(at_us, value, data.start_us, data.until_us, gap_us)

    working = integral(works)

    def amount(rate: Values, give_or_take: Values) -> Amount:
        """Return what a rate an hour adds up to; its coverage is of the time that the coil worked."""
        seen = integral(np.where((works > 0.0) & np.isnan(rate), np.nan, works))
        share = seen.total / working.total if working.total > 0.0 else 1.0
        if not share > 0.0:
            return Amount(math.nan, math.nan, 0.0)
        total, uncertain = (
            integral(np.where(works == 0.0, 0.0, one * works)).total / SECONDS_PER_HOUR for one in (rate, give_or_take)
        )
        return Amount(total, uncertain, min(1.0, share) * working.coverage)

    return Taken(
        amount(moisture_removal_rate(*stream), moisture_removal_rate_uncertainty(*stream, coil.flow_accuracy)),
        amount(heat.total, coil_heat_uncertainty(*stream, coil.flow_accuracy)),
        amount(heat.sensible, unknown),
        amount(heat.latent, unknown),
    )


def _works(at_us: NDArray[np.int64], power: Values, threshold: float) -> Values:
    """Return 1 where the coil works: the compressor runs or has just stopped; 0 where not, NaN where nobody knows."""
    runs = power >= threshold
    last_run_us = np.maximum.accumulate(np.where(runs, at_us, np.iinfo(np.int64).min // 2))
    just_stopped = at_us - last_run_us <= AFTER_RUN_US
    return np.where(runs | just_stopped, 1.0, np.where(np.isnan(power), np.nan, 0.0))


def _condensate(data: DayData, meter: Series) -> Amount:
    """Return what the drain's meter counted, from its last reading before the day."""
    gap_us = max_age_us(data.farm, meter)
    read = data.store.read(meter, data.start_us - gap_us, data.until_us)
    value = usable(read)
    known = np.flatnonzero(~np.isnan(value))
    before = known[read.time_us[known] < data.start_us]
    used = known[read.time_us[known] >= (read.time_us[before[-1]] if len(before) else data.start_us)]
    described = data.farm.described[meter]
    water = counted(value[used], described.rolls_over) * KG_PER_LITRE
    seen_us = read.time_us[used[-1]] - max(read.time_us[used[0]], data.start_us) if len(used) > 1 else 0
    give_or_take = math.hypot(METER_SHARE * water, math.sqrt(2.0) * (described.plus_or_minus or 0.0) * KG_PER_LITRE)
    return Amount(water, give_or_take, float(seen_us / (data.until_us - data.start_us)))


def _electricity(data: DayData, unit: AirConditioner, compressor: Compressor, cycles: Cycling) -> Amount:
    """Return the electricity of the day [kWh]: measured, or the rated power while the compressor ran."""
    if not compressor.is_power:
        return Amount(unit.power_w / W_PER_KW * cycles.on_s / SECONDS_PER_HOUR, math.nan, cycles.coverage)
    gap_us = max_age_us(data.farm, compressor.series)
    read = data.store.read(compressor.series, data.start_us - gap_us, data.until_us + gap_us)
    used = time_integral(read.time_us, usable(read), data.start_us, data.until_us, gap_us)
    accuracies = accuracy_at(data.farm, compressor.series, usable(read))
    give_or_take = time_integral(read.time_us, accuracies, data.start_us, data.until_us, gap_us)
    kwh, give_or_take_kwh = (one.total / W_PER_KW / SECONDS_PER_HOUR for one in (used, give_or_take))
    return Amount(kwh, give_or_take_kwh, used.coverage)


def _cycling_row(unit: AirConditioner, cycles: Cycling | None) -> dict[str, Any] | None:
    if cycles is None:
        return None
    return {
        "starts": cycles.starts,
        "starts_per_hour": number(cycles.starts_per_hour),
        "duty": number(cycles.duty),
        "on_h": cycles.on_s / SECONDS_PER_HOUR,
        "mean_on_s": number(cycles.mean_on_s),
        "mean_off_s": number(cycles.mean_off_s),
        "shortest_on_s": number(cycles.shortest_on_s),
        "shortest_off_s": number(cycles.shortest_off_s),
        "min_off_s": unit.min_off_s,
        "short_offs": cycles.short_offs if unit.min_off_s else None,
        "coverage": number(cycles.coverage),
    }


def _water_row(data: DayData, day: UnitDay) -> dict[str, Any]:
    by_air = day.taken.water if day.taken else None
    compared = None
    if day.condensate and by_air and min(day.condensate.coverage, by_air.coverage) >= ENOUGH_COVERAGE:
        found = agreement(by_air, day.condensate)
        compared = {
            "difference_kg": number(found.difference),
            "give_or_take_kg": number(found.give_or_take),
            "agree": found.agrees,
        }
    return {
        "by_condensate": amount_row(day.condensate, "kg"),
        "by_air": amount_row(by_air, "kg"),
        "agreement": compared,
        "per_run_hour": amount_row(drying(day), "kg_per_h"),
        "against_first_weeks": drying_against_first_weeks(data, drying(day)),
    }


def _heat_row(taken: Taken | None) -> dict[str, Any] | None:
    if taken is None or math.isnan(taken.heat.value):
        return None
    total = taken.heat.value
    return {
        "total": amount_row(taken.heat, "kwh"),
        "sensible_kwh": number(taken.sensible.value),
        "latent_kwh": number(taken.latent.value),
        "sensible_heat_ratio": number(taken.sensible.value / total) if total > 0.0 else None,
        "convention": CONVENTION,
    }


def _electricity_row(day: UnitDay, compressor: Compressor | None) -> dict[str, Any] | None:
    if day.electricity is None or compressor is None:
        return None
    cooling = ratio_of_amounts(day.taken.heat, day.electricity) if day.taken else None
    return {
        "used": amount_row(day.electricity, "kwh"),
        "from": "meter" if compressor.is_power else "rated power",
        "cooling_per_electricity": amount_row(cooling, "kwh_per_kwh"),
    }


def amount_row(amount: Amount | None, unit: str) -> dict[str, Any] | None:
    """Return an amount as it stands in a sheet; None where it is not known."""
    if amount is None or math.isnan(amount.value):
        return None
    return {
        unit: amount.value,
        "give_or_take": number(amount.give_or_take),
        "coverage": number(amount.coverage),
    }


def number(value: float) -> float | None:
    """Return a number as JSON has it: None for NaN."""
    return None if math.isnan(value) else float(value)
