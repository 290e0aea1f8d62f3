"""Several days side by side, out of their day sheets: light by row, root zones, and what went in and out."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from analytics.probe_health import cell_condition, electrode_condition
from analytics.probes import Calibration, EcCalibration, TwoPointCalibration, cell_share, corrections
from farm.description import Farm
from farm.readings import Series, iso_time
from store.journal import Journal
from store.log_entries import LogEntry
from watch.corrections import KINDS, calibration_of
from watch.light_days import ENOUGH_COVERAGE
from watch.root_zone_books import number

SOLUTION = ("solution_ec", "solution_ph", "solution_temperature", "dissolved_oxygen")


def newest_days(journal: Journal, farm: str, count: int, last: date | None) -> list[date]:
    """Return the newest ``count`` days that have a sheet, up to ``last`` or of all; in order."""
    return [day for day in journal.days(farm) if last is None or day <= last][-count:]


def light_by_row(farm: Farm, journal: Journal, days: Sequence[date]) -> list[dict[str, Any]]:
    """Return each zone's light days that began on some days, in the description's order."""
    sheets = journal.day_sheet_parts(farm.name, days, ("light_days",))
    by_zone: dict[str, list[dict[str, Any]]] = {}
    for day in days:
        for row in sheets.get(day, ([],))[0] or []:
            by_zone.setdefault(row["zone"], []).append({"day": day.isoformat(), **_light(row)})
    return [{"zone": zone, "label": farm.zone_label(zone), "days": by_zone[zone]} for zone in _in_order(farm, by_zone)]


def _light(row: dict[str, Any]) -> dict[str, Any]:
    low, high = row.get("target") or (None, None)
    mol, coverage = row.get("mol"), row.get("coverage")
    standing = None
    if mol is not None and coverage is not None and coverage >= ENOUGH_COVERAGE and row.get("complete"):
        below, above = low is not None and mol < low, high is not None and mol > high
        standing = None if low is None and high is None else "low" if below else "high" if above else "inside"
    return {
        "start": row["start"],
        "mol": mol,
        "mol_plus_or_minus": row.get("mol_plus_or_minus"),
        "coverage": coverage,
        "complete": bool(row.get("complete")),
        "estimated": bool(row.get("estimated")),
        "lit_h": row.get("lit_h"),
        "target_low": low,
        "target_high": high,
        "standing": standing,
    }


def root_zones(farm: Farm, journal: Journal, days: Sequence[date]) -> list[dict[str, Any]]:
    """Return each reservoir day by day: its solution, doses, top-ups, and what the plants took up."""
    sheets = journal.day_sheet_parts(farm.name, days, ("root_zone",), ("zones",), ("complete",))
    by_zone: dict[str, list[dict[str, Any]]] = {}
    for day in days:
        roots, zones, complete = sheets.get(day, (None, None, False))
        solution = {one["zone"]: one["series"] for one in zones or []}
        for row in roots or []:
            found = _root(row, solution.get(row["zone"], []))
            by_zone.setdefault(row["zone"], []).append({"day": day.isoformat(), "complete": bool(complete), **found})
    return [
        {
            "zone": zone,
            "label": farm.zone_label(zone),
            "bands": _bands(farm, zone),
            "stocks": {name: stock.role for name, stock in _stocks(farm).items()},
            "days": by_zone[zone],
        }
        for zone in _in_order(farm, by_zone)
    ]


def _in_order(farm: Farm, zones: Collection[str]) -> list[str]:
    """Return zones in the description's order, then those that it does not have any more."""
    return [*(zone for zone in farm.zones if zone in zones), *sorted(set(zones) - farm.zones.keys())]


def _root(row: dict[str, Any], series: Iterable[dict[str, Any]]) -> dict[str, Any]:
    water, uptake = row.get("water") or {}, row.get("uptake") or {}
    return {
        "solution": [
            {"quantity": quantity, **{name: one[name] for name in ("key", "label", "unit", "mean", "low", "high")}}
            for one in series
            if (quantity := one["key"].split("/")[1]) in SOLUTION
        ],
        "doses": [
            {name: one.get(name) for name in ("start", "end", "volumes_ml", "ec_step_ms_cm", "ec_expected_ms_cm")}
            for one in row.get("doses", [])
        ],
        "top_ups": [
            {name: one.get(name) for name in ("start", "end", "volume_l")}
            for one in water.get("steps", [])
            if (one.get("volume_l") or 0.0) > 0.0
        ],
        **{
            name: water.get(name)
            for name in ("topped_up_l", "topped_up_give_or_take_l", "drunk_l", "drunk_give_or_take_l")
        },
        "uptake_ms_cm": uptake.get("concentration_ms_cm"),
        "uptake_give_or_take_ms_cm": uptake.get("concentration_give_or_take_ms_cm"),
        "ec_drift_ms_cm_d": _drift(row, "solution_ec"),
        "ph_drift_d": _drift(row, "solution_ph"),
    }


def _drift(row: dict[str, Any], quantity: str) -> float | None:
    found = [one.get("per_day") for one in row.get("drift", []) if one["key"].split("/")[1] == quantity]
    return found[0] if found else None


def _bands(farm: Farm, zone: str) -> list[dict[str, Any]]:
    """Return the limits that the zone's own phase has for its solution, where they do not hang on the lights."""
    described = farm.zones.get(zone)
    crop = farm.crops.get(described.crop) if described and described.crop else None
    phase = crop.phases.get(described.phase) if crop and described and described.phase else None
    limits = {name: phase.bands[name].always for name in SOLUTION if phase and name in phase.bands}
    return [{"quantity": name, "low": _side(pair[0]), "high": _side(pair[1])} for name, pair in limits.items() if pair]


def _side(limit: float) -> float | None:
    return limit if math.isfinite(limit) else None


def _stocks(farm: Farm) -> dict[str, Any]:
    return {one.name: one for one in farm.equipment.stocks}


def stocks_now(journal: Journal, farm: str, days: Sequence[date]) -> list[dict[str, Any]]:
    """Return the stocks as the newest of some days tells them, each once, however many zones it is dosed to."""
    found = journal.day_sheet_parts(farm, days[-1:], ("root_zone",))
    return [one for parts in found.values() for one in _each_once(parts[0])]


def _each_once(roots: Sequence[Mapping[str, Any]] | None) -> list[dict[str, Any]]:
    """Return the stocks of all zones, each once: what its pumps turned is summed, what is left is one bottle's."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for root in roots or []:
        for one in root.get("stocks", []):
            rows.setdefault(one["stock"], []).append(one)
    return [several[0] | {"used_ml": sum_of_known(one["used_ml"] for one in several)} for several in rows.values()]


def balances(farm: Farm, journal: Journal, days: Sequence[date]) -> list[dict[str, Any]]:
    """Return what went into and out of the farm on each day: water, stocks, energy, CO2."""
    parts = [("complete",), ("water_balance",), ("root_zone",), ("energy",), ("carbon_dioxide",)]
    sheets = journal.day_sheet_parts(farm.name, days, *parts)
    return [{"day": day.isoformat(), **_balance(sheets[day])} for day in days if day in sheets]


def _balance(parts: tuple[Any, ...]) -> dict[str, Any]:
    complete, water, roots, energy, gases = parts
    books = water or []
    terms = [term for book in books for term in book["terms"]]
    gas = [one["enrichment"] for one in gases or [] if one.get("enrichment")]
    power = energy or {}
    return {
        "complete": bool(complete),
        "feed_water_l": sum_of_known(
            term["litres_l"] for term in terms if term["side"] == "in" and term["name"] != "doses"
        ),
        "drained_l": sum_of_known(term["litres_l"] for term in terms if term["side"] == "out"),
        "gained_l": sum_of_known(term["litres_l"] for term in terms if term["side"] == "gained"),
        "drunk_l": sum_of_known(book["drunk"]["litres_l"] for book in books),
        "drunk_give_or_take_l": _hypot(book["drunk"]["give_or_take_l"] for book in books),
        "condensate_l": sum_of_known(book["condensate"]["litres_l"] for book in books),
        "stocks": [
            {"stock": one["stock"], "label": one["label"], "used_ml": one["used_ml"]} for one in _each_once(roots)
        ],
        "energy_kwh": power.get("kwh"),
        "energy_coverage": power.get("coverage"),
        "energy_cost": power.get("cost"),
        "lamps_kwh": sum_of_known(one["estimated_kwh"] for one in power.get("lamps", [])),
        "co2_dosed_g": sum_of_known(one["dosed_g"] for one in gas),
        "co2_leaked_g": sum_of_known(one["leaked_g"] for one in gas),
    }


def sum_of_known(values: Iterable[float | None]) -> float | None:
    """Return a sum; None of nothing, and where a part is not known: the rest would pass for the whole."""
    several = list(values)
    known = [one for one in several if one is not None]
    return sum(known) if known and len(known) == len(several) else None


def _hypot(values: Iterable[float | None]) -> float | None:
    several = list(values)
    known = [one for one in several if one is not None]
    return math.hypot(*known) if known and len(known) == len(several) else None


def probe_history(farm: Farm, journal: Journal) -> list[dict[str, Any]]:
    """Return every calibration of each probe, the oldest first, with what it says of the probe then."""
    by_series: dict[Series, list[LogEntry]] = {}
    for entry in journal.log.entries(farm.name, kinds=KINDS):
        by_series.setdefault(calibration_of(farm, entry)[0], []).append(entry)
    return [
        {"key": series.key, "label": farm.label_of(series), "calibrations": _calibrations(farm, entries)}
        for series, entries in by_series.items()
    ]


def _calibrations(farm: Farm, entries: Sequence[LogEntry]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    before: list[Calibration] = []
    for entry in sorted(entries, key=lambda one: one.at_us):
        one = calibration_of(farm, entry)[1]
        before.append(one)
        slope, offset, constant, condition = math.nan, math.nan, math.nan, None
        if isinstance(one, TwoPointCalibration) and one.unit == "mV":
            slope, offset = one.slope_percent, one.offset_mv
            condition = electrode_condition(slope, offset, farm.probe_limits.electrode)
        if isinstance(one, EcCalibration):
            constant = 100.0 * cell_share([each for each in before if isinstance(each, EcCalibration)])
            condition = cell_condition(constant, farm.probe_limits.cell)
        made = [each for each in corrections(before) if each.from_us == one.at_us]
        rows.append(
            {
                "id": entry.identity,
                "time": iso_time(entry.at_us),
                "author": entry.author,
                "scale": made[-1].scale if made else None,
                "offset": made[-1].offset if made else None,
                "slope_percent": number(slope),
                "offset_mv": number(offset),
                "constant_percent": number(constant),
                "condition": None if condition is None else str(condition),
            }
        )
    return rows
