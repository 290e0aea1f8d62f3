"""What an indicator is: one figure an hour at one place, and from what change on it is worth noticing."""

from __future__ import annotations

from typing import NamedTuple

from analytics.alignment import Floats
from farm.causes import Place


class Spec(NamedTuple):
    """How an indicator is judged and told.

    ``least`` is the smallest change worth noticing, as one standard deviation, in its unit (a share of the usual
    value if ``relative``): from what sensors repeat to, our choice where no source says more. ``hours`` is the
    window that its newest value is a mean over; each hour's own is worked out from the day before it where it is
    ``of_a_day``. With ``reference`` it is held against that, not against the farm's own past.
    """

    label: str
    unit: str
    least: float
    decimals: int = 2
    relative: bool = False
    hours: int = 2
    reference: float | None = None
    place: Place = Place.FARM
    slow: bool = True  # judged over weeks too
    of_a_day: bool = False
    reduce: str = "mean"  # of its hours; or the "least", or the "largest" with its sign


class Indicator(NamedTuple):
    """One indicator at one place: ``place`` is empty for the farm, else a zone, stock, lamp group or series key.

    ``least`` is given where it hangs on the sensor; else the spec's holds.
    """

    name: str
    place: str
    value: Floats
    least: float | None = None


_ROW, _SERIES, _GROUP = Place.ROW, Place.SERIES, Place.LAMP_GROUP

SPECS: dict[str, Spec] = {
    # Air
    "room_temperature": Spec("Room air", "°C", 0.2, 1, hours=1),
    "room_humidity": Spec("Humidity in the room", "%", 1.0, 1, hours=1),
    "room_vapour": Spec("Vapour in the room", "g/kg", 0.15, hours=1),
    "rows_temperature": Spec("Air in the rows", "°C", 0.2, 1, hours=1),
    "rows_vapour": Spec("Vapour in the rows", "g/kg", 0.15, hours=1),
    "room_vapour_against_rows": Spec("Vapour in the room above the rows'", "g/kg", 0.08, hours=1),
    "coil_drying": Spec("Fall of vapour from the room's air to the supply air", "g/kg", 0.15, hours=1),
    "coil_cooling": Spec("Cooling of the air across the coil", "K", 0.04, 1, relative=True, hours=1),
    "supply_above_dew_point": Spec(
        "Supply air's temperature less the room's dew point, compressor running", "K", 0.6, 1, hours=1
    ),
    "compressor_share": Spec("Time that the compressor runs", "1", 0.05),
    "condensate": Spec("Condensate", "L/h", 0.1),
    "condensate_per_run": Spec("Condensate for each hour of running", "L/h", 0.08, relative=True, hours=4),
    "vapour_gain": Spec("Vapour gained while the compressor rests", "g/kg/h", 0.4, 1, hours=2),
    "warmth_lost": Spec("Fall of the room's temperature while nothing heats or cools", "K/h", 0.3, 1),
    "outdoor_temperature": Spec("Outdoor air", "°C", 3.0, 1),
    "purge_share": Spec("Time that the purge fan runs", "1", 0.05, hours=1),
    "door_share": Spec("Time that a door is open", "1", 0.04, hours=1),
    "fans_share": Spec("Time that the circulation fans run", "1", 0.05, hours=1),
    "row_temperature": Spec("Air temperature of the row against that of its siblings", "K", 0.06, place=_ROW),
    "row_vapour": Spec("Vapour in the row against that of its siblings", "g/kg", 0.04, place=_ROW),
    "row_swing": Spec("Swings of the row's temperature against its siblings'", "1", 0.12, hours=3, place=_ROW),
    "row_fan": Spec("Time that the row's fan runs", "1", 0.05, hours=1, place=_ROW),
    "row_air_speed": Spec("Air speed in the row", "m/s", 0.1, relative=True, place=_ROW),
    "row_flow": Spec("The row's share of the water", "1", 0.03, relative=True, place=_ROW, hours=1),
    # CO2
    "co2": Spec("CO2", "ppm", 25.0, 0, hours=1),
    "co2_peak": Spec("Highest CO2 in an hour", "ppm", 60.0, 0, hours=1, slow=False),
    "co2_valve_share": Spec("Time that the CO2 valve is open", "1", 0.04, hours=2),
    "co2_rise": Spec("Rise of CO2 while the valve is open", "ppm/min", 0.1, 1, relative=True, hours=2),
    "co2_loss": Spec("Fall of CO2 towards outdoors, valve shut", "1/h", 0.2, hours=2),
    # Light
    "light_output": Spec("Light of the group against new lamps", "1", 0.012, 3, relative=True, hours=1, place=_GROUP),
    "light_sibling": Spec(
        "Light of the group against the other groups", "1", 0.012, 3, relative=True, hours=1, place=_GROUP
    ),
    "light_hours": Spec("Share of the hour that the group shines", "1", 0.08, hours=1, place=_GROUP, slow=False),
    "light_against_plan": Spec(
        "Share of the day that lights go against the crop plan",
        "1",
        0.01,
        1,
        reference=0.0,
        hours=24,
        place=_GROUP,
        slow=False,
    ),
    "dark_commanded": Spec("Dark while commanded on", "1", 0.06, reference=0.0, hours=1, place=_GROUP, slow=False),
    # Power
    "power": Spec("Power of the farm", "W", 0.02, 0, relative=True, hours=1),
    "power_unexplained": Spec("Power beyond what is commanded on", "W", 60.0, 0, hours=1),
    "power_at_rest": Spec("Power of what is always on", "W", 6.0, 0, hours=18, reduce="least"),
    "mains_share": Spec("Time that the mains are there", "1", 0.02, hours=1, slow=False),
    # Root zone
    "ec": Spec("EC", "mS/cm", 0.02, hours=1),
    "ec_drift": Spec("Drift of EC between doses", "mS/cm/h", 0.001, 4, hours=12),
    "ec_with_temperature": Spec("EC that follows the solution's temperature", "%/K", 0.5, hours=24),
    "salt_balance": Spec("Change of salt less what doses should bring", "mS/cm/h", 0.0004, 4, hours=12),
    "ph": Spec("pH", "pH", 0.05, hours=1),
    "ph_drift": Spec("Drift of pH between doses", "pH/h", 0.0015, 4, hours=12),
    "nutrient_ml": Spec("Nutrients dosed, all bottles together", "mL/h", 0.1, 1, relative=True, hours=24),
    "acid_ml": Spec("Acid dosed", "mL/h", 0.12, 1, relative=True, hours=24),
    "base_ml": Spec("Base dosed", "mL/h", 0.12, 1, relative=True, hours=24),
    "ec_response": Spec(
        "Rise of EC after a day's doses, against the stock's strength", "1", 0.02, relative=True, hours=2, of_a_day=True
    ),
    "acid_response": Spec(
        "Fall of pH after a day's acid, for each mL in a litre", "pH L/mL", 0.05, relative=True, hours=2, of_a_day=True
    ),
    "base_response": Spec(
        "Rise of pH after a day's base, for each mL in a litre", "pH L/mL", 0.05, relative=True, hours=2, of_a_day=True
    ),
    "ec_late": Spec(
        "Part of EC's answer to a day's doses that comes after ten minutes", "1", 0.05, hours=2, of_a_day=True
    ),
    "ph_late": Spec(
        "Part of pH's answer to a day's acid that comes after ten minutes", "1", 0.05, hours=2, of_a_day=True
    ),
    "solution_temperature": Spec("Solution temperature", "°C", 0.3, 1, hours=1),
    "oxygen": Spec("Dissolved oxygen", "mg/L", 0.1, 1, hours=1),
    # Water
    "level": Spec("Level of the reservoir", "%", 0.7, 1, hours=1),
    "level_fall": Spec("Fall of the level between top-ups", "%/h", 0.15, hours=2),
    "topped_up": Spec("Water topped up", "L/h", 0.4, hours=4),
    "drunk": Spec("Water that leaves the reservoir", "L/h", 0.4, hours=4),
    "condensed_beyond_drunk": Spec("Condensate beyond what leaves the reservoir", "L/h", 0.15, hours=12),
    "flow": Spec("Flow while the pump runs", "L/min", 0.02, relative=True, hours=1),
    "watering_share": Spec("Share of the hour with water flowing", "1", 0.03, hours=1),
    "pump_share": Spec("Share of the hour that the pump is commanded", "1", 0.03, hours=1),
    "dry_pump": Spec("No flow while the pump is commanded", "1", 0.06, reference=0.0, hours=1, slow=False),
    "pressure_before": Spec("Pressure before the filter", "kPa", 0.02, 0, relative=True, hours=1),
    "pressure_after": Spec("Pressure after the filter", "kPa", 0.02, 0, relative=True, hours=1),
    "filter_resistance": Spec("Pressure drop over the filter at rated flow", "kPa", 0.7, 1, hours=1),
    "emitter_resistance": Spec("Pressure needed for the flow to the rows", "1", 0.02, relative=True, hours=1),
    "return_share": Spec("Share of the water that comes back", "1", 0.02, hours=2),
    "feed_output": Spec("Feed water made while the unit runs, at 25 °C", "L/h", 0.03, relative=True, hours=6),
    "feed_output_raw": Spec("Feed water made while the unit runs", "L/h", 0.03, relative=True, hours=6),
    "feed_temperature": Spec("Feed water temperature", "°C", 0.4, 1, hours=1),
    "feed_ec": Spec("EC of the feed water", "mS/cm", 0.015, 3, hours=1),
    "tray_wet_share": Spec("Time that a flood tray is wet", "1", 0.03),
    "tray_wet_minutes": Spec("Longest time in a day that a flood tray stands wet", "min", 1.0, 0, hours=1, slow=False),
    # What people write down
    "sample_gap": Spec(
        "Its reading against the newest sample by hand", "", 1.0, reference=0.0, hours=1, place=_SERIES, slow=False
    ),
    "nutrient_left": Spec(
        "Left in the emptiest nutrient bottle, by what was dosed", "1", 0.03, reference=0.15, hours=1, slow=False
    ),
    "acid_left": Spec("Left in the acid bottle, by what was dosed", "1", 0.03, reference=0.15, hours=1, slow=False),
    "base_left": Spec("Left in the base bottle, by what was dosed", "1", 0.03, reference=0.15, hours=1, slow=False),
    # Data, and every sensor by itself
    "heard": Spec("Share of all readings that came", "1", 0.03, hours=1, slow=False),
    "clock_wrong": Spec("Share of devices whose clock was wrong", "1", 0.02, hours=1, reference=0.0, slow=False),
    "series_heard": Spec("Share of its readings that came", "1", 0.05, hours=1, place=_SERIES, slow=False),
    "series_own": Spec("Its own value", "", 1.0, hours=1, place=_SERIES),
    "series_jump": Spec(
        "Its largest step of the day from one hour to the next", "", 1.0, hours=1, place=_SERIES, slow=False
    ),
    "series_step": Spec("Its largest sudden step", "", 1.0, hours=36, reduce="largest", place=_SERIES, slow=False),
    "series_gap": Spec("Its value against what others of its kind say", "", 1.0, hours=1, place=_SERIES),
    "series_unchanged": Spec("Hours without any change", "h", 0.5, 1, hours=1, place=_SERIES, slow=False),
    "series_scatter": Spec("Scatter from minute to minute", "1", 0.35, hours=3, place=_SERIES),
    "series_saturated": Spec("Time at the end of its scale", "1", 0.05, place=_SERIES, slow=False),
}
