"""The shared words for what may be behind a deviation: one registry of causes."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Family(StrEnum):
    """Which side of the farm a cause belongs to."""

    AIR = "air"
    LIGHT = "light"
    ROOT_ZONE = "root_zone"
    WATER = "water"
    CARBON_DIOXIDE = "carbon_dioxide"
    POWER = "power"
    DATA = "data"


class Nature(StrEnum):
    """What it is that went wrong: what a technician asks first."""

    NORMAL = "normal"
    PLANT = "plant"
    EQUIPMENT = "equipment"
    PROBE = "probe"
    OUTSIDE = "outside"


class Place(StrEnum):
    """At what a cause sits; the farm as a whole where it names nothing smaller."""

    FARM = "farm"
    ROW = "row"
    STOCK = "stock"
    LAMP_GROUP = "lamp_group"
    SERIES = "series"


class Cause(NamedTuple):
    """One possible cause.

    ``symptoms`` are quantity and side of the excursions that it can lie behind, as ``relative_humidity high``;
    ``quantities`` the series that a cause at a series can sit at (any, if empty). ``slow`` causes build up over
    days. ``check`` is the first thing to look at: common practice, no source. ``label_of_all`` names it where all of
    several places have it, for causes that can be so.
    """

    name: str
    label: str
    family: Family
    nature: Nature
    place: Place
    symptoms: tuple[str, ...]
    check: str
    slow: bool = False
    quantities: tuple[str, ...] = ()
    caution: str = ""
    label_of_all: str = ""


HUMID = ("relative_humidity high", "vapour_pressure_deficit low", "leaf_vapour_pressure_deficit low",
         "condensation_margin low", "dew_point_temperature high", "surface_relative_humidity high", "mould_index high")  # fmt: skip
DRY = ("relative_humidity low", "vapour_pressure_deficit high", "leaf_vapour_pressure_deficit high",
       "dew_point_temperature low")  # fmt: skip
HOT, COLD = ("air_temperature high", "leaf_temperature high"), ("air_temperature low", "leaf_temperature low")
EC_LOW, EC_HIGH = ("solution_ec low",), ("solution_ec high",)
PH_LOW, PH_HIGH = ("solution_ph low",), ("solution_ph high",)
DARK = ("ppfd low", "daily_light_integral low", "photoperiod low", "lamp_output low")
CO2_LOW = ("co2_mole_fraction low",)
CO2_HIGH = ("co2_mole_fraction high", "co2_average_8h high", "co2_average_15min high")
LEVEL_LOW = ("solution_level low", "solution_volume low")
LEVEL_HIGH = ("solution_level high", "solution_volume high")
FLOW = ("flow_rate low", "line_pressure_after_filter low", "line_pressure_after_filter high",
        "line_pressure_before_filter low", "line_pressure_before_filter high", "filter_pressure_drop high")  # fmt: skip
FEED = ("normalised_output low", *LEVEL_LOW)
ANY = ("any",)

CO2_CAUTION, ACID_CAUTION, MAINS_CAUTION = "co2", "acid_and_base", "mains"


def _air(name: str, label: str, nature: Nature, symptoms: tuple[str, ...], check: str, *, place: Place = Place.FARM,
         slow: bool = False, caution: str = "") -> Cause:  # fmt: skip
    return Cause(name, label, Family.AIR, nature, place, symptoms, check, slow, (), caution)


def _root(name: str, label: str, nature: Nature, symptoms: tuple[str, ...], check: str, *, place: Place = Place.FARM,
          slow: bool = False, caution: str = ACID_CAUTION, of_all: str = "") -> Cause:  # fmt: skip
    return Cause(name, label, Family.ROOT_ZONE, nature, place, symptoms, check, slow, (), caution, of_all)


def _water(name: str, label: str, symptoms: tuple[str, ...], check: str, *, place: Place = Place.FARM,
           nature: Nature = Nature.EQUIPMENT, slow: bool = False) -> Cause:  # fmt: skip
    return Cause(name, label, Family.WATER, nature, place, symptoms, check, slow)


def _probe(name: str, label: str, quantities: tuple[str, ...], symptoms: tuple[str, ...], check: str, *,
           slow: bool = False, caution: str = "") -> Cause:  # fmt: skip
    family = Family.ROOT_ZONE if quantities and quantities[0].startswith("solution") else Family.AIR
    return Cause(name, label, family, Nature.PROBE, Place.SERIES, symptoms, check, slow, quantities, caution)


_E, _PL, _OUT, _N = Nature.EQUIPMENT, Nature.PLANT, Nature.OUTSIDE, Nature.NORMAL
_RH, _EC, _PH = ("relative_humidity",), ("solution_ec",), ("solution_ph",)

CAUSES: tuple[Cause, ...] = (
    # Humid
    _air("drying_lost", "The coil's water does not leave the room (drain blocked, blown off the coil, or frozen on it)", _E, HUMID,
         "Look at the coil, its drain, its pan and the floor below while the compressor runs. A full pan: the drain is "
         "blocked. Ice: a filter or fan lets little air through, or refrigerant is short, which is for licensed people. "
         "Drops in the duct: they are blown off. Keep water and wet hands from mains parts.", caution=MAINS_CAUTION),
    _air("coil_short_of_capacity", "The air conditioner cannot keep up (lost refrigerant, or too small by now)", _E,
         (*HUMID, *HOT), "Feel the supply air after ten minutes of running: hardly colder than the room means lost capacity. "
         "Refrigerant is for licensed people.", slow=True),
    _air("free_water", "Free water evaporates in the room (a leak, standing water)", _E, HUMID,
         "Look for standing water under shelves, at fittings and below the air conditioner."),
    _air("outside_air", "Outside air streams in (door or louvre open)", _OUT, (*HUMID, *DRY, *HOT, *COLD, *CO2_LOW),
         "Look at door, louvres and purge damper: is one open, or not closing?"),
    _air("cooling_at_dew_point", "The coil stays too warm to dry: it cools, but at the dew point", _E, HUMID,
         "Read the supply air's temperature while the compressor runs: is it above the room's dew point? Then the fan is "
         "too fast, or the unit is set to cool only."),
    _air("circulation_fan_dead", "A row's circulation fan stands still", _E, (*HUMID, *DRY, *HOT, *COLD),
         "Look at that row's fan: does it turn, and at full speed?", place=Place.ROW, caution=MAINS_CAUTION),
    # Dry, hot, cold
    _air("heater_stuck", "The heater stays on", _E, (*HOT, *DRY),
         "Feel the air behind the heater while the room is above its set point.", caution=MAINS_CAUTION),
    _air("humid_source_lost", "Fewer plants give off water (harvested, or wilting)", _PL, DRY,
         "Look at the plants: harvested, wilting, or is a row dry at the roots?"),
    _air("purge_running", "The purge fan runs", _E, (*DRY, *COLD, *HOT, *CO2_LOW),
         "Listen to the purge fan, and look at what commands it."),
    _air("cooling_lost", "The cooling is lost (the compressor does not cool)", _E, (*HOT, *HUMID),
         "Is the compressor running? Look at its breaker and fault lamp; its refrigerant is for licensed people.",
         caution=MAINS_CAUTION),
    # EC
    _root("water_uptake_high", "Plants drink more water than salt (hot, dry air or a grown canopy)", _PL, EC_HIGH,
          "Compare the last days' drinking with the air's VPD: both up together is the plants."),
    _root("salt_uptake_high", "Plants take up more salt than water", _PL, EC_LOW,
          "Compare how much EC falls for each litre drunk with the weeks before.", slow=True),
    _root("nutrient_stock_empty", "A nutrient bottle is empty", _E, EC_LOW,
          "Look at each bottle's level, and whether stock comes while its pump turns. Pause the doser before refilling, "
          "and never pour one concentrate into another.", place=Place.STOCK,
          of_all="The nutrient bottles are all empty"),
    _root("doser_line_air", "A dosing line draws air or gives the wrong volume", _E, (*EC_LOW, *PH_LOW, *PH_HIGH),
          "Catch what the pump gives in a measuring cylinder for one dose, and look for bubbles in its line.",
          place=Place.STOCK, of_all="The dosing lines all draw air or give the wrong volume"),
    _root("doser_overdosing", "The doser gives too much", _E, (*EC_HIGH, *PH_LOW, *PH_HIGH),
          "Stop the doser, and see whether EC or pH still moves; then catch one dose in a measuring cylinder."),
    _root("feed_water_bad", "The feed water carries salt (the membrane lets it through)", _E, EC_HIGH,
          "Measure the EC of the feed water by hand.", slow=True, caution=""),
    _root("dilution_leak", "Water that nobody meters leaks in", _E, (*EC_LOW, *LEVEL_HIGH),
          "Close the top-up and watch the level for ten minutes: does it rise?", caution=""),
    # pH
    _root("acid_empty", "The acid bottle is empty", _E, PH_HIGH, "Look at the acid bottle: does acid come when it doses?"),
    _root("base_empty", "The base bottle is empty", _E, PH_LOW, "Look at the base bottle: does base come when it doses?"),
    _root("ph_uptake_drift", "The plants move pH (form of nitrogen, growth)", _N, (*PH_LOW, *PH_HIGH),
          "Look at the last weeks' acid and base: a slow change with growth is usual.", slow=True),
    _root("alkaline_feed", "The feed water brings alkalinity", _E, PH_HIGH,
          "Measure pH and alkalinity of the feed water by hand.", slow=True),
    # Light
    Cause("lamp_group_lost", "A lamp group is dark while it is commanded on", Family.LIGHT, _E, Place.LAMP_GROUP,
          (*DARK, *COLD), "Look at the group's lamps, driver and breaker; if it shines again by itself, at its plugs, timer "
          "and contactor.", caution=MAINS_CAUTION),
    Cause("lamp_fade", "A lamp group gives less light than when new", Family.LIGHT, _E, Place.LAMP_GROUP, DARK,
          "Wipe the lamps and the sensor, and measure again by hand at the same spot.", slow=True,
          label_of_all="All lamp groups give less light than when new"),
    Cause("timer_shift", "The lights' timer is shifted", Family.LIGHT, _E, Place.LAMP_GROUP, (*DARK, "ppfd high", "photoperiod high"),
          "Compare the lights' hours with the crop plan, and the controller's clock with yours.",
          label_of_all="The lights' timers are all shifted"),
    Cause("lamps_out_of_place", "Lamps were moved or raised", Family.LIGHT, _E, Place.LAMP_GROUP, DARK,
          "Look whether the bars hang as they did when the light was measured."),
    # Water
    _water("pump_off", "The irrigation pump does not run", FLOW,
           "Is the pump on when it is commanded? Look at its breaker, and for air or a blocked inlet."),
    _water("filter_loading", "The line filter is loaded", FLOW, "Clean the filter, and see the pressure drop fall.",
           slow=True),
    _water("emitters_clogged", "Emitters of a row are clogged", FLOW, "Catch that row's drip for a minute at three emitters.",
           place=Place.ROW, slow=True),
    _water("valve_left_to_drain", "A valve lets solution out to the drain", (*LEVEL_LOW, *EC_LOW),
           "Look at the drain valve, and whether water runs there."),
    _water("sump_return_lost", "Water that should come back from the rows does not", (*LEVEL_LOW,),
           "Look at the sump: is it full, and does its pump lift?"),
    _water("flood_tray_not_draining", "A flood tray does not drain", ("float_switch_closed high",),
           "Look at the shelf: does water stand, and is its outlet clear?"),
    _water("ro_membrane_tired", "The reverse-osmosis membrane makes less water than it should", FEED,
           "Measure one hour's output by hand; look at the prefilter and the feed pressure before the membrane.",
           slow=True),
    _water("ro_feed_cold", "The reverse-osmosis unit makes less because its feed is cold", FEED,
           "Read the feed water's temperature: about 3 % less output for each degree below 25.", nature=_OUT),
    # CO2
    Cause("co2_bottle_empty", "The CO2 supply is empty or shut", Family.CARBON_DIOXIDE, _E, Place.FARM, CO2_LOW,
          "Read the bottle's gauge from outside the room, or its scale.", caution=CO2_CAUTION),
    Cause("co2_valve_stuck_open", "The CO2 valve is stuck open", Family.CARBON_DIOXIDE, _E, Place.FARM, CO2_HIGH,
          "Leave the room now. Do not enter alone. Ventilate from outside, and shut the gas at the bottle from a safe place.",
          caution=CO2_CAUTION),
    Cause("co2_leak", "CO2 is lost: the room leaks air", Family.CARBON_DIOXIDE, _E, Place.FARM, CO2_LOW,
          "Look at door seals, louvres and the purge damper; compare the CO2's fall in the dark with earlier nights.",
          caution=CO2_CAUTION),
    # Power and data
    Cause("mains_lost", "The mains supply is lost", Family.POWER, _OUT, Place.FARM, ANY,
          "Is there light in the house next door? Then look at the main breaker, and ask a licensed electrician.",
          caution=MAINS_CAUTION),
    Cause("circuit_lost", "One circuit is off", Family.POWER, _E, Place.FARM, ANY,
          "Look at the breaker of what has stopped; ask a licensed electrician before switching it on again.",
          caution=MAINS_CAUTION),
    Cause("link_cut", "The link to the farm was cut: nothing, or all of it late, arrives", Family.DATA, _OUT, Place.FARM, ANY,
          "Look at the router and the broker; what the devices kept will come later."),
    Cause("clock_jump", "A device's clock jumped", Family.DATA, _E, Place.FARM, ANY,
          "Compare the device's clock with yours."),
    # Sensors
    _probe("humidity_sensor_wet", "The humidity sensor is wet", _RH, HUMID,
           "Dry the sensor in still air, and compare it with a hand meter."),
    _probe("humidity_sensor_drift", "The humidity sensor drifts", _RH, (*HUMID, *DRY),
           "Compare it with a hand meter, or over a saturated salt.", slow=True),
    _probe("ec_probe_fouled", "The EC probe is fouled: it reads low", _EC, EC_LOW,
           "Clean the probe and measure again; compare with a hand meter.", slow=True),
    _probe("ec_probe_drift", "The EC probe drifts", _EC, (*EC_LOW, *EC_HIGH),
           "Measure a sample by hand, and calibrate with a standard.", slow=True),
    _probe("ec_compensation_wrong", "The EC meter corrects wrongly for temperature", _EC, (*EC_LOW, *EC_HIGH),
           "Compare EC by hand at two temperatures: does the difference follow the temperature?"),
    _probe("ph_probe_aged", "The pH probe has aged: its slope is low", _PH, (*PH_LOW, *PH_HIGH),
           "Calibrate with two buffers: a slope below about 85 % means a new probe.", slow=True, caution=ACID_CAUTION),
    _probe("ph_probe_dry", "The pH probe stands dry", _PH, (*PH_LOW, *PH_HIGH),
           "Look whether the probe's tip is under water.", caution=ACID_CAUTION),
    _probe("ph_probe_unplugged", "The pH probe is unplugged", _PH, (*PH_LOW, *PH_HIGH),
           "Look at the probe's plug and cable.", caution=ACID_CAUTION),
    _probe("light_sensor_shaded", "The light sensor is shaded or dirty", ("ppfd",), DARK,
           "Wipe the sensor, and look whether a leaf lies over it."),
    _probe("level_sensor_stuck", "The level sensor is stuck", ("solution_level", "solution_volume"), (*LEVEL_LOW, *LEVEL_HIGH),
           "Tap the sensor, and read the level by eye."),
    _probe("co2_sensor_drift", "The CO2 sensor drifts", ("co2_mole_fraction",), (*CO2_LOW, *CO2_HIGH),
           "With the gas shut and the room aired for an hour, read it outdoors: about 420 ppm.", slow=True,
           caution=CO2_CAUTION),
    _probe("sensor_stuck", "A sensor repeats one value", (), ANY, "Restart the device, and look at its wiring."),
    _probe("sensor_offset", "A sensor reads too high or too low since a moment", (), ANY,
           "Compare it with a hand meter at the same spot."),
    # Normal
    _air("lights_off_surge", "The usual rise when the lights go off", _N, (*HUMID, *CO2_HIGH),
         "Nothing to do if it passes within two hours; else look at the drying.", caution=""),
    _air("growing_canopy", "The canopy grows: it gives off and drinks more, week by week", _N,
         (*HUMID, *EC_HIGH, *LEVEL_LOW),
         "Compare with the batch's age: more leaf drinks and gives off more; plan for it.", slow=True),
)  # fmt: skip

BY_NAME: dict[str, Cause] = {one.name: one for one in CAUSES}
NORMAL = "as_usual"  # nothing differs from this farm's own healthy days beyond its usual scatter
SOMETHING_ELSE = "something_else"  # what is seen fits none of the causes
