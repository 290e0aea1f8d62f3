"""Mistakes in what a description says of water: series that are not there, keys that need each other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from farm.positions import Location
from farm.references import LooseEnd, key_of, named, rows, table

PRESSURES = ("line_pressure_before_filter", "line_pressure_after_filter")
RUNS = ("pump_on", "electrical_power")


def water_loose_ends(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    """Yield broken references and missing thresholds in the equipment that moves water."""
    equipment = table(raw, "equipment")

    def series(at: Location, found: object, *quantities: str) -> Iterator[LooseEnd]:
        keys = [key_of(row) for row in rows(raw, "series") if row.get("quantity") in quantities]
        yield from named(at, found, keys, f"{' or '.join(quantities)} series of this farm")

    for index, row in enumerate(rows(equipment, "drip_rows")):
        at: Location = ("equipment", "drip_rows", index)
        yield from series((*at, "flow"), row.get("flow"), "flow_rate", "metered_volume")
        yield from series((*at, "pressure"), row.get("pressure"), *PRESSURES)
        yield from series((*at, "pump"), row.get("pump"), *RUNS)
        yield from series((*at, "return_flow"), row.get("return_flow"), "flow_rate")
        if "flow" not in row:
            found_from = next((row[key] for key in ("pressure", "pump") if isinstance(row.get(key), str)), "")
            if _quantity(found_from) not in ("", "pump_on") and "running_above" not in row:
                yield at, f"cycles from {found_from} without running_above", "running_above, in that series' unit"
    for index, shelf in enumerate(rows(equipment, "flood_shelves")):
        at = ("equipment", "flood_shelves", index)
        yield from named((*at, "zone"), shelf.get("zone"), zones, "zone of this farm")
        yield from series((*at, "pump"), shelf.get("pump"), *RUNS)
        yield from series((*at, "water"), shelf.get("water"), "float_switch_closed", "solution_level")
        if "pump" not in shelf and "water" not in shelf:
            yield at, "neither pump nor water", "the key of at least one of them"
        if _quantity(shelf.get("pump")) == "electrical_power" and "pump_above" not in shelf:
            yield at, "electrical_power without pump_above", "pump_above, in W"
        if _quantity(shelf.get("water")) == "solution_level" and "water_above" not in shelf:
            yield at, "solution_level without water_above", "water_above, in %"
    yield from _filters(equipment, series)
    osmosis: Location = ("equipment", "reverse_osmosis")
    unit = table(equipment, "reverse_osmosis")
    yield from series((*osmosis, "output"), unit.get("output"), "metered_volume", "flow_rate")
    yield from series((*osmosis, "feed_temperature"), unit.get("feed_temperature"), "solution_temperature")
    condensate = table(equipment, "condensate").get("volume")
    yield from series(("equipment", "condensate", "volume"), condensate, "condensate_volume")
    reservoir = table(equipment, "reservoir")
    for key in ("top_up", "drained"):
        meters = reservoir.get(key)
        for place, meter in enumerate(meters if isinstance(meters, list) else []):
            yield from series(("equipment", "reservoir", key, place), meter, "metered_volume")


def _filters(equipment: dict[str, Any], series: Any) -> Iterator[LooseEnd]:  # noqa: ANN401  # the search above
    names: set[str] = set()
    on_a_flow = {row.get("flow") for row in rows(equipment, "drip_rows")}
    for index, one in enumerate(rows(equipment, "filters")):
        at: Location = ("equipment", "filters", index)
        yield from series((*at, "before"), one.get("before"), "line_pressure_before_filter")
        yield from series((*at, "after"), one.get("after"), "line_pressure_after_filter")
        yield from series((*at, "flow"), one.get("flow"), "flow_rate")
        if "reference_flow_l_min" not in one and one.get("flow") not in on_a_flow:
            allowed = "reference_flow_l_min, or drip rows with that flow"
            yield at, f"no drip row on the flow {one.get('flow')!r}", allowed
        if one.get("name") in names:
            yield (*at, "name"), f"the filter {one['name']!r} again", "one name a filter"
        names.add(str(one.get("name")))


def _quantity(key: object) -> str:
    parts = key.split("/") if isinstance(key, str) else []
    return parts[1] if len(parts) > 1 else ""
