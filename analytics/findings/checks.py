"""Cheap checks that tell causes apart: what each would show. Common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from farm.causes import BY_NAME


class Check(NamedTuple):
    """Something a person can do: how long it takes, and what it shows under each cause that it knows of."""

    what: str
    minutes: float
    shows: Mapping[str, str]


def _shows(**outcomes: tuple[str, ...]) -> dict[str, str]:
    return {cause: outcome.replace("_", " ") for outcome, causes in outcomes.items() for cause in causes}


_HUMID = ("drying_lost", "coil_short_of_capacity", "free_water", "outside_air", "cooling_at_dew_point", "cooling_lost",
          "circulation_fan_dead", "lights_off_surge", "growing_canopy", "humid_source_lost", "purge_running", "heater_stuck")  # fmt: skip
_HUMIDITY_SENSOR = ("humidity_sensor_wet", "humidity_sensor_drift", "sensor_offset", "sensor_stuck")
_EC_REAL = ("nutrient_stock_empty", "dilution_leak", "salt_uptake_high", "water_uptake_high", "feed_water_bad",
            "doser_overdosing", "doser_line_air", "valve_left_to_drain")  # fmt: skip
_EC_PROBE = ("ec_probe_fouled", "ec_probe_drift", "ec_compensation_wrong")
_PH_REAL = ("acid_empty", "base_empty", "alkaline_feed", "ph_uptake_drift", "doser_overdosing", "doser_line_air")
_PH_PROBE = ("ph_probe_aged", "ph_probe_dry", "ph_probe_unplugged")

CHECKS: tuple[Check, ...] = (
    Check(
        "Look at the coil's drain and pan while the compressor runs.", 1,
        _shows(the_pan_stands_full_or_water_is_blown_off=("drying_lost",),
               pan_and_drain_are_dry=("cooling_at_dew_point", "cooling_lost", "circuit_lost", "humid_source_lost"),
               water_runs_as_usual_or_more=("free_water", "outside_air", "coil_short_of_capacity", "growing_canopy",
                                            "lights_off_surge", *_HUMIDITY_SENSOR)),
    ),
    Check(
        "Read or feel the supply air after ten minutes of running.", 2,
        _shows(colder_than_the_dew_point_as_usual=("drying_lost", "free_water", "outside_air", *_HUMIDITY_SENSOR),
               cool_but_above_the_dew_point=("cooling_at_dew_point", "coil_short_of_capacity"),
               no_colder_than_the_room=("cooling_lost", "circuit_lost")),
    ),
    Check(
        "Look at the compressor's and the air handler's lamps and breaker.", 1,
        _shows(the_breaker_is_off=("circuit_lost",), it_runs_or_shows_a_fault=("cooling_lost", "coil_short_of_capacity")),
    ),
    Check(
        "Hold a hand hygrometer beside the sensor for five minutes.", 5,
        _shows(they_agree=_HUMID, they_differ=_HUMIDITY_SENSOR),
    ),
    Check("Look whether drops hang on the humidity sensor.", 1,
          _shows(drops=("humidity_sensor_wet",), dry=("humidity_sensor_drift", "sensor_offset", "sensor_stuck"))),
    Check(
        "Look at door, louvres and purge fan.", 1,
        _shows(one_stands_open=("outside_air",), the_purge_fan_runs=("purge_running",),
               all_shut_and_still=("co2_leak", "co2_bottle_empty", "co2_sensor_drift", "drying_lost", "free_water",
                                   "heater_stuck", "humid_source_lost", "cooling_lost")),
    ),
    Check("Look for standing water below shelves and fittings.", 3,
          _shows(water_stands=("free_water",), dry=("drying_lost", "outside_air", "cooling_at_dew_point",
                                                     "coil_short_of_capacity", "growing_canopy"))),
    Check("Look at the row's fan.", 1,
          _shows(it_stands=("circulation_fan_dead",), it_turns=("sensor_offset", "humidity_sensor_drift",
                 "humidity_sensor_wet", "lamp_group_lost", "drying_lost"), no_fan_turns=("circuit_lost",))),
    Check("Look at the plants.", 2,
          _shows(fewer_or_wilting=("humid_source_lost",),
                 as_they_were=("purge_running", "heater_stuck", "outside_air", "drying_lost", "sensor_offset"))),
    Check(
        "Measure EC of a fresh sample with a hand meter.", 5,
        _shows(hand_and_probe_agree=_EC_REAL, they_differ=(*_EC_PROBE, "sensor_offset", "sensor_stuck")),
    ),
    Check("Clean the EC probe and read it again.", 5,
          _shows(the_reading_rises=("ec_probe_fouled",), nothing_changes=("ec_probe_drift", "ec_compensation_wrong",
                                                                          "doser_line_air", "nutrient_stock_empty"))),
    Check("Look at the bottles: is stock in them, and in their lines?", 1,
          _shows(a_bottle_is_empty=("nutrient_stock_empty", "acid_empty", "base_empty"),
                 bubbles_in_a_line=("doser_line_air",),
                 full_bottles_and_lines=("ec_probe_fouled", "ec_probe_drift", "dilution_leak", "salt_uptake_high",
                                         "ph_probe_aged", "ph_uptake_drift", "alkaline_feed", "valve_left_to_drain"))),
    Check("Catch one dose in a measuring cylinder.", 5,
          _shows(nothing_comes=("nutrient_stock_empty", "acid_empty", "base_empty", "circuit_lost"),
                 too_little=("doser_line_air",), too_much=("doser_overdosing",),
                 as_set=("ec_probe_fouled", "ec_probe_drift", "salt_uptake_high", "dilution_leak", "ph_probe_aged",
                         "feed_water_bad", "alkaline_feed"))),
    Check("Shut the top-up and watch the level for ten minutes.", 10,
          _shows(it_rises=("dilution_leak",), it_falls_fast=("valve_left_to_drain", "sump_return_lost"),
                 it_hardly_moves=("water_uptake_high", "salt_uptake_high", "nutrient_stock_empty", "level_sensor_stuck"))),
    Check("Look at the drain: does water run?", 1,
          _shows(water_runs=("valve_left_to_drain",), dry=("sump_return_lost", "water_uptake_high", "level_sensor_stuck",
                                                           "salt_uptake_high", "nutrient_stock_empty"))),
    Check("Look at the sump: how full is it?", 1,
          _shows(full=("sump_return_lost",), as_usual=("valve_left_to_drain", "water_uptake_high"))),
    Check("Read the level by eye.", 1,
          _shows(gauge_and_eye_differ=("level_sensor_stuck", "sensor_stuck", "sensor_offset"),
                 they_agree=("water_uptake_high", "valve_left_to_drain", "dilution_leak", "sump_return_lost",
                             "humid_source_lost"))),
    Check("Measure pH of a fresh sample with a hand meter.", 5,
          _shows(hand_and_probe_agree=_PH_REAL, they_differ=(*_PH_PROBE, "sensor_offset", "sensor_stuck"))),
    Check("Look at the pH probe: plugged in, and its tip under water?", 1,
          _shows(unplugged=("ph_probe_unplugged",), dry=("ph_probe_dry",), both_well=("ph_probe_aged", "alkaline_feed",
                                                                                     "ph_uptake_drift", "sensor_offset"))),
    Check("Measure EC and alkalinity of the feed water.", 5,
          _shows(salt_in_it=("feed_water_bad",), alkaline=("alkaline_feed",),
                 as_usual=("salt_uptake_high", "water_uptake_high", "ph_uptake_drift", "doser_overdosing", "acid_empty",
                           "ec_probe_drift"))),
    Check("Measure the light by hand beside the sensor.", 3,
          _shows(more_than_the_sensor_says=("light_sensor_shaded", "sensor_offset"),
                 as_little=("lamp_group_lost", "lamp_fade", "lamps_out_of_place", "timer_shift", "circuit_lost"))),
    Check("Look at the lamps: all lit, and hanging as they should?", 1,
          _shows(some_are_dark=("lamp_group_lost",), all_are_dark=("circuit_lost", "mains_lost"),
                 they_hang_askew=("lamps_out_of_place",), all_lit_and_straight=("lamp_fade", "light_sensor_shaded",
                                                                               "timer_shift"))),
    Check("Catch three emitters' drip of the row for a minute.", 3,
          _shows(little_or_none=("emitters_clogged",), as_rated=("sensor_offset", "sensor_stuck"),
                 little_in_every_row=("filter_loading", "pump_off", "circuit_lost"))),
    Check("Look at the pump and its breaker when it is commanded.", 2,
          _shows(the_breaker_is_off=("circuit_lost",), power_but_no_water=("pump_off",), it_runs=("filter_loading",
                 "emitters_clogged", "sensor_stuck", "valve_left_to_drain"))),
    Check("Clean the line filter.", 10,
          _shows(the_pressure_drop_falls=("filter_loading",), it_stays=("emitters_clogged", "pump_off"))),
    Check("Read the feed water's temperature.", 1,
          _shows(colder_than_usual=("ro_feed_cold",), as_usual=("ro_membrane_tired",))),
    Check("Read the CO2 bottle's gauge or scale from outside the room.", 1,
          _shows(empty=("co2_bottle_empty",), gas_in_it=("co2_leak", "outside_air", "purge_running", "co2_sensor_drift"),
                 falling_fast=("co2_valve_stuck_open",))),
    Check("Is there mains power at other sockets and next door?", 1,
          _shows(none=("mains_lost",), only_here_off=("circuit_lost", "lamp_group_lost", "pump_off", "cooling_lost"))),
    Check("Compare the device's clock with yours.", 1,
          _shows(it_differs=("clock_jump",), it_agrees=("link_cut", "timer_shift"))),
)  # fmt: skip


def next_check(first: str, second: str | None) -> tuple[str, dict[str, str]]:
    """Return the cheapest check that tells two causes apart, and what it shows under each.

    Without one, or without a second cause, the first cause's own check.
    """
    if second is not None:
        apart = [
            one
            for one in CHECKS
            if first in one.shows and second in one.shows and one.shows[first] != one.shows[second]
        ]
        if apart:
            best = min(apart, key=lambda one: one.minutes)
            return best.what, {first: best.shows[first], second: best.shows[second]}
    return (BY_NAME[first].check if first in BY_NAME else ""), {}
