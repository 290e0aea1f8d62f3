"""Excursions in the journal: opened, followed, closed, and the same whatever the order of arrival."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.conftest import MINUTE_US, T0_US, samples
from tests.watch.conftest import House
from watch import excursions
from watch.excursions import ExcursionKeeper

HUMIDITY = "room/relative_humidity"
# The small farm's band: 50 to 75 %, 5 min on, 2 min off, 2 % deadband.


def found(house):
    return [
        (
            one.series.key,
            str(one.side),
            (one.onset_us - T0_US) / MINUTE_US,
            None if one.end_us is None else (one.end_us - T0_US) / MINUTE_US,
            one.extreme,
            one.dose,
        )
        for one in house.journal.excursions(house.farm.name, series=house.series(HUMIDITY))
    ]


def test_it_opens_grows_and_closes(house):
    rows = samples("60*3 80*6 85 60*4")
    house.put(HUMIDITY, rows[:9])
    house.work()
    assert [row[:5] for row in found(house)] == [(HUMIDITY, "high", 3, None, 80.0)]
    [identity] = [one.identity for one in house.journal.excursions(house.farm.name)]
    house.put(HUMIDITY, rows[9:])
    house.work()
    assert [row[:5] for row in found(house)] == [(HUMIDITY, "high", 3, 10, 85.0)]
    assert house.journal.excursion(house.farm.name, identity) is not None, "it keeps its name while it grows"


def test_a_late_reading_revises_what_was_found(house):
    rows = samples("60*3 80*12 60*4")
    late = [row for row in rows if row[0] == T0_US + 9 * MINUTE_US]
    house.put(HUMIDITY, [row for row in rows if row not in late])
    house.work()
    assert len(found(house)) == 1
    # A minute in the middle, inside the band, splits no excursion (its return does not last) ...
    house.put(HUMIDITY, [(late[0][0], 60.0)])
    house.work()
    assert [row[2:4] for row in found(house)] == [(3, 15)]
    # Twenty minutes before all this were outside as well; the three inside are longer than the off-delay.
    house.put(HUMIDITY, [(time_us - 20 * MINUTE_US, value) for time_us, value in samples("80*20")])
    house.work()
    assert [row[2:4] for row in found(house)] == [(-20, 0), (3, 15)]


def test_a_day_late_pack_opens_a_past_excursion_and_leaves_the_present_one(house):
    house.put(HUMIDITY, samples("60*5 80*20", start_us=T0_US + 1440 * MINUTE_US))
    house.work()
    house.put(HUMIDITY, samples("60*5 30*20 60*10"))
    house.work()
    assert [row[1:4] for row in found(house)] == [("low", 5, 25), ("high", 1445, None)]


def test_a_restart_goes_on_where_it_was(house):
    house.put(HUMIDITY, samples("60*3 80*10"))
    house.work()
    house.fresh_watch()
    house.put(HUMIDITY, samples("80*5 60*5", start_us=T0_US + 13 * MINUTE_US))
    house.work()
    assert [row[2:4] for row in found(house)] == [(3, 18)]


def test_the_lights_decide_which_limits_hold(house):
    """21 degC is inside while lit (20 to 24) and above the dark band (16 to 20)."""
    house.put("room/air_temperature", samples("21*40"))
    house.put("row/lights_on", samples("1*20 0*20"))
    house.work()
    [one] = house.journal.excursions(house.farm.name)
    assert (one.series.key, str(one.side), (one.onset_us - T0_US) // MINUTE_US) == ("room/air_temperature", "high", 20)
    assert one.limit == 20


def test_lights_that_come_late_revise_the_excursion(house):
    house.put("room/air_temperature", samples("21*40"))
    house.work()  # T0 is 01:00 in Oslo: the plan says dark, so 21 degC is too warm
    assert len(house.journal.excursions(house.farm.name)) == 1
    house.put("row/lights_on", samples("1*40"))
    house.work()
    assert house.journal.excursions(house.farm.name) == []


def test_one_let_go_in_a_long_silence_is_asked_for_again(house, monkeypatch):
    """Looking at a stretch without readings tells nothing of what was before it."""
    monkeypatch.setattr(excursions, "MOST_KNOWN", 1)
    later_us = T0_US + 10 * 1440 * MINUTE_US
    house.put(HUMIDITY, samples("60*5 80*60 60*5"))
    house.put(HUMIDITY, samples("60*5 80*20 60*20 80*20 60*20", start_us=later_us))
    house.work()
    keeper = ExcursionKeeper(house.farm, house.store, house.journal, house.series(HUMIDITY))
    silent_us = T0_US + 5 * 1440 * MINUTE_US
    keeper.renew(silent_us, silent_us, later_us)  # as when the lights of that day come late
    house.put(HUMIDITY, [(T0_US + 70 * MINUTE_US, 60.0)])
    keeper.renew(T0_US + 70 * MINUTE_US, T0_US + 70 * MINUTE_US)
    assert [row[2:4] for row in found(house)] == [(5, 65), (14405, 14425), (14445, 14465)]


@pytest.mark.slow
@settings(max_examples=25)
@given(st.data())
def test_any_order_of_arrival_gives_the_same_excursions(small_farm, data):
    values = data.draw(st.lists(st.sampled_from([40.0, 52.5, 60.0, 74.0, 80.0, 90.0]), min_size=1, max_size=14))
    lengths = data.draw(st.lists(st.integers(1, 9), min_size=len(values), max_size=len(values)))
    gaps = data.draw(st.lists(st.sampled_from([0, 0, 0, 2, 12]), min_size=len(values), max_size=len(values)))
    text = " ".join(f"{v}*{n} _*{g}" if g else f"{v}*{n}" for v, n, g in zip(values, lengths, gaps, strict=True))
    rows = samples(text)
    seed = data.draw(st.integers(0, 2**16))
    results = []
    for shuffled in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            house = House(small_farm, Path(folder))
            rng = random.Random(seed)
            order = rng.sample(rows, len(rows)) if shuffled else rows
            place = 0
            while place < len(order):
                size = rng.randint(1, 25) if shuffled else len(order)
                house.put(HUMIDITY, order[place : place + size])
                house.work()
                if shuffled and rng.random() < 0.2:
                    house.fresh_watch()
                place += size
            results.append(found(house))
            house.close()
    assert results[0] == results[1]
