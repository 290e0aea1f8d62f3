"""Limits of quality: usual ones for every quantity, a series' own over them, and messages for mistakes."""

from __future__ import annotations

from pathlib import Path

import pytest

from farm.check import check_text
from farm.quality_limits import HOUR, USUAL, USUAL_IN_A_DUCT, Quality, usual_quality
from farm.quantities import QUANTITIES, Kind
from tests.conftest import SMALL_FARM

DUCT = '[zones.duct]\nkind = "supply_duct"\nlabel = "Duct"\n[[series]]\nzone = "duct"\nquantity = "air_temperature"\n'


def with_quality(quantity, quality, zone="room"):
    text = f'{SMALL_FARM}\n[[series]]\nzone = "{zone}"\nsensor = "x"\nquantity = "{quantity}"\nquality = {quality}\n'
    farm, mistakes = check_text(text)
    if mistakes:
        return [f"{one.key}: {one.found}; {one.allowed}" for one in mistakes]
    return farm.quality_of(farm.series_of(zone, quantity)[-1])


def test_a_series_own_limits_stand_over_the_usual_ones():
    found = with_quality("air_temperature", "{ spike = [1, 2], skip = ['flat_line'] }")
    usual = USUAL["air_temperature"]
    assert (found.spike, found.skip) == ((1, 2), ["flat_line"])
    assert (found.change_per_min, found.flat_line_s) == (usual.change_per_min, usual.flat_line_s)


def test_behind_a_coil_the_air_may_change_faster():
    farm, _ = check_text(SMALL_FARM + DUCT)
    [duct], [room] = farm.series_of("duct", "air_temperature"), farm.series_of("room", "air_temperature")
    assert farm.quality_of(duct) == USUAL_IN_A_DUCT["air_temperature"]
    assert farm.quality_of(duct).spike > farm.quality_of(room).spike


def test_every_measured_level_has_a_flat_line_and_no_switch_or_counter_has():
    for quantity in QUANTITIES.values():
        quality = usual_quality(quantity.name)
        flat = quality.flat_line_s is not None and "flat_line" not in quality.skip
        assert flat == (quantity.kind is Kind.LEVEL and not quantity.derived), quantity.name
        if quantity.kind is not Kind.LEVEL:
            assert {"spike", "rate_of_change", "flat_line"} <= set(quality.skip)


def test_expected_ranges_lie_within_what_is_plausible_or_the_sensor_may_overshoot():
    for name, quality in USUAL.items():
        if quality.expected:
            low, high = quality.expected
            assert QUANTITIES[name].low <= low < high <= QUANTITIES[name].high, name


@pytest.mark.parametrize(
    ("quantity", "quality", "message"),
    [
        ("air_temperature", "{ spike = [3, 1] }", "quality.spike: [3, 1]; [suspect, fail], both above 0"),
        ("air_temperature", "{ change_per_min = [0, 1] }", "quality.change_per_min: [0, 1]; [suspect, fail]"),
        ("air_temperature", "{ flat_line_s = [60] }", "quality.flat_line_s"),
        ("air_temperature", "{ expected = [30, 10] }", "quality.expected: [30, 10]; [low, high] with low below high"),
        ("air_temperature", "{ skip = ['spikes'] }", "did you mean spike?"),
        ("air_temperature", "{ flat_tolerance = 1 }", "did you mean flat_line_tolerance?"),
        ("air_temperature", "{ flat_line_tolerance = 0 }", "quality.flat_line_tolerance: 0; greater than 0"),
        ("door_open", "{ flat_line_s = [60, 90] }", "quality.flat_line_s: a test for a state; expected, gap_s, skip"),
        ("electrical_energy", "{ spike = [1, 2] }", "quality.spike: a test for a counter"),
    ],
)
def test_mistakes_are_explained(quantity, quality, message):
    [mistake] = with_quality(quantity, quality)
    assert message in mistake


def pair(one, per=1.0):
    return "" if one is None else f"{one[0] / per:g} / {one[1] / per:g}"


def row(name, quality):
    expected = "" if quality.expected is None else f"{quality.expected[0]:g}..{quality.expected[1]:g}"
    resting = "" if quality.resting_value is None else f"{quality.resting_value:g}"
    unit = QUANTITIES[name.split(" ")[0].strip("`")].unit
    flat, change = pair(quality.flat_line_s, HOUR), pair(quality.change_per_min)
    return f"| {name} | {unit} | {expected} | {pair(quality.spike)} | {change} | {flat} | {resting} |"


def table_of_limits():
    lines = [
        "| quantity | unit | expected | spike | change a minute | flat line, h | may rest at |",
        "| --- " * 7 + "|",
    ]
    lines += [row(f"`{name}`", quality) for name, quality in USUAL.items()]
    lines += [row(f"`{name}` in a supply duct", quality) for name, quality in USUAL_IN_A_DUCT.items()]
    return "\n".join(lines)


def test_the_page_has_the_usual_limits():
    page = (Path(__file__).parents[2] / "docs" / "quality.md").read_text(encoding="utf-8")
    assert table_of_limits() in page, f"docs/quality.md should hold:\n{table_of_limits()}"


def test_a_quality_by_itself_asks_for_nothing():
    assert all(value in (None, []) for value in Quality().model_dump().values())
