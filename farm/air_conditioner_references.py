"""Broken references of the air conditioner: to its compressor, its condensate meter and the air on both sides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from farm.positions import Location
from farm.references import LooseEnd, key_of, named, rows, table

AT: Location = ("equipment", "air_conditioner")
AIR = ("air_temperature", "relative_humidity")
COIL = ("return_zone", "supply_zone", "air_flow_m3_h")


def air_conditioner_loose_ends(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    """Yield every broken reference of the air conditioner in a description as read from TOML, valid or not."""
    unit = table(table(raw, "equipment"), "air_conditioner")
    keys = {quantity: _keys(raw, quantity) for quantity in ("compressor_on", "electrical_power", "condensate_volume")}
    compressor = unit.get("compressor")
    switches = keys["compressor_on"] + keys["electrical_power"]
    what = "compressor_on or electrical_power series of this farm"
    yield from named((*AT, "compressor"), compressor, switches, what)
    if compressor in keys["electrical_power"] and "running_above_w" not in unit:
        yield (*AT, "compressor"), "a power without a threshold", "running_above_w too, the power from which it runs"
    if "running_above_w" in unit and compressor not in keys["electrical_power"]:
        yield (*AT, "running_above_w"), "a threshold without a power", "compressor = an electrical_power series"
    if "min_off_s" in unit and "compressor" not in unit:
        yield (*AT, "min_off_s"), "a shortest rest of a compressor that no series tells of", "compressor too"
    yield from named((*AT, "condensate"), unit.get("condensate"), keys["condensate_volume"],
                     "condensate_volume series of this farm")  # fmt: skip
    ducts = [zone for zone in zones if table(table(raw, "zones"), zone).get("kind") == "supply_duct"]
    yield from named((*AT, "supply_zone"), unit.get("supply_zone"), ducts, "zone of kind supply_duct of this farm")
    yield from named((*AT, "return_zone"), unit.get("return_zone"), zones, "zone of this farm")
    for key in ("return_zone", "supply_zone"):
        zone = unit.get(key)
        if isinstance(zone, str) and zone in zones:
            missing = [one for one in AIR if not any(row.get("zone") == zone for row in _series(raw, one))]
            if missing:
                yield (
                    (*AT, key),
                    f"{zone!r}, which has no series of {' and '.join(missing)}",
                    f"{' and '.join(AIR)} there",
                )
    absent = [key for key in COIL if key not in unit]
    if 0 < len(absent) < len(COIL):
        yield AT, f"a coil without {' and '.join(absent)}", f"{', '.join(COIL)} together, or none of them"
    if "air_flow_accuracy_m3_h" in unit and "air_flow_m3_h" not in unit:
        yield (*AT, "air_flow_accuracy_m3_h"), "the accuracy of an air flow that is not given", "air_flow_m3_h too"


def _series(raw: dict[str, Any], quantity: str) -> list[dict[str, Any]]:
    return [row for row in rows(raw, "series") if row.get("quantity") == quantity]


def _keys(raw: dict[str, Any], quantity: str) -> list[str]:
    return [key_of(row) for row in _series(raw, quantity)]
