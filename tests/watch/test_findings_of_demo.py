"""A month of the demonstration farm: each of its cases is named by what was wrong, and nothing else is found."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from analytics.findings.deviation import deviations, indicators
from analytics.findings.episodes import SMOOTH_H, episodes, wrong
from analytics.findings.explaining import explained
from analytics.findings.scene import HOUR_US, scene_of
from analytics.findings.weighing import weighed
from farm.readings import microseconds
from simulator.demo import demo_farm, demo_faults
from simulator.readings import columns_by_series
from simulator.simulation import Simulation
from watch.findings import shipped_table, told_at

NOW = datetime(2026, 2, 28, 12, tzinfo=UTC)
DAYS = 30


def test_every_case_is_named_and_nothing_else_is_found():
    farm, start = demo_farm(), NOW - timedelta(days=DAYS)
    faults = demo_faults(start, NOW)
    simulation = Simulation(farm, seed=1, start=start, faults=faults)
    columns = columns_by_series(farm.name, [simulation.run(1440) for _ in range(DAYS)])
    first_us = microseconds(start)
    found = indicators(scene_of(farm, columns.items(), first_us, first_us + DAYS * 24 * HOUR_US))
    weighing = weighed(farm, shipped_table(), deviations(found))
    probability = weighing.probabilities(SMOOTH_H)
    something = wrong(weighing, probability)
    told = []
    for one in episodes(something):
        hour = told_at(one, something, weighing)
        named = explained(weighing, hour, probability[:, hour]).first
        begun = start + one.begin * timedelta(hours=1)
        told.append(named.cause)
        assert any(fault.kind == named.cause and abs(fault.start - begun) < timedelta(hours=9) for fault in faults), (
            named.cause,
            begun,
        )
        assert named.probability > 0.9
    # What comes while the last, lasting case is open is told beside it, or by its own excursion.
    assert told == ["drying_lost", "lamp_group_lost", "nutrient_stock_empty", "drying_lost", "nutrient_stock_empty"]
