"""Mistakes that no single key shows: names that nothing defines, and things defined twice."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from farm.air_conditioner_references import air_conditioner_loose_ends
from farm.alarm_references import alarm_loose_ends
from farm.notice_references import notice_loose_ends
from farm.positions import Location
from farm.quantities import QUANTITIES, Kind, Quantity
from farm.readings import ESTIMATED
from farm.references import LooseEnd, key_of, named, rows, table, units_of
from farm.units import LIGHT_UNIT, PPFD_UNIT
from farm.water_references import water_loose_ends
from farm.wire_references import wire_loose_ends

WALL_KEYS = ("r_value_m2k_w", "u_value_w_m2k", "temperature_factor")  # any one of them says how cold a face gets
_LISTED_WALL_KEYS = f"{', '.join(WALL_KEYS[:-1])} and {WALL_KEYS[-1]}"


def loose_ends(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield every broken reference in a description as read from TOML, valid or not.

    Parts of the wrong type are passed over: the types' own checks name those.
    """
    zones = list(table(raw, "zones"))
    crops = table(raw, "crops")
    yield from _place(raw)
    yield from _zones(raw, crops)
    yield from _series(raw, zones)
    yield from wire_loose_ends(raw)
    yield from _surfaces(raw, zones)
    yield from _equipment(raw, zones)
    yield from _prices(raw)
    yield from water_loose_ends(raw, zones)
    yield from _crops(crops)
    yield from _batches(raw, zones, crops)
    yield from alarm_loose_ends(raw)
    yield from notice_loose_ends(raw, zones)


def _place(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    zone_name = table(raw, "farm").get("timezone")
    if isinstance(zone_name, str):
        try:
            ZoneInfo(zone_name)
        except (ValueError, OSError, KeyError):
            yield ("farm", "timezone"), repr(zone_name), "an IANA time zone name, e.g. Europe/Oslo or UTC"


def _zones(raw: dict[str, Any], crops: dict[str, Any]) -> Iterator[LooseEnd]:
    lights = [key_of(row) for row in rows(raw, "series") if row.get("quantity") == "lights_on"]
    for name, zone in table(raw, "zones").items():
        at: Location = ("zones", name)
        if not isinstance(zone, dict):
            continue
        yield from named((*at, "lights"), zone.get("lights"), lights, "lights_on series of this farm")
        if "phase" in zone and "crop" not in zone:
            yield (*at, "phase"), "a phase without a crop", "crop and phase together, or neither"
        if "crop" in zone and "phase" not in zone:
            yield (*at, "crop"), "a crop without a phase", "crop and phase together, or neither"
        yield from _crop_and_phase(at, at, zone, zone, crops)


def _crop_and_phase(
    crop_at: Location, phase_at: Location, has_crop: dict[str, Any], has_phase: dict[str, Any], crops: dict[str, Any]
) -> Iterator[LooseEnd]:
    crop, phase = has_crop.get("crop"), has_phase.get("phase")
    yield from named((*crop_at, "crop"), crop, list(crops), "crop of this farm")
    if isinstance(crop, str) and crop in crops:
        yield from named((*phase_at, "phase"), phase, list(table(crops[crop], "phases")), f"phase of crop {crop}")


def _series(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    keys: dict[str, int] = {}
    plain = [key_of(row) for row in rows(raw, "series") if "wire" not in row]
    wires: dict[str, int] = {}
    topics: dict[str, int] = {}
    for index, row in enumerate(rows(raw, "series")):
        at: Location = ("series", index)
        yield from named((*at, "zone"), row.get("zone"), zones, "zone of this farm")
        key = key_of(row)
        wire = row.get("wire")
        yield from _once(keys, key, index, (*at, "quantity"), "series", "a sensor name that tells them apart")
        if isinstance(wire, str):
            yield from _once(wires, wire, index, (*at, "wire"), "wire name", "another wire name")
            if wire in plain:
                yield (*at, "wire"), f"the key {wire!r} of another series", "another name, or wire for that series too"
        if isinstance(row.get("topic"), str):
            yield from _once(topics, row["topic"], index, (*at, "topic"), "topic", "one topic a series")
        quantity = QUANTITIES.get(str(row.get("quantity")))
        if quantity is None:
            continue
        if quantity.derived:
            yield (*at, "quantity"), repr(quantity.name), "a measured quantity: Leafweather derives this one itself"
        if quantity.name == "ppfd" and row.get("sensor") == ESTIMATED:
            yield (*at, "sensor"), repr(ESTIMATED), "another name: this one is kept for light estimated from lamps"
        yield from _only_where_it_fits(at, row, quantity)
        unit = row.get("unit")
        units = units_of(row, quantity)
        if isinstance(unit, str) and unit not in units:
            light = f"; or {LIGHT_UNIT} with lux_per_ppfd" if quantity.unit == PPFD_UNIT else ""
            yield (*at, "unit"), repr(unit), f"a unit of {quantity.label}: {', '.join(units)}{light}"
        limits: Any = row.get("range")
        if _is_pair(limits) and not limits[0] < limits[1]:
            yield (*at, "range"), repr(limits), "[low, high] with low below high"


def _only_where_it_fits(at: Location, row: dict[str, Any], quantity: Quantity) -> Iterator[LooseEnd]:
    """Yield keys that say nothing about a series of this quantity."""
    if "lux_per_ppfd" in row and quantity.name != "ppfd":
        yield (*at, "lux_per_ppfd"), f"a factor for {quantity.name}", "a series of the quantity ppfd"
    if quantity.kind is not Kind.LEVEL:
        for key in table(row, "quality").keys() & {"spike", "change_per_min", "change_allowance", "flat_line_s"}:
            yield (*at, "quality", key), f"a test for a {quantity.kind}", "expected, gap_s, skip: it may stand or jump"
    if "humidity_over" in row and quantity.name != "relative_humidity":
        yield (*at, "humidity_over"), f"a phase for {quantity.name}", "a series of the quantity relative_humidity"
    if "calibrated_at_kpa" in row and quantity.name != "co2_mole_fraction":
        yield (*at, "calibrated_at_kpa"), f"a key for {quantity.name}", "a series of the quantity co2_mole_fraction"
    for key in ("per_count", "rolls_over_at"):
        if key in row and quantity.kind is not Kind.COUNTER:
            counters = [one.name for one in QUANTITIES.values() if one.kind is Kind.COUNTER]
            yield (*at, key), f"a counter's key for {quantity.name}", f"a series of {', '.join(counters)}"


def _is_pair(limits: Any) -> bool:  # noqa: ANN401
    return isinstance(limits, list) and len(limits) == 2 and all(isinstance(limit, (int, float)) for limit in limits)


def _once(
    seen: dict[str, int], name: str, index: int, location: Location, what: str, allowed: str
) -> Iterator[LooseEnd]:
    if name and name in seen:
        yield location, f"the {what} {name!r} again (first in series[{seen[name]}])", allowed
    seen.setdefault(name, index)


def _surfaces(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    probes = [key_of(row) for row in rows(raw, "series") if row.get("quantity") == "surface_temperature"]
    names: set[str] = set()
    for index, surface in enumerate(rows(raw, "surfaces")):
        at: Location = ("surfaces", index)
        yield from named((*at, "zone"), surface.get("zone"), zones, "zone of this farm")
        yield from named((*at, "outside"), surface.get("outside"), zones, "zone of this farm")
        yield from named((*at, "probe"), surface.get("probe"), probes, "surface_temperature series of this farm")
        if surface.get("name") in names:
            yield (*at, "name"), f"the surface {surface['name']!r} again", "one name a surface"
        names.add(str(surface.get("name")))
        resistances = [key for key in WALL_KEYS if key in surface]
        if "probe" not in surface and (not resistances or "outside" not in surface):
            yield at, "neither a probe nor a wall", f"probe; or outside and one of {_LISTED_WALL_KEYS}"
        computed = f"{surface.get('zone')}/surface_temperature/{surface.get('name')}"
        if computed in probes and surface.get("probe") != computed:
            yield (*at, "name"), f"the key {computed!r}, which a series has", f"probe = {computed!r}, or another name"
        for second in resistances[1:]:
            yield (*at, second), f"both {resistances[0]} and {second}", f"one of {_LISTED_WALL_KEYS}"


METERED = ("electrical_energy", "electrical_power")


def _equipment(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    equipment = table(raw, "equipment")
    reservoir = table(equipment, "reservoir")
    yield from named(("equipment", "reservoir", "zone"), reservoir.get("zone"), zones, "zone of this farm")
    yield from air_conditioner_loose_ends(raw, zones)
    enrichment = table(equipment, "carbon_dioxide")
    at: Location = ("equipment", "carbon_dioxide", "zone")
    yield from named(at, enrichment.get("zone"), zones, "zone of this farm")
    measured = [str(row.get("zone")) for row in rows(raw, "series") if row.get("quantity") == "co2_mole_fraction"]
    if enrichment.get("zone") in zones:
        yield from named(at, enrichment.get("zone"), measured, "zone with a co2_mole_fraction series")
    meters = [key_of(row) for row in rows(raw, "series") if str(row.get("quantity")) in METERED]
    meter = table(equipment, "mains").get("meter")
    yield from named(("equipment", "mains", "meter"), meter, meters, f"series of {' or '.join(METERED)}")
    for index, row in enumerate(rows(equipment, "drip_rows")):
        yield from named(("equipment", "drip_rows", index, "zone"), row.get("zone"), zones, "zone of this farm")
    for index, group in enumerate(rows(equipment, "lamp_groups")):
        lit = group.get("zones")
        for place, zone in enumerate(lit if isinstance(lit, list) else []):
            yield from named(("equipment", "lamp_groups", index, "zones", place), zone, zones, "zone of this farm")


def _prices(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield prices of a farm that does not say in what currency they are."""
    equipment = table(raw, "equipment")
    for part, key in (("carbon_dioxide", "price_per_kg"), ("mains", "price_per_kwh")):
        if key in table(equipment, part) and "currency" not in table(raw, "farm"):
            yield ("equipment", part, key), "a price in no currency", 'currency in [farm], e.g. currency = "EUR"'


def _crops(crops: dict[str, Any]) -> Iterator[LooseEnd]:
    for crop, described in crops.items():
        for phase, needs in table(described, "phases").items():
            for quantity in table(needs, "bands"):
                location = ("crops", crop, "phases", phase, "bands", quantity)
                if quantity == "daily_light_integral":
                    yield location, "a band for it", "daily_light_integral = [low, high] in the phase itself"
                else:
                    yield from named(location, quantity, list(QUANTITIES), "quantity of the registry")


def _batches(raw: dict[str, Any], zones: list[str], crops: dict[str, Any]) -> Iterator[LooseEnd]:
    for index, batch in enumerate(rows(raw, "batches")):
        at: Location = ("batches", index)
        yield from named((*at, "crop"), batch.get("crop"), list(crops), "crop of this farm")
        for place, stay in enumerate(rows(batch, "stays")):
            inside = (*at, "stays", place)
            entered: Any = stay.get("entered")
            left: Any = stay.get("left")
            if isinstance(entered, date) and type(left) is type(entered) and left <= entered:
                yield (*inside, "left"), str(left), "a time after entered"
            yield from named((*inside, "zone"), stay.get("zone"), zones, "zone of this farm")
            crop = batch.get("crop")
            if isinstance(crop, str) and crop in crops:
                phases = list(table(crops[crop], "phases"))
                yield from named((*inside, "phase"), stay.get("phase"), phases, f"phase of crop {crop}")
