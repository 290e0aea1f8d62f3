"""The part of several day sheets that tells of water, nutrients and the air conditioner, as one."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

from handover.reports.merging import Day, Row, Told, by_name, coverage, last_known, newest, of, sums, total

LITRES = ("litres_l", "give_or_take_l")


def _water_balance(days: Sequence[Day], whole_s: float) -> list[Row]:
    told = [Told(row, day.length_s) for day in days for row in of("water_balance")(day.sheet)]
    if not told:
        return []
    adjoining = all(one.sheet["end"] == other.sheet["start"] for one, other in pairwise(days))
    by_term = by_name(days, _terms, "side", "name")
    terms = [{"side": side, "name": name, **_litres(rows, whole_s)} for (side, name), rows in by_term.items()]
    for term in terms:
        if term["side"] == "gained" and adjoining and term["days_told"] == len(days):
            # One day's last level is the next one's first: of the whole change only the two ends are uncertain.
            term["give_or_take_l"] = max(one.row["give_or_take_l"] for one in by_term["gained", term["name"]])
    parts = {
        name: _litres([Told(one.row[name], one.length_s) for one in told], whole_s)
        for name in ("drunk", "condensate", "drunk_less_condensate")
    }
    drunk, condensate, rest = parts.values()
    if all(one["days_told"] == len(days) for one in (*terms, drunk)):
        drunk["give_or_take_l"] = _together([one["give_or_take_l"] for one in terms])
        if condensate["days_told"] == len(days):
            rest["give_or_take_l"] = _together([drunk["give_or_take_l"], condensate["give_or_take_l"]])
    return [
        {
            "terms": terms,
            **parts,
            "unknown": list(dict.fromkeys(text for one in told for text in one.row["unknown"])),
            "assumed": list(dict.fromkeys(text for one in told for text in one.row["assumed"])),
        }
    ]


def _terms(sheet: Row) -> list[Row]:
    return [term for row in of("water_balance")(sheet) for term in row["terms"]]


def _litres(rows: Sequence[Told], whole_s: float) -> dict[str, Any]:
    known = [one for one in rows if one.row["litres_l"] is not None]
    return {**sums(known, *LITRES), "coverage": coverage(known, whole_s, "coverage"), "days_told": len(known)}


def _together(takes: Sequence[float | None]) -> float | None:
    """Return the give or take of a sum of terms that different sensors tell, as a day's balance has it."""
    known = [one for one in takes if one is not None]
    return math.hypot(*known) if len(known) == len(takes) else None


def _root_zone(days: Sequence[Day], whole_s: float) -> list[Row]:
    return [_reservoir(rows) for rows in by_name(days, of("root_zone"), "zone").values()]


def _reservoir(rows: Sequence[Told]) -> Row:
    return {
        **rows[-1].row,
        "drift": _drifts(rows),
        "doses": [dose for one in rows for dose in one.row["doses"]],
        "response": None,  # a share of what each day's doses should have done; it is not added up
        "ph_response": [],
        "uptake": None,
        "water": _budget([Told(one.row["water"], one.length_s) for one in rows if one.row["water"]], "l"),
        "salt": _budget([Told(one.row["salt"], one.length_s) for one in rows if one.row["salt"]], "ms_cm_l"),
        "stocks": _stocks(rows),
    }


def _drifts(rows: Sequence[Told]) -> list[Row]:
    """Return each drift weighed by the hours it was seen in: what changed in all of them, for one day."""
    found: dict[str, list[Row]] = {}
    for one in rows:
        for drift in one.row["drift"]:
            if drift["per_day"] is not None:
                found.setdefault(drift["key"], []).append(drift)
    merged: list[Row] = []
    for several in found.values():
        hours = sum(one["covered_h"] for one in several)
        known = [one for one in several if one["give_or_take"] is not None]
        merged.append(
            {
                **several[-1],
                "per_day": sum(one["per_day"] * one["covered_h"] for one in several) / hours if hours else None,
                "give_or_take": sum(one["give_or_take"] * one["covered_h"] for one in known) / hours
                if hours and len(known) == len(several)
                else None,
                "covered_h": hours,
                "stretches": sum(one["stretches"] for one in several),
            }
        )
    return merged


def _budget(rows: Sequence[Told], unit: str) -> Row | None:
    """Return a reservoir's budget from the first day's start to the last day's end."""
    if not rows:
        return None
    both = (f"_{unit}", f"_give_or_take_{unit}")
    kept = {f"start{one}": rows[0].row.get(f"start{one}") for one in both}
    kept |= {f"end{one}": rows[-1].row.get(f"end{one}") for one in both}
    closes = [one.row["closes"] for one in rows if one.row.get("closes") is not None]
    flows = [name for name in rows[-1].row if name.endswith(f"_{unit}") and not name.startswith(("start", "end"))]
    return {
        **rows[-1].row,
        **sums(rows, *flows, "covered_h"),
        **kept,
        "closes": all(closes) if closes else None,
        "steps": [step for one in rows for step in one.row.get("steps", ())],
        "written": [entry for one in rows for entry in one.row.get("written", ())],
    }


def _stocks(rows: Sequence[Told]) -> list[Row]:
    found: dict[str, list[Told]] = {}
    for one in rows:
        for stock in one.row["stocks"]:
            found.setdefault(stock["stock"], []).append(Told(stock, one.length_s))
    return [{**several[-1].row, "used_ml": total(several, "used_ml")} for several in found.values()]


def _irrigation(days: Sequence[Day], whole_s: float) -> list[Row]:
    return [_line(rows, whole_s) for rows in by_name(days, of("irrigation"), "label", "found_from").values()]


def _line(rows: Sequence[Told], whole_s: float) -> Row:
    both = [one for one in rows if one.row["litres_l"] is not None and one.row["rated_l"]]
    rated = total(both, "rated_l")
    litres = total(both, "litres_l")
    names = ("cycles", "running_min", "litres_l", "litres_give_or_take_l", "per_plant_site_l", "rated_l")
    return {
        **rows[-1].row,
        **sums(rows, *names, "planned_cycles"),
        "coverage": coverage(rows, whole_s, "coverage"),
        "litres_coverage": coverage(rows, whole_s, "litres_coverage"),
        "share_of_rating": litres / rated if litres is not None and rated else None,
        "missed": [moment for one in rows for moment in one.row["missed"]],
        "faults": [fault for one in rows for fault in one.row["faults"]],
    }


def _feed_water(days: Sequence[Day], whole_s: float) -> list[Row]:
    told = [Told(row, day.length_s) for day in days for row in of("feed_water")(day.sheet)]
    if not told:
        return []
    return [
        {
            **told[-1].row,
            **sums(told, "litres_l", "litres_give_or_take_l", "running_min"),
            "normalised_output_percent": last_known(told, "normalised_output_percent"),
            "coverage": coverage(told, whole_s, "coverage"),
        }
    ]


def _climate(days: Sequence[Day], whole_s: float) -> Row:
    units: dict[int, list[Told]] = {}
    for day in days:
        for place, unit in enumerate(of("climate", "air_conditioners")(day.sheet)):
            units.setdefault(place, []).append(Told(unit, day.length_s))
    return {
        "air_conditioners": [_unit(rows, whole_s) for rows in units.values()],
        "vapour_balance": None,
        "recovery": [],
        "evenness": [],
    }


def _unit(rows: Sequence[Told], whole_s: float) -> Row:
    def amount(path: tuple[str, ...], unit: str) -> Row | None:
        told = [
            Told(found, one.length_s)
            for one in rows
            if (found := _inside(one.row, path)) is not None and found.get(unit) is not None
        ]
        if not told:
            return None
        every = all(one.row["give_or_take"] is not None for one in told)
        return {
            unit: total(told, unit),
            "give_or_take": total(told, "give_or_take") if every else None,
            "coverage": coverage(told, whole_s, "coverage"),
        }

    runs = [Told(one.row["cycling"], one.length_s) for one in rows if one.row["cycling"]]
    electricity, heat = amount(("electricity", "used"), "kwh"), amount(("heat", "total"), "kwh")
    source = next((one.row["electricity"]["from"] for one in rows if one.row["electricity"]), None)
    return {
        "cycling": _cycling(runs, whole_s) if runs else None,
        "water": {name: amount(("water", name), "kg") for name in ("by_condensate", "by_air")},
        "heat": {"total": heat} if heat else None,
        "electricity": {"used": electricity, "from": source} if electricity else None,
    }


def _cycling(runs: Sequence[Told], whole_s: float) -> Row:
    """Return runs and their hours; what is a mean of a day is told by the days' own sheets."""
    means = dict.fromkeys(("duty", "starts_per_hour", "mean_on_s", "mean_off_s"))
    added = sums(runs, "starts", "on_h", "short_offs")
    return {**runs[-1].row, **means, **added, "coverage": coverage(runs, whole_s, "coverage")}


def _inside(row: Row, path: Sequence[str]) -> Row | None:
    found: Any = row
    for name in path:
        found = found.get(name) if found else None
    return found  # type: ignore[no-any-return]  # what a sheet holds there


WATER: dict[str, Callable[[Sequence[Day], float], Any]] = {
    "water_balance": _water_balance,
    "root_zone": _root_zone,
    "irrigation": _irrigation,
    "feed_water": _feed_water,
    "climate": _climate,
    "probes": newest("probes"),
    "filters": newest("filters"),
    "flood_shelves": newest("flood_shelves"),
}
