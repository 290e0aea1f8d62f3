"""Units on the wire against their definitions, as a reference library has them."""

from __future__ import annotations

import json

import pytest
from scipy import constants

from farm.check import check_text
from farm.units import WIRE_UNITS, conversion_to
from ingest.arrival import Arrival
from tests.conftest import SMALL_FARM

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
GALLON_L = constants.gallon * 1000  # US liquid gallon

# What one of a wire unit is inside; SciPy's constants (NIST SP 811, CODATA), exact where the definition is.
BY_SCIPY = [
    ("kPa", "psi", constants.psi / 1e3), ("kPa", "[psi]", constants.psi / 1e3), ("kPa", "bar", constants.bar / 1e3),
    ("kPa", "hPa", constants.hecto / 1e3), ("kPa", "Pa", 1e-3), ("kPa", "MPa", constants.mega / 1e3),
    ("L", "gal", GALLON_L), ("L", "[gal_us]", GALLON_L), ("L", "m3", 1 / constants.liter),
    ("mL", "gal", GALLON_L * 1e3),
    ("L/min", "gpm", GALLON_L), ("L/min", "gph", GALLON_L / 60),
    ("L/min", "m3/h", 1 / constants.liter / 60),
    ("L/min", "l/s", constants.minute), ("L/min", "L/h", constants.minute / constants.hour),
    ("m/s", "km/h", constants.kmh), ("m/s", "mph", constants.mph), ("m/s", "fpm", constants.foot / constants.minute),
    ("kWh", "MJ", constants.mega / constants.hour / 1e3), ("kWh", "J", 1 / constants.hour / 1e3),
    ("kWh", "W.s", 1 / constants.hour / 1e3), ("kWh", "MWh", constants.mega / constants.kilo),
    ("L", "L/min.s", 1 / constants.minute), ("L", "l/s.s", 1.0), ("L", "m3/s.s", 1 / constants.liter),
    ("mS/cm", "uS/cm", constants.micro / constants.milli), ("mS/cm", "µS/cm", constants.micro / constants.milli),
    ("mS/cm", "S/m", constants.centi / constants.milli), ("umol mol-1", "%", constants.centi / constants.micro),
    ("umol mol-1", "/", 1 / constants.micro), ("%", "/", 1 / constants.centi),
    ("%", "/1000", constants.milli / constants.centi),
    ("lx", "klx", constants.kilo), ("W", "Btu/h", constants.Btu_IT / constants.hour),
]  # fmt: skip


@pytest.mark.parametrize(("inside", "wire", "one"), BY_SCIPY)
def test_one_of_each_unit_is_what_its_definition_says(inside, wire, one):
    scale, offset = conversion_to(inside, wire)
    assert (scale, offset) == (pytest.approx(one, rel=1e-12), 0)


@pytest.mark.parametrize("spelling", ["inHg", "[in_i'Hg]"])
def test_the_inch_of_mercury_is_the_conventional_one(spelling):
    """NIST SP 811, appendix B.8: inch of mercury, conventional, is 3.386389 E+03 Pa; given to seven digits."""
    assert conversion_to("kPa", spelling).scale == pytest.approx(3.386389, rel=1e-7)


@pytest.mark.parametrize("value", [-40.0, 0.0, 70.5, 212.0])
def test_temperatures_are_those_of_the_reference_library(value):
    for wire, name in (("degF", "Fahrenheit"), ("[degF]", "Fahrenheit"), ("K", "Kelvin"), ("Cel", "Celsius")):
        scale, offset = conversion_to("degC", wire)
        expected = constants.convert_temperature(value, name, "Celsius")
        assert value * scale + offset == pytest.approx(expected, abs=1e-12)


def test_no_spelling_means_two_things_for_one_quantity():
    for inside, units in WIRE_UNITS.items():
        assert units.get(inside, (1.0, 0.0)) == (1.0, 0.0)
        assert all(conversion.scale != 0 for conversion in units.values())


LUX = SMALL_FARM.replace('quantity = "ppfd"', 'quantity = "ppfd"\nunit = "lx"\nlux_per_ppfd = 54')


@pytest.mark.parametrize(
    ("factor", "lux", "ppfd", "tolerance"),
    [
        # Factor for sunlight: Thimijan and Heins 1983, HortScience 18:818 (from secondary copies). The spectrum: ASTM
        # G173 global, whose illuminance and PPFD were computed with colour-science. 8 % is what sources differ by.
        (54, 109_495, 1977.9, 0.08),
        # Deitzer 1994 (from secondary copies) has 55.18 for sunlight: the same spectrum within the same 8 %.
        (55.18, 109_495, 1977.9, 0.08),
        # High-pressure sodium: 82 of the same source; the spectrum CIE HP1 has 85.84 by colour-science.
        (82, 85_840, 1000, 0.08),
        # Cool white fluorescent: 74 of the same source; the spectrum CIE FL2 has 76.48 by colour-science.
        (74, 76_480, 1000, 0.08),
    ],
)
def test_a_lux_sensor_may_stand_for_ppfd_under_a_stated_light(factor, lux, ppfd, tolerance):
    farm, mistakes = check_text(LUX.replace("= 54", f"= {factor}"))
    assert mistakes == []
    arrival = Arrival(farm)
    for record in ({"v": lux}, {"u": "lux", "v": lux}, {"u": "klx", "v": lux / 1000}):
        [reading], _ = arrival.read("t", json.dumps([{"n": "row/ppfd"} | record]).encode(), NOW_US)
        assert reading.value == pytest.approx(ppfd, rel=tolerance)
    [reading], _ = arrival.read("t", b'[{"n":"row/ppfd","u":"umol/m2/s","v":250}]', NOW_US)
    assert reading.value == 250, "a quantum sensor's own unit still is what it says"


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        (("lux_per_ppfd = 54", "lux_per_ppfd = 0"), "series[3].lux_per_ppfd", ["greater than 0"]),
        (("lux_per_ppfd = 54", ""), "series[3].unit", ["'lx'", "lx with lux_per_ppfd"]),
        (('quantity = "ppfd"', 'quantity = "illuminance"'), "series[3].lux_per_ppfd", ["quantity ppfd"]),
    ],
)
def test_a_factor_that_cannot_be_is_told(change, key, words):
    _, [mistake] = check_text(LUX.replace(*change))
    assert mistake.key == key
    assert all(word in str(mistake) for word in words), str(mistake)


def test_without_a_factor_lux_is_refused_for_ppfd(small_farm):
    _, [fault] = Arrival(small_farm).read("t", b'[{"n":"row/ppfd","u":"lx","v":9000}]', NOW_US)
    assert "'lx': send one of umol m-2 s-1" in fault.detail


COUNTER = (
    SMALL_FARM + '[[series]]\nzone = "room"\nquantity = "metered_volume"\nper_count = 0.25\nrolls_over_at = 65536\n'
)


def test_a_counter_that_sends_counts_has_a_unit_per_count():
    farm, mistakes = check_text(COUNTER)
    assert mistakes == []
    arrival = Arrival(farm)
    sent = [{"v": 400}, {"u": "count", "v": 400}, {"u": "1", "v": 400}, {"u": "l", "v": 100}, {"u": "m3", "v": 0.1}]
    for record in sent:
        [reading], _ = arrival.read("t", json.dumps([{"n": "room/metered_volume"} | record]).encode(), NOW_US)
        assert reading.value == pytest.approx(100.0), record
    assert farm.series[-1].rolls_over == 16_384.0


def test_where_it_rolls_over_is_in_what_it_sends():
    farm, mistakes = check_text(COUNTER.replace("per_count = 0.25", 'unit = "m3"'))
    assert mistakes == []
    assert farm.series[-1].rolls_over == 65_536_000.0


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        (("per_count = 0.25", "per_count = -1"), "per_count", ["greater than 0"]),
        (("rolls_over_at = 65536", "rolls_over_at = 0"), "rolls_over_at", ["greater than 0"]),
        (("per_count = 0.25\nrolls_over_at = 65536", 'unit = "count"'), "unit", ["'count'", "a unit of Water meter"]),
        (('"metered_volume"\nper_count = 0.25', '"flow_rate"'), "rolls_over_at", ["electrical_energy", "dosed_volume"]),
        (
            ('"metered_volume"\nper_count = 0.25\nrolls_over_at = 65536', '"flow_rate"\nper_count = 1'),
            "per_count",
            ["counter"],
        ),
    ],
)
def test_a_counters_keys_that_cannot_be_are_told(change, key, words):
    _, [mistake] = check_text(COUNTER.replace(*change))
    assert mistake.key == f"series[6].{key}"
    assert all(word in str(mistake) for word in words), str(mistake)
