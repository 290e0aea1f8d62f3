"""A backlog is worked off piece by piece, each day's sheet once, and ends as if it had come at once."""

from __future__ import annotations

from collections import Counter
from threading import Event

import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading, Series
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch import jobs, sheet_writing

TEMPERATURE, HUMIDITY = "room/air_temperature", "room/relative_humidity"
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
DAYS = 4
BANDS = SMALL_FARM + "vapour_pressure_deficit = { always = [0.4, 1.3], on_delay_s = 0 }\n"
WET = "60 60.5 " * 60 + "90 90.5 " * 1200 + "60 60.5 " * 180  # 4 h dry, 80 h wet, 12 h dry: every 2 min


@pytest.fixture
def houses(tmp_path):
    farm, mistakes = check_text(BANDS)
    assert not mistakes
    made = [House(farm, tmp_path / name) for name in ("at once", "in pieces")]
    yield made
    for one in made:
        one.close()


def fill(house, by_day, humidity=WET):
    step_us = 2 * MINUTE_US
    rows = {TEMPERATURE: samples("22 22.1 " * (360 * DAYS), step_us), HUMIDITY: samples(humidity, step_us)}
    days = range(DAYS) if by_day else [0]
    for day in days:
        for key, several in rows.items():
            inside = [one for one in several if not by_day or day == (one[0] - T0_US) // DAY_US]
            house.put(key, inside)


def states(house):
    journal, farm = house.journal, house.farm.name
    sheets = {day: journal.day_sheet(farm, day).sheet for day in journal.days(farm)}
    return journal.excursions(farm), sheets, house.read("room/vapour_pressure_deficit")


@pytest.mark.parametrize("by_day", [True, False])
def test_it_ends_as_if_all_had_come_at_once(houses, monkeypatch, by_day):
    whole, pieces = houses
    for house in houses:
        fill(house, by_day)
    whole.work()
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 20)
    rounds = 0
    while pieces.watch.round():
        pieces.now_us += 61_000_000  # long enough to write any sheet again
        rounds += 1
    assert rounds > 8
    for house in houses:
        house.now_us = T0_US + 40 * DAY_US
        house.fresh_watch()
        house.work()
    excursions, sheets, deficits = states(whole)
    assert {one.series.key for one in excursions} >= {HUMIDITY, "room/vapour_pressure_deficit"}
    assert states(pieces)[0] == excursions
    assert states(pieces)[2] == deficits
    assert states(pieces)[1] == sheets


def test_of_a_backlog_in_order_of_days_each_sheet_is_written_once(houses, monkeypatch):
    house, _ = houses
    written, sheet = Counter(), sheet_writing.day_sheet
    monkeypatch.setattr(sheet_writing, "day_sheet", lambda *args: (written.update([args[4]]), sheet(*args))[1])
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 50)
    monkeypatch.setattr(jobs.Watch, "_find", lambda *_, busy: None)  # findings come last, and their days again
    fill(house, by_day=True, humidity="60 60.5 " * (360 * DAYS))
    while house.watch.round():
        house.now_us += 10_000_000
    assert set(written.values()) == {1}
    assert not house.journal.stale_days(house.farm.name)
    assert len(written) == DAYS + 1, "Oslo's days are not those of UTC"


def test_an_excursion_that_goes_on_in_what_waits_is_not_followed_there(houses, monkeypatch):
    house, _ = houses
    fill(house, by_day=True)
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 48)  # a day of two series
    house.watch.round()
    [humid] = house.journal.excursions(house.farm.name, series=house.series(HUMIDITY))
    assert humid.end_us is None
    assert humid.last_us < T0_US + DAY_US
    house.work()
    [humid] = house.journal.excursions(house.farm.name, series=house.series(HUMIDITY))
    assert humid.end_us == T0_US + 84 * HOUR_US


def test_late_readings_leave_later_excursions_alone_while_more_waits(houses, monkeypatch):
    house, other = houses
    for one in houses:
        fill(one, by_day=True)
        one.work()
        one.put(HUMIDITY, samples("95*30", start_us=T0_US - 2 * DAY_US))
        one.put(HUMIDITY, samples("60*30", start_us=T0_US - 2 * DAY_US + HOUR_US))
    other.work()
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 1)
    house.watch.round()
    assert len(house.journal.excursions(house.farm.name, series=house.series(HUMIDITY))) == 2
    house.work()
    assert house.journal.excursions(house.farm.name) == other.journal.excursions(other.farm.name)


def test_only_after_an_end_out_of_order_a_round_may_be_a_repeat(house, monkeypatch):
    asked, deriver = [], type(house.watch._deriver)
    renew = deriver.renew

    def noted(one, *args, again):
        asked.append(again)
        renew(one, *args, again=again)

    monkeypatch.setattr(deriver, "renew", noted)
    house.put(HUMIDITY, samples("60*60"))
    house.work()
    house.fresh_watch()  # as after a kill: nothing was told of an end
    house.put(HUMIDITY, samples("60*60", start_us=T0_US + HOUR_US))
    house.work()
    stopping = Event()

    def stop(*_, far):
        stopping.set()
        house.watch.pace.call()

    monkeypatch.setattr(sheet_writing.SheetWriting, "write", stop)
    house.watch.run(stopping)  # told to stop, and ends in order
    house.fresh_watch()
    house.put(HUMIDITY, samples("60*60", start_us=T0_US + 2 * HOUR_US))
    house.watch.round()
    assert asked[0] is False, "nothing was ever begun"
    assert any(asked)
    assert asked[-1] is False


def test_notes_of_a_series_that_is_described_no_more_keep_nobody_busy(houses):
    house, _ = houses
    gone = Series(house.farm.name, "gone", "air_temperature", "")
    house.store.append([Reading(gone, T0_US, 20.0, Flag.NOT_EVALUATED)])
    assert house.watch.round() == 1
    assert house.watch.round() == 0


def test_notes_are_read_ahead_and_one_that_changes_meanwhile_is_worked_off_again(houses, monkeypatch):
    house, other = houses
    for one in houses:
        fill(one, by_day=True)
    asked, touched = [], house.watch._store.touched
    monkeypatch.setattr(house.watch._store, "touched", lambda *args: asked.append(args) or touched(*args))
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 12)
    rounds = 0
    while house.watch.round():
        if rounds == 2:  # into an hour whose note was read and waits
            for one in houses:
                one.put(HUMIDITY, samples("95*1", start_us=T0_US + 2 * DAY_US + 30_000_000))
        rounds += 1
    assert len(asked) < rounds / 3
    other.work()
    for one in houses:
        one.now_us = T0_US + 40 * DAY_US
        one.fresh_watch()
        one.work()
    assert states(house) == states(other)
