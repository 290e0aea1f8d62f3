"""Which truth each described series sees."""

from __future__ import annotations

from collections.abc import Callable

from farm.description import DescribedSeries, Farm, Surface, ZoneKind
from simulator.farm_model import FarmModel
from simulator.moist_air import saturation_pressure, vapour_pressure
from simulator.reservoir import FEED_WATER_C
from simulator.room import INSIDE_FILM_M2K_W, OUTSIDE_FILM_M2K_W

Truth = Callable[[], float]

ROW_WARMER_K = (-0.25, 0.10, 0.25, 0.0)  # than the room, row by row; our choice
ROW_LIT_WARMER_K = 0.2
ROW_MOISTER = (1.010, 1.005, 1.000, 1.008)  # vapour pressure over the room's; our choice


def truth_of(one: DescribedSeries, farm: Farm, model: FarmModel) -> Truth:
    """Return what a described series measures, as a function of the model's present state.

    Raises
    ------
    ValueError
        If the model has nothing that such a series could measure.
    """
    kind = farm.zones[one.zone].kind
    found: Truth | None
    if kind == ZoneKind.OUTDOORS:
        found = _outdoors(one, model)
    elif kind == ZoneKind.SUPPLY_DUCT:
        found = _supply(one, model)
    elif kind == ZoneKind.RESERVOIR:
        tank = farm.equipment.reservoir
        found = _reservoir(one, model) if tank and tank.zone == one.zone else _feed(one, model)
    elif kind in (ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF):
        found = _row(one, farm, model)
    else:
        found = _room(one, farm, model)
    if found is None:
        raise ValueError(
            f"the simulated farm has nothing for series {one.key!r} to measure in a zone of kind {kind}: "
            "leave the series out, or move it to another zone"
        )
    return found


def _room(one: DescribedSeries, farm: Farm, model: FarmModel) -> Truth | None:
    room = model.room
    if one.quantity == "surface_temperature":
        surface = next((surface for surface in farm.surfaces if surface.probe == one.key), None)
        if surface is None:
            return None
        u_value = _u_value(surface)
        return lambda: room.surface_temperature(u_value, model.outdoors.temperature)
    table: dict[str, Truth] = {
        "air_temperature": lambda: room.temperature,
        "relative_humidity": lambda: room.relative_humidity,
        "co2_mole_fraction": lambda: room.co2,
        "air_pressure": lambda: model.pressure / 1000.0,
        "fan_on": lambda: 1.0,
        "compressor_on": lambda: float(model.climate.compressor_on),
        "co2_valve_open": lambda: float(model.carbon_dioxide.valve_open),
        "door_open": lambda: float(model.door_opening > 0.0),
        "power_present": lambda: 1.0,
        "condensate_volume": lambda: room.ledger.condensate,
        "electrical_power": lambda: model.electrical_power,
        "electrical_energy": lambda: model.energy_j / 3.6e6,
        "lights_on": lambda: float(model.lit),
    }
    return table.get(one.quantity)


def _row(one: DescribedSeries, farm: Farm, model: FarmModel) -> Truth | None:
    room, zone = model.room, one.zone
    places = [name for name, other in farm.zones.items() if other.kind == farm.zones[zone].kind]
    index = places.index(zone) % len(ROW_WARMER_K)
    warmer, moister = ROW_WARMER_K[index], ROW_MOISTER[index]
    lamps = model.lamp_of.get(zone)

    def temperature() -> float:
        return room.temperature + warmer + (ROW_LIT_WARMER_K if model.ppfd(zone) > 0.0 else 0.0)

    table: dict[str, Truth] = {
        "air_temperature": temperature,
        "relative_humidity": lambda: (
            100.0 * min(1.0, room.vapour_pressure * moister / saturation_pressure(temperature()))
        ),
        "ppfd": lambda: model.ppfd(zone),
    }
    if lamps is not None:
        table["lights_on"] = lambda: float(lamps.commanded)
    return table.get(one.quantity)


def _supply(one: DescribedSeries, model: FarmModel) -> Truth | None:
    room = model.room

    def humidity() -> float:
        pressure = vapour_pressure(room.supply_humidity_ratio, room.pressure)
        return 100.0 * min(1.0, pressure / saturation_pressure(room.supply_temperature))

    table: dict[str, Truth] = {
        "air_temperature": lambda: room.supply_temperature,
        "relative_humidity": humidity,
    }
    return table.get(one.quantity)


def _outdoors(one: DescribedSeries, model: FarmModel) -> Truth | None:
    table: dict[str, Truth] = {
        "air_temperature": lambda: model.outdoors.temperature,
        "relative_humidity": lambda: model.outdoors.relative_humidity,
    }
    return table.get(one.quantity)


def _reservoir(one: DescribedSeries, model: FarmModel) -> Truth | None:
    tank, irrigation = model.reservoir, model.irrigation
    if one.quantity == "dosed_volume":
        bottle = next((bottle for bottle in tank.bottles if bottle.stock.name == one.sensor), None)
        return None if bottle is None else lambda: bottle.turned_ml
    table: dict[str, Truth] = {
        "solution_ec": lambda: tank.ec,
        "solution_ph": lambda: tank.ph,
        "solution_temperature": lambda: tank.temperature,
        "dissolved_oxygen": lambda: tank.oxygen,
        "solution_level": lambda: tank.level,
        "solution_volume": lambda: tank.volume_l,
        "flow_rate": lambda: irrigation.flow,
        "line_pressure_before_filter": lambda: irrigation.pressure_before,
        "line_pressure_after_filter": lambda: irrigation.pressure_after,
        "pump_on": lambda: float(irrigation.pump_on),
        "doser_on": lambda: float(tank.doser_on),
    }
    return table.get(one.quantity)


def _feed(one: DescribedSeries, model: FarmModel) -> Truth | None:
    tank = model.reservoir
    table: dict[str, Truth] = {
        "metered_volume": lambda: tank.ledger.feed_l,
        "solution_temperature": lambda: FEED_WATER_C,
    }
    return table.get(one.quantity)


def _u_value(surface: Surface) -> float:
    """Transmittance of a surface, from itself or its resistance and films [W m-2 K-1]."""
    if surface.u_value_w_m2k is not None:
        return surface.u_value_w_m2k
    if surface.r_value_m2k_w is None:
        raise ValueError(f"surface {surface.name!r} needs r_value_m2k_w or u_value_w_m2k to be simulated")
    return 1.0 / (INSIDE_FILM_M2K_W + surface.r_value_m2k_w + OUTSIDE_FILM_M2K_W)
