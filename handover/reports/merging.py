"""Several day sheets as one of the same shape: sums are summed, means are weighed, extremes stay extremes.

No mean of means: a mean is weighed by the readings behind it, a coverage by the time it is a share of, and days
without a sheet count as time that nothing speaks for. A give or take is added up as if it went the same way each day,
as the same sensor's offset does: it is an upper bound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

Row = Mapping[str, Any]
STANDING = ("above", "near", "unknown", "below")  # the one to be told first


class Day(NamedTuple):
    """A day's sheet and how much of the day it speaks of. [s]."""

    sheet: Row
    length_s: float


class Told(NamedTuple):
    """A row of one day's sheet, with the length of its day. [s]."""

    row: Row
    length_s: float


def merged(days: Sequence[Day], whole_s: float) -> dict[str, Any]:
    """Return one sheet of several days in the order of time.

    Parameters
    ----------
    days : sequence of Day
        At least one.
    whole_s : float
        Length of all the time asked about, days without a sheet too. [s]

    Returns
    -------
    sheet : dict
        In the shape of a day sheet; of what each day found for itself (probes, filters), the newest.
    """
    from handover.reports.merging_water import WATER

    sections = {**AIR_AND_POWER, **WATER}
    first, last = days[0].sheet, days[-1].sheet
    sheet: dict[str, Any] = {
        "farm": last["farm"],
        "start": first["start"],
        "end": last["end"],
        "complete": all(one.sheet["complete"] for one in days),
        "cautions": list(dict.fromkeys(text for one in days for text in one.sheet["cautions"])),
    }
    return sheet | {name: merge(days, whole_s) for name, merge in sections.items()}


def by_name(days: Iterable[Day], section: Callable[[Row], Iterable[Row]], *names: str) -> dict[Any, list[Told]]:
    """Return the rows of a section of all days under the names that tell them apart, in the order they came up."""
    found: dict[Any, list[Told]] = {}
    for day in days:
        for row in section(day.sheet):
            found.setdefault(tuple(row.get(name) for name in names), []).append(Told(row, day.length_s))
    return found


def of(*path: str) -> Callable[[Row], list[Row]]:
    """Return what finds a list of rows in a sheet; an empty one where a sheet has no such section."""

    def find(sheet: Row) -> list[Row]:
        found: Any = sheet
        for name in path:
            found = found.get(name) if found else None
        return list(found or ())

    return find


def total(rows: Iterable[Told], *path: str) -> float | None:
    """Return the sum of what is known; None where nothing is."""
    known = [value for one in rows if (value := value_at(one.row, path)) is not None]
    return sum(known) if known else None


def days_told(rows: Iterable[Told], *path: str) -> int:
    """Return on how many days a figure is known."""
    return sum(value_at(one.row, path) is not None for one in rows)


def coverage(rows: Iterable[Told], whole_s: float, *path: str) -> float | None:
    """Return the share of the whole time that a figure's readings speak for."""
    seen = sum((value_at(one.row, path) or 0.0) * one.length_s for one in rows)
    return min(1.0, seen / whole_s) if whole_s > 0.0 else None


def value_at(row: Row, path: Sequence[str]) -> Any:  # noqa: ANN401  # whatever a sheet holds there
    """Return what stands in a row at a path; None where there is nothing."""
    found: Any = row
    for name in path:
        if found is None:
            return None
        found = found.get(name)
    return found


def last_known(rows: Sequence[Told], name: str) -> Any:  # noqa: ANN401  # whatever a sheet holds there
    """Return the newest of what is known."""
    return next((one.row[name] for one in reversed(rows) if one.row.get(name) is not None), None)


def sums(rows: Sequence[Told], *names: str) -> dict[str, float | None]:
    """Return the sums of several figures under their names."""
    return {name: total(rows, name) for name in names}


def _zones(days: Sequence[Day], whole_s: float) -> list[Row]:
    zones: dict[str, tuple[str, dict[str, list[Told]]]] = {}
    for day in days:
        for zone in day.sheet["zones"]:
            _, series = zones.setdefault(zone["zone"], (zone["label"], {}))
            for row in zone["series"]:
                series.setdefault(row["key"], []).append(Told(row, day.length_s))
    return [
        {"zone": zone, "label": label, "series": [_series(rows, whole_s) for rows in series.values()]}
        for zone, (label, series) in zones.items()
    ]


def _series(rows: Sequence[Told], whole_s: float) -> Row:
    known = [one for one in rows if one.row["mean"] is not None]
    count = sum(one.row["count"] for one in known)
    banded = [Told(one.row["band"], one.length_s) for one in rows if one.row["band"] is not None]
    return {
        **{name: rows[-1].row[name] for name in ("key", "label", "unit")},
        "mean": sum(one.row["mean"] * one.row["count"] for one in known) / count if count else None,
        "low": min((one.row["low"] for one in known), default=None),
        "high": max((one.row["high"] for one in known), default=None),
        "count": count,
        "coverage": coverage(rows, whole_s, "coverage"),
        "band": sums(banded, "inside_h", "below_h", "above_h", "covered_h") if banded else None,
    }


def _light_evenness(days: Sequence[Day], whole_s: float) -> list[Row]:
    """Return each phase's least even day: a mean over days would hide it."""
    found = by_name(days, of("light_evenness"), "crop", "phase")
    return [min((one.row for one in rows), key=lambda row: row["min_over_mean"] or 0.0) for rows in found.values()]


def newest(*path: str) -> Callable[[Sequence[Day], float], list[Row]]:
    """Return a merger that takes the last day's rows: each of them looks back by itself."""

    def merge(days: Sequence[Day], whole_s: float) -> list[Row]:
        return of(*path)(days[-1].sheet)

    return merge


def one_after_another(*path: str) -> Callable[[Sequence[Day], float], list[Row]]:
    """Return a merger that lists every day's rows; of one that goes on over midnight, the newest."""

    def merge(days: Sequence[Day], whole_s: float) -> list[Row]:
        found: dict[Any, Row] = {}
        for day in days:
            for place, row in enumerate(of(*path)(day.sheet)):
                found[row.get("id", (day.sheet["start"], place))] = row
        return list(found.values())

    return merge


def _surfaces(days: Sequence[Day], whole_s: float) -> list[Row]:
    return [_surface(rows, whole_s) for rows in by_name(days, of("surfaces"), "surface").values()]


def _surface(rows: Sequence[Told], whole_s: float) -> Row:
    margins = [one.row for one in rows if one.row["lowest_margin_k"] is not None]
    worst = min(margins, key=lambda row: row["lowest_margin_k"], default=rows[-1].row)
    return {
        **rows[-1].row,
        **{name: worst[name] for name in ("lowest_margin_k", "lowest_margin_give_or_take_k", "lowest_margin_at")},
        **sums(rows, "wet_h", "surely_wet_h", "perhaps_wet_h", "mould_index_change"),
        "mould_index": last_known(rows, "mould_index"),
        "coverage": coverage(rows, whole_s, "coverage"),
    }


def _carbon_dioxide(days: Sequence[Day], whole_s: float) -> list[Row]:
    return [_co2(rows, whole_s) for rows in by_name(days, of("carbon_dioxide"), "key").values()]


def _co2(rows: Sequence[Told], whole_s: float) -> Row:
    lit = [Told(one.row["lit"], one.length_s) for one in rows if one.row["lit"] is not None]
    gas = [Told(one.row["enrichment"], one.length_s) for one in rows if one.row["enrichment"] is not None]
    return {
        **rows[-1].row,
        "read_its_end": any(one.row["read_its_end"] for one in rows),
        "lit": sums(lit, "inside_h", "below_h", "above_h", "covered_h") if lit else None,
        **{name: _worst([one.row[name] for one in rows]) for name in ("highest", "average_8h", "average_15min")},
        "enrichment": _gas(gas, whole_s) if gas else None,
        "caution": next((one.row["caution"] for one in rows if one.row["caution"]), None),
    }


def _worst(several: Sequence[Row]) -> Row:
    """Return the highest of several figures that stand against a limit, with the gravest standing of any."""
    highest = max(several, key=lambda one: -1.0 if one["ppm"] is None else one["ppm"])
    at_least = [one["at_least_ppm"] for one in several if one.get("at_least_ppm") is not None]
    return {
        **highest,
        **({"at_least_ppm": max(at_least)} if at_least else {}),
        "standing": min((str(one["standing"]) for one in several), key=STANDING.index),
    }


def _gas(rows: Sequence[Told], whole_s: float) -> Row:
    stuck = [one.row["valve_stuck_open_ppm"] for one in rows if one.row["valve_stuck_open_ppm"] is not None]
    names = (
        "valve_open_h",
        "dosed_g",
        "dosed_give_or_take_g",
        "leaked_g",
        "leaked_give_or_take_g",
        "stored_g",
        "rest_g",
    )
    return {
        **rows[-1].row,
        **sums(rows, *names, "rest_give_or_take_g", "dosed_cost", "leaked_cost"),
        "decays": [decay for one in rows for decay in one.row["decays"]],
        "dosed_coverage": coverage(rows, whole_s, "dosed_coverage"),
        "leaked_coverage": coverage(rows, whole_s, "leaked_coverage"),
        "days_told": {name: days_told(rows, name) for name in ("dosed_g", "leaked_g", "rest_g")},
        "valve_stuck_open_ppm": max(stuck, default=None),
    }


def _energy(days: Sequence[Day], whole_s: float) -> Row:
    told = [Told(one.sheet["energy"], one.length_s) for one in days if one.sheet.get("energy")]
    if not told:
        return {}
    whole = [one for one in told if one.row.get("meter") is not None]
    lamps = by_name(days, of("energy", "lamps"), "name").values()
    parts = by_name(days, of("energy", "parts"), "key").values()
    energy: dict[str, Any] = {
        "meter": whole[-1].row["meter"] if whole else None,
        "parts": [
            {**rows[-1].row, "kwh": total(rows, "kwh"), "coverage": coverage(rows, whole_s, "coverage")}
            for rows in parts
        ],
        "lamps": [
            {
                **rows[-1].row,
                **sums(rows, "lit_h", "dark_h", "estimated_kwh"),
                "coverage": coverage(rows, whole_s, "coverage"),
            }
            for rows in lamps
        ],
    }
    if not whole:
        return energy
    used = total(whole, "kwh")
    batches = by_name(days, of("energy", "batches"), "name").values()
    return {
        **whole[-1].row,
        **energy,
        "kwh": used,
        "coverage": coverage(whole, whole_s, "coverage"),
        "days_told": days_told(whole, "kwh"),
        "cost": total(whole, "cost"),
        "power_meter_disagreement": max(
            (one.row["power_meter_disagreement"] for one in whole if one.row["power_meter_disagreement"] is not None),
            key=abs,
            default=None,
        ),
        "peaks": _peaks([one.row["peaks"] for one in whole if one.row.get("peaks")]),
        "batches": [_batch(rows, used) for rows in batches],
    }


def _batch(rows: Sequence[Told], used: float | None) -> Row:
    kwh = total(rows, "kwh")
    return {**rows[-1].row, "kwh": kwh, "share": kwh / used if kwh is not None and used else None}


def _peaks(several: Sequence[Row]) -> Row | None:
    if not several:
        return None
    highest = {
        name: max((one[name] for one in several), key=lambda one: -1.0 if one["power_w"] is None else one["power_w"])
        for name in ("reading", "average_15min", "average_3h")
    }
    standings = {
        name: min((str(one[name]) for one in several if one.get(name)), key=STANDING.index, default=None)
        for name in ("standing", "reading_standing")
    }
    caution = next((one["caution"] for one in several if one.get("caution")), None)
    return {**several[-1], **highest, **standings, "caution": caution}


def _totals(days: Sequence[Day], whole_s: float) -> list[Row]:
    return [
        {**rows[-1].row, "total": total(rows, "total"), "days_told": len(rows)}
        for rows in by_name(days, of("totals"), "key").values()
    ]


def _quality(days: Sequence[Day], whole_s: float) -> Row | None:
    if not any(one.sheet.get("quality") for one in days):
        return None
    found = by_name(days, of("quality", "series"), "key")
    impossible = {
        (one["what"], one["key"], one["since"]): one for day in days for one in of("quality", "impossible")(day.sheet)
    }
    return {"series": [_doubts(rows) for rows in found.values()], "impossible": list(impossible.values())}


def _doubts(rows: Sequence[Told]) -> Row:
    names = ("good", "suspect", "fail", "not_evaluated", "missing")
    counts: dict[str, Any] = {f"{name}_count": sum(one.row[f"{name}_count"] for one in rows) for name in names}
    expected = sum(one.row["expected_count"] for one in rows)
    siblings = [Told(one.row["siblings"], one.length_s) for one in rows if one.row["siblings"]]
    return {
        **{name: rows[-1].row[name] for name in ("key", "label", "unit")},
        **counts,
        "count": sum(one.row["count"] for one in rows),
        "expected_count": expected,
        **{f"{name}_share": counts[f"{name}_count"] / expected if expected else None for name in names},
        "gap_count": sum(one.row["gap_count"] for one in rows),
        "longest_gap_s": max(one.row["longest_gap_s"] for one in rows),
        "gaps_s": sum(one.row["gaps_s"] for one in rows),
        "siblings": {"disagrees_h": total(siblings, "disagrees_h")} if siblings else None,
        "drift": max(
            (one.row["drift"] for one in reversed(rows) if one.row["drift"]),
            key=lambda one: one["drifts"],
            default=None,
        ),
    }


# A section's name in the sheet -> what makes it from those of several days.
AIR_AND_POWER: dict[str, Callable[[Sequence[Day], float], Any]] = {
    "zones": _zones,
    "light_days": one_after_another("light_days"),
    "light_evenness": _light_evenness,
    "lamps": newest("lamps"),
    "surfaces": _surfaces,
    "carbon_dioxide": _carbon_dioxide,
    "energy": _energy,
    "excursions": one_after_another("excursions"),
    "findings": one_after_another("findings"),
    "totals": _totals,
    "quality": _quality,
}
