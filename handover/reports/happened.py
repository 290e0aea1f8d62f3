"""What happened and what was done: excursions with their likely causes, alarms, and what people wrote."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from farm.readings import MICROSECONDS_PER_SECOND, instant, iso_time
from handover.reports.document import Entry, Item, Listing, Out, Paragraph, Table, Tone, facts, rows
from handover.reports.telling import NBSP, Telling, capital, listed, shown_unit
from store.journal import Journal
from store.log_entries import LogEntry
from watch.alarm_report import alarm_report
from watch.finding_details import cause_label
from watch.first_checks import steps

Row = dict[str, Any]
MOST_PIECES = 4  # of evidence for a cause and against it; the page and `leafweather explain` tell all
HEADS = ("Where", "Passed", "Began", "Lasted", "Furthest", "Dose", "Likeliest cause")
WIDTHS = (0.19, 0.16, 0.16, 0.1, 0.12, 0.15, 0.12)


def excursions(tell: Telling, sheet: Row) -> list[Item]:
    """Return the stretches outside a band that lasted, each with its likeliest cause, and the causes with evidence."""
    found = sorted(sheet["excursions"], key=lambda one: str(one["onset"]))
    findings = sheet.get("findings") or []
    if not found and not findings:
        return [Paragraph("No excursion and no finding: nothing was outside its band for longer than its on-delay.")]
    items: list[Item] = []
    if found:
        numbers = {one["subject"]: (number, one) for number, some in enumerate(by_weight(findings), 1) for one in some}
        lines = [_excursion(tell, one, numbers.get(one["id"])) for one in found]
        items.append(rows(f"Excursions: {len(found)}", HEADS, lines, numeric=frozenset({4, 5}), widths=WIDTHS))
        note = "Dose is the deviation from the band added up over time. An excursion counts from its band's on-delay."
        items.append(Paragraph(note, Tone.NOTE))
    return items + _causes(tell, findings)


def _excursion(tell: Telling, one: Row, finding: tuple[int, Row] | None) -> tuple[str, ...]:
    decimals, unit = tell.shape(one["series"], "")
    limit = one["limit"] if one.get("onset_limit") is None else one["onset_limit"]
    side = "above" if one["side"] == "high" else "below"
    lasted = (
        "open"
        if one["end"] is None
        else tell.lasting((tell.local(one["end"]) - tell.local(one["onset"])).total_seconds())
    )
    return (
        tell.series(one["series"]),
        f"{side} {tell.amount(limit, decimals, unit)}",
        tell.day_and_clock(one["onset"]),
        Out(lasted) if one["end"] is None else lasted,
        tell.amount(one["extreme"], decimals, unit),
        tell.amount(one["dose"], 1, shown_unit(one["dose_unit"])),
        "not looked at" if finding is None else _likeliest(tell, *finding),
    )


def _likeliest(tell: Telling, number: int, finding: Row) -> str:
    if finding["cannot_tell_apart"]:
        return f"cause {number}: cannot tell"
    return f"cause {number}, {_percent(tell, finding['causes'][0]['probability'])}"


def _percent(tell: Telling, probability: float | None) -> str:
    return "beside it" if probability is None else f"{tell.number(100 * min(probability, 0.99), 0)}{NBSP}%"


def alike(findings: Sequence[Row]) -> list[list[Row]]:
    """Return findings in groups of one headline, whatever its probability: one fault moves many series."""
    groups: dict[str, list[Row]] = {}
    for one in findings:
        groups.setdefault(re.sub(r" \(\d+\s%\)", "", one["headline"]), []).append(one)
    return list(groups.values())


def by_weight(findings: Sequence[Row]) -> list[list[Row]]:
    """Return the groups of alike findings, those that explain most excursions first."""
    return sorted(alike(findings), key=lambda some: sum("series" in one for one in some), reverse=True)


def _causes(tell: Telling, findings: Sequence[Row]) -> list[Item]:
    if not findings:
        return []
    entries, texts = [], dict.fromkeys(text for one in findings for text in one.get("cautions", ()))
    for number, some in enumerate(by_weight(findings), 1):
        clearest = max(some, key=lambda one: one["causes"][0]["probability"] or 0.0)
        entries.append(
            Entry(f"Cause {number}. {_heading(tell, clearest, len(some))}", tuple(_evidence(tell, clearest)))
        )
    note = "Probabilities are a model's, from this farm's own earlier days and its sensors: look before you act."
    return [
        Paragraph("Likely causes, with the numbers for (+) and against (\u2212):"),
        Listing(entries),
        Paragraph(note, Tone.NOTE),
        *(Paragraph(text, Tone.CAUTION) for text in texts),
    ]


def _heading(tell: Telling, one: Row, many: int) -> str:
    until = "still so" if one["end"] is None else f"until {tell.day_and_clock(one['end'])}"
    if one.get("last_seen"):
        until = f"last seen about {tell.day_and_clock(one['last_seen'])}"
    together = f" In {many} findings." if many > 1 else ""
    since = f" (this cause leads since {tell.day_and_clock(one['leads_since'])})" if one.get("leads_since") else ""
    return f"{one['headline']}{together} From {tell.day_and_clock(one['onset'])}{since}, {until}."


def _evidence(tell: Telling, one: Row) -> list[str]:
    first = one["causes"][0]
    told = [f"+ {piece['sentence']}" for piece in first["for"][:MOST_PIECES]]
    told += [f"\u2212 {piece['sentence']}" for piece in first["against"][:MOST_PIECES]]
    others = [f"{other['label']} ({_percent(tell, other['probability'])})" for other in one["causes"][1:3]]
    if others:
        told.append(f"Else: {listed(others)}.")
    told += [f"Beside it: {cause_label(other)}." for other in one.get("also", ())]
    return told + [f"{head}: {step}" for head, step in steps(one)]


def alarms(tell: Telling, journal: Journal, start_us: int, end_us: int) -> list[Item]:
    """Return how many alarms there were and how well they did, as the interface tells it."""
    figures, texts, suppressed = alarm_report(journal, tell.farm.name, start_us, end_us)
    if not figures.alarms:
        more = f" {suppressed} were suppressed by design." if suppressed else ""
        return [Paragraph(f"No alarm was raised.{more}")]
    priorities = ", ".join(f"{count} {name}" for name, count in figures.by_priority.items() if count)
    names = [
        f"{texts.get(condition, condition)}: {count} ({tell.share(share)})"
        for condition, count, share in figures.most_frequent[:3]
    ]
    stale = [f"{texts.get(condition, condition)}, {tell.lasting(hours * 3600)}" for condition, hours in figures.stale]
    chattering = [texts.get(condition, condition) for condition, _ in figures.chattering]
    found = facts(
        "Alarms",
        [
            ("Raised", f"{figures.alarms} ({priorities})"),
            ("Raised a day, an hour", f"{tell.number(figures.per_day, 1)}, {tell.number(figures.per_hour, 2)}"),
            ("Most in ten minutes", str(figures.most_in_ten_minutes)),
            ("Suppressed by design", str(suppressed)) if suppressed else None,
            ("Most frequent", "; ".join(names)),
            ("Stood for longer than a day", Out("; ".join(stale))) if stale else None,
            ("Came again and again", Out("; ".join(chattering))) if chattering else None,
            ("Time in a flood of alarms", tell.share(figures.time_in_flood)) if figures.time_in_flood else None,
        ],
    )
    return [found, *_acts(tell, journal, start_us, end_us)]


def _acts(tell: Telling, journal: Journal, start_us: int, end_us: int) -> list[Item]:
    entries = {one.identity: one for one in journal.alarms.between(tell.farm.name, start_us, end_us)}
    lines = []
    for identity, acts in journal.alarms.acts_about_each(list(entries.values())).items():
        detail = entries[identity].detail
        for act in acts:
            if start_us <= act.at_us < end_us:
                about = f"{detail.get('what', '')}, {detail.get('where', '')}"
                lines.append(
                    (
                        act.at_us,
                        (
                            tell.day_and_clock(iso_time(act.at_us)),
                            capital(str(act.kind).replace("_", " ")),
                            about,
                            act.who,
                            act.why,
                        ),
                    )
                )
    told = [line for _, line in sorted(set(lines))]
    return [rows("What people did about alarms", ("When", "Act", "About", "Who", "Why"), told)] if told else []


NAMES = {"ph_calibration": "pH calibration", "ec_calibration": "EC calibration", "grab_sample": "sample by hand"}


def written(tell: Telling, journal: Journal, start_us: int, end_us: int) -> list[Item]:
    """Return what people wrote about a time."""
    found = journal.log.entries(tell.farm.name, start_us=start_us, end_us=end_us)
    return [entries_table(tell, found)] if found else [Paragraph("Nobody wrote anything about this time.")]


def entries_table(tell: Telling, found: Sequence[LogEntry]) -> Table:
    """Return entries of the journal, in the order in which things happened."""
    lines = [
        (tell.day_and_clock(iso_time(one.at_us)), one.author, capital(sentence(tell, one)))
        for one in sorted(found, key=lambda one: one.at_us)
    ]
    return rows("What people wrote", ("When", "Who", "What"), lines, widths=(0.18, 0.14, 0.68))


def sentence(tell: Telling, one: LogEntry) -> str:
    """Return one entry in a sentence."""
    detail = one.detail.model_dump(mode="json")
    kind = str(detail["kind"])
    more = TOLD[kind](tell, detail) if kind in TOLD else ""
    note = f" {detail['note']}" if detail.get("note") else ""
    if kind == "note":
        return str(detail["note"])
    return f"{NAMES.get(kind, kind.replace('_', ' '))}{more}.{note}"


def _set(detail: Row) -> str:
    return "; the device was set by it" if detail["adjusted"] else ""


def _both(pair: Sequence[float]) -> str:
    return listed([str(one) for one in pair])


def _plants(detail: Row) -> str:
    return "" if detail["plants"] is None else f", {detail['plants']} plants"


def _place(tell: Telling, zone: str, word: str) -> str:
    return f" {word} {tell.farm.zone_label(zone)}" if zone else ""


def _work(tell: Telling, detail: Row) -> str:
    until = iso_time(int(instant_us(detail["until"])))
    where = [tell.farm.zone_label(zone) for zone in detail["zones"]] + [tell.series(key) for key in detail["series"]]
    return f": {detail['what']}, until {tell.day_and_clock(until)}, {listed(where) if where else 'the whole farm'}"


def instant_us(time: str) -> float:
    """Return a written time in microseconds since 1970."""
    from datetime import datetime

    return (datetime.fromisoformat(time) - instant(0)).total_seconds() * MICROSECONDS_PER_SECOND


TOLD: dict[str, Callable[[Telling, Row], str]] = {
    "ph_calibration": lambda tell, d: (
        f" of {tell.series(d['series'])}: buffers pH {_both(d['buffers'])} read {_both(d['readings'])} {d['reading_unit']}{_set(d)}"
    ),
    "ec_calibration": lambda tell, d: (
        f" of {tell.series(d['series'])}: {d['standard_ms_cm']} mS/cm read {d['reading_ms_cm']} mS/cm{_set(d)}"
    ),
    "grab_sample": lambda tell, d: (
        f" of {tell.series(d['series'])}: {d['value']}" + (f" ± {d['plus_or_minus']}" if d["plus_or_minus"] else "")
    ),
    "refill": lambda tell, d: f" of {d['stock']}: holds {tell.amount(d['holds_l'], 1, 'L')}",
    "drained": lambda tell, d: f": {tell.amount(d['volume_l'], 1, 'L')}",
    "topped_up": lambda tell, d: (
        f": {tell.amount(d['volume_l'], 1, 'L')}" + ("" if d["ec_ms_cm"] is None else f" of {d['ec_ms_cm']} mS/cm")
    ),
    "cleaned": lambda tell, d: f": {d['what']}",
    "harvest": lambda tell, d: (
        f" of {d['batch']}: {tell.amount(d['fresh_kg'], 2, 'kg')} fresh{_place(tell, d['zone'], 'from')}{_plants(d)}"
    ),
    "moved": lambda tell, d: (
        f" {d['batch']}{_place(tell, d['from_zone'], 'from')}{_place(tell, d['to_zone'], 'to')}{_plants(d)}"
    ),
    "planned_work": _work,
}
