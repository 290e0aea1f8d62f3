"""What the crop had against its plan: the bands, the time inside of them, and the light."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from farm.crops import Band, Phase
from farm.quantities import QUANTITIES
from farm.readings import ESTIMATED, Series
from handover.reports.document import Item, Out, Paragraph, Table, Tone, rows
from handover.reports.telling import DASH, NBSP, NOT_KNOWN, Telling, listed, shown_unit
from watch.bands import phase_stretches
from watch.light_days import ENOUGH_COVERAGE

Row = dict[str, Any]
IN_BAND = ("Series", "Mean", "Lowest to highest", "Sensor ±", "Inside", "Below", "Above", "Covered", "Known by")
WITHOUT = ("Series", "Mean", "Lowest to highest", "Sensor ±", "Covered", "Known by")
NUMERIC = frozenset(range(1, 8))


def plan(tell: Telling, start_us: int, end_us: int, zones_of: Collection[str] | None = None) -> list[Item]:
    """Return the bands that held in the zones, phase by phase, and where they come from."""
    held: dict[int, tuple[str, str, Phase, list[str]]] = {}
    for zone in (one for one in tell.farm.zones if zones_of is None or one in zones_of):
        for _, _, phase in phase_stretches(tell.farm, zone, start_us, end_us):
            if phase is not None:
                crop, name = _named(tell, phase)
                zones = held.setdefault(id(phase), (crop, name, phase, []))[3]
                if tell.farm.zone_label(zone) not in zones:
                    zones.append(tell.farm.zone_label(zone))
    if not held:
        text = "No zone had a crop plan in this time, so that nothing here is held against bands."
        return [Paragraph(text, Tone.NOTE)]
    groups = [
        (f"{tell.farm.crops[crop].label}, {name}: {listed(zones)}", list(_plan_rows(tell, phase)))
        for crop, name, phase, zones in held.values()
    ]
    sources = {tell.farm.crops[crop].label: tell.farm.crops[crop].source for crop, *_ in held.values()}
    notes = [f"The plan of {label}: {source}." for label, source in sources.items() if source]
    table = Table("The crop plan that held", ("What", "Lights on", "Lights off"), groups, frozenset({1, 2}))
    return [table, *(Paragraph(text, Tone.NOTE) for text in notes)]


def _named(tell: Telling, phase: Phase) -> tuple[str, str]:
    return next(
        (crop, name)
        for crop, described in tell.farm.crops.items()
        for name, one in described.phases.items()
        if one is phase
    )


def _plan_rows(tell: Telling, phase: Phase) -> Iterator[tuple[str, str, str]]:
    for name, band in phase.bands.items():
        quantity = QUANTITIES.get(name)
        if quantity is not None:
            lit, dark = (_limits(tell, band, on, quantity.decimals, quantity.display_unit) for on in (True, False))
            yield quantity.label, lit, dark
    if phase.daily_light_integral is not None:
        unit = QUANTITIES["daily_light_integral"].display_unit
        yield "Light a day", _span(tell, *phase.daily_light_integral, 1, unit), ""
    if phase.photoperiod_h is not None:
        at = "" if phase.lights_on_at is None else f", from {phase.lights_on_at:%H:%M}"
        yield "Hours of light", tell.amount(phase.photoperiod_h, 1, "h") + at, ""


def _limits(tell: Telling, band: Band, lit: bool, decimals: int, unit: str) -> str:
    limits = band.limits(lit)
    return DASH if limits is None else _span(tell, *limits, decimals, unit)


def _span(tell: Telling, low: float, high: float, decimals: int, unit: str) -> str:
    if math.isinf(low):
        return f"up to {tell.amount(high, decimals, unit)}"
    if math.isinf(high):
        return f"from {tell.amount(low, decimals, unit)}"
    return f"{tell.number(low, decimals)} to {tell.amount(high, decimals, unit)}"


def in_band(tell: Telling, sheet: Row) -> list[Item]:
    """Return how long each series with a band was inside, below and above it."""
    groups = [
        (zone["label"], [_band_row(tell, row) for row in zone["series"] if row["band"] is not None])
        for zone in sheet["zones"]
    ]
    if not any(lines for _, lines in groups):
        return [Paragraph("No series with a band has readings in this time.", Tone.NOTE)]
    groups = [(label, lines) for label, lines in groups if lines]
    widths = (0.19, 0.16, 0.14, 0.08, 0.09, 0.08, 0.08, 0.08, 0.1)
    return [Table("Time in band", IN_BAND, groups, NUMERIC, widths)]


def other_series(tell: Telling, sheet: Row) -> list[Item]:
    """Return the levels that no band holds for, so that the report has every one."""
    groups = [
        (zone["label"], [_other_row(tell, row) for row in zone["series"] if row["band"] is None])
        for zone in sheet["zones"]
    ]
    groups = [(label, lines) for label, lines in groups if lines]
    return [Table("Series without a band", WITHOUT, groups, frozenset(range(1, 5)))] if groups else []


def _level(tell: Telling, row: Row) -> tuple[str, str, str, str]:
    decimals, unit = tell.shape(row["key"], row["unit"])
    between = f"{tell.number(row['low'], decimals)} to {tell.number(row['high'], decimals)}"
    described = tell.farm.described.get(Series.parse(tell.farm.name, row["key"]))
    accuracy = None if described is None else described.plus_or_minus
    mean = tell.amount(row["mean"], decimals, unit) if row["mean"] is not None else DASH
    return row["label"], mean, between, DASH if accuracy is None else tell.take(accuracy, decimals)


def _band_row(tell: Telling, row: Row) -> tuple[str, ...]:
    band = row["band"]
    return (
        *_level(tell, row),
        tell.hours(band["inside_h"]),
        tell.hours_outside(band["below_h"]),
        tell.hours_outside(band["above_h"]),
        tell.share(row["coverage"]),
        known_by(tell, row["key"]),
    )


def _other_row(tell: Telling, row: Row) -> tuple[str, ...]:
    return *_level(tell, row), tell.share(row["coverage"]), known_by(tell, row["key"])


def known_by(tell: Telling, key: str) -> str:
    """Return whether a series is measured, worked out from measured ones, or estimated."""
    series = Series.parse(tell.farm.name, key)
    if series.sensor == ESTIMATED:
        return "estimate"
    return "sensor" if series in tell.farm.described else f"worked{NBSP}out"


def light(tell: Telling, sheet: Row) -> list[Item]:
    """Return each light day that began in the time, held against the plan."""
    if not sheet["light_days"]:
        return []
    unit = shown_unit("mol m-2 d-1")
    lines = [
        (
            f"{one['label']}, from {tell.day_and_clock(one['start'])}",
            integral(tell, one),
            target(tell, one),
            _lit(tell, one),
            tell.clock(one.get("lights_on")),
            tell.share(one["coverage"]),
            "estimate" if one.get("estimated") else "sensor",
        )
        for one in sheet["light_days"]
    ]
    heads = ("Light day", f"Light, {unit}", "Plan", "Lit (plan)", "Lights on", "Covered", "Known by")
    widths = (0.29, 0.15, 0.12, 0.15, 0.1, 0.09, 0.1)
    table = rows(
        "Light, by light days that began in this time", heads, lines, numeric=frozenset({1, 2, 3, 4, 5}), widths=widths
    )
    note = (
        "A light day runs from lights-on to the next lights-on. One that is not over, or not wholly covered, is a "
        "lower bound."
    )
    return [table, Paragraph(note, Tone.NOTE), *_evenness(tell, sheet)]


def integral(tell: Telling, one: Row) -> str:
    """Return a light day's integral; it stands out where it is outside of the plan."""
    if not one["complete"]:
        return f"{tell.amount(one['mol'], 1)} so far"
    text = tell.within(one["mol"], one.get("mol_plus_or_minus"), 1)
    aim = one.get("target")
    if one["mol"] is None or not aim:
        return text
    if not told_enough(one) and one["mol"] <= aim[1]:
        return f"{text} (of {tell.share(one['coverage'])})"  # a lower bound, which shows no lack of light
    return text if aim[0] <= one["mol"] <= aim[1] else Out(text)


def told_enough(one: Row) -> bool:
    """Return whether a light day is over and covered, so that it can be held against the plan."""
    return bool(one["complete"] and one["mol"] is not None and one["coverage"] >= ENOUGH_COVERAGE)


def target(tell: Telling, one: Row) -> str:
    """Return the plan for a light day."""
    aim = one.get("target")
    return _span(tell, aim[0], aim[1], 1, "") if aim else DASH


def _lit(tell: Telling, one: Row) -> str:
    lit = tell.amount(one.get("lit_h"), 1, "h") if one.get("lit_h") is not None else NOT_KNOWN
    plan_h = one.get("planned_h")
    return lit if plan_h is None else f"{lit} ({tell.number(plan_h, 1)})"


def _evenness(tell: Telling, sheet: Row) -> list[Item]:
    told: list[Item] = []
    for one in sheet.get("light_evenness") or ():
        if one.get("min_over_mean") is not None:
            crop = tell.farm.crops[one["crop"]].label if one["crop"] in tell.farm.crops else one["crop"]
            text = (
                f"Between the {len(one['zones'])} zones of {crop}, {one['phase']}, the one with the least light, "
                f"{tell.farm.zone_label(one['lowest_zone'])}, had {tell.share(one['min_over_mean'])} of their mean of "
                f"{tell.amount(one['mean_mol'], 1, shown_unit('mol m-2 d-1'))}."
            )
            told.append(Paragraph(text, Tone.NOTE))
    return told


def days_matrix(caption: str, first: str, days: Sequence[str], lines: Sequence[tuple[str, ...]]) -> Table:
    """Return a table with a column for each day."""
    widths = (0.23, *([0.77 / len(days)] * len(days)))
    return rows(caption, (first, *days), lines, numeric=frozenset(range(1, len(days) + 1)), widths=widths)
