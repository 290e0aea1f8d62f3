"""Mistakes in what a description says of water: each with what is allowed."""

from __future__ import annotations

import pytest

from farm.check import check_text
from tests.conftest import SMALL_FARM

SERIES = """
[[series]]
zone = "row"
quantity = "flow_rate"
[[series]]
zone = "row"
quantity = "electrical_power"
[[series]]
zone = "row"
quantity = "solution_level"
[[series]]
zone = "row"
quantity = "line_pressure_before_filter"
[[series]]
zone = "row"
quantity = "line_pressure_after_filter"
"""


@pytest.mark.parametrize(
    ("equipment", "where", "found", "allowed"),
    [
        (
            '[[equipment.drip_rows]]\nzone = "row"\nemitters = 1\nemitter_flow_l_h = 2\nflow = "row/flowrate"',
            "equipment.drip_rows[0].flow",
            "'row/flowrate', which is no flow_rate or metered_volume series of this farm",
            "did you mean row/flow_rate?",
        ),
        (
            '[[equipment.drip_rows]]\nzone = "row"\nemitters = 1\nemitter_flow_l_h = 2\npump = "row/electrical_power"',
            "equipment.drip_rows[0]",
            "cycles from row/electrical_power without running_above",
            "running_above, in that series' unit",
        ),
        (
            '[[equipment.drip_rows]]\nzone = "row"\nemitters = 1\nemitter_flow_l_h = 2\nreturn_flow = "row/ppfd"',
            "equipment.drip_rows[0].return_flow",
            "'row/ppfd', which is no flow_rate series",
            "one of row/flow_rate",
        ),
        (
            '[[equipment.flood_shelves]]\nzone = "row"',
            "equipment.flood_shelves[0]",
            "neither pump nor water",
            "the key of at least one of them",
        ),
        (
            '[[equipment.flood_shelves]]\nzone = "row"\nwater = "row/solution_level"',
            "equipment.flood_shelves[0]",
            "solution_level without water_above",
            "water_above, in %",
        ),
        (
            '[[equipment.flood_shelves]]\nzone = "row"\npump = "row/electrical_power"',
            "equipment.flood_shelves[0]",
            "electrical_power without pump_above",
            "pump_above, in W",
        ),
        (
            '[[equipment.flood_shelves]]\nzone = "rowe"\npump = "row/pump_on"',
            "equipment.flood_shelves[0].zone",
            "'rowe', which is no zone of this farm",
            "did you mean row?",
        ),
        (
            (
                '[[equipment.filters]]\nname = "f"\nbefore = "row/line_pressure_before_filter"\n'
                'after = "row/line_pressure_after_filter"\nflow = "row/flow_rate"'
            ),
            "equipment.filters[0]",
            "no drip row on the flow 'row/flow_rate'",
            "reference_flow_l_min, or drip rows with that flow",
        ),
        (
            (
                '[[equipment.filters]]\nname = "f"\nbefore = "row/line_pressure_after_filter"\n'
                'after = "row/line_pressure_after_filter"\nflow = "row/flow_rate"\nreference_flow_l_min = 5'
            ),
            "equipment.filters[0].before",
            "'row/line_pressure_after_filter', which is no line_pressure_before_filter series",
            "row/line_pressure_before_filter",
        ),
        (
            '[equipment.reverse_osmosis]\nrated_l_per_day = 100\noutput = "feed/metered_volume"',
            "equipment.reverse_osmosis.output",
            "'feed/metered_volume', which is no metered_volume or flow_rate series",
            "one of row/flow_rate",
        ),
        (
            '[equipment.reverse_osmosis]\nrated_l_per_day = 100\nfeed_temperature = "row/flow_rate"',
            "equipment.reverse_osmosis.feed_temperature",
            "'row/flow_rate', which is no solution_temperature series",
            "none is described yet",
        ),
        (
            '[equipment.condensate]\nvolume = "room/condensate_volume"',
            "equipment.condensate.volume",
            "'room/condensate_volume', which is no condensate_volume series",
            "none is described yet",
        ),
        (
            '[equipment.reservoir]\nzone = "row"\nvolume_l = 10\ntop_up = []\ndrained = ["row/flow_rate"]',
            "equipment.reservoir.drained[0]",
            "'row/flow_rate', which is no metered_volume series",
            "none is described yet",
        ),
    ],
)
def test_a_mistake_is_named(equipment, where, found, allowed):
    farm, mistakes = check_text(SMALL_FARM + SERIES + equipment)
    [mistake] = [one for one in mistakes if found in one.found]
    assert mistake.key == where
    assert allowed in mistake.allowed
    assert farm is None


def test_one_name_a_filter():
    one = (
        '\n[[equipment.filters]]\nname = "f"\nbefore = "row/line_pressure_before_filter"\n'
        'after = "row/line_pressure_after_filter"\nflow = "row/flow_rate"\nreference_flow_l_min = 5'
    )
    _, mistakes = check_text(SMALL_FARM + SERIES + one + one)
    assert [mistake.found for mistake in mistakes] == ["the filter 'f' again"]
    farm, mistakes = check_text(SMALL_FARM + SERIES + one)
    assert mistakes == []
    assert farm.equipment.filters[0].reference_flow_l_min == 5
