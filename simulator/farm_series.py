"""Which sensors an invented farm has: some farms have nearly all, some have few."""

from __future__ import annotations

from typing import Any

import numpy as np

# Chance that a farm has it, where a farm need not (our choice, no source).
ROW_HUMIDITY = 0.85
ROW_LIGHT = 0.8
SUPPLY = 0.75
OUTDOORS = 0.9
DOOR_FRAME = 0.6
OF_THE_ROOM = {
    "compressor_on": 0.85, "fan_on": 0.5, "co2_valve_open": 0.8, "door_open": 0.7, "power_present": 0.6,
    "condensate_volume": 0.5, "electrical_power": 0.8, "electrical_energy": 0.7, "air_pressure": 0.2,
}  # fmt: skip
OF_THE_RESERVOIR = {
    "dissolved_oxygen": 0.6, "solution_temperature": 0.9, "solution_level": 0.85, "flow_rate": 0.7, "pump_on": 0.85,
    "doser_on": 0.6,
}  # fmt: skip
LINE_PRESSURES = 0.55
DOSED_VOLUMES = 0.75
FEED_TEMPERATURE = 0.7
SLOW_CADENCES = (60.0, 60.0, 60.0, 120.0, 300.0)

_ACCURACY = {
    "air_temperature": (0.2, 0.3, 0.5), "relative_humidity": (2.0, 2.5, 3.0), "co2_mole_fraction": (50.0, 75.0),
    "surface_temperature": (0.3, 0.5), "ppfd": (10.0, 15.0), "solution_ec": (0.05,), "solution_ph": (0.1,),
    "solution_temperature": (0.2, 0.3), "dissolved_oxygen": (0.3,), "solution_level": (1.0, 2.0),
    "flow_rate": (0.2,), "line_pressure_before_filter": (3.0,), "line_pressure_after_filter": (3.0,),
}  # fmt: skip


def described_series(
    random: np.random.Generator, rows: list[str], shelves: list[str], stocks: list[str], *, gas: bool
) -> list[dict[str, Any]]:
    """Return a farm's [[series]]: those that every farm has, and others by chance."""
    found: list[dict[str, Any]] = []
    cadence_s = SLOW_CADENCES[int(random.integers(len(SLOW_CADENCES)))]

    def has(chance: float) -> bool:
        return float(random.random()) < chance

    def add(zone: str, quantity: str, sensor: str = "") -> None:
        one: dict[str, Any] = {"zone": zone, "quantity": quantity}
        if sensor:
            one["sensor"] = sensor
        if quantity in _ACCURACY:
            choices = _ACCURACY[quantity]
            one["accuracy"] = choices[int(random.integers(len(choices)))]
            if cadence_s != 60.0:
                one["cadence_s"] = cadence_s
        found.append(one)

    add("room", "air_temperature")
    add("room", "relative_humidity")
    if gas:
        add("room", "co2_mole_fraction")
    for quantity, chance in OF_THE_ROOM.items():
        if has(chance) and (gas or quantity != "co2_valve_open"):
            add("room", quantity)
    if has(DOOR_FRAME):
        add("room", "surface_temperature", "door-frame")
    humid, light = has(ROW_HUMIDITY), has(ROW_LIGHT)
    for zone in [*rows, *shelves]:
        add(zone, "air_temperature")
        if humid:
            add(zone, "relative_humidity")
        if light:
            add(zone, "ppfd")
        add(zone, "lights_on")
    if has(SUPPLY):
        add("supply", "air_temperature")
        add("supply", "relative_humidity")
    if has(OUTDOORS):
        add("outdoors", "air_temperature")
        add("outdoors", "relative_humidity")
    add("reservoir", "solution_ec")
    add("reservoir", "solution_ph")
    for quantity, chance in OF_THE_RESERVOIR.items():
        if has(chance):
            add("reservoir", quantity)
    if has(LINE_PRESSURES):
        add("reservoir", "line_pressure_before_filter")
        add("reservoir", "line_pressure_after_filter")
    if has(DOSED_VOLUMES):
        for stock in stocks:
            add("reservoir", "dosed_volume", stock)
    add("feed", "metered_volume")
    if has(FEED_TEMPERATURE):
        add("feed", "solution_temperature")
    return found
