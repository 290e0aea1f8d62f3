"""What the farm is and how it stands, as the compiled loop sees it: parameters and state in one place each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.air import Air, Rooms
from simulator.compiled import Floats
from simulator.controls import Limits
from simulator.water import WaterParameters, WaterState

Columns = NDArray[np.int64]


class FaultColumns(NamedTuple):
    """Where the air side's faults stand in a row of ``Forcing.fault``, but for those of single lamps and fans."""

    drying_lost: int
    coil_short_of_capacity: int
    free_water: int
    louvre: int
    door: int
    cooling_at_dew_point: int
    heater_stuck: int
    humid_source_lost: int
    purge_running: int
    cooling_lost: int
    water_uptake_high: int
    co2_bottle_empty: int
    co2_valve_stuck_open: int
    co2_leak: int
    mains_lost: int
    circuit_air_conditioner: int
    circuit_heater: int
    circuit_fans: int
    circuit_pump: int
    circuit_doser: int


class LampParts(NamedTuple):
    """Lamps, by group."""

    group_w: Floats
    group_rows: Floats  # (groups, rows) 1 where it lights the row's plants
    group_ppfd: Floats  # new [umol m-2 s-1]
    group_heat: Floats  # (groups, volumes) share of its power that warms a volume
    group_years: Floats  # its age when the run begins
    group_leads: Floats  # 1 where it lights a growing row: the room's light day follows it
    output_at_start: float
    fade_a_year: float
    start_s: float
    circuit: int  # slot of the circuit that feeds them
    lost: Columns  # slots of their faults
    fade: Columns
    astray: Columns


class CropParts(NamedTuple):
    """Plants, by row."""

    area_m2: Floats
    usual_g_m2: Floats  # structural dry matter of a mixed stand
    young_g_m2: float


class MachineParts(NamedTuple):
    """Machines and leaks. [W], [kg/s] of dry air."""

    fan_w: Floats  # by row
    exchange_kg_s: Floats  # by row, with its fan
    fan_dead: Columns  # by row: slot of its fault, -1 where it has none
    still_share: float
    air_speed: float
    still_air_speed: float
    coil_air_kg_s: float
    cooling_w: float
    compressor_w: float
    air_handler_w: float
    heater_w: float
    dehumidifier_kg_s: float
    dehumidifier_w: float
    purge_kg_s: float
    purge_w: float
    controller_w: float
    valve_mol_s: float
    bottle_kg: float
    # Leaks, in room volumes an hour
    air_changes: float
    air_changes_door: float
    air_changes_louvre: float
    roof_gain_k: float  # by which a watt a square metre of sun on the roof raises the outdoor temperature of the walls
    floor_m2: float


class Parts(NamedTuple):
    """Everything that does not change in a run."""

    rooms: Rooms
    limits: Limits
    slots: FaultColumns
    lamps: LampParts
    crop: CropParts
    machines: MachineParts
    # Surfaces that the description names
    surface_place: Columns  # volume on their warm side
    surface_share: Floats  # of the temperature difference that their inner film has
    # The water side
    water: WaterParameters
    place_row: Columns  # by the water side's places: the row that drinks there, or -1
    water_from: Columns  # slots of the farm's faults ...
    water_to: Columns  # ... and the water side's own slots that they become


# What holds from one instant to the next, beside commands.
HELD = (
    "time_s", "minute_of_day", "outdoor_temperature", "outdoor_humidity", "outdoor_co2", "solar", "feed_temperature",
    "people", "door", "filter_cleaned", "bottles_changed",
)  # fmt: skip
(
    TIME_S, MINUTE_OF_DAY, OUTDOOR_TEMPERATURE, OUTDOOR_HUMIDITY, OUTDOOR_CO2, SOLAR, FEED_TEMPERATURE, PEOPLE, DOOR,
    FILTER_CLEANED, BOTTLES_CHANGED,
) = range(len(HELD))  # fmt: skip


class Now(NamedTuple):
    """What is commanded, acts and is wrong; arrays changed in place."""

    switch: Floats  # by controls.SWITCHES
    held: Floats  # by HELD
    fault: Floats  # by slot
    group_on: Floats  # by lamp group: commanded
    bottle_kg: Floats  # one: CO2 left in the bottle
    compressor_runs: Floats  # one: what the compressor really does


class Plants(NamedTuple):
    """Stands, by row; arrays changed in place."""

    stored: Floats  # dry matter [g/m2]
    structural: Floats  # dry matter [g/m2]
    ppfd: Floats  # on them [umol m-2 s-1]
    kept: Floats  # water kept as growth in the last minute [kg]


class State(NamedTuple):
    """Everything that changes in a run."""

    now: Now
    plants: Plants
    air: Air
    water: WaterState
    water_fault: Floats  # by the water side's slots
