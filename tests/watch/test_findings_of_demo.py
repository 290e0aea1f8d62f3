"""A month of the demonstration farm: each of its cases is named by what was wrong, and nothing else is found."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from analytics.findings.deviation import deviations, indicators
from analytics.findings.episodes import SMOOTH_H, episodes, told_at, wrong
from analytics.findings.explaining import explained
from analytics.findings.scene import HOUR_US, scene_of
from analytics.findings.weighing import weighed
from farm.flags import Flag
from farm.readings import Reading, Series, microseconds
from simulator.demo import LAMPS_LOST_H, LOST_ROW, demo_farm, demo_faults
from simulator.readings import columns_by_series
from simulator.simulation import Simulation
from store.embedded import EmbeddedStore
from store.journal import Journal
from watch.findings import UNUSUAL, FindingsKeeper, shipped_table

NOW = datetime(2026, 2, 28, 12, tzinfo=UTC)
DAYS = 30


def weighing_of(farm, start, faults, days):
    simulation = Simulation(farm, seed=1, start=start, faults=faults)
    columns = columns_by_series(farm.name, [simulation.run(1440) for _ in range(days)])
    first_us = microseconds(start)
    found = indicators(scene_of(farm, columns.items(), first_us, first_us + days * 24 * HOUR_US))
    return weighed(farm, shipped_table(), deviations(found))


def test_every_case_is_named_and_nothing_else_is_found():
    farm, start = demo_farm(), NOW - timedelta(days=DAYS)
    faults = demo_faults(start, NOW)
    weighing = weighing_of(farm, start, faults, DAYS)
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


def test_lamps_that_stay_dark_while_commanded_are_lost_and_no_timer_in_a_farms_first_days_too():
    days = 3
    farm, start = demo_farm(), NOW - timedelta(days=days)
    faults = demo_faults(start, NOW)
    weighing = weighing_of(farm, start, faults, days)
    probability = weighing.probabilities(SMOOTH_H)
    [lost] = [one for one in faults if one.kind == "lamp_group_lost"]
    first = (lost.start - start) // timedelta(hours=1)
    for hour in range(first + 1, first + LAMPS_LOST_H):
        named = explained(weighing, hour, probability[:, hour], Series(farm.name, LOST_ROW, "ppfd"), "low")
        assert named.first.cause == "lamp_group_lost"
        assert named.first.places == (LOST_ROW,)
        assert named.first.probability > 0.75
        assert all(one.cause != "timer_shift" or one.probability < 0.05 for one in named.candidates)


@pytest.mark.slow
def test_what_dark_lamps_left_in_the_day_is_an_echo_between_whole_hours_too(tmp_path):
    """A mean over the day still falls when the lamps are mended: no look says "gives less light" because of it."""
    farm = demo_farm()
    lost = next(one for one in demo_faults(NOW - timedelta(days=DAYS), NOW) if one.kind == "lamp_group_lost")
    first = (lost.start - timedelta(days=10)).replace(hour=0)
    simulation = Simulation(farm, seed=1, start=first, faults=[lost])
    columns = columns_by_series(farm.name, [simulation.run(1440) for _ in range(11)])
    store, journal = EmbeddedStore(tmp_path), Journal(f"sqlite:///{tmp_path}/journal.sqlite")
    now_us = microseconds(lost.end + timedelta(hours=4, minutes=31))
    store.append(
        [
            Reading(series, at_us, value, Flag.NOT_EVALUATED)
            for series, several in columns.items()
            for at_us, value in zip(several.time_us.tolist(), several.value.tolist(), strict=True)
            if at_us <= now_us
        ]
    )
    FindingsKeeper(farm, store, store, journal, lambda: now_us).renew()
    [one] = [one for one in journal.findings.between(farm.name) if one.subject == UNUSUAL]
    assert one.end_us is None
    assert one.detail["causes"][0]["cause"] == "lamp_group_lost"
    store.close()
    journal.close()
