"""Cheap checks that tell causes apart: what each would show, and what it bears on. Common practice, no source."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from farm import causes
from farm.causes import ANY, BY_NAME


class Check(NamedTuple):
    """Something a person can do: how long it takes, and what it shows under each cause that it knows of.

    ``bears_on`` are quantities whose excursion it can explain; None for all of them.
    """

    what: str
    minutes: float
    shows: Mapping[str, str]
    bears_on: frozenset[str] | None

    def bears(self, quantities: Collection[str] | None) -> bool:
        """Whether it is about equipment or a sensor that one of some quantities hangs on; None asks about none."""
        return self.bears_on is None or quantities is None or not self.bears_on.isdisjoint(quantities)


def _of(*symptoms: str) -> frozenset[str]:
    return frozenset(one.split()[0] for one in symptoms)


_HUMIDITY, _WARMTH = _of(*causes.HUMID, *causes.DRY), _of(*causes.HOT, *causes.COLD)
_AIR = _HUMIDITY | _WARMTH
_EC, _PH = _of(*causes.EC_LOW, *causes.EC_HIGH), _of(*causes.PH_LOW, *causes.PH_HIGH)
_CO2, _LIGHT = _of(*causes.CO2_LOW, *causes.CO2_HIGH), _of(*causes.DARK)
_TANK, _LINES = _of(*causes.LEVEL_LOW, *causes.LEVEL_HIGH), _of(*causes.FLOW)
_FEED, _TRAY = _of("normalised_output"), _of("float_switch_closed")

# What the parts of a lost circuit would move.
CIRCUITS: Mapping[str, frozenset[str]] = {
    "lights": _LIGHT, "air_conditioner": _AIR, "heater": _WARMTH, "fans": _AIR, "pump": _LINES, "doser": _EC | _PH,
}  # fmt: skip


def _shows(**outcomes: tuple[str, ...]) -> dict[str, str]:
    return {cause: outcome.replace("_", " ") for outcome, under in outcomes.items() for cause in under}


def _else(outcome: str, but: Mapping[str, str]) -> dict[str, str]:
    """Return the outcome under each cause but some, which have their own."""
    return {cause: but.get(cause, outcome) for cause in BY_NAME}


_SENSOR = ("sensor_offset", "sensor_stuck")
_HUMID = ("drying_lost", "coil_short_of_capacity", "free_water", "outside_air", "cooling_at_dew_point", "cooling_lost",
          "circulation_fan_dead", "lights_off_surge", "growing_canopy", "humid_source_lost", "purge_running",
          "heater_stuck")  # fmt: skip
_HUMIDITY_SENSOR = ("humidity_sensor_wet", "humidity_sensor_drift", *_SENSOR)
_WARM_OR_COLD = ("coil_short_of_capacity", "outside_air", "circulation_fan_dead", "heater_stuck", "purge_running",
                 "cooling_lost", "lamp_group_lost")  # fmt: skip
_EC_REAL = ("nutrient_stock_empty", "dilution_leak", "salt_uptake_high", "water_uptake_high", "feed_water_bad",
            "doser_overdosing", "doser_line_air", "valve_left_to_drain", "growing_canopy")  # fmt: skip
_EC_PROBE = ("ec_probe_fouled", "ec_probe_drift", "ec_compensation_wrong")
_PH_REAL = ("acid_empty", "base_empty", "alkaline_feed", "ph_uptake_drift", "doser_overdosing", "doser_line_air")
_PH_PROBE = ("ph_probe_aged", "ph_probe_dry", "ph_probe_unplugged")

CHECKS: tuple[Check, ...] = (
    # Air
    Check(
        "Look at the coil, its drain and its pan while the compressor runs.", 1,
        _shows(the_pan_stands_full_or_water_is_blown_off_or_there_is_ice=("drying_lost",),
               pan_and_drain_are_dry_without_ice=("cooling_at_dew_point", "cooling_lost", "circuit_lost", "humid_source_lost"),
               water_runs_as_usual_or_more=("free_water", "outside_air", "coil_short_of_capacity", "growing_canopy",
                                            "lights_off_surge", *_HUMIDITY_SENSOR)), _HUMIDITY,
    ),
    Check(
        "Read or feel the supply air after ten minutes of running.", 2,
        _shows(colder_than_the_dew_point_as_usual=("drying_lost", "free_water", "outside_air", "growing_canopy",
                                                   *_HUMIDITY_SENSOR),
               cool_as_usual=("heater_stuck", "purge_running", "circulation_fan_dead"),
               cool_but_above_the_dew_point=("cooling_at_dew_point",),
               hardly_colder_than_the_room=("coil_short_of_capacity",),
               no_colder_than_the_room=("cooling_lost", "circuit_lost")), _AIR,
    ),
    Check(
        "Look at the compressor's and the air handler's fault lights and breaker.", 1,
        _shows(the_breaker_is_off=("circuit_lost",), it_stands_or_shows_a_fault=("cooling_lost",),
               it_runs=("coil_short_of_capacity", "cooling_at_dew_point", "heater_stuck")), _AIR,
    ),
    Check("Hold a hand hygrometer beside the sensor for five minutes.", 5,
          _shows(they_agree=_HUMID, they_differ=_HUMIDITY_SENSOR), _HUMIDITY),
    Check("Hold a hand thermometer beside the sensor for five minutes.", 5,
          _shows(they_agree=_WARM_OR_COLD, they_differ=_SENSOR), _WARMTH),
    Check("Look whether drops hang on the humidity sensor.", 1,
          _shows(drops=("humidity_sensor_wet",), dry=("humidity_sensor_drift", *_SENSOR)), _HUMIDITY),
    Check(
        "Look at door, louvres and purge fan.", 1,
        _shows(one_stands_open=("outside_air",), the_purge_fan_runs=("purge_running",),
               all_shut_and_still=("co2_leak", "co2_bottle_empty", "co2_sensor_drift", "drying_lost", "free_water",
                                   "heater_stuck", "humid_source_lost", "cooling_lost", "coil_short_of_capacity",
                                   "circulation_fan_dead", "lamp_group_lost", "humidity_sensor_drift", *_SENSOR)),
        _AIR | _of(*causes.CO2_LOW),
    ),
    Check("Feel the air behind the heater while the room is above its set point.", 2,
          _shows(warm=("heater_stuck",), cold=("cooling_lost", "coil_short_of_capacity", "outside_air", "purge_running",
                                               "humid_source_lost", "circulation_fan_dead", *_SENSOR)), _AIR),
    Check("Look for standing water below shelves and fittings.", 3,
          _shows(water_stands=("free_water",), dry=("drying_lost", "outside_air", "cooling_at_dew_point",
                                                     "coil_short_of_capacity", "growing_canopy")), _HUMIDITY),
    Check("Look at the row's fan.", 1,
          _shows(it_stands=("circulation_fan_dead",), it_turns=("humidity_sensor_drift", "humidity_sensor_wet",
                 "lamp_group_lost", "drying_lost", "growing_canopy", *_SENSOR), no_fan_turns=("circuit_lost",)), _AIR),
    Check("Look at the plants.", 2,
          _shows(fewer_or_wilting=("humid_source_lost",), grown_since=("growing_canopy",),
                 as_they_were=("purge_running", "heater_stuck", "outside_air", "drying_lost", "sensor_offset")),
          _HUMIDITY),
    # Nutrients
    Check("Measure EC of a fresh sample with a hand meter.", 5,
          _shows(hand_and_probe_agree=_EC_REAL, they_differ=(*_EC_PROBE, *_SENSOR)), _EC),
    Check("Clean the EC probe and read it again.", 5,
          _shows(the_reading_rises=("ec_probe_fouled",), nothing_changes=("ec_probe_drift", "ec_compensation_wrong",
                 "doser_line_air", "nutrient_stock_empty")), _EC),
    Check("Look at the bottles: is stock in them, and in their lines? Pause the doser before refilling one.", 1,
          _shows(a_bottle_is_empty=("nutrient_stock_empty", "acid_empty", "base_empty"),
                 bubbles_in_a_line=("doser_line_air",),
                 full_bottles_and_lines=("ec_probe_fouled", "ec_probe_drift", "dilution_leak", "salt_uptake_high",
                                         "ph_probe_aged", "ph_uptake_drift", "alkaline_feed", "valve_left_to_drain",
                                         "ec_compensation_wrong", "ph_probe_dry", "ph_probe_unplugged", *_SENSOR)),
          _EC | _PH),
    Check("Catch one dose in a measuring cylinder.", 5,
          _shows(nothing_comes=("nutrient_stock_empty", "acid_empty", "base_empty", "circuit_lost"),
                 too_little=("doser_line_air",), too_much=("doser_overdosing",),
                 as_set=("ec_probe_fouled", "ec_probe_drift", "salt_uptake_high", "dilution_leak", "ph_probe_aged",
                         "feed_water_bad", "alkaline_feed", "ec_compensation_wrong", "ph_probe_dry",
                         "ph_probe_unplugged", "water_uptake_high", "growing_canopy", "ph_uptake_drift")), _EC | _PH),
    Check("Measure pH of a fresh sample with a hand meter.", 5,
          _shows(hand_and_probe_agree=_PH_REAL, they_differ=(*_PH_PROBE, *_SENSOR)), _PH),
    Check("Look at the pH probe: plugged in, and its tip under water?", 1,
          _shows(unplugged=("ph_probe_unplugged",), dry=("ph_probe_dry",),
                 both_well=("ph_probe_aged", "alkaline_feed", "ph_uptake_drift", "acid_empty", "base_empty",
                            "doser_overdosing", "doser_line_air", *_SENSOR)), _PH),
    Check("Measure EC and alkalinity of the feed water.", 5,
          _shows(salt_in_it=("feed_water_bad",), alkaline=("alkaline_feed",),
                 as_usual=("salt_uptake_high", "water_uptake_high", "ph_uptake_drift", "doser_overdosing", "acid_empty",
                           "ec_probe_drift", "ec_compensation_wrong", "growing_canopy", "ph_probe_aged")), _EC | _PH),
    # Water
    Check("Shut the top-up and watch the level for ten minutes.", 10,
          _shows(it_rises=("dilution_leak",), it_falls_fast=("valve_left_to_drain", "sump_return_lost"),
                 it_hardly_moves=("water_uptake_high", "salt_uptake_high", "nutrient_stock_empty", "level_sensor_stuck",
                                  "growing_canopy", *_SENSOR)), _EC | _TANK),
    Check("Look at the drain: does water run?", 1,
          _shows(water_runs=("valve_left_to_drain",),
                 dry=("sump_return_lost", "water_uptake_high", "level_sensor_stuck", "salt_uptake_high",
                      "nutrient_stock_empty", "growing_canopy", "ro_membrane_tired", "ro_feed_cold", "doser_line_air")),
          _EC | _TANK),
    Check("Look at the sump: how full is it?", 1,
          _shows(full=("sump_return_lost",), as_usual=("valve_left_to_drain", "growing_canopy", "ro_membrane_tired",
                                                       "ro_feed_cold", "level_sensor_stuck")), _TANK),
    Check("Read the level by eye.", 1,
          _shows(gauge_and_eye_differ=("level_sensor_stuck", *_SENSOR),
                 they_agree=("valve_left_to_drain", "dilution_leak", "sump_return_lost", "growing_canopy",
                             "ro_membrane_tired", "ro_feed_cold")), _TANK),
    Check("Catch three emitters' drip of the row for a minute.", 3,
          _shows(little_or_none=("emitters_clogged",), as_rated=_SENSOR,
                 little_in_every_row=("filter_loading", "pump_off", "circuit_lost")), _LINES),
    Check("Look at the pump and its breaker when it is commanded.", 2,
          _shows(the_breaker_is_off=("circuit_lost",), power_but_no_water=("pump_off",),
                 it_runs=("filter_loading", "emitters_clogged", *_SENSOR)), _LINES),
    Check("Clean the line filter.", 10,
          _shows(the_pressure_drop_falls=("filter_loading",), it_stays=("emitters_clogged", "pump_off")), _LINES),
    Check("Read the feed water's temperature.", 1,
          _shows(colder_than_usual=("ro_feed_cold",), as_usual=("ro_membrane_tired", "valve_left_to_drain",
                                                                "sump_return_lost", "growing_canopy")), _FEED | _TANK),
    Check("Measure one hour's feed water by hand.", 60,
          _shows(little=("ro_membrane_tired", "ro_feed_cold"),
                 as_usual=("valve_left_to_drain", "sump_return_lost", "growing_canopy", *_SENSOR)), _FEED | _TANK),
    Check("Look at the shelf: does water stand in its tray?", 1,
          _shows(it_stands=("flood_tray_not_draining",), it_is_dry=_SENSOR), _TRAY),
    # Light
    Check("Measure the light by hand beside the sensor.", 3,
          _shows(more_than_the_sensor_says=("light_sensor_shaded",), another_figure_than_the_sensors=_SENSOR,
                 as_little=("lamp_group_lost", "lamp_fade", "lamps_out_of_place", "timer_shift", "circuit_lost")),
          _LIGHT),
    Check("Look at the lamps: all lit, and hanging as they should?", 1,
          _shows(some_are_dark=("lamp_group_lost",), all_are_dark=("circuit_lost", "mains_lost"),
                 they_hang_askew=("lamps_out_of_place",),
                 all_lit_and_straight=("lamp_fade", "light_sensor_shaded", "timer_shift", *_SENSOR)), _LIGHT),
    Check("Compare the lights' hours with the crop plan.", 2,
          _shows(shifted=("timer_shift",), as_planned=("lamp_group_lost", "lamp_fade", "lamps_out_of_place",
                                                       "light_sensor_shaded", *_SENSOR)), _LIGHT),
    # CO2: none of these sends anybody into the room
    Check("Read the CO2 bottle's gauge or scale from outside the room.", 1,
          _shows(empty=("co2_bottle_empty",), falling_fast=("co2_valve_stuck_open",),
                 gas_in_it_as_usual=("co2_leak", "outside_air", "purge_running", "co2_sensor_drift", "lights_off_surge",
                                     *_SENSOR)), _CO2),
    # What can lie behind any quantity
    Check("Look at the week's chart: did the reading step, or creep?", 1,
          _shows(it_stepped=("sensor_offset",), it_rose_as_the_lights_went_off=("lights_off_surge",),
                 it_follows_the_temperature=("ec_compensation_wrong",),
                 it_crept=("ec_probe_fouled", "ec_probe_drift", "ph_probe_aged", "humidity_sensor_drift",
                           "co2_sensor_drift")), None),
    Check("Look at the breakers: is one off?", 1,
          _else("all are on", _shows(one_is_off=("circuit_lost",))), None),
    Check("Is there mains power at other sockets and next door?", 1,
          _else("power is there", _shows(none=("mains_lost",), only_here_off=("circuit_lost",))), None),
    Check("Look whether anything else of the farm still arrives.", 1,
          _else("other readings come", _shows(nothing_comes=("link_cut",), only_what_a_battery_feeds=("mains_lost",))),
          None),
    Check("Compare the device's clock with yours.", 1,
          _else("it agrees", _shows(it_differs=("clock_jump",))), None),
    Check("Watch the reading for ten minutes: does it move at all?", 10,
          _else("it moves", _shows(it_repeats_one_value=("sensor_stuck", "level_sensor_stuck"),
                                   nothing_comes=("link_cut", "mains_lost"))), None),
)  # fmt: skip


def moved_by(cause: str, part: str, at_quantity: str) -> frozenset[str] | None:
    """Return the quantities that a cause at a place can move; None where it can be any."""
    if at_quantity:
        return frozenset((at_quantity,))
    if cause == "circuit_lost":
        return CIRCUITS.get(part)
    symptoms = BY_NAME[cause].symptoms
    return None if symptoms == ANY else _of(*symptoms)


def next_check(named: Sequence[str], quantities: Collection[str] | None = None) -> tuple[str, dict[str, str]]:
    """Return the cheapest check that tells the first two of some causes apart, and what it shows under each of all.

    Only checks that bear on one of ``quantities`` count, where those are given. Without one, or without a second
    cause, the first cause's own check.
    """
    first = named[0]
    if len(named) > 1:
        second = named[1]
        apart = [
            one
            for one in CHECKS
            if one.bears(quantities)
            and first in one.shows
            and second in one.shows
            and one.shows[first] != one.shows[second]
        ]
        if apart:
            best = min(apart, key=lambda one: one.minutes)
            return best.what, {cause: best.shows[cause] for cause in named if cause in best.shows}
    return (BY_NAME[first].check if first in BY_NAME else ""), {}
