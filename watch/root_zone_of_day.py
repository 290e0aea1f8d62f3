"""The day sheet's section on the root zone: drift, doses, top-ups, what plants drank and took, does it add up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analytics.events import Event
from analytics.lines import NOTHING, Estimate, drift
from analytics.root_zone import ec_change_per_litre, response_ratio, uptake_concentration
from farm.readings import MICROSECONDS_PER_SECOND, iso_time
from watch import cautions
from watch.day_data import DayData
from watch.reservoir import Dose, ReservoirDay, reservoir_days
from watch.root_zone_books import SECONDS_PER_HOUR, Salt, Water, figure, number
from watch.stocks_of_day import stocks
from watch.tracks import REACH_US, SETTLE_US

ENOUGH_COVERAGE = 0.8  # of the day, for a figure that rests on two; our choice, no source


def root_zone(data: DayData) -> list[dict[str, Any]]:
    """Return one row a reservoir that has readings about the day."""
    return [_reservoir(one) for one in reservoir_days(data)]


def _reservoir(day: ReservoirDay) -> dict[str, Any]:
    water = Water(day)
    salt = Salt(day, water)
    roles = {stock.role for stock, _ in day.stocks.values()}
    return {
        "zone": day.zone,
        "label": day.farm.zone_label(day.zone),
        "drift": _drifts(day),
        "doses": [_dose(day, water, salt, one) for one in day.doses if day.inside(one)],
        "response": _response(day, salt),
        "ph_response": _ph_response(day),
        "water": water.row(),
        "salt": salt.row(),
        "uptake": _uptake(day, water, salt),
        "stocks": stocks(day),
        "caution": cautions.ACID_AND_BASE if roles & {"acid", "base"} else None,
    }


def _drifts(day: ReservoirDay) -> list[dict[str, Any]]:
    """Return how fast EC, pH and temperature drifted between events within the day."""
    every = [*day.doses, *day.steps, *day.light_changes]
    disturbed: tuple[tuple[str, Sequence[Event]], ...] = (
        ("solution_ec", [*day.ec_doses, *day.steps, *day.light_changes]),
        ("solution_ph", every),
        ("solution_temperature", ()),
    )
    rows = []
    for quantity, events in disturbed:
        track, series = day.track(quantity), day.series(quantity)
        if track is None or series is None:
            continue
        lines = track.lines(events, SETTLE_US)
        found = drift(lines, day.data.start_us, day.data.until_us, REACH_US, paces_us=day.paces_us if events else ())
        rows.append(
            {
                "key": series.key,
                "unit": f"{series.registered.unit}/d",
                "per_day": number(found.per_day),
                "give_or_take": number(found.plus_or_minus_per_day),
                "covered_h": found.covered_s / SECONDS_PER_HOUR,
                "stretches": found.stretches,
            }
        )
    return rows


def _dose(day: ReservoirDay, water: Water, salt: Salt, one: Dose) -> dict[str, Any]:
    volume_l = water.at((one.start_us + one.end_us) // 2).value
    volume_l = day.described_volume_l if math.isnan(volume_l) else volume_l
    feeds = one in day.ec_doses
    step = salt.measured(one) if feeds else NOTHING
    step = Estimate(step.value, math.hypot(step.plus_or_minus, salt.drunk_reach(one)))
    by_ec = Estimate(step.value / volume_l, step.plus_or_minus / volume_l)
    if math.isnan(volume_l) and feeds and day.ec is not None:
        by_ec = day.ec.step(one, [*day.ec_doses, *day.steps], SETTLE_US)
    by_ph = NOTHING if day.ph is None else day.ph.step(one, [*day.doses, *day.steps], SETTLE_US)
    expected = salt.expected(one) / volume_l if feeds else math.nan
    return {
        "start": iso_time(one.start_us),
        "end": iso_time(one.end_us),
        "source": one.source,
        "runs_on": one.runs_until_us is not None,
        "volumes_ml": one.volumes_ml,
        **figure("ec_step", by_ec, "ms_cm"),
        "ec_expected_ms_cm": number(expected),
        **figure("ph_step", by_ph, "ph"),
    }


def _response(day: ReservoirDay, salt: Salt) -> dict[str, Any] | None:
    """Return what the day's nutrient doses did as a share of what they should; None without such doses."""
    doses = [one for one in day.ec_doses if day.inside(one)]
    if not doses:
        return None
    measured = [salt.measured(one) for one in doses]
    expected = [salt.expected(one) for one in doses]
    ratio = response_ratio(measured, expected, day.scale_accuracy)
    told = [not math.isnan(one.value) and not math.isnan(w) for one, w in zip(measured, expected, strict=True)]
    # What plants drink is unlike what we say in all parts alike: it does not cancel.
    drunk = sum(salt.drunk_reach(one) for one, known in zip(doses, told, strict=True) if known)
    whole = sum(wanted for wanted, known in zip(expected, told, strict=True) if known)
    give_or_take = math.hypot(ratio.plus_or_minus, drunk / whole) if whole > 0.0 else math.nan
    return {"ratio": number(ratio.value), "give_or_take": number(give_or_take), "doses": sum(told)}


def _ph_response(day: ReservoirDay) -> list[dict[str, Any]]:
    """Return by how much each mL of acid and of base moved the pH. It holds for this solution, on this day."""
    rows: list[dict[str, Any]] = []
    if day.ph is None:
        return rows
    for name, (stock, _) in day.stocks.items():
        alone = [one for one in day.doses if day.inside(one) and one.volumes_ml.keys() == {name}]
        if stock.role == "nutrient" or not alone:
            continue
        steps = [day.ph.step(one, [*day.doses, *day.steps], SETTLE_US) for one in alone]
        each = response_ratio(steps, [one.volumes_ml[name] for one in alone])
        told = sum(not math.isnan(one.value) for one in steps)
        rows.append({"stock": name, **figure("ph_per_ml", each), "doses": told})
    return rows


def _uptake(day: ReservoirDay, water: Water, salt: Salt) -> dict[str, Any] | None:
    """Return the EC of what plants drank; None where the day's water or salt is known for too little of it."""
    span_s = (day.data.until_us - day.data.start_us) / MICROSECONDS_PER_SECOND
    if min(water.covered_s, salt.covered_s) < ENOUGH_COVERAGE * span_s or day.ec is None:
        return None
    accuracy = day.ec.relative_accuracy
    found = uptake_concentration(salt.taken, water.drunk, accuracy)
    ec = day.ec.value[(day.ec.time_us >= day.data.start_us) & (day.ec.time_us < day.data.until_us)]
    ec = ec[~np.isnan(ec)]
    volume_l = (water.at(day.data.start_us).value + water.at(day.data.until_us).value) / 2
    change = ec_change_per_litre(float(ec.mean()), found.value, volume_l) if len(ec) else math.nan
    return {**figure("concentration", found, "ms_cm"), "ec_change_ms_cm_per_l": number(change)}
