"""The report of a batch: what it had from sowing on, stay by stay and in all."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from farm.crops import Batch
from farm.flags import Flag
from farm.quantities import QUANTITIES
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant, iso_time, microseconds
from handover.refusals import NothingThere, unknown
from handover.reports import accounts, against_plan, condition, happened
from handover.reports.charts import level_charts
from handover.reports.document import Entry, Item, Listing, Out, Paragraph, Part, Report, Table, Tone, facts, rows
from handover.reports.light_and_band_charts import LightDay, band_chart, light_chart
from handover.reports.merging import Day, merged
from handover.reports.sources import Sources, as_days, citation, origin
from handover.reports.telling import DASH, NOT_KNOWN, Telling
from store.entries import DaySheetEntry, ExcursionEntry
from store.log_entries import Harvest, Moved
from watch import cautions
from watch.bands import limits_at, usable
from watch.batch_use import batch_use
from watch.batches import batch_record
from watch.day_data import day_range
from watch.day_sheet import excursion_summary, finding_summary

Row = dict[str, Any]
DAY_US = 86_400 * MICROSECONDS_PER_SECOND
STAY_HEADS = ("Zone, phase", "Entered", "Left", "Hours", "Light, mol m⁻²", "Warmth, K h", "Covered: light, warmth")


def batch_report(sources: Sources, name: str) -> Report:
    """Return the report of a batch of the description.

    Raises
    ------
    NothingThere
        If there is none of that name, or it stands nowhere yet.
    """
    named = {one.name: one for one in sources.farm.batches}
    if name not in named:
        raise NothingThere(str(unknown("batch", name, named)))
    batch = named[name]
    if not batch.stays:
        raise NothingThere(
            f"Batch {name!r} has no stays: add [[batches.stays]] with zone, phase and entered to farm.toml."
        )
    start_us = min(microseconds(sources.farm.moment(one.entered)) for one in batch.stays)
    if start_us >= sources.now_us:
        raise NothingThere(f"Batch {name!r} has not entered any zone yet: it first does on {iso_time(start_us)}.")
    return _report(sources, batch, start_us)


def _report(sources: Sources, batch: Batch, start_us: int) -> Report:
    farm, tell = sources.farm, Telling(sources.farm)
    record = batch_record(farm, sources.store, batch, sources.now_us)
    stays = [one for one in record["stays"] if one["hours"] > 0]
    end_us = max(microseconds(datetime.fromisoformat(one["end"])) for one in stays)
    over = all(one["complete"] for one in record["stays"])
    sheets = _sheets(sources, start_us, end_us)
    crop = farm.crops[batch.crop]
    until = "" if over else ", so far"
    return Report(
        title=f"Batch report: {batch.name}",
        subtitle=farm.farm.title,
        file_name=f"{farm.name}-batch-{batch.name}",
        invented=farm.farm.invented,
        head=[
            ("Farm", f"{farm.farm.title} ({farm.name})"),
            ("Batch", f"{batch.name}: {crop.label}, {_count(tell, batch.plants)}, sown {_day(tell, batch.sown)}"),
            ("Time", f"{tell.moment(start_us)} to {tell.moment(end_us)}{until}"),
            ("Harvest", _harvest(tell, sources, batch)),
        ],
        parts=[
            Part("In short", [Listing([Entry(text) for text in _in_short(tell, record)])]),
            Part("Where it stood, and its light and warmth", _stays(sources, tell, record, stays, (start_us, end_us))),
            Part("Time in the crop's bands", _bands(sources, tell, record, stays)),
            Part("Energy, water, stocks and CO2", [*_energy(tell, record), *_use(sources, tell, batch)]),
            Part("The whole farm meanwhile", _accounts(sources, tell, sheets, (start_us, end_us))),
            Part("Excursions where it stood, and their likely causes", _excursions(sources, tell, stays)),
            Part("What people wrote", _written(sources, tell, batch, start_us, end_us)),
            Part("How good the readings were", _doubts(sources, tell, sheets, stays)),
        ],
        origin=origin(sources, tell, (start_us, end_us), sheets, [sources.made_by.description_sha256]),
        citation=citation(
            sources, f"batch report of {batch.name}", (start_us, end_us), [sources.made_by.description_sha256]
        ),
        cautions=cautions.STANDING,
    )


def _sheets(sources: Sources, start_us: int, end_us: int) -> list[DaySheetEntry]:
    found = [sources.journal.day_sheet(sources.farm.name, day) for day in _days(sources, start_us, end_us)]
    return [one for one in found if one is not None]


def _days(sources: Sources, start_us: int, end_us: int) -> list[date]:
    zone = sources.farm.farm.zone_info
    first, last = (instant(at).astimezone(zone).date() for at in (start_us, end_us - 1))
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def _count(tell: Telling, plants: int | None) -> str:
    return "plants not counted" if plants is None else f"{tell.number(plants, 0)} plants"


def _day(tell: Telling, moment: date | datetime) -> str:
    return tell.day(moment.date() if isinstance(moment, datetime) else moment)


def _harvest(tell: Telling, sources: Sources, batch: Batch) -> str:
    entries = sources.journal.log.entries(sources.farm.name, kinds=["harvest"])
    weighed = [
        one.detail.fresh_kg for one in entries if isinstance(one.detail, Harvest) and one.detail.batch == batch.name
    ]
    told = []
    if batch.harvest_kg is not None:
        told.append(f"{tell.amount(batch.harvest_kg, 2, 'kg')} by farm.toml")
    if weighed:
        told.append(f"{tell.amount(sum(weighed), 2, 'kg')} fresh in {len(weighed)} journal entries")
    return "; ".join(told) or "not known"


def _in_short(tell: Telling, record: Row) -> Iterator[str]:
    total = record["total"]
    if not any(row["covered_h"] for row in total["bands"]) and total["mol"] is None:
        yield "No reading tells what this batch had."
        return
    stays = len(record["stays"])
    yield f"{tell.amount(total['hours'], 0, 'h')} ({tell.number(total['hours'] / 24, 1)} days) in {stays} stay{'s' if stays > 1 else ''}."
    if total["mol"] is not None:
        how = ", in part estimated from the lamps" if total["mol_estimated"] else ""
        yield f"Light: {tell.amount(total['mol'], 0, 'mol m⁻²')} in all, of {tell.share(total['mol_coverage'])} of the time{how}."
    if total["degree_hours_k_h"] is not None:
        covered = tell.share(total["degree_hours_coverage"])
        yield f"Warmth: {tell.amount(total['degree_hours_k_h'], 0, 'K h')} above {_base(tell, record)}, of {covered} of the time."
    inside = [
        f"{QUANTITIES[one['quantity']].label} {tell.share(one['inside_h'] / hours)}"
        for one in total["bands"]
        if (hours := one["inside_h"] + one["below_h"] + one["above_h"])
    ]
    if inside:
        yield f"Inside the band, of the time that readings and a band speak for: {', '.join(inside)}."
    if record["energy"]["kwh"] is not None:
        each = record["energy"]["kwh_per_kg"]
        more = "" if each is None else f", {tell.amount(each, 1, 'kWh')} for each kg harvested"
        yield f"Energy: {tell.amount(record['energy']['kwh'], 0, 'kWh')} by its share{more}."


def _base(tell: Telling, record: Row) -> str:
    cap = record["cap_temperature_c"]
    text = tell.amount(record["base_temperature_c"], 1, "°C")
    return text if cap is None else f"{text}, counted up to {tell.amount(cap, 1, '°C')}"


def _stays(sources: Sources, tell: Telling, record: Row, stays: Sequence[Row], span: tuple[int, int]) -> list[Item]:
    lines = [
        (
            f"{one['label']}, {one['phase']}",
            tell.day_and_clock(one["start"]),
            tell.day_and_clock(one["end"]) if one["complete"] else "still there",
            tell.number(one["hours"], 0),
            DASH
            if one["light"] is None
            else tell.number(one["light"]["mol"], 1) + (" (estimate)" if one["light"]["estimated"] else ""),
            DASH if one["warmth"] is None else tell.number(one["warmth"]["degree_hours_k_h"], 0),
            f"{_part(tell, one, 'light')}, {_part(tell, one, 'warmth')}",
        )
        for one in record["stays"]
    ]
    total = record["total"]
    lines.append(
        (
            "In all",
            "",
            "",
            tell.number(total["hours"], 0),
            tell.number(total["mol"], 1),
            tell.number(total["degree_hours_k_h"], 0),
            f"{tell.share(total['mol_coverage'])}, {tell.share(total['degree_hours_coverage'])}",
        )
    )
    widths = (0.2, 0.16, 0.16, 0.08, 0.14, 0.1, 0.16)
    items: list[Item] = [rows("Stays", STAY_HEADS, lines, numeric=frozenset({3, 4, 5, 6}), widths=widths)]
    if total["degree_hours_k_h"] is None and record["base_temperature_c"] is None:
        items.append(Paragraph("Warmth is not told: the crop has no base_temperature_c in farm.toml.", Tone.NOTE))
    items.append(Paragraph("What is covered for less than all of the time is a lower bound.", Tone.NOTE))
    chart = light_chart(tell, list(_light_days(sources, stays)), *span)
    return items + ([chart] if chart is not None else [])


def _part(tell: Telling, stay: Row, name: str) -> str:
    found = stay[name]
    return DASH if found is None or not stay["hours"] else tell.share(found["covered_h"] / stay["hours"])


def _light_days(sources: Sources, stays: Sequence[Row]) -> Iterator[LightDay]:
    """Yield the light integrals that the stays hold, of the first sensor of each zone, of light days over and covered."""
    for stay in stays:
        start_us, end_us = _span(stay)
        series = next(iter(_integrals(sources, stay["zone"])), None)
        if series is None:
            continue
        read = sources.store.read(series, start_us, end_us)
        limits = limits_at(sources.farm, sources.store, series, read.time_us)
        whole = np.isfinite(usable(read)) & (read.flag != Flag.SUSPECT)
        for place in np.flatnonzero(whole).tolist():
            at_us, limit = int(read.time_us[place]), (float(limits.low[place]), float(limits.high[place]))
            if at_us + DAY_US <= min(end_us, sources.now_us):
                target = None if math.isnan(limit[0]) else limit
                yield LightDay(stay["zone"], at_us, float(read.value[place]), target)


def _integrals(sources: Sources, zone: str) -> list[Series]:
    known = [one.series for one in sources.store.known(sources.farm.name)]
    return sorted(one for one in known if one.zone == zone and one.quantity == "daily_light_integral")


def _span(stay: Row) -> tuple[int, int]:
    start, end = (microseconds(datetime.fromisoformat(stay[name])) for name in ("start", "end"))
    return start, end


def _bands(sources: Sources, tell: Telling, record: Row, stays: Sequence[Row]) -> list[Item]:
    bands = record["total"]["bands"]
    if not bands:
        return [Paragraph("No series with a band tells of the zones where it stood.", Tone.NOTE)]
    hours = record["total"]["hours"]
    chart = band_chart(tell, [(QUANTITIES[one["quantity"]].label, one, hours) for one in bands])
    groups = [
        (f"{stay['label']}, {stay['phase']}", [_band(tell, one["label"], one, stay["hours"]) for one in stay["bands"]])
        for stay in stays
    ]
    groups = [(name, lines) for name, lines in groups if lines]
    groups.append(
        (
            "In all, the mean of a quantity's sensors",
            [_band(tell, QUANTITIES[one["quantity"]].label, one, hours) for one in bands],
        )
    )
    heads = ("Quantity", "Inside", "Below", "Above", "Covered")
    items: list[Item] = [Table("Time in band", heads, groups, frozenset({1, 2, 3, 4}), (0.4, 0.15, 0.15, 0.15, 0.15))]
    if chart is not None:
        items.insert(0, chart)
    first, last = min(_span(one)[0] for one in stays), max(_span(one)[1] for one in stays)
    for stay in stays:
        items += level_charts(tell, sources.store, *_span(stay), [], zones={stay["zone"]})
    return [*against_plan.plan(tell, first, last, {one["zone"] for one in stays}), *items]


def _band(tell: Telling, label: str, one: Row, hours: float) -> tuple[str, ...]:
    covered = NOT_KNOWN if not hours else tell.share(one["covered_h"] / hours)
    return (
        label,
        tell.hours(one["inside_h"]),
        tell.hours_outside(one["below_h"]),
        tell.hours_outside(one["above_h"]),
        covered,
    )


def _energy(tell: Telling, record: Row) -> list[Item]:
    energy = record["energy"]
    table = facts(
        "Energy",
        [
            ("Its share of the farm's electricity", tell.amount(energy["kwh"], 1, "kWh")),
            ("For each kg harvested", tell.amount(energy["kwh_per_kg"], 2, "kWh")),
            ("Covered", tell.share(energy["coverage"])),
            ("Shared out", energy["convention"]),
        ],
    )
    return [table]


def _use(sources: Sources, tell: Telling, batch: Batch) -> list[Item]:
    """Return the batch's share of what the day sheets tell of water, stocks and CO2."""
    use = batch_use(sources.farm, sources.journal, batch, sources.now_us)
    rows = [
        ("Water drunk", use["water_l"], 0, "L", use["water_coverage"]),
        *((one["label"], one["used_ml"], 0, "mL", one["coverage"]) for one in use["stocks"]),
        ("CO2 dosed", use["co2_g"], 0, "g", use["co2_coverage"]),
    ]
    told = [
        (
            name,
            tell.amount(value, decimals, unit) + (f"; {tell.share(coverage)} of its days" if value is not None else ""),
        )
        for name, value, decimals, unit, coverage in rows
    ]
    return [facts("Its share of water, stocks and CO2", [*told, ("Shared out", use["convention"])])]


def _accounts(sources: Sources, tell: Telling, sheets: Sequence[DaySheetEntry], span: tuple[int, int]) -> list[Item]:
    """Return the farm's accounts on the whole days of the batch's time, shared out to nobody."""
    days = _days(sources, *span)
    if not sheets:
        return [Paragraph("No day sheet of this time tells what the farm used.", Tone.NOTE)]
    spans = [day_range(sources.farm, day) for day in days]
    whole_us = sum(min(end_us, max(sources.now_us, start_us)) - start_us for start_us, end_us in spans)
    found = merged(as_days(sources.farm, sheets), whole_us / MICROSECONDS_PER_SECOND)
    missing = len(days) - len(sheets)
    gaps = f" {missing} days have no sheet: sums leave them out and are lower bounds." if missing else ""
    note = (
        f"What the whole farm took in and gave on the {len(days)} days on which the batch stood somewhere, the first and the "
        f"last in full. A batch's share of electricity, water, stocks and CO2 stands above.{gaps}"
    )
    return [Paragraph(note, Tone.NOTE), *accounts.accounts(tell, found, len(days))]


def _excursions(sources: Sources, tell: Telling, stays: Sequence[Row]) -> list[Item]:
    found: dict[str, ExcursionEntry] = {}
    for stay in stays:
        start_us, end_us = _span(stay)
        for one in sources.journal.excursions(sources.farm.name, start_us=start_us, end_us=end_us):
            if one.series.zone == stay["zone"]:
                found[one.identity] = one
    first, last = min(_span(one)[0] for one in stays), max(_span(one)[1] for one in stays)
    findings = [finding_summary(one) for one in sources.journal.findings.between(sources.farm.name, first, last)]
    sheet = {
        "excursions": [excursion_summary(one) for one in found.values()],
        "findings": [one for one in findings if one["subject"] in found],
    }
    return happened.excursions(tell, sheet)


def _written(sources: Sources, tell: Telling, batch: Batch, start_us: int, end_us: int) -> list[Item]:
    """Return what was written in the batch's time, and of the batch itself whenever."""
    entries = sources.journal.log.entries(sources.farm.name)
    found = [
        one
        for one in entries
        if start_us <= one.at_us < end_us
        or (isinstance(one.detail, Harvest | Moved) and one.detail.batch == batch.name)
    ]
    return [happened.entries_table(tell, found)] if found else [Paragraph("Nobody wrote anything about this time.")]


def _doubts(sources: Sources, tell: Telling, sheets: Sequence[DaySheetEntry], stays: Sequence[Row]) -> list[Item]:
    """Return what the day sheets doubt of the zones where it stood, on the days when it stood there."""
    zones = {one["zone"] for one in stays}
    days = [
        Day(_only(one.sheet, zones), one_day.length_s)
        for one, one_day in zip(sheets, as_days(sources.farm, sheets), strict=True)
    ]
    if not days:
        return [Paragraph(Out("No day sheet of this time tells how good the readings were."))]
    items = condition.doubts(tell, merged(days, sum(one.length_s for one in days)))
    note = f"From {len(sheets)} day sheets, of the zones where it stood; whole days, also where it came or left within one."
    return [*items, Paragraph(note, Tone.NOTE)]


def _only(sheet: Row, zones: set[str]) -> Row:
    quality = sheet.get("quality") or {"series": [], "impossible": []}

    def here(one: Row) -> bool:
        return str(one["key"]).split("/")[0] in zones

    kept = {name: [one for one in quality[name] if here(one)] for name in ("series", "impossible")}
    return {name: sheet[name] for name in ("farm", "start", "end", "complete", "cautions")} | {
        "zones": [], "light_days": [], "excursions": [], "findings": [], "totals": [], "quality": kept
    }  # fmt: skip
