"""Mistakes in how messages become readings that no single key of a description shows."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, date, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from farm.positions import Location
from farm.quantities import QUANTITIES
from farm.references import LooseEnd, key_of, one_of, rows, table, units_of
from farm.topics import covers, filter_of, overlap, part_names

_PLACE = re.compile(r"\{([^{}]*)\}")


def wire_loose_ends(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield what is wrong between the rules, the topics and the series of a description."""
    units = _units_by_wire_name(raw)
    for index, rule in enumerate(rows(table(raw, "wire"), "rules")):
        at: Location = ("wire", "rules", index)
        topic = rule.get("topic")
        parts = part_names(topic) if isinstance(topic, str) else []
        for part in table(rule, "parts"):
            if part not in parts:
                yield (*at, "parts", part), f"{part!r}, which is no named level of the topic", one_of(part, parts)
        if "time_format" in rule and "time" not in rule:
            yield (*at, "time_format"), "a format without a time", "time and time_format together, or neither"
        for place, value in enumerate(rows(rule, "values")):
            yield from _value((*at, "values", place), value, parts, units)
    yield from _filters(raw)
    yield from _former_names(raw)


def _units_by_wire_name(raw: dict[str, Any]) -> dict[str, list[str]]:
    """Return every series' wire name with the units it may have on the wire."""
    found = {}
    for row in rows(raw, "series"):
        quantity = QUANTITIES.get(str(row.get("quantity")))
        if quantity is not None:
            for wire in [row.get("wire", key_of(row)), *(was.get("wire") for was in rows(row, "was"))]:
                found[str(wire)] = units_of(row, quantity)
    return found


def _value(at: Location, value: dict[str, Any], parts: list[str], units: dict[str, list[str]]) -> Iterator[LooseEnd]:
    name = value.get("name")
    if not isinstance(name, str):
        return
    for part in _PLACE.findall(name):
        if part not in parts:
            yield (*at, "name"), f"{{{part}}}, which is no named level of the topic", one_of(part, parts)
            return
    fits = re.compile(".+".join(re.escape(text) for text in _PLACE.split(name)[::2]))
    reached = [wire for wire in units if fits.fullmatch(wire)]
    if not reached:
        yield (*at, "name"), f"{name!r}, which no series has on the wire", one_of(name, list(units))
    unit = value.get("unit")
    if isinstance(unit, str):
        for wire in reached:
            if unit not in units[wire]:
                yield (*at, "unit"), repr(unit), f"a unit of its series: {', '.join(units[wire])}"
                return


def _filters(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield topics that a broker would send twice because two of our filters fit them."""
    wire = table(raw, "wire")
    filters: list[tuple[Location, str]] = [(("wire", "topic"), str(wire.get("topic", "leafweather/#")))]
    for index, rule in enumerate(rows(wire, "rules")):
        if isinstance(rule.get("topic"), str):
            filters.append((("wire", "rules", index, "topic"), filter_of(rule["topic"])))
    for index, row in enumerate(rows(raw, "series")):
        topic = row.get("topic")
        if isinstance(topic, str):
            if set(topic) & set("+#"):
                yield ("series", index, "topic"), repr(topic), "one topic, without + and #"
            filters.append((("series", index, "topic"), topic))
    for place, (at, one) in enumerate(filters):
        for earlier, other in filters[:place]:
            if one == other and "rules" in at and "rules" in earlier:
                yield at, f"the topics of {_dotted(earlier)} again", "one rule for each topic"
            elif overlap(one, other) and not covers(one, other) and not covers(other, one):
                yield (
                    at,
                    f"{one!r}, which overlaps {other!r} of {_dotted(earlier)}",
                    "filters apart, or one in the other",
                )


def _former_names(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield former names that say nothing, and those that two series had at one time."""
    try:
        zone: tzinfo = ZoneInfo(str(table(raw, "farm").get("timezone")))
    except (ValueError, OSError, KeyError):
        zone = UTC
    now = {str(row.get("wire", key_of(row))): index for index, row in enumerate(rows(raw, "series"))}
    spans: defaultdict[str, list[tuple[datetime, datetime, Location]]] = defaultdict(list)
    for index, row in enumerate(rows(raw, "series")):
        for place, was in enumerate(rows(row, "was")):
            at: Location = ("series", index, "was", place)
            wire = str(was.get("wire"))
            since = _instant(was.get("since"), zone, datetime.min.replace(tzinfo=UTC))
            until = _instant(was.get("until"), zone, datetime.max.replace(tzinfo=UTC))
            if now.get(wire) == index:
                yield (*at, "wire"), repr(wire), "a name it had before: this one it has now"
            elif not since < until:
                yield (*at, "until"), f"{was.get('until')}", "a time after since"
            elif wire in now and "until" not in was:
                found = f"{wire!r} without an end, which series[{now[wire]}] has now"
                yield (*at, "wire"), found, "until = the date from which the other series has it"
            else:
                for other_since, other_until, other_at in spans[wire]:
                    if since < other_until and other_since < until:
                        found = f"{wire!r} at a time when {_dotted(other_at)} has it too"
                        yield (*at, "wire"), found, "since and until that leave each name to one series at a time"
            spans[wire].append((since, until, at))
            quantity = QUANTITIES.get(str(row.get("quantity")))
            unit = was.get("unit")
            if quantity is not None and isinstance(unit, str) and unit not in units_of(row, quantity):
                accepted = ", ".join(units_of(row, quantity))
                yield (*at, "unit"), repr(unit), f"a unit of {quantity.label}: {accepted}"


def _instant(day: object, zone: tzinfo, otherwise: datetime) -> datetime:
    if not isinstance(day, date):
        return otherwise
    moment = day if isinstance(day, datetime) else datetime(day.year, day.month, day.day, tzinfo=zone)
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)


def _dotted(location: Location) -> str:
    return ".".join(f"[{step}]" if isinstance(step, int) else step for step in location).replace(".[", "[")
