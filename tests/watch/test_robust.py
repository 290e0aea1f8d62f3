"""What once went wrong, or would: late readings at borders, days that end, work that fails."""

from __future__ import annotations

import random
import time
from datetime import date
from threading import Event, Thread

import pytest

from farm.check import check_text
from store.contract import DayDamaged, StoreUnavailable, StoreUnusable
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.log_entries import Note
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.day_sheet import day_sheet

HUMIDITY = "room/relative_humidity"
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US


def test_a_day_sheet_follows_an_excursion_that_ends_on_the_next_day(house):
    """In Oslo the day ends at 23:00 UTC; the excursion lasts from 22:00 to 24:00 UTC."""
    house.put(HUMIDITY, samples("60*60 80*60", start_us=T0_US + 21 * HOUR_US))
    house.now_us = T0_US + 23 * HOUR_US - 1
    house.work()
    [before] = house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["excursions"]
    assert before["end"] is None
    house.put(HUMIDITY, samples("80*60 60*30", start_us=T0_US + 23 * HOUR_US))
    house.now_us = T0_US + 26 * HOUR_US
    house.work()
    [after] = house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["excursions"]
    assert (after["id"], after["end"]) == (before["id"], "2026-03-02T00:00:00Z")


def test_a_day_that_is_over_is_complete_even_if_nothing_more_arrives(house):
    house.put(HUMIDITY, samples("60*60", start_us=T0_US + 20 * HOUR_US))
    house.now_us = T0_US + 22 * HOUR_US
    house.fresh_watch()
    house.work()
    assert house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["complete"] is False
    house.now_us = T0_US + 24 * HOUR_US
    house.work()
    assert house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["complete"] is True


def test_a_day_that_ended_while_the_service_was_away_is_complete(house):
    house.put(HUMIDITY, samples("60*60", start_us=T0_US + 20 * HOUR_US))
    house.now_us = T0_US + 22 * HOUR_US
    house.fresh_watch()
    house.work()
    house.now_us = T0_US + 48 * HOUR_US
    house.fresh_watch()
    house.work()
    assert house.journal.day_sheet("testfarm", date(2026, 3, 1)).sheet["complete"] is True


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_any_order_of_arrival_gives_the_same_light_integrals(small_farm, tmp_path, seed):
    day = "0*10 1*32 0*6 "  # half-hourly: lights on at 05:00 UTC for 16 h
    lights = [("row/lights_on", at, value) for at, value in samples(day * 4, 30 * MINUTE_US)]
    light = [("row/ppfd", at, value * 250) for _, at, value in lights]
    text = SMALL_FARM.replace('quantity = "ppfd"', 'quantity = "ppfd"\ncadence_s = 1800').replace(
        'quantity = "lights_on"', 'quantity = "lights_on"\ncadence_s = 1800'
    )
    farm, mistakes = check_text(text)
    assert not mistakes
    results = []
    for shuffled in (False, True):
        house = House(farm, tmp_path / str(shuffled))
        rng = random.Random(seed)
        order = rng.sample(lights + light, len(lights + light)) if shuffled else lights + light
        size = 23 if shuffled else len(order)
        for place in range(0, len(order), size):
            for key, at, value in order[place : place + size]:
                house.put(key, [(at, value)])
            house.work()
        results.append(house.read("row/daily_light_integral"))
        house.close()
    assert len(results[0]) == 5
    assert results[1] == results[0]


def test_a_late_reading_leaves_the_history_after_it_as_it_was_found(house):
    """The plan changes; then a reading comes that is older than all of it."""
    house.put(HUMIDITY, samples("60*30 80*30 " * 20))
    house.work()
    before = house.journal.excursions("testfarm")
    assert len(before) == 20
    wider = SMALL_FARM.replace("always = [50, 75]", "always = [50, 90]")
    house.farm, house.sha256 = check_text(wider)[0], "second"
    house.now_us += 1_000_000
    house.fresh_watch()
    house.put(HUMIDITY, [(T0_US - 30 * DAY_US, 60.0)])
    house.work()
    assert house.journal.excursions("testfarm") == before


def test_one_piece_of_work_that_fails_is_told_and_the_others_go_on(house, monkeypatch):
    house.put("room/air_temperature", samples("22*20"))
    house.put(HUMIDITY, samples("80*20"))
    real = type(house.store).replace

    def failing(store, series, *arguments):
        if series.quantity == "dew_point_temperature":
            raise ValueError("no such thing")
        real(store, series, *arguments)

    with monkeypatch.context() as patch:
        patch.setattr(type(house.store), "replace", failing)
        begun_us = house.now_us
        house.work()
        house.now_us += MINUTE_US
        house.put(HUMIDITY, [(T0_US + 19 * MINUTE_US + 1, 80.0)])
        house.work()
    assert list(house.watch.counts.broken) == ["room/dew_point_temperature"]
    assert house.watch.counts.broken_since_us == {"room/dew_point_temperature": begun_us}
    assert len(house.read("room/vapour_pressure_deficit")) == 21
    found = {one.series.key for one in house.journal.excursions("testfarm")}
    assert found == {"room/air_temperature", "room/relative_humidity"}
    house.put("room/air_temperature", [(T0_US + 20 * MINUTE_US, 22.0)])
    house.work()
    assert house.watch.counts.broken == house.watch.counts.broken_since_us == {}


def test_a_zone_whose_sensors_are_gone_stops_nothing(house):
    house.put("outdoors/air_temperature", samples("-5*20"))
    house.put(HUMIDITY, samples("60*20"))
    house.work()
    text = SMALL_FARM.replace(
        '[[series]]\nzone = "outdoors"\nquantity = "air_temperature"\nwire = "yard-1"\nunit = "degF"\n', ""
    )
    assert text != SMALL_FARM
    house.farm, house.sha256 = check_text(text)[0], "second"
    house.now_us += 1_000_000
    house.fresh_watch()
    house.put(HUMIDITY, [(T0_US + 20 * MINUTE_US, 61.0)])
    house.work()
    assert house.watch.counts.broken == {}
    assert house.journal.stale_days("testfarm") == []


REPLACE = EmbeddedStore.replace


def refusing(error):
    """Return a store's `replace` that fails on one derived series."""

    def replace(store, series, *arguments):
        if series.quantity == "dew_point_temperature":
            raise error
        REPLACE(store, series, *arguments)

    return replace


@pytest.mark.parametrize("error", [StoreUnavailable("it is full"), StoreUnusable("it is not ours")], ids=repr)
def test_a_store_that_fails_ends_the_round_and_the_notes_stay(house, monkeypatch, error):
    house.put("room/air_temperature", samples("22*20"))
    house.put(HUMIDITY, samples("60*20"))
    notes = house.store.touched("testfarm", 100)
    stopping = Event()
    with monkeypatch.context() as patch:
        patch.setattr("watch.jobs.RETRY_S", 0.01)
        patch.setattr(EmbeddedStore, "replace", refusing(error))
        worker = Thread(target=house.watch.run, args=(stopping,))
        worker.start()
        try:
            give_up = time.monotonic() + 20
            while house.watch.counts.trouble is None and time.monotonic() < give_up:
                time.sleep(0.01)
            assert house.watch.counts.trouble == str(error)  # no word of reporting a fault of the program
        finally:
            stopping.set()
            house.watch.pace.call()
            worker.join(20)
        assert not worker.is_alive()
    assert house.watch.counts.broken == {}
    assert house.store.touched("testfarm", 100) == notes
    house.fresh_watch()
    house.work()
    assert len(house.read("room/dew_point_temperature")) == 20


def test_a_damaged_day_stops_only_what_needs_it(house, monkeypatch):
    house.put("room/air_temperature", samples("22*20"))
    house.put(HUMIDITY, samples("80*20"))
    with monkeypatch.context() as patch:
        patch.setattr(EmbeddedStore, "replace", refusing(DayDamaged("its file is missing")))
        house.work()
    assert list(house.watch.counts.broken) == ["room/dew_point_temperature"]
    assert house.store.touched("testfarm", 100) == []
    assert len(house.read("room/vapour_pressure_deficit")) == 20


def test_what_is_written_into_the_log_while_its_day_sheet_is_worked_out_is_not_lost(house, monkeypatch):
    """The command writes from another process, between the sheet's look at the log and its saving."""
    house.put(HUMIDITY, samples("60*60", start_us=T0_US + 6 * HOUR_US))
    day = date(2026, 3, 1)

    def worked_out_meanwhile(*given):
        entry = day_sheet(*given)
        if given[4] == day:
            with Journal(f"sqlite:///{house.store.folder}/journal.sqlite") as other:
                other.log.add("testfarm", T0_US, "kim", Note(note="leaves pale"), T0_US, [day])
        return entry

    with monkeypatch.context() as patch:
        patch.setattr("watch.sheet_writing.day_sheet", worked_out_meanwhile)
        house.work()
    assert house.watch.counts.broken == {}
    assert house.journal.stale_days("testfarm") == [day]
    house.now_us += 120_000_000
    house.work()
    assert house.journal.stale_days("testfarm") == []
