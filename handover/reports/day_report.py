"""The report of one local day, from its day sheet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from handover.refusals import NothingThere
from handover.reports import accounts, against_limits, against_plan, condition, happened
from handover.reports.charts import level_charts
from handover.reports.document import Entry, Item, Listing, Part, Report
from handover.reports.sources import Sources, citation, origin
from handover.reports.telling import Telling, listed, shown_unit
from store.entries import DaySheetEntry
from watch import cautions
from watch.day_data import day_range

Row = dict[str, Any]


def day_report(sources: Sources, day: date) -> Report:
    """Return the report of a local day.

    Raises
    ------
    NothingThere
        If the day has not begun, or has no sheet.
    """
    if day > sources.today:
        raise NothingThere(
            f"{day} has not begun: it is {sources.today} at the farm ({sources.farm.farm.timezone}). Ask for a day up to then."
        )
    entry = sources.journal.day_sheet(sources.farm.name, day)
    if entry is None:
        raise NothingThere(no_sheet(sources, f"{day}"))
    return _report(sources, entry)


def no_sheet(sources: Sources, what: str) -> str:
    """Return why there is nothing to report of a time, and what there is."""
    days = sources.journal.days(sources.farm.name)
    if not days:
        return (
            f"There is no day sheet of {what}: this farm has none at all yet. The service writes one for each day that has "
            "readings: let leafweather serve run on this data folder."
        )
    return (
        f"There is no day sheet of {what}: this farm has {len(days)}, from {min(days)} to {max(days)}. A day without readings "
        "has none; readings that come late make one."
    )


def _report(sources: Sources, entry: DaySheetEntry) -> Report:
    farm = sources.described_then(entry.description_hash)
    tell, sheet = Telling(farm), entry.sheet
    span = day_range(farm, entry.day)
    until_us = min(span[1], max(entry.computed_us, span[0] + 1))
    charts = level_charts(tell, sources.store, span[0], span[1], sheet["excursions"])
    state = "" if sheet["complete"] else f": so far, until {tell.moment(until_us)}"
    return Report(
        title=f"Day report: {tell.day(entry.day)}",
        subtitle=farm.farm.title,
        file_name=f"{farm.name}-day-{entry.day}",
        invented=farm.farm.invented,
        head=[
            ("Farm", f"{farm.farm.title} ({farm.name})"),
            ("Day", f"{tell.day(entry.day)}, from midnight to midnight in {farm.farm.timezone}{state}"),
            ("Coverage", overall(tell, sheet)),
        ],
        parts=[
            Part("In short", [Listing([Entry(text) for text in in_short(tell, sheet)])]),
            Part(
                "What the crop had against its plan",
                [
                    *against_plan.plan(tell, *span),
                    *against_plan.in_band(tell, sheet),
                    *against_plan.light(tell, sheet),
                    *charts,
                ],
            ),
            *common_parts(sources, tell, sheet, (span[0], until_us), 1),
        ],
        origin=origin(sources, tell, span, [entry], [entry.description_hash]),
        citation=citation(sources, f"day report of {entry.day}", span, [entry.description_hash]),
        cautions=cautions.STANDING,
    )


def common_parts(sources: Sources, tell: Telling, sheet: Row, span: tuple[int, int], days: int) -> list[Part]:
    """Return the parts that the reports of a day and of a week share."""
    parts: list[tuple[str, list[Item]]] = [
        ("Excursions and their likely causes", happened.excursions(tell, sheet)),
        (
            "What people did and wrote",
            [*happened.alarms(tell, sources.journal, *span), *happened.written(tell, sources.journal, *span)],
        ),
        (
            "Water, nutrients, energy and CO2",
            [*accounts.accounts(tell, sheet, days), *against_limits.peaks(tell, sheet)],
        ),
        ("CO2 against limits for people", against_limits.exposure(tell, sheet)),
        ("Walls and equipment", [*condition.walls(tell, sheet), *condition.equipment(tell, sheet)]),
        ("How good the readings were", [*condition.doubts(tell, sheet), *against_plan.other_series(tell, sheet)]),
    ]
    return [Part(title, items) for title, items in parts if items]


def readings_came(sheet: Row) -> bool:
    """Return whether any reading came in the time of a sheet."""
    quality = sheet.get("quality") or {"series": []}
    levels = (row for zone in sheet["zones"] for row in zone["series"])
    return any(one["count"] for one in (*levels, *quality["series"])) or bool(sheet["totals"])


def overall(tell: Telling, sheet: Row) -> str:
    """Return how far the readings of the described series speak for the time, in a sentence."""
    if not readings_came(sheet):
        return "no reading came"
    series = (sheet.get("quality") or {"series": []})["series"]
    came, expected = sum(one["count"] for one in series), sum(one["expected_count"] for one in series)
    if not expected:
        return "told series by series below"
    silent = [tell.series(one["key"]) for one in series if not one["count"]]
    text = f"{tell.number(came, 0)} of {tell.number(expected, 0)} expected readings ({tell.share(came / expected)})"
    return text + (f"; none of {'; '.join(silent[:5])}{'; and others' if len(silent) > 5 else ''}" if silent else "")


def in_short(tell: Telling, sheet: Row) -> Iterator[str]:
    """Yield the few sentences that a reader in a hurry needs."""
    if not readings_came(sheet):
        yield "No reading came in this time: nothing here tells what the crop had."
        return
    yield _outside(tell, sheet)
    yield from _likely(sheet)
    yield from _light(tell, sheet)
    yield from _used(tell, sheet)
    if sheet.get("quality"):
        yield _believed(tell, sheet["quality"])


def _outside(tell: Telling, sheet: Row) -> str:
    found = sheet["excursions"]
    if not found:
        return "No excursion: nothing was outside its band for longer than its on-delay."
    places = list(dict.fromkeys(tell.series(one["series"]) for one in sorted(found, key=lambda one: str(one["onset"]))))
    shown = "; ".join([*places[:3], f"and {len(places) - 3} more series"] if len(places) > 3 else places)
    still = sum(one["end"] is None for one in found)
    return f"{len(found)} excursion{'s' if len(found) > 1 else ''}: {shown}{f'; {still} still open' if still else ''}."


def _likely(sheet: Row) -> Iterator[str]:
    groups = happened.by_weight(sheet.get("findings") or [])
    if groups:
        told = "; ".join(some[0]["headline"].removesuffix(".") for some in groups[:3])
        yield f"Likely causes: {told}{f'; and {len(groups) - 3} more' if len(groups) > 3 else ''}."


def _light(tell: Telling, sheet: Row) -> Iterator[str]:
    planned = [one for one in sheet["light_days"] if one["complete"] and one.get("target")]
    told = [one for one in planned if against_plan.told_enough(one)]
    if lacking := len(planned) - len(told):
        yield f"Light: {lacking} of {len(planned)} light days are not covered enough to be held against the plan."
    if told:
        within = sum(one["target"][0] <= one["mol"] <= one["target"][1] for one in told)
        low, high = min(one["mol"] for one in told), max(one["mol"] for one in told)
        unit = shown_unit("mol m-2 d-1")
        yield (
            f"Light: {within} of {len(told)} light days within the plan, {tell.number(low, 1)} to {tell.amount(high, 1, unit)}."
        )


def _used(tell: Telling, sheet: Row) -> Iterator[str]:
    energy = sheet.get("energy") or {}
    told = [f"{tell.amount(energy['kwh'], 1, 'kWh')} of electricity"] if energy.get("kwh") is not None else []
    told += [
        f"{tell.within(drunk['litres_l'], drunk['give_or_take_l'], 1, 'L')} drunk by plants"
        for drunk in (balance["drunk"] for balance in sheet.get("water_balance") or ())
        if drunk["litres_l"] is not None
    ]
    told += [
        f"{tell.amount(gas['dosed_g'], 0, 'g')} of CO2 dosed (estimate)"
        for gas in (row["enrichment"] for row in sheet.get("carbon_dioxide") or ())
        if gas and gas["dosed_g"] is not None
    ]
    if told:
        yield f"Used: {listed(told)}."


def _believed(tell: Telling, quality: Row) -> str:
    doubted = condition.doubted(quality)
    if not doubted:
        return f"All {len(quality['series'])} series came whole, and no test doubts a reading."
    names = [tell.series(one["key"]) for one in doubted[:3]]
    more = f" and {len(doubted) - 3} more" if len(doubted) > 3 else ""
    return f"To be doubted: {'; '.join(names)}{more}; see “How good the readings were”."
