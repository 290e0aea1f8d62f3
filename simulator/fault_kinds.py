"""The kinds of faults, what each acts on, and what its severity means.

The names are also the causes that a diagnosis may name.
"""

from __future__ import annotations

from enum import StrEnum


class FaultKind(StrEnum):
    """What goes wrong."""

    # Humid
    DRYING_LOST = "drying_lost"
    COIL_SHORT_OF_CAPACITY = "coil_short_of_capacity"
    FREE_WATER = "free_water"
    OUTSIDE_AIR = "outside_air"
    COOLING_AT_DEW_POINT = "cooling_at_dew_point"
    HUMIDITY_SENSOR_WET = "humidity_sensor_wet"
    HUMIDITY_SENSOR_DRIFT = "humidity_sensor_drift"
    CIRCULATION_FAN_DEAD = "circulation_fan_dead"
    # Dry or hot
    HEATER_STUCK = "heater_stuck"
    HUMID_SOURCE_LOST = "humid_source_lost"
    PURGE_RUNNING = "purge_running"
    COOLING_LOST = "cooling_lost"
    # EC
    WATER_UPTAKE_HIGH = "water_uptake_high"
    SALT_UPTAKE_HIGH = "salt_uptake_high"
    NUTRIENT_STOCK_EMPTY = "nutrient_stock_empty"
    DOSER_LINE_AIR = "doser_line_air"
    DOSER_OVERDOSING = "doser_overdosing"
    FEED_WATER_BAD = "feed_water_bad"
    DILUTION_LEAK = "dilution_leak"
    EC_PROBE_FOULED = "ec_probe_fouled"
    EC_PROBE_DRIFT = "ec_probe_drift"
    EC_COMPENSATION_WRONG = "ec_compensation_wrong"
    # pH
    ACID_EMPTY = "acid_empty"
    BASE_EMPTY = "base_empty"
    PH_UPTAKE_DRIFT = "ph_uptake_drift"
    ALKALINE_FEED = "alkaline_feed"
    PH_PROBE_AGED = "ph_probe_aged"
    PH_PROBE_DRY = "ph_probe_dry"
    PH_PROBE_UNPLUGGED = "ph_probe_unplugged"
    # Light
    LAMP_GROUP_LOST = "lamp_group_lost"
    LAMP_FADE = "lamp_fade"
    TIMER_SHIFT = "timer_shift"
    LAMPS_OUT_OF_PLACE = "lamps_out_of_place"
    LIGHT_SENSOR_SHADED = "light_sensor_shaded"
    # Water
    PUMP_OFF = "pump_off"
    FILTER_LOADING = "filter_loading"
    EMITTERS_CLOGGED = "emitters_clogged"
    VALVE_LEFT_TO_DRAIN = "valve_left_to_drain"
    SUMP_RETURN_LOST = "sump_return_lost"
    FLOOD_TRAY_NOT_DRAINING = "flood_tray_not_draining"
    RO_MEMBRANE_TIRED = "ro_membrane_tired"
    RO_FEED_COLD = "ro_feed_cold"
    LEVEL_SENSOR_STUCK = "level_sensor_stuck"
    # CO2
    CO2_BOTTLE_EMPTY = "co2_bottle_empty"
    CO2_VALVE_STUCK_OPEN = "co2_valve_stuck_open"
    CO2_LEAK = "co2_leak"
    CO2_SENSOR_DRIFT = "co2_sensor_drift"
    # Power and data
    MAINS_LOST = "mains_lost"
    CIRCUIT_LOST = "circuit_lost"
    LINK_CUT = "link_cut"
    CLOCK_JUMP = "clock_jump"
    # Any sensor
    SENSOR_STUCK = "sensor_stuck"
    SENSOR_OFFSET = "sensor_offset"


class Target(StrEnum):
    """What a fault may name as its target; without one it acts everywhere of that sort."""

    ROW = "row"  # a growing row or seedling shelf, by its zone
    GROUP = "group"  # a lamp group's name
    STOCK = "stock"  # a stock's name
    OPENING = "opening"  # "louvre" or "door"
    CIRCUIT = "circuit"  # one of CIRCUITS
    SERIES = "series"  # a series' key


OPENINGS = ("louvre", "door")
CIRCUITS = ("lamps", "climate", "fans", "water")

TARGETS: dict[FaultKind, Target] = {
    FaultKind.OUTSIDE_AIR: Target.OPENING,
    FaultKind.CIRCULATION_FAN_DEAD: Target.ROW,
    FaultKind.HUMID_SOURCE_LOST: Target.ROW,
    FaultKind.LAMP_GROUP_LOST: Target.GROUP,
    FaultKind.LAMP_FADE: Target.GROUP,
    FaultKind.TIMER_SHIFT: Target.GROUP,
    FaultKind.LAMPS_OUT_OF_PLACE: Target.GROUP,
    FaultKind.NUTRIENT_STOCK_EMPTY: Target.STOCK,
    FaultKind.DOSER_LINE_AIR: Target.STOCK,
    FaultKind.DOSER_OVERDOSING: Target.STOCK,
    FaultKind.EMITTERS_CLOGGED: Target.ROW,
    FaultKind.FLOOD_TRAY_NOT_DRAINING: Target.ROW,
    FaultKind.CIRCUIT_LOST: Target.CIRCUIT,
    FaultKind.HUMIDITY_SENSOR_WET: Target.SERIES,
    FaultKind.HUMIDITY_SENSOR_DRIFT: Target.SERIES,
    FaultKind.EC_PROBE_FOULED: Target.SERIES,
    FaultKind.EC_PROBE_DRIFT: Target.SERIES,
    FaultKind.EC_COMPENSATION_WRONG: Target.SERIES,
    FaultKind.PH_PROBE_AGED: Target.SERIES,
    FaultKind.PH_PROBE_DRY: Target.SERIES,
    FaultKind.PH_PROBE_UNPLUGGED: Target.SERIES,
    FaultKind.LIGHT_SENSOR_SHADED: Target.SERIES,
    FaultKind.LEVEL_SENSOR_STUCK: Target.SERIES,
    FaultKind.CO2_SENSOR_DRIFT: Target.SERIES,
    FaultKind.SENSOR_STUCK: Target.SERIES,
    FaultKind.SENSOR_OFFSET: Target.SERIES,
}

# Faults of a sensor or of the way its readings travel: the physics knows nothing of them.
OF_THE_DATA = frozenset(kind for kind, target in TARGETS.items() if target == Target.SERIES) | {
    FaultKind.LINK_CUT,
    FaultKind.CLOCK_JUMP,
}
