"""Where to look first when a quantity is out of its band: common practice, no source.

A first thing to look at, not a finding: it knows the quantity and the side, and nothing else.
"""

from __future__ import annotations

from store.entries import Side

FIRST_CHECKS: dict[tuple[str, Side], str] = {
    ("air_temperature", Side.HIGH): "the cooling and its set point, then doors and lamps",
    ("air_temperature", Side.LOW): "the heating and its set point, then doors and louvres",
    (
        "relative_humidity",
        Side.HIGH,
    ): "whether water is removed (compressor, coil, its drain), then fans, leaks and doors",
    ("relative_humidity", Side.LOW): "whether outside air comes in, then the cooling's set point",
    (
        "vapour_pressure_deficit",
        Side.LOW,
    ): "whether water is removed (compressor, coil, its drain), then fans and leaks",
    ("vapour_pressure_deficit", Side.HIGH): "whether the air is too warm or too dry, then outside air coming in",
    ("co2_mole_fraction", Side.LOW): "the bottle and its valve, then doors and louvres",
    ("co2_mole_fraction", Side.HIGH): "the CO2 valve, from outside",
    ("ppfd", Side.LOW): "that row's lamps, their plugs and breaker, then the sensor's place",
    ("ppfd", Side.HIGH): "the lamps' dimming and their distance, then the sensor's place",
    ("solution_ec", Side.LOW): "the stock bottles and the doser's lines, then how much water was topped up",
    ("solution_ec", Side.HIGH): "the doser, then whether water is topped up; check the probe with a grab sample",
    ("solution_ph", Side.LOW): "the acid doser, then the probe with a buffer",
    ("solution_ph", Side.HIGH): "the acid bottle and the doser's line, then the probe with a buffer",
    ("solution_temperature", Side.HIGH): "the room and the pump, then the reservoir's level",
    ("solution_temperature", Side.LOW): "the feed water and the room",
    ("dissolved_oxygen", Side.LOW): "the aeration and the pump, then the solution's temperature",
    ("solution_level", Side.LOW): "the drain valve and below the tank, then the feed water",
    ("solution_volume", Side.LOW): "the drain valve and below the tank, then the feed water",
    ("solution_level", Side.HIGH): "the top-up valve, and where unmetered water could come from",
    ("solution_volume", Side.HIGH): "the top-up valve, and where unmetered water could come from",
    ("flow_rate", Side.LOW): "the pump and its breaker, then the filter",
    ("condensation_margin", Side.LOW): "that surface, then why the air is humid",
}
