"""The report of a calendar week, from the sheets of its days."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND
from handover.refusals import NothingThere, Refused
from handover.reports import against_plan
from handover.reports.charts import level_charts
from handover.reports.day_report import common_parts, in_short, no_sheet, overall
from handover.reports.document import Entry, Item, Listing, Out, Part, Report
from handover.reports.light_and_band_charts import light_chart, light_days_of
from handover.reports.merging import Day, merged
from handover.reports.sources import Sources, as_days, citation, hashes_of, length_s, origin
from handover.reports.telling import DASH, Telling, listed
from store.entries import DaySheetEntry
from watch import cautions
from watch.day_data import day_range

Row = Mapping[str, Any]
DAYS = 7


def monday_of(text: str) -> date:
    """Return the first day of a week: ISO 8601's, as in 2026-W09, or that of a day in it, as in 2026-03-01.

    Raises
    ------
    Refused
        If it is neither.
    """
    try:
        if found := re.fullmatch(r"(\d{4})-?W(\d{2})", text):
            return date.fromisocalendar(int(found[1]), int(found[2]), 1)
        day = date.fromisoformat(text)
        return day - timedelta(days=day.weekday())
    except (ValueError, OverflowError):
        raise Refused(
            f"{text[:100]!r} is no week: write one as ISO 8601 has it, as in 2026-W09, or any day in it, as in 2026-03-01."
        ) from None


def week_report(sources: Sources, monday: date) -> Report:
    """Return the report of the week that begins on a Monday.

    Raises
    ------
    NothingThere
        If the week has not begun, or none of its days has a sheet.
    """
    name = f"{monday:%G-W%V}"
    days = [monday + timedelta(days=number) for number in range(DAYS)]
    begun = [day for day in days if day <= sources.today]
    if not begun:
        raise NothingThere(
            f"Week {name} has not begun: it is {sources.today} at the farm ({sources.farm.farm.timezone}). Ask for an earlier one."
        )
    found = {day: sources.journal.day_sheet(sources.farm.name, day) for day in begun}
    sheets = [one for one in found.values() if one is not None]
    if not sheets:
        raise NothingThere(no_sheet(sources, f"any day of week {name}"))
    return _report(sources, name, days, begun, sheets)


def _report(
    sources: Sources, name: str, days: Sequence[date], begun: Sequence[date], sheets: list[DaySheetEntry]
) -> Report:
    farm = sources.described_then(sheets[-1].description_hash)
    tell = Telling(farm)
    span = day_range(farm, days[0])[0], day_range(farm, days[-1])[1]
    until_us = span[1] if days[-1] in begun and sheets[-1].sheet["complete"] else _until_us(farm, sheets[-1])
    missing = [day for day in begun if day not in {one.day for one in sheets}]
    lost_s = sum((end_us - start_us) / 1e6 for start_us, end_us in (day_range(farm, day) for day in missing))
    told = as_days(farm, sheets)
    sheet = merged(told, lost_s + sum(length_s(farm, one) for one in sheets))
    gaps = [_gap(tell, missing)] if missing else []
    if len(begun) < DAYS or not sheet["complete"]:
        gaps.append("The week is not over: these are its figures so far.")
    different = len({one.description_hash for one in sheets}) > 1
    if different:
        gaps.append("The farm's description changed within the week: labels and bands are those of its last day.")
    light = light_chart(tell, light_days_of(sheet["light_days"]), *span)
    lines = [*gaps, *in_short(tell, sheet)]
    plan: list[Item] = [*against_plan.plan(tell, *span), *against_plan.in_band(tell, sheet)]
    plan += [chart for chart in [light] if chart is not None]
    plan += level_charts(tell, sources.store, *span, sheet["excursions"])
    return Report(
        title=f"Week report: {name}",
        subtitle=farm.farm.title,
        file_name=f"{farm.name}-week-{name}",
        invented=farm.farm.invented,
        head=[
            ("Farm", f"{farm.farm.title} ({farm.name})"),
            ("Week", f"{tell.day(days[0])} to {tell.day(days[-1])}, local days of {farm.farm.timezone}"),
            ("Day sheets", f"{len(sheets)} of {DAYS}" + (f"; none of {listed([tell.short_day(one) for one in missing])}" if missing else "")),
            ("Coverage", overall(tell, sheet) + (" on the days that have a sheet" if missing else "")),
        ],
        parts=[
            Part("In short", [Listing([Entry(text) for text in lines])]),
            Part("Day by day", _day_by_day(tell, begun, dict(zip([one.day for one in sheets], told, strict=True)))),
            Part("What the crop had against its plan", plan),
            *common_parts(sources, tell, sheet, (span[0], until_us), len(begun)),
        ],
        origin=origin(sources, tell, span, sheets, hashes_of(sheets)),
        citation=citation(sources, f"week report of {name}", span, hashes_of(sheets)),
        cautions=cautions.STANDING,
    )  # fmt: skip


def _until_us(farm: Farm, entry: DaySheetEntry) -> int:
    """Return until when a sheet speaks."""
    return day_range(farm, entry.day)[0] + round(length_s(farm, entry) * MICROSECONDS_PER_SECOND)


def _gap(tell: Telling, missing: Sequence[date]) -> str:
    names = listed([tell.short_day(one) for one in missing])
    return (
        f"No day sheet of {names}: sums leave {'that day' if len(missing) == 1 else 'those days'} out and are lower bounds; "
        "coverage counts it as time that nothing speaks for."
    )


def _day_by_day(tell: Telling, days: Sequence[date], sheets: Mapping[date, Day]) -> list[Item]:
    heads = [tell.short_day(day) for day in days]
    told = [sheets[day].sheet if day in sheets else None for day in days]

    def line(name: str, figure: Callable[[Row], str]) -> tuple[str, ...]:
        return name, *(DASH if sheet is None else figure(sheet) for sheet in told)

    lines = [
        line("Excursions", lambda sheet: Out(str(count)) if (count := len(sheet["excursions"])) else "0"),
        line("Series in doubt", lambda sheet: str(_doubted(sheet))),
        line("Electricity", lambda sheet: _figure(tell, (sheet.get("energy") or {}).get("kwh"), 1, "kWh")),
        line("Drunk by plants", lambda sheet: _figure(tell, _drunk(sheet), 1, "L")),
        line("CO2 dosed", lambda sheet: _figure(tell, _dosed(sheet), 0, "g")),
    ]
    items: list[Item] = [against_plan.days_matrix("Each day", "", heads, lines)]
    if light := _light_lines(tell, told):
        items.append(
            against_plan.days_matrix(
                "Light of the light days that began on each day, mol m⁻² d⁻¹", "Zone", heads, light
            )
        )
    if inside := _inside_lines(tell, told):
        caption = "Time inside the band, as a share of the time that readings speak for"
        items.append(against_plan.days_matrix(caption, "Series", heads, inside))
    return items


def _figure(tell: Telling, value: float | None, decimals: int, unit: str) -> str:
    return DASH if value is None else tell.amount(value, decimals, unit)


def _doubted(sheet: Row) -> int:
    from handover.reports.condition import doubted

    return len(doubted(sheet["quality"])) if sheet.get("quality") else 0


def _drunk(sheet: Row) -> float | None:
    return next((one["drunk"]["litres_l"] for one in sheet.get("water_balance") or ()), None)


def _dosed(sheet: Row) -> float | None:
    gas = [one["enrichment"] for one in sheet.get("carbon_dioxide") or () if one["enrichment"]]
    return gas[0]["dosed_g"] if gas else None


def _light_lines(tell: Telling, told: Sequence[Row | None]) -> list[tuple[str, ...]]:
    labels = list(dict.fromkeys(one["label"] for sheet in told if sheet for one in sheet["light_days"]))
    return [
        (
            label,
            *(
                DASH
                if sheet is None
                else "; ".join(against_plan.integral(tell, one) for one in sheet["light_days"] if one["label"] == label)
                or DASH
                for sheet in told
            ),
        )
        for label in labels
    ]


def _inside_lines(tell: Telling, told: Sequence[Row | None]) -> list[tuple[str, ...]]:
    rows = [
        {row["key"]: row["band"] for zone in sheet["zones"] for row in zone["series"] if row["band"]} if sheet else {}
        for sheet in told
    ]
    keys = list(dict.fromkeys(key for one in rows for key in one))
    return [(tell.series(key), *(_inside(tell, one.get(key)) for one in rows)) for key in keys]


def _inside(tell: Telling, band: Row | None) -> str:
    if band is None:
        return DASH
    known_h = band["inside_h"] + band["below_h"] + band["above_h"]
    if not known_h:
        return DASH
    text = tell.share(band["inside_h"] / known_h)
    return text if band["inside_h"] / known_h >= 0.995 else Out(text)
