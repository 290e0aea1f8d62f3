"""Every kind of fault: what it does, what it may be aimed at, and what its size means."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

HOUR_S = 3600.0
DAY_S = 86_400.0


class FaultKind(StrEnum):
    """What goes wrong; the names are also those of the causes that a diagnosis may name."""

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


class Acts(StrEnum):
    """Where a fault acts.

    A probe in the tank is part of the farm: the doser and the top-up valve act on what it says, right or wrong.
    """

    FARM = "farm"  # on the physics
    SENSOR = "sensor"  # on what one sensor reads
    DATA = "data"  # on the way of readings to whoever listens


class Aim(StrEnum):
    """What a fault may be aimed at; ``simulator.targets`` lists what a farm has of each."""

    NOTHING = "nothing"
    ROW = "growing row"
    SHELF = "seedling shelf"
    LAMP_GROUP = "lamp group"
    NUTRIENT = "nutrient stock"
    STOCK = "stock"
    OPENING = "opening"
    CIRCUIT = "circuit"
    SERIES = "series"
    ZONE = "zone"


class Nature(NamedTuple):
    """What is to be known of a kind of fault.

    ``does`` what happens. ``size`` what its size means, within ``least`` to ``most``, and three
    usual ``sizes``: mild, usual, severe (our choices, no source). ``aim`` what it may be aimed at, and
    what it takes when it is aimed at nothing in particular: ``all`` of them, or one must be named.
    ``ramp_s`` how long it takes to grow where the scenario does not say. ``of`` the quantities of
    the series that a sensor's fault may be aimed at; none means any.
    """

    does: str
    size: str = "share of the function lost"
    sizes: tuple[float, float, float] = (0.6, 0.8, 1.0)
    acts: Acts = Acts.FARM
    aim: Aim = Aim.NOTHING
    all: bool = False
    ramp_s: float = 0.0
    least: float = 0.0
    most: float = 1.0
    of: tuple[str, ...] = ()


def _probe(does: str, size: str, sizes: tuple[float, float, float], *of: str, **more: float) -> Nature:
    return Nature(does, size, sizes, Acts.FARM, Aim.SERIES, all=True, of=of, **more)


def _sensor(does: str, size: str, sizes: tuple[float, float, float], *of: str, **more: float) -> Nature:
    return Nature(does, size, sizes, Acts.SENSOR, Aim.SERIES, of=of, **more)  # type: ignore[arg-type]  # floats only


_HUMIDITY, _EC, _PH = "relative_humidity", "solution_ec", "solution_ph"
_K = FaultKind

NATURES: dict[FaultKind, Nature] = {
    _K.DRYING_LOST: Nature(
        "the coil's drain is blocked: what condenses evaporates again", "share of the condensate that evaporates again"
    ),
    _K.COIL_SHORT_OF_CAPACITY: Nature(
        "the air conditioner has lost refrigerant, or the canopy outgrew it",
        "share of the capacity lost", (0.3, 0.45, 0.6), ramp_s=2 * DAY_S,
    ),
    _K.FREE_WATER: Nature(
        "a leak or standing water evaporates", "share of the floor that stands wet", (0.15, 0.3, 0.6)
    ),
    _K.OUTSIDE_AIR: Nature(
        "a louvre or a door stays open; a door's contact shows it, a louvre has none",
        "how far it stands open", (0.3, 0.6, 1.0), aim=Aim.OPENING,
    ),
    _K.COOLING_AT_DEW_POINT: Nature(
        "the coil stays too warm: it cools and does not dry", "how far the coil rises to the air's dew point"
    ),
    _K.HUMIDITY_SENSOR_WET: _sensor(
        "water hangs on the sensor", "share of the way to saturation that it reads too much", (0.5, 0.75, 1.0),
        _HUMIDITY, ramp_s=HOUR_S / 6,
    ),
    _K.HUMIDITY_SENSOR_DRIFT: _sensor(
        "the sensor reads more and more too high, or too low where the size is negative", "% RH", (4.0, 7.0, 12.0),
        _HUMIDITY, ramp_s=7 * DAY_S, least=-50.0, most=50.0,
    ),
    _K.CIRCULATION_FAN_DEAD: Nature(
        "a row's circulation fan stands", "share of its air flow lost", (0.7, 0.85, 1.0), aim=Aim.ROW
    ),
    _K.HEATER_STUCK: Nature("the heater stays on", "share of its power", (0.5, 0.75, 1.0)),
    _K.HUMID_SOURCE_LOST: Nature(
        "the canopy is harvested or wilts, so it gives no water to the air", "share of the canopy", (0.4, 0.7, 1.0)
    ),
    _K.PURGE_RUNNING: Nature("the purge fan does not stop", "share of its air flow", (0.4, 0.7, 1.0)),
    _K.COOLING_LOST: Nature(
        "the compressor does not start or cools nothing", "share of the capacity lost", (0.8, 0.9, 1.0)
    ),
    _K.WATER_UPTAKE_HIGH: Nature(
        "plants drink more water than salt", "share by which they drink more water", (0.4, 0.7, 1.0), ramp_s=DAY_S
    ),
    _K.SALT_UPTAKE_HIGH: Nature(
        "plants take more salt than water", "share by which they take more salt", (0.4, 0.7, 1.0), ramp_s=DAY_S
    ),
    _K.NUTRIENT_STOCK_EMPTY: Nature(
        "the doser pumps air from an empty bottle; its counter runs on", "share of each dose that is air",
        aim=Aim.NUTRIENT, all=True,
    ),
    _K.DOSER_LINE_AIR: Nature(
        "air in a dosing line: less comes than the counter says", "share that does not come", (0.3, 0.5, 0.7),
        aim=Aim.STOCK, all=True,
    ),
    _K.DOSER_OVERDOSING: Nature(
        "a dosing pump gives more than the counter says", "share that comes too much", (0.4, 0.7, 1.0),
        aim=Aim.STOCK, all=True,
    ),
    _K.FEED_WATER_BAD: Nature(
        "the feed water carries salt: reverse osmosis passes it", "share of the raw water's salt that passes",
        (0.3, 0.6, 1.0), ramp_s=DAY_S / 2,
    ),
    _K.DILUTION_LEAK: Nature(
        "fresh water leaks into the reservoir", "share of the top-up valve's flow that leaks", (0.02, 0.05, 0.1)
    ),
    _K.EC_PROBE_FOULED: _probe(
        "a film on the probe: it reads too low and answers slowly", "share of the reading lost", (0.1, 0.2, 0.35), _EC,
        ramp_s=5 * DAY_S,
    ),
    _K.EC_PROBE_DRIFT: _probe(
        "the cell constant moves: the probe reads too high, or too low where the size is negative",
        "share of the reading", (0.07, 0.12, 0.2), _EC, ramp_s=5 * DAY_S, least=-0.9, most=2.0,
    ),
    _K.EC_COMPENSATION_WRONG: _probe(
        "the reading is not brought to 25 °C as it should be: it follows the solution's temperature",
        "share of the compensation that is missing", (0.5, 0.75, 1.0), _EC,
    ),
    _K.ACID_EMPTY: Nature("the doser pumps air from the acid bottle", "share of each dose that is air"),
    _K.BASE_EMPTY: Nature("the doser pumps air from the base bottle", "share of each dose that is air"),
    _K.PH_UPTAKE_DRIFT: Nature(
        "the plants' choice of nitrogen moves pH faster than usual; normal for a crop",
        "share by which it moves faster", (0.4, 0.7, 1.0), ramp_s=DAY_S,
    ),
    _K.ALKALINE_FEED: Nature(
        "the feed water brings bicarbonate", "share of the raw water's alkalinity that passes", (0.3, 0.6, 1.0),
        ramp_s=DAY_S / 2,
    ),
    _K.PH_PROBE_AGED: _probe(
        "the probe's slope falls and it answers slowly", "share of the slope lost", (0.1, 0.2, 0.35), _PH,
        ramp_s=7 * DAY_S,
    ),
    _K.PH_PROBE_DRY: _probe(
        "the probe has dried out: it reads off by its size, noisily and late", "pH", (0.3, 0.5, 1.0), _PH,
        ramp_s=HOUR_S, least=-5.0, most=5.0,
    ),
    _K.PH_PROBE_UNPLUGGED: _probe(
        "the plug is off: the input floats about pH 7", "1 is unplugged", (1.0, 1.0, 1.0), _PH
    ),
    _K.LAMP_GROUP_LOST: Nature(
        "lamps of a group stay dark while the controller says on", "share of its lamps", (0.4, 0.7, 1.0),
        aim=Aim.LAMP_GROUP,
    ),
    _K.LAMP_FADE: Nature(
        "lamps give less and less light at the same power", "share of the light lost", (0.12, 0.2, 0.3),
        aim=Aim.LAMP_GROUP, all=True, ramp_s=10 * DAY_S,
    ),
    _K.TIMER_SHIFT: Nature(
        "the light day begins and ends too late, or too early where the size is negative", "hours", (1.0, 2.0, 4.0),
        aim=Aim.LAMP_GROUP, all=True, least=-12.0, most=12.0,
    ),
    _K.LAMPS_OUT_OF_PLACE: Nature(
        "lamps hang askew: less light falls on the plants, the power stays", "share of the light that goes astray",
        (0.15, 0.25, 0.4), aim=Aim.LAMP_GROUP,
    ),
    _K.LIGHT_SENSOR_SHADED: _sensor(
        "a leaf lies over the sensor", "share of the light it does not see", (0.25, 0.45, 0.7), "ppfd", "illuminance"
    ),
    _K.PUMP_OFF: Nature("the irrigation pump does not run though it is told to", "share of the flow lost"),
    _K.FILTER_LOADING: Nature(
        "the line filter loads faster than usual", "share of the pump's pressure that it takes", (0.2, 0.35, 0.5),
        ramp_s=3 * DAY_S,
    ),
    _K.EMITTERS_CLOGGED: Nature(
        "emitters of a row pass no water", "share of its emitters", (0.25, 0.45, 0.7), aim=Aim.ROW, ramp_s=2 * DAY_S
    ),
    _K.VALVE_LEFT_TO_DRAIN: Nature("a valve to the drain was left open", "how far it stands open", (0.2, 0.5, 1.0)),
    _K.SUMP_RETURN_LOST: Nature("what drains off the rows does not come back", "share lost", (0.4, 0.7, 1.0)),
    _K.FLOOD_TRAY_NOT_DRAINING: Nature(
        "a flooded shelf does not drain", "share of its water that stays", aim=Aim.SHELF, all=True
    ),
    _K.RO_MEMBRANE_TIRED: Nature(
        "the membrane makes less feed water", "share of the output lost", (0.2, 0.35, 0.5), ramp_s=5 * DAY_S
    ),
    _K.RO_FEED_COLD: Nature(
        "the raw water is colder than usual", "share of the way to 2 °C", (0.4, 0.7, 1.0), ramp_s=DAY_S
    ),
    _K.LEVEL_SENSOR_STUCK: _probe(
        "the level repeats its last value", "1 is stuck", (1.0, 1.0, 1.0), "solution_level", "solution_volume"
    ),
    _K.CO2_BOTTLE_EMPTY: Nature("the valve opens and no CO2 comes", "share that does not come"),
    _K.CO2_VALVE_STUCK_OPEN: Nature("the CO2 valve does not close", "how far it stays open", (0.3, 0.6, 1.0)),
    _K.CO2_LEAK: Nature(
        "the room loses air through a gap, and CO2 with it", "1 is two room volumes an hour more", (0.3, 0.6, 1.0)
    ),
    _K.CO2_SENSOR_DRIFT: _sensor(
        "the sensor reads more and more too high, or too low where the size is negative", "ppm", (100.0, 180.0, 300.0),
        "co2_mole_fraction", ramp_s=5 * DAY_S, least=-2000.0, most=5000.0,
    ),
    _K.MAINS_LOST: Nature("the mains fail; what records has a battery", "1 is all of it", (1.0, 1.0, 1.0)),
    _K.CIRCUIT_LOST: Nature(
        "one circuit's breaker is off", "1 is all of it", (1.0, 1.0, 1.0), aim=Aim.CIRCUIT
    ),
    _K.LINK_CUT: Nature(
        "readings are held back and come late, in a burst", "share of the held readings that is lost for good",
        (0.0, 0.2, 0.6), Acts.DATA,
    ),
    _K.CLOCK_JUMP: Nature(
        "a clock is wrong: readings carry a time that is too late, or too early where the size is negative",
        "seconds", (300.0, 1800.0, 7200.0), Acts.DATA, Aim.ZONE, all=True, least=-10 * DAY_S, most=10 * DAY_S,
    ),
    _K.SENSOR_STUCK: _sensor("a series repeats its last value", "1 is stuck", (1.0, 1.0, 1.0)),
    _K.SENSOR_OFFSET: _sensor(
        "a series reads too high, or too low where the size is negative",
        "the series' own unit; usual sizes are 3, 5 and 8 times its accuracy", (3.0, 5.0, 8.0), least=-1e6, most=1e6,
    ),
}  # fmt: skip
