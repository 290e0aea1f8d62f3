"""On which tracks of the timeline the evidence of a finding can be seen."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from analytics.findings.scene import Scene
from farm.description import Farm
from farm.readings import Series

MOST_TRACKS, MOST_LINES = 5, 3  # as many as can be told apart at once; our choice, no source

# Of each indicator: its tracks, each one or several lines with ":" between. A line is a word of its own (`own` for the
# evidence's own series; those of `_named`), or `where/quantity` or `where/quantity/sensor`. Where is `room`, `rows`,
# `supply`, `outdoors` or `tank`, `elsewhere` for all but the tank, `own` for the evidence's own row or lamp group,
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
    "row_flow": "own_drip:drip",
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
    "ec": "tank/solution_ec",
    "ec_drift": "tank/solution_ec",
    "ec_with_temperature": "tank/solution_ec tank/solution_temperature",
    "salt_balance": "tank/solution_ec nutrient",
    "ph": "tank/solution_ph",
    "ph_drift": "tank/solution_ph",
    "nutrient_ml": "nutrient",
    "acid_ml": "acid",
    "base_ml": "base",
    "ec_response": "tank/solution_ec nutrient",
    "acid_response": "tank/solution_ph acid",
    "base_response": "tank/solution_ph base",
    "ec_late": "tank/solution_ec nutrient",
    "ph_late": "tank/solution_ph acid",
    "solution_temperature": "tank/solution_temperature",
    "oxygen": "tank/dissolved_oxygen",
    "level": "tank/solution_level tank/solution_volume",
    "level_fall": "tank/solution_level tank/solution_volume",
    "topped_up": "top_up",
    "drunk": "tank/solution_level tank/solution_volume top_up",
    "condensed_beyond_drunk": "any/flow_rate/condensate tank/solution_level tank/solution_volume",
    "flow": "drip any/pump_on",
    "watering_share": "drip any/pump_on",
    "pump_share": "any/pump_on",
    "dry_pump": "drip any/pump_on",
    "pressure_before": "any/line_pressure_before_filter",
    "pressure_after": "any/line_pressure_after_filter",
    "filter_resistance": "any/filter_pressure_drop",
    "emitter_resistance": "any/line_pressure_after_filter drip",
    "return_share": "return:drip",
    "feed_output": "any/normalised_output",
    "feed_output_raw": "top_up",
    "feed_temperature": "feed_temperature",
    "feed_ec": "elsewhere/solution_ec",
    "tray_wet_share": "any/float_switch_closed",
    "tray_wet_minutes": "any/float_switch_closed",
    "sample_gap": "own",
    "nutrient_left": "nutrient",
    "acid_left": "acid",
    "base_left": "base",
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


class EvidenceTracks:
    """Finds the tracks that show evidence, of the series of a farm that hold readings."""

    def __init__(self, farm: Farm, known: Iterable[Series]) -> None:
        self._farm = farm
        self._keys: defaultdict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
        for one in sorted(known, key=lambda one: one.key):
            self._keys[one.zone, one.quantity].append((one.sensor, one.key))
        self._known = {key for several in self._keys.values() for _, key in several}
        scene, unit, tank = Scene(farm, 0, {}), farm.equipment.air_conditioner, farm.equipment.reservoir
        self._rows = scene.rows
        own = tank.zone if tank is not None else ""
        self._zones = {
            "room": [scene.room or ""],
            "rows": scene.rows,
            "supply": [(unit.supply_zone if unit is not None else None) or ""],
            "outdoors": [scene.outdoors or ""],
            "tank": [own],
            "elsewhere": [one for one in farm.zones if one != own],
            "any": list(farm.zones),
        }
        self._named = _named(farm)

    def of(self, detail: Mapping[str, Any]) -> list[list[str]]:
        """Return the tracks, each of keys of series, that show what speaks for the first cause of a finding's detail.

        The strongest evidence comes first; a track of which another shows all is left out.
        """
        first = (detail.get("causes") or [{}])[0]
        stocks = list(first.get("places", ()))
        found: dict[tuple[str, ...], None] = {}
        for piece in first.get("for", ()):
            indicator = str(piece["indicator"]).split("@")[0]
            for asked in SEEN_IN.get(indicator, "").split():
                lines = [key for line in asked.split(":") for key in self._lines(line, str(piece["place"]), stocks)]
                if lines:
                    found.setdefault(tuple(dict.fromkeys(lines))[:MOST_LINES])
        whole = [one for one in found if not any(set(one) < set(other) for other in found)]
        return [list(one) for one in whole][:MOST_TRACKS]

    def _lines(self, line: str, place: str, stocks: list[str]) -> list[str]:
        """Return the known keys of a line of the table; of doses, those of the finding's own bottles first."""
        if line == "own":
            return [place] if place in self._known else []
        if "/" not in line:
            several = self._named["own_drip", place] if line == "own_drip" else self._named[line, ""]
            own_first = sorted(several, key=lambda key: key.split("/")[-1] not in stocks)
            return [key for key in own_first if key in self._known]
        where, quantity, *sensor = line.split("/")
        of_place = next((one.zones for one in self._farm.equipment.lamp_groups if one.name == place), [place])
        zones = {**self._zones, "own": of_place, "others": [one for one in self._rows if one not in of_place]}[where]
        return [
            key
            for zone in zones
            for name, key in self._keys.get((zone, quantity), ())
            if not sensor or name == sensor[0]
        ]


def _named(farm: Farm) -> defaultdict[tuple[str, str], list[str]]:
    """Return the keys of what the description names itself, by word; `own_drip` by row too."""
    equipment, found = farm.equipment, defaultdict[tuple[str, str], list[str]](list)
    roles = {one.name: one.role for one in equipment.stocks}
    for one in farm.described:
        if one.quantity == "dosed_volume" and one.sensor in roles:
            found[roles[one.sensor], ""].append(one.key)
    for row in equipment.drip_rows:
        if row.flow:
            found["drip", ""].append(row.flow)
            found["own_drip", row.zone].append(row.flow)
        if row.return_flow:
            found["return", ""].append(row.return_flow)
    if not found["drip", ""]:
        found["drip", ""] = [one.flow for one in equipment.filters if one.flow]
    unit, tank = equipment.reverse_osmosis, equipment.reservoir
    if unit is not None and unit.feed_temperature:
        found["feed_temperature", ""] = [unit.feed_temperature]
    meters = [*(tank.top_up if tank is not None else ()), *([unit.output] if unit is not None and unit.output else ())]
    found["top_up", ""] = list(dict.fromkeys(meters))
    return found
