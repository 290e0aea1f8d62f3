"""What is held against limits that are not the crop's: the electrical service, and CO2 for people."""

from __future__ import annotations

from typing import Any

from handover.reports.document import Item, Out, Paragraph, Tone, facts
from handover.reports.telling import Telling
from watch import cautions

Row = dict[str, Any]
STANDS = {"near": "near the limit: ", "above": "above the limit: "}


def peaks(tell: Telling, sheet: Row) -> list[Item]:
    """Return the highest electrical loads against the service; none without a meter."""
    found = (sheet.get("energy") or {}).get("peaks")
    if not found:
        return []

    def power(one: Row, limit: float | None, standing: str | None) -> str:
        text = tell.amount(None if one["power_w"] is None else one["power_w"] / 1000, 2, "kW")
        text += "" if one["at"] is None else f", {tell.day_and_clock(one['at'])}"
        text += "" if limit is None else f"; limit {tell.amount(limit / 1000, 2, 'kW')}"
        text += "; not sure to be below it" if standing == "unknown" else ""
        return Out(STANDS[standing] + text) if standing in STANDS else text

    service, continuous = found.get("service_rating_w"), found.get("continuous_rating_w")
    table = facts(
        "Highest electrical load",
        [
            ("Average over 3 h, against what may be carried for hours", power(found["average_3h"], continuous, found.get("standing"))),
            ("Average over 15 min", power(found["average_15min"], None, None)),
            ("Reading, against the service", power(found["reading"], service, found.get("reading_standing"))),
        ],
    )  # fmt: skip
    return [table, *([Paragraph(found["caution"], Tone.CAUTION)] if found.get("caution") else [])]


def exposure(tell: Telling, sheet: Row) -> list[Item]:
    """Return CO2 against occupational limits, with the standing caution always beside it."""
    items: list[Item] = []
    for row in sheet.get("carbon_dioxide") or ():
        lit = row["lit"]
        items.append(
            facts(
                f"{tell.farm.zone_label(row['zone'])}, {row['label']}",
                [
                    ("In band while lit", _hours(tell, lit)) if lit else None,
                    ("Highest average over 8 h", _against(tell, row["average_8h"], row["average_8h"].get("end"))),
                    ("Highest average over 15 min", _against(tell, row["average_15min"], row["average_15min"].get("end"))),
                    ("Highest reading", _against(tell, row["highest"], row["highest"].get("at"))),
                    ("Limits are those of", row["limits_by"]) if row["limits_by"] else None,
                    ("Air changes", _changes(tell, row["enrichment"])) if row["enrichment"] else None,
                ],
            )
        )  # fmt: skip
        if row["read_its_end"]:
            text = f"The sensor showed the end of its range, {tell.amount(row['reads_up_to_ppm'], 0, 'ppm')}: the true level may have been higher."
            items.append(Paragraph(Out(text), Tone.PLAIN))
        if not row["pressure_corrected"]:
            items.append(Paragraph("This sensor's readings are not corrected for air pressure.", Tone.NOTE))
    if items:
        items += [Paragraph(cautions.CO2, Tone.CAUTION), Paragraph(cautions.ADVICE_ONLY, Tone.CAUTION)]
    return items


def _hours(tell: Telling, lit: Row) -> str:
    return (
        f"{tell.hours(lit['inside_h'])} of {tell.hours(lit['covered_h'])}; below {tell.hours(lit['below_h'])}, "
        f"above {tell.hours(lit['above_h'])}"
    )


def _against(tell: Telling, one: Row, at: str | None) -> str:
    limit = tell.amount(one["limit_ppm"], 0, "ppm")
    if one["ppm"] is None:
        sure = one.get("at_least_ppm")
        return (
            f"not known; limit {limit}"
            if sure is None
            else f"not known, at least {tell.amount(sure, 0, 'ppm')}; limit {limit}"
        )
    when = "" if at is None else f", {tell.day_and_clock(at)}"
    text = f"{tell.within(one['ppm'], one['give_or_take_ppm'], 0, 'ppm')}{when}; limit {limit}{tell.partly(one['coverage'])}"
    standing = str(one["standing"])
    if standing in STANDS:
        return Out(STANDS[standing] + text)
    return f"{text}; not sure to be below it" if standing == "unknown" else text


def _changes(tell: Telling, gas: Row) -> str:
    return tell.within(gas["air_changes_per_h"], gas["air_changes_give_or_take_per_h"], 2, "an hour")
