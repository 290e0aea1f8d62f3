"""Which column of the truth each described series sees."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.description import DescribedSeries, Farm, ZoneKind
from simulator.frame import Truth

LUX_PER_PPFD = 70.0  # white light, where the series does not say; from memory

ROOM = {
    "electrical_power": "farm.electrical_power",
    "electrical_energy": "farm.electrical_energy",
    "condensate_volume": "farm.condensate_volume",
    "pump_on": "water.pump_on",
    "doser_on": "water.doser_on",
} | {
    name: f"room.{name}"
    for name in (
        "air_temperature", "relative_humidity", "co2_mole_fraction", "air_pressure", "fan_on", "compressor_on",
        "co2_valve_open", "purge_on", "door_open", "power_present", "lights_on",
    )
}  # fmt: skip
ROW = ("air_temperature", "relative_humidity", "co2_mole_fraction", "ppfd", "leaf_temperature", "air_speed", "fan_on")
TANK = {
    "solution_ec": "water.ec_at_probe",
    "solution_ph": "water.ph_at_probe",
    "solution_temperature": "water.temperature",
    "dissolved_oxygen": "water.oxygen",
    "solution_level": "water.level_at_sensor",
    "flow_rate": "water.flow",
    "line_pressure_before_filter": "water.pressure_before",
    "line_pressure_after_filter": "water.pressure_after",
    "pump_on": "water.pump_on",
    "doser_on": "water.doser_on",
    "electrical_power": "water.electrical_power",
}
FEED = {
    "metered_volume": "water.feed_made",
    "flow_rate": "water.feed_rate",
    "solution_temperature": "water.feed_temperature",
    "solution_ec": "water.feed_ec",
}


class Seen(NamedTuple):
    """A column of the truth, and what it is multiplied by."""

    column: str
    scale: float = 1.0


def seen_by(one: DescribedSeries, farm: Farm, names: Mapping[str, int]) -> Seen:
    """Return what a described series measures.

    Raises
    ------
    ValueError
        If the model has nothing that such a series could measure.
    """
    found = _named(one, farm) or _by_place(one, farm)
    if found is None or found.column not in names:
        raise ValueError(
            f"the simulated farm has nothing for series {one.key!r} to measure in a zone of kind "
            f"{farm.zones[one.zone].kind}: leave the series out, or move it to another zone"
        )
    return found


class Probes:
    """What all series of a farm see of the truth, in the description's order."""

    def __init__(self, farm: Farm, names: Mapping[str, int]) -> None:
        seen = [seen_by(one, farm, names) for one in farm.series]
        self._columns = np.array([names[one.column] for one in seen], dtype=np.int64)
        self._scales = np.array([one.scale for one in seen])[:, np.newaxis]

    def see(self, truth: Truth) -> NDArray[np.float64]:
        """Return what each series sees: a row a series and a column an instant."""
        seen: NDArray[np.float64] = np.ascontiguousarray(truth.values[:, self._columns].T) * self._scales
        return seen


def _named(one: DescribedSeries, farm: Farm) -> Seen | None:
    """Return what a series measures whose key the equipment or a surface names."""
    equipment, key = farm.equipment, one.key
    for surface in farm.surfaces:
        if surface.probe == key:
            return Seen(f"surface/{surface.name}.surface_temperature")
    unit, tank, osmosis = equipment.air_conditioner, equipment.reservoir, equipment.reverse_osmosis
    if unit is not None and unit.compressor == key and one.quantity == "electrical_power":
        return Seen("farm.air_conditioner_power")
    if tank is not None and key in tank.drained:
        return Seen("water.drained")
    if osmosis is not None and osmosis.output == key:
        return Seen("water.feed_made" if one.quantity == "metered_volume" else "water.feed_rate")
    if osmosis is not None and osmosis.feed_temperature == key:
        return Seen("water.feed_temperature")
    for row in equipment.drip_rows:
        if row.return_flow == key:
            return Seen("water.return_flow")
        if row.pump == key and one.quantity == "electrical_power":
            return Seen("water.electrical_power")
    for shelf in equipment.flood_shelves:
        if shelf.pump == key:
            return Seen("water.electrical_power" if one.quantity == "electrical_power" else "water.flood_pump_on")
        if shelf.water == key:
            tray = "tray_level" if one.quantity == "solution_level" else "tray_wet"
            return Seen(f"water.{tray}.{shelf.zone}")
    return None


def _by_place(one: DescribedSeries, farm: Farm) -> Seen | None:
    """Return what a series measures by its quantity and zone."""
    kind, quantity = farm.zones[one.zone].kind, one.quantity
    if kind in (ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF):
        return _in_a_row(one, farm)
    if kind == ZoneKind.RESERVOIR:
        tank = farm.equipment.reservoir
        if tank is None or tank.zone != one.zone:
            return Seen(FEED[quantity]) if quantity in FEED else None
        if quantity == "dosed_volume":
            return Seen(f"water.dosed_ml.{one.sensor}")
        if quantity == "solution_volume":  # by the same sensor as the level
            return Seen("water.level_at_sensor", tank.volume_l / 100.0)
        return Seen(TANK[quantity]) if quantity in TANK else None
    if kind == ZoneKind.OUTDOORS:
        return Seen(f"outdoors.{quantity}")
    if kind == ZoneKind.SUPPLY_DUCT:
        return Seen(f"supply.{quantity}")
    return Seen(ROOM[quantity]) if quantity in ROOM else None


def _in_a_row(one: DescribedSeries, farm: Farm) -> Seen | None:
    """Return what a series of a row or shelf measures."""
    if one.quantity in ROW:
        return Seen(f"row/{one.zone}.{one.quantity}")
    if one.quantity == "illuminance":
        return Seen(f"row/{one.zone}.ppfd", one.lux_per_ppfd or LUX_PER_PPFD)
    if one.quantity == "flow_rate":
        return Seen(f"water.flow_l_min.{one.zone}")
    lamps = farm.lamps_over(one.zone)
    if one.quantity == "lights_on" and lamps:
        own = [group for group in lamps if group.name == one.sensor]
        return Seen(f"group/{(own or lamps)[0].name}.lights_on")
    return None
