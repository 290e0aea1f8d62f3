"""On which tracks of the timeline the evidence of a finding can be seen."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from analytics.findings.scene import Scene
from farm.description import Farm
from farm.readings import Series

MOST_TRACKS, MOST_LINES = 5, 3  # as many as can be told apart at once; our choice, no source

# Of each indicator: its tracks, each one or several series as `where/quantity` or `where/quantity/sensor` with ":"
# between. Where is `room`, `rows`, `supply` or `outdoors`, `own` for the evidence's own row, lamp group or series,
# `others` for the other rows, or `any`.
SEEN_IN: dict[str, str] = {
    "room_temperature": "room/air_temperature",
    "room_humidity": "room/relative_humidity",
    "room_vapour": "room/humidity_ratio",
    "rows_temperature": "rows/air_temperature",
    "rows_vapour": "rows/humidity_ratio",
    "room_vapour_against_rows": "room/humidity_ratio:rows/humidity_ratio",
    "coil_drying": "room/humidity_ratio:supply/humidity_ratio",
    "coil_cooling": "room/air_temperature:supply/air_temperature",
    "supply_above_dew_point": "supply/air_temperature:room/dew_point_temperature any/compressor_on",
    "compressor_share": "any/compressor_on",
    "condensate": "any/flow_rate/condensate",
    "condensate_per_run": "any/flow_rate/condensate any/compressor_on",
    "vapour_gain": "room/humidity_ratio any/compressor_on",
    "warmth_lost": "room/air_temperature any/compressor_on",
    "outdoor_temperature": "outdoors/air_temperature",
    "purge_share": "any/purge_on",
    "door_share": "any/door_open",
    "fans_share": "any/fan_on",
    "row_temperature": "own/air_temperature:others/air_temperature",
    "row_vapour": "own/humidity_ratio:others/humidity_ratio",
    "row_swing": "own/air_temperature:others/air_temperature",
    "row_fan": "own/fan_on",
    "row_air_speed": "own/air_speed",
    "row_flow": "own/flow_rate:others/flow_rate",
    "co2": "any/co2_mole_fraction",
    "co2_peak": "any/co2_mole_fraction",
    "co2_valve_share": "any/co2_valve_open",
    "co2_rise": "any/co2_mole_fraction any/co2_valve_open",
    "co2_loss": "any/co2_mole_fraction any/co2_valve_open",
    "light_output": "own/ppfd",
    "light_sibling": "own/ppfd:others/ppfd",
    "light_hours": "own/ppfd",
    "light_against_plan": "own/ppfd own/lights_on",
    "dark_commanded": "own/ppfd own/lights_on",
    "power": "any/electrical_power",
    "power_unexplained": "any/electrical_power",
    "power_at_rest": "any/electrical_power",
    "mains_share": "any/power_present",
    "ec": "any/solution_ec",
    "ec_drift": "any/solution_ec",
    "ec_with_temperature": "any/solution_ec any/solution_temperature",
    "salt_balance": "any/solution_ec any/dosed_volume",
    "ph": "any/solution_ph",
    "ph_drift": "any/solution_ph",
    "nutrient_ml": "any/dosed_volume",
    "acid_ml": "any/dosed_volume",
    "base_ml": "any/dosed_volume",
    "ec_response": "any/solution_ec any/dosed_volume",
    "acid_response": "any/solution_ph any/dosed_volume",
    "base_response": "any/solution_ph any/dosed_volume",
    "ec_late": "any/solution_ec any/dosed_volume",
    "ph_late": "any/solution_ph any/dosed_volume",
    "solution_temperature": "any/solution_temperature",
    "oxygen": "any/dissolved_oxygen",
    "level": "any/solution_level any/solution_volume",
    "level_fall": "any/solution_level any/solution_volume",
    "topped_up": "any/metered_volume",
    "drunk": "any/solution_level any/solution_volume any/metered_volume",
    "condensed_beyond_drunk": "any/flow_rate/condensate any/solution_level any/solution_volume",
    "flow": "any/flow_rate any/pump_on",
    "watering_share": "any/flow_rate any/pump_on",
    "pump_share": "any/pump_on",
    "dry_pump": "any/flow_rate any/pump_on",
    "pressure_before": "any/line_pressure_before_filter",
    "pressure_after": "any/line_pressure_after_filter",
    "filter_resistance": "any/filter_pressure_drop",
    "emitter_resistance": "any/line_pressure_after_filter any/flow_rate",
    "return_share": "any/flow_rate",
    "feed_output": "any/normalised_output",
    "feed_output_raw": "any/metered_volume",
    "feed_temperature": "any/solution_temperature",
    "feed_ec": "any/solution_ec",
    "tray_wet_share": "any/float_switch_closed",
    "tray_wet_minutes": "any/float_switch_closed",
    "sample_gap": "own",
    "nutrient_left": "any/dosed_volume",
    "acid_left": "any/dosed_volume",
    "base_left": "any/dosed_volume",
    "heard": "",
    "clock_wrong": "",
    "series_heard": "own",
    "series_own": "own",
    "series_jump": "own",
    "series_step": "own",
    "series_gap": "own",
    "series_unchanged": "own",
    "series_scatter": "own",
    "series_saturated": "own",
}


def tracks(farm: Farm, known: Collection[str], detail: Mapping[str, Any]) -> list[list[str]]:
    """Return the tracks, each of keys of series, that show what speaks for the first cause of a finding's detail.

    The strongest evidence comes first. ``known`` are the keys of the series that hold readings.
    """
    first = (detail.get("causes") or [{}])[0]
    found: dict[tuple[str, ...], None] = {}
    for piece in first.get("for", ()):
        indicator = str(piece["indicator"]).split("@")[0]
        for asked in SEEN_IN.get(indicator, "").split():
            lines = [key for line in asked.split(":") for key in _keys(farm, known, line, str(piece["place"]))]
            if lines:
                found.setdefault(tuple(dict.fromkeys(lines))[:MOST_LINES])
    whole = [one for one in found if not any(set(one) < set(other) for other in found)]
    return [list(one) for one in whole][:MOST_TRACKS]


def _keys(farm: Farm, known: Collection[str], line: str, place: str) -> Iterator[str]:
    """Yield the known keys of a line of the table, in the description's order of zones."""
    if line == "own":
        yield from (place,) if place in known else ()
        return
    where, quantity, *sensor = line.split("/")
    zones = _zones(farm, where, place)
    several = [Series.parse(farm.name, key) for key in sorted(known)]
    for zone in zones:
        for one in several:
            if one.zone == zone and one.quantity == quantity and (not sensor or one.sensor == sensor[0]):
                yield one.key


def _zones(farm: Farm, where: str, place: str) -> list[str]:
    scene = Scene(farm, 0, {})
    group = next((one for one in farm.equipment.lamp_groups if one.name == place), None)
    own = list(group.zones) if group is not None else [place]
    unit = farm.equipment.air_conditioner
    return {
        "room": [scene.room] if scene.room else [],
        "rows": scene.rows,
        "supply": [unit.supply_zone] if unit is not None and unit.supply_zone else [],
        "outdoors": [scene.outdoors] if scene.outdoors else [],
        "own": own,
        "others": [one for one in scene.rows if one not in own],
        "any": list(farm.zones),
    }[where]
