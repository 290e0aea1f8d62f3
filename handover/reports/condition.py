"""What state the farm was in: walls and equipment, and how far its readings can be believed."""

from __future__ import annotations

from typing import Any

from handover.reports.document import Entry, Item, Listing, Out, Paragraph, Tone, facts, rows
from handover.reports.telling import DASH, NOT_KNOWN, Telling, capital

Row = dict[str, Any]
DOUBT_HEADS = ("Series", "Came", "Missing", "Suspect", "Failed", "Longest gap", "Against others")


def walls(tell: Telling, sheet: Row) -> list[Item]:
    """Return each surface's margin above the dew point, its wet hours and its mould index."""
    found = sheet.get("surfaces") or []
    if not found:
        return []
    lines = [(one["label"], _margin(tell, one), _wet(tell, one), _mould(tell, one), _night(tell, one)) for one in found]
    heads = ("Surface", "Lowest margin", "Wet", "Mould index (change)", "The night after")
    note = (
        f"Margin is the surface's temperature less the air's dew point: at 0 K or less water condenses. At a mould index of "
        f"{tell.number(found[0]['mould_limit'], 0)} or more mould can be seen."
    )
    table = rows("Walls and other surfaces", heads, lines, widths=(0.22, 0.24, 0.19, 0.15, 0.2))
    return [table, Paragraph(note, Tone.NOTE)]


def _margin(tell: Telling, one: Row) -> str:
    if one["lowest_margin_k"] is None:
        return NOT_KNOWN
    text = tell.within(one["lowest_margin_k"], one["lowest_margin_give_or_take_k"], 1, "K")
    text += f", {tell.day_and_clock(one['lowest_margin_at'])}{tell.partly(one['coverage'])}"
    return Out(text) if one["lowest_margin_k"] <= 0 else text


def _wet(tell: Telling, one: Row) -> str:
    if one["wet_h"] is None:
        return NOT_KNOWN
    if not one["perhaps_wet_h"]:
        return "never"
    text = f"{tell.hours(one['wet_h'])} (surely {tell.hours(one['surely_wet_h'])}, perhaps {tell.hours(one['perhaps_wet_h'])})"
    return Out(text) if one["surely_wet_h"] else text


def _mould(tell: Telling, one: Row) -> str:
    if one["mould_index"] is None:
        return NOT_KNOWN
    change = one["mould_index_change"]
    sign = "+" if change is not None and change > 0 else ""
    text = tell.number(one["mould_index"], 2) + ("" if change is None else f" ({sign}{tell.number(change, 2)})")
    return Out(text) if one["mould_index"] >= one["mould_limit"] else text


def _night(tell: Telling, one: Row) -> str:
    night = one.get("night")
    if not night:
        return "too little is known"
    return f"{tell.within(night['margin_k'], night['margin_give_or_take_k'], 1, 'K')} expected, at {tell.amount(night['coldest_outdoors_degc'], 0, '°C')} outdoors"


def equipment(tell: Telling, sheet: Row) -> list[Item]:
    """Return what became of lamps, filters, feed water, air conditioner and probes."""
    lines: list[tuple[str, str] | None] = []
    for unit in (sheet.get("climate") or {}).get("air_conditioners") or ():
        if run := unit["cycling"]:
            duty = "" if run.get("duty") is None else f", {tell.share(run['duty'])} of the time"
            lines.append(
                (
                    "Air conditioner ran",
                    f"{tell.amount(run['on_h'], 1, 'h')}{duty}, {tell.number(run['starts'], 0)} starts",
                )
            )
            if run.get("short_offs"):
                lines.append(
                    (f"Rests shorter than {tell.lasting(run['min_off_s'])}", Out(tell.number(run["short_offs"], 0)))
                )
        if (heat := unit["heat"]) and heat["total"]:
            total = heat["total"]
            lines.append(("Heat taken out of the air", tell.within(total["kwh"], total["give_or_take"], 1, "kWh")))
    for lamp in sheet.get("lamps") or ():
        if lamp.get("output_percent") is not None:
            told = tell.within(lamp["output_percent"], lamp.get("plus_or_minus_percent"), 0, "%")
            lines.append((f"Lamps, {lamp['label']}: light against commissioning", told))
    for one in sheet.get("filters") or ():
        if one.get("drop_kpa") is not None:
            told = f"{tell.within(one['drop_kpa'], one['drop_give_or_take_kpa'], 0, 'kPa')}; limit {tell.amount(one['limit_kpa'], 0, 'kPa')}"
            told += "" if one["due_in_d"] is None else f", due in {tell.amount(one['due_in_d'], 0, 'days')}"
            lines.append((f"{one['label']}: pressure drop", told))
    for one in sheet.get("feed_water") or ():
        if one.get("normalised_output_percent") is not None:
            told = f"{tell.number(one['normalised_output_percent'], 0)} % of its rating at 25 °C"
            lines.append(("Reverse osmosis gives", told))
    for probe in sheet.get("probes") or ():
        when = (
            "never, as far as the journal knows"
            if probe["calibrated"] is None
            else tell.day_and_clock(probe["calibrated"])
        )
        due = "" if probe.get("due_in_days") is None else f"; due in {tell.amount(probe['due_in_days'], 0, 'days')}"
        lines.append((f"{tell.series(probe['key'])} calibrated", when + due))
    for root in sheet.get("root_zone") or ():
        lines += [
            (f"{stock['label']} lasts for", tell.amount(stock["days_left"], 0, "days"))
            for stock in root["stocks"]
            if stock.get("days_left") is not None
        ]
    return [facts("Equipment and probes", lines)] if lines else []


def doubted(quality: Row) -> list[Row]:
    """Return the series with gaps or with readings that a test doubts."""
    return [
        one
        for one in quality["series"]
        if one["suspect_count"] or one["fail_count"] or one["missing_count"] or _unlike(one)
    ]


def _unlike(one: Row) -> list[str]:
    told = []
    if one["siblings"] and one["siblings"]["disagrees_h"]:
        told.append("unlike its siblings")
    if one["drift"] and one["drift"]["drifts"]:
        told.append("drifts away from its siblings")
    return told


def doubts(tell: Telling, sheet: Row) -> list[Item]:
    """Return which sensors are doubted and why, and what the readings say that cannot be."""
    quality = sheet.get("quality")
    if not quality:
        return [Paragraph("Nothing is known of how good the readings were.", Tone.NOTE)]
    found = doubted(quality)
    items: list[Item] = []
    if not quality["series"]:
        items.append(Paragraph("No series is described here."))
    elif not found:
        items.append(Paragraph(f"All {len(quality['series'])} series came whole, and no test doubts a reading."))
    else:
        lines = [_doubt(tell, one) for one in found]
        caption = f"{len(found)} of {len(quality['series'])} series with doubts or gaps"
        items.append(
            rows(
                caption,
                DOUBT_HEADS,
                lines,
                numeric=frozenset({1, 2, 3, 4}),
                widths=(0.28, 0.09, 0.13, 0.13, 0.13, 0.11, 0.13),
            )
        )
    if quality["impossible"]:
        items.append(Paragraph("What cannot be, so that a sensor or a drain is to be looked at:"))
        entries = [
            Entry(
                f"{capital(one['what'].replace('_', ' '))}: {tell.series(one['key'])}, since {tell.day_and_clock(one['since'])}, "
                f"for {tell.amount(one['lasted_h'], 1, 'h')}."
            )
            for one in quality["impossible"]
        ]
        items.append(Listing(entries))
    return items


def _doubt(tell: Telling, one: Row) -> tuple[str, ...]:
    def part(count: int, share: float | None) -> str:
        return f"{tell.number(count, 0)} ({tell.share(share)})" if count else DASH

    return (
        tell.series(one["key"]),
        tell.number(one["count"], 0),
        part(one["missing_count"], one["missing_share"]),
        part(one["suspect_count"], one["suspect_share"]),
        part(one["fail_count"], one["fail_share"]),
        tell.lasting(one["longest_gap_s"]) if one["gap_count"] else "none",
        ", ".join(_unlike(one)) or DASH,
    )
