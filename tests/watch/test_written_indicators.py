"""What people write down speaks in findings: samples by hand for a week, refills until the bottle must be empty."""

from __future__ import annotations

import numpy as np
import pytest

from farm.flags import Flag
from farm.readings import Reading, Series
from simulator.demo import demo_farm
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.log_entries import GrabSample, Refill
from tests.conftest import MINUTE_US, T0_US
from watch.written_indicators import written_indicators

HOUR_US = 60 * MINUTE_US
ORIGIN_US = T0_US - T0_US % HOUR_US


@pytest.fixture
def house(tmp_path):
    store, journal = EmbeddedStore(tmp_path), Journal(f"sqlite:///{tmp_path}/journal.sqlite")
    yield demo_farm(), store, journal
    store.close()
    journal.close()


def take(store, farm, key, values, every_us):
    series = Series.parse(farm.name, key)
    store.append(
        [Reading(series, ORIGIN_US + n * every_us, float(one), Flag.NOT_EVALUATED) for n, one in enumerate(values)]
    )


def found(house, hours):
    farm, store, journal = house
    made = written_indicators(farm, journal, store, ORIGIN_US, ORIGIN_US + hours * HOUR_US)
    return {(one.name, one.place): one for one in made}


def test_a_sample_by_hand_is_held_against_the_reading_beside_it_for_a_week(house):
    farm, store, journal = house
    key = "reservoir/solution_ec"
    take(store, farm, key, np.full(30, 1.80), 5 * MINUTE_US)
    detail = GrabSample(series=key, value=2.05, plus_or_minus=0.05)
    journal.log.add(farm.name, ORIGIN_US + 90 * MINUTE_US, "kim", detail, 1)
    gap = found(house, 24 * 9)["sample_gap", key]
    assert np.isnan(gap.value[0])
    assert gap.value[1 : 1 + 7 * 24] == pytest.approx(np.full(7 * 24, -0.25))
    assert np.isnan(gap.value[2 + 7 * 24 :]).all()
    accuracy = farm.described[Series.parse(farm.name, key)].plus_or_minus
    assert gap.least == pytest.approx(0.5 * np.hypot(accuracy, 0.05))


def test_a_sample_with_no_reading_beside_it_says_nothing(house):
    farm, _, journal = house
    detail = GrabSample(series="reservoir/solution_ec", value=2.05)
    journal.log.add(farm.name, ORIGIN_US + 90 * MINUTE_US, "kim", detail, 1)
    assert np.isnan(found(house, 24)["sample_gap", "reservoir/solution_ec"].value).all()


def test_a_bottle_is_empty_when_its_counter_has_given_what_it_held(house):
    farm, store, journal = house
    [acid] = [one for one in farm.equipment.stocks if one.role == "acid"]
    take(store, farm, f"reservoir/dosed_volume/{acid.name}", 5000.0 + 25.0 * np.arange(49), HOUR_US)  # 25 mL an hour
    journal.log.add(farm.name, ORIGIN_US, "kim", Refill(stock=acid.name, holds_l=1.0), 1)
    left = found(house, 48)["acid_left", ""].value
    assert left[10] == 0.15  # plenty left: no more than that is told
    assert left[37] == pytest.approx(1.0 - 37 * 25.0 / 1000.0)
    assert left[45] == pytest.approx(1.0 - 45 * 25.0 / 1000.0)  # below 0: more was counted than it held


def test_without_entries_there_is_nothing(house):
    assert found(house, 24) == {}
