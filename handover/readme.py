"""The README of a data set: all that somebody who has nothing but its folder needs to know."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analytics.regular_grid import Aggregation
from farm.description import SILENT_AFTER_CADENCES
from farm.flags import Flag
from farm.quantities import Kind
from farm.readings import iso_time
from handover.asking import Cleaning, Format, length_words
from handover.choosing import Member
from handover.cleaning import BY_KIND
from handover.facts import Facts, File
from handover.fields import AGGREGATION_TEXT, FLAG_MEANINGS
from handover.opening import opening
from handover.tables import APOSTROPHE_OFF

MOST_LISTED = 30


def readme(facts: Facts, files: Sequence[File], identity: str) -> str:
    """Return the text of ``README.md``."""
    parts = [
        _head(facts),
        _files(files),
        opening(facts),
        _choices(facts),
        _flags(),
        _missing(facts),
        _corrections(facts),
        _origin(facts),
        _terms(facts, identity),
        _checksums(files),
    ]
    return "\n".join(line for part in parts for line in part)


def _head(facts: Facts) -> Iterator[str]:
    place = facts.farm.farm
    yield f"# {_plain(facts.title)}"
    yield ""
    if place.invented:
        yield "**The farm is invented: nothing in this data set was measured in a real one.**"
        yield ""
    readings = sum(one.readings for one in facts.tallies)
    yield (
        f"{readings:,} readings of {len(facts.choice.members)} series, from {iso_time(facts.choice.start_us)} up to, "
        f"not including, {iso_time(facts.choice.end_us)}. Every time is UTC; the farm's own time zone is {place.timezone}. "
        "Decimal numbers have a point."
    )
    yield ""


def _files(files: Sequence[File]) -> Iterator[str]:
    yield "## Files"
    yield ""
    yield "| file | holds | rows | bytes |"
    yield "| --- | --- | --- | --- |"
    for one in files:
        yield f"| `{one.name}` | {one.title} | {'' if one.rows is None else f'{one.rows:,}'} | {one.size:,} |"
    yield "| `datapackage.json` | all of this for programs, as a Frictionless Data Package | | |"
    yield "| `SHA256SUMS` | checksums of all files, this one included | | |"
    yield ""
    yield (
        "`dictionary.csv` explains every column of every table, `series.csv` every series: its place, unit (also as a "
        "UCUM code), CF standard name where one exists, how good its sensor is, and how much there is of it."
    )
    yield ""


def _choices(facts: Facts) -> Iterator[str]:
    cleaning = facts.choice.asked.cleaning
    yield "## What the numbers are"
    yield ""
    if cleaning is None:
        yield (
            "- **Raw**: every reading that was stored, as it arrived, in the unit of `series.csv`; nothing is corrected, "
            "averaged or left out. `flag` says what tests of quality think of it, `arrival_flag` what it came with."
        )
    else:
        yield from _cleaned(facts, cleaning)
    derived = [one for one in facts.choice.members if one.origin == "derived"]
    if derived:
        yield (
            f"- **Derived series** ({len(derived)} of them, see `origin` in `series.csv`) were worked out from measured "
            "ones that were corrected by calibrations first, also in a raw data set."
        )
    if facts.choice.asked.batch:
        yield (
            "- **Batch**: each zone's series only while the batch stood there (`stays.csv`). Outside of its stays a wide "
            "table has neither value nor flag."
        )
    if facts.choice.light_days:
        yield (
            "- **Light days**: from lights-on to the next lights-on (`light_days.csv`); they do not follow the calendar."
        )
    yield (
        "- **Names**: a series is `zone/quantity` or `zone/quantity/sensor`. Columns and variables have two underscores "
        "for the slash and one for a hyphen; where two would be alike, the later one has a number (see `column` in "
        "`series.csv`)."
    )
    if Format.CSV in facts.formats:
        yield "- **CSV**: RFC 4180 in UTF-8, text in quotes, `NA` where there is nothing, times in ISO 8601."
    yield (
        "- **Text** that a spreadsheet might take for a formula (`=`, `+`, `-`, `@`, a tab, a line's end or a null at its "
        "beginning, after spaces, or after a semicolon, tab, line's end or quote within it) has an apostrophe before that "
        "in CSV files, and so has an apostrophe there. The text as it was, in Python: "
        f"`re.sub({APOSTROPHE_OFF!r}, r'\\1', text)`. Numbers are never changed."
    )
    yield ""


def _cleaned(facts: Facts, cleaning: Cleaning) -> Iterator[str]:
    kept = " and ".join(f"{flag.value} {flag.name.lower()}" for flag in cleaning.flags)
    yield f"- **Flag rule**: readings flagged {kept} count; all others are treated as if they had not come."
    yield "- **Calibrations** are applied (`corrections.csv`), as are corrections of CO2 sensors for air pressure."
    if cleaning.every_us is None:
        yield (
            f"- **Grid**: the farm's local days, from midnight to midnight in {facts.farm.farm.timezone}. A day on which "
            "the clocks change has 23 or 25 hours (`length_s`). `time` is where a cell begins, in UTC. Days cut by the "
            "range are left out."
        )
    else:
        yield (
            f"- **Grid**: cells of {length_words(cleaning.every_us)}, which begin at whole multiples of that since 1970 "
            "UTC, whatever the clocks of the farm do. `time` is where a cell begins. Cells cut by the range are left out."
        )
    yield (
        f"- **Aggregation**: {AGGREGATION_TEXT[cleaning.aggregation]}. Of on/off states it is the "
        f"{AGGREGATION_TEXT[Aggregation.TIME_MEAN]}: the share of time it was on. Of running totals it is the "
        f"{AGGREGATION_TEXT[BY_KIND[Kind.COUNTER]]}: take differences, and mind that a total may begin anew."
    )
    yield (
        "- **Gap rule**: nothing is filled in. A reading speaks for the time until the next one, but for no longer than "
        f"`gap_after` in `series.csv`. Where readings speak for less than {cleaning.least_coverage:g} of a cell, it has "
        f"no value and flag {Flag.MISSING.value}; so has a cell in which no reading lies, except of on/off states. A series "
        "that reports less often than once a cell therefore has values in some cells only."
    )
    if slow := [one.series.key for one in facts.choice.members if _is_slow(facts, one, cleaning)]:
        yield f"  Here these do: {_listed(slow)}."
    yield "- **A cell's flag** is the worst of the readings that count in it."


def _is_slow(facts: Facts, member: Member, cleaning: Cleaning) -> bool:
    return cleaning.every_us is not None and member.hold_us > SILENT_AFTER_CADENCES * cleaning.every_us


def _flags() -> Iterator[str]:
    yield "## Flags"
    yield ""
    yield "The primary scale of QARTOD (U.S. IOOS Quality Assurance/Quality Control of Real-Time Oceanographic Data):"
    yield ""
    yield "| flag | word | meaning |"
    yield "| --- | --- | --- |"
    for flag in Flag:
        yield f"| {flag.value} | {flag.name.lower()} | {FLAG_MEANINGS[flag]} |"
    yield ""


def _missing(facts: Facts) -> Iterator[str]:
    yield "## What is missing"
    yield ""
    pairs = zip(facts.choice.members, facts.tallies, strict=True)
    gaps = [(tally.longest_gap_us, member.series.key) for member, tally in pairs if member.described and tally.gaps]
    total = sum(one.gaps for member, one in zip(facts.choice.members, facts.tallies, strict=True) if member.described)
    longest = f"; the longest is in `{max(gaps)[1]}`, {max(gaps)[0] / 3_600_000_000:,.1f} h" if gaps else ""
    yield (
        f"- Gaps: {total:,} silences longer than a sensor may be silent, in {len(gaps)} series{longest}. `series.csv` has "
        "their number and length by series. Where a beginning or end was asked for, it stands for a reading. Derived series "
        "have none: some of them have values only while something runs."
    )
    silent = [one.series.key for one in facts.silent]
    yield f"- Series without a reading in the range: {_listed(silent) if silent else 'none'}."
    if valueless := facts.valueless:
        named = _listed([one.series.key for one in valueless])
        yield f"- Series with readings, but not one cell that they cover enough: {named}. Ask for a smaller every or coverage."
    if facts.damages:
        yield "- **Damaged days**, whose readings are kept in files that are damaged and are **not** in this data set:"
        by_day: dict[str, list[str]] = {}
        for one in facts.damages:
            by_day.setdefault(one.day, []).append(one.series.key)
        for day, keys in sorted(by_day.items()):
            whole = len(keys) == len(facts.choice.members)
            yield f"  - {day}: {'all series' if whole else _listed(sorted(keys))}"
    else:
        yield "- Damaged days: none."
    yield ""


def _corrections(facts: Facts) -> Iterator[str]:
    yield "## Corrections"
    yield ""
    applied = "They are applied" if facts.cleaned else "They are **not** applied here"
    if facts.corrections or facts.pressure_corrected:
        keys = [facts.choice.members[one].series.key for one in facts.corrections]
        if keys:
            yield f"Calibrations correct {_listed(keys)}: `corrections.csv` says from when on and how. {applied}."
        if facts.pressure_corrected:
            keys = [facts.choice.members[one].series.key for one in facts.pressure_corrected]
            yield f"Readings of {_listed(keys)} {'are' if facts.cleaned else 'are **not**'} corrected for air pressure."
    else:
        yield "No series here has a calibration that corrects it."
    yield ""


def _origin(facts: Facts) -> Iterator[str]:
    yield "## Where it comes from"
    yield ""
    yield f"- Software: Leafweather {facts.made_by.version}."
    yield f"- Description of the farm: SHA-256 `{facts.made_by.description_sha256}`."
    asked = ", ".join(f"{name} {_plain(_value(value))}" for name, value in facts.query.items())
    yield f"- Asked for: {asked}. The same request of the same readings gives the same bytes."
    evidence = facts.evidence
    if evidence is None:
        yield "- Evidence chain: this store keeps none."
    elif evidence.entry == 0:
        yield "- Evidence chain: no day of the range is sealed yet, so nothing vouches for these readings yet."
    else:
        yield (
            f"- Evidence chain: entry {evidence.entry}, whose SHA-256 is `{evidence.head}`; {evidence.days} of "
            f"{evidence.asked} UTC days are sealed under it. It must be found as the last word of the manifest's next "
            "line, or as the chain's head; it vouches for measured readings as they arrived."
        )
    if evidence is not None and evidence.broken:
        yield f"- **The evidence chain does not hold** ({evidence.broken})."
    yield ""


def _terms(facts: Facts, identity: str) -> Iterator[str]:
    yield "## Licence and citation"
    yield ""
    if facts.imprint.licence:
        yield f"Licence: {facts.imprint.licence} (SPDX identifier)."
    else:
        yield "Licence: none is stated. Ask the keeper of the farm before you publish or pass it on."
    yield ""
    yield f"> {_plain(facts.citation(identity))}"
    yield ""


def _checksums(files: Sequence[File]) -> Iterator[str]:
    yield "## Checksums"
    yield ""
    yield "`sha256sum --check SHA256SUMS` checks every file, this one too. SHA-256 of the others:"
    yield ""
    yield "```"
    for one in files:
        yield f"{one.sha256}  {one.name}"
    yield "```"
    yield ""


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(f"`{name}`" for name in names[:MOST_LISTED])
    return shown if len(names) <= MOST_LISTED else f"{shown} and {len(names) - MOST_LISTED} more"


def _value(value: object) -> str:
    return ",".join(map(str, value)) if isinstance(value, list) else str(value)


def _plain(text: str) -> str:
    """Return text of people as it stands in Markdown: in one line, and nothing in it means anything."""
    one_line = " ".join(text.split())
    return "".join(f"\\{char}" if char in "\\`*[]<>#|" else char for char in one_line)
