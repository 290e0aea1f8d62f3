"""Alarms in the journal: raised, followed, grouped, revised, and the same whatever the order of arrival."""

from __future__ import annotations

import random
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.alarm_history import state_of
from farm.alarm_words import AlarmState
from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading, instant, microseconds
from store.alarm_entries import ActKind, AlarmAct
from store.contract import StoreUnavailable
from store.embedded import EmbeddedStore
from store.log_entries import PlannedWork, Refill
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House

HUMIDITY, AIR, CO2 = "room/relative_humidity", "room/air_temperature", "room/co2_mole_fraction"
MAINS, DOOR = "room/power_present", "room/door_open"
HOUR = 60
MORE = """
[[series]]
zone = "room"
quantity = "power_present"
[[series]]
zone = "room"
quantity = "door_open"
[[series]]
zone = "row"
quantity = "relative_humidity"
[[series]]
zone = "row"
quantity = "solution_level"
cadence_s = 600
"""


@pytest.fixture(scope="session")
def watched_farm():
    farm, mistakes = check_text(SMALL_FARM.replace("[[surfaces]]", MORE + "\n[[surfaces]]"))
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def house(watched_farm, tmp_path):
    made = House(watched_farm, tmp_path / "house")
    yield made
    made.close()


def minutes(at_us):
    return None if at_us is None else round((at_us - T0_US) / MINUTE_US, 3)


def told(house, *, suppressed=False):
    """Return condition, onset, alarm and return in minutes of every alarm."""
    return [
        (one.condition, minutes(one.onset_us), minutes(one.alarm_us), minutes(one.returned_us))
        for one in house.journal.alarms.between("testfarm")
        if suppressed or one.suppressed_by is None
    ]


def put(house, key, text, start=0):
    house.put(key, samples(text, start_us=T0_US + start * MINUTE_US))


HUMID = f"out_of_band/{HUMIDITY}/high"


def test_a_band_left_is_an_alarm_with_all_that_a_text_needs(house):
    put(house, HUMIDITY, "60*3 80*6 85 60*4")
    house.work()
    # Outside from minute 3 to 10; 5 min on-delay, 2 min off-delay.
    assert told(house) == [(HUMID, 3, 8, 12)]
    [alarm] = house.journal.alarms.between("testfarm")
    assert alarm.priority == "medium"
    assert alarm.detail["worst"] == 85.0
    assert alarm.detail["limit"] == 75.0
    assert (alarm.detail["what"], alarm.detail["where"], alarm.detail["unit"]) == ("Relative humidity", "Room", "%")
    assert alarm.detail["text"] == "Relative humidity in Room is too high: 85.0 % at worst, at most 75.0 % wanted."
    assert alarm.detail["since"] == "2026-03-01T00:03:00Z"
    assert alarm.detail["first_step"].startswith("Look at whether water is removed")


def test_it_keeps_its_name_while_it_grows_and_its_usual_course_is_no_revision(house):
    rows = samples("60*3 80*6 85 60*4")
    house.put(HUMIDITY, rows[:9])
    house.work()
    [before] = house.journal.alarms.standing("testfarm")
    assert (before.returned_us, before.detail["worst"]) == (None, 80.0)
    house.put(HUMIDITY, rows[9:])
    house.work()
    [after] = house.journal.alarms.between("testfarm")
    assert (after.identity, after.revision, after.detail["worst"]) == (before.identity, 0, 85.0)
    assert state_of(after, [], after.returned_us) == AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_late_reading_revises_an_alarm_in_the_open(house):
    rows = samples("60*3 80*12 60*4")
    house.put(HUMIDITY, rows)
    house.work()
    [before] = house.journal.alarms.between("testfarm")
    house.put(HUMIDITY, samples("80*20", start_us=T0_US - 18 * MINUTE_US))  # up to minute 1, conflicts aside
    house.work()
    late = house.put(HUMIDITY, samples("80*3", start_us=T0_US - 21 * MINUTE_US))
    assert late.stored == 3
    house.work()
    found = house.journal.alarms.between("testfarm")
    assert [minutes(one.onset_us) for one in found] == [-21, 3]
    assert found[1].identity == before.identity
    [earlier] = found[:1]
    assert earlier.revision >= 1
    assert "onset_us" in house.journal.alarms.revisions("testfarm", [earlier.identity])[-1].changed
    assert earlier.detail["was"]


def test_an_alarm_that_late_readings_undo_is_gone_and_told_so(house):
    rows = samples("60*3 80*12 60*4")
    house.put(HUMIDITY, [row for row in rows if (row[0] - T0_US) // MINUTE_US % 4 != 2])
    house.work()
    assert len(told(house)) == 1
    house.put(HUMIDITY, [(T0_US + m * MINUTE_US + 30_000_000, 60.0) for m in range(3, 15)])
    house.work()
    assert told(house) == []
    [gone] = house.journal.alarms.revised_since("testfarm", 0, gone=True)
    assert gone.changed["entry"][0]["condition"] == HUMID


def test_no_data_closes_nothing_and_raises_its_own(house):
    put(house, HUMIDITY, "60*3 80*10")
    put(house, AIR, "18*200")
    put(house, CO2, "420*200")
    house.now_us = T0_US + 200 * MINUTE_US
    house.fresh_watch()
    house.work()
    house.now_us += 20 * MINUTE_US  # nothing has arrived since the start for longer than silence may last
    house.work()
    silence = f"silence/{HUMIDITY}"
    assert (HUMID, 3, 8, None) in told(house)
    assert (silence, 12, 25, None) in told(house)  # three cadences and ten minutes
    put(house, HUMIDITY, "60*10", start=200)
    house.work()
    assert (silence, 12, 25, 200) in told(house)
    assert any(one[0] == HUMID and one[3] is not None for one in told(house))


def test_a_cut_link_is_one_alarm_and_is_gone_when_the_readings_come_late(house):
    keys = {AIR: "18", HUMIDITY: "60", CO2: "420"}
    for key, value in keys.items():
        put(house, key, f"{value}*60")
    house.now_us = T0_US + 60 * MINUTE_US
    house.fresh_watch()
    house.work()
    house.now_us += 6 * MINUTE_US
    house.work()
    assert told(house) == []
    house.now_us += 30 * MINUTE_US
    house.work()
    assert told(house) == [("no_data", 59, 67, None)]
    assert len(told(house, suppressed=True)) == 4, "each series is silent too, by design no alarm"
    for key, value in keys.items():
        put(house, key, f"{value}*30", start=90)
    house.now_us += 30 * MINUTE_US
    house.work()
    assert told(house) == [("no_data", 59, 67, 92)]
    for key, value in keys.items():
        put(house, key, f"{value}*30", start=60)
    house.work()
    assert told(house, suppressed=True) == []
    assert {one.condition for one in house.journal.alarms.revised_since("testfarm", 0, gone=True)} >= {"no_data"}


def test_a_device_whose_readings_are_late_is_not_silent(house):
    """It reports what was an hour ago: each arrival is a sign of life."""
    put(house, AIR, "18*60")
    house.now_us = T0_US + 120 * MINUTE_US
    house.fresh_watch()
    for minute in range(60, 90):
        put(house, AIR, "18", start=minute)
        house.now_us += MINUTE_US
        house.work()
    assert told(house) == []


def test_dangerous_co2_is_told_at_the_first_reading_with_what_to_do(house):
    put(house, CO2, "900 4990")  # 4990 and its give or take of 5 % reach the 8-h limit of 5000 ppm
    house.work()
    [alarm] = [one for one in house.journal.alarms.between("testfarm") if one.suppressed_by is None]
    assert (alarm.condition, alarm.priority) == (f"co2_danger/{CO2}", "highest")
    assert minutes(alarm.alarm_us) == 1
    assert alarm.detail["worst"] == 4990.0
    for word in ("Leave", "ventilate", "certified gas detector", "local code"):
        assert word in alarm.detail["text"] + alarm.detail["first_step"] + alarm.detail["caution"]
    put(house, CO2, "900*15", start=2)
    house.work()
    [alarm] = [one for one in house.journal.alarms.between("testfarm") if one.condition == alarm.condition]
    assert minutes(alarm.returned_us) == 12


def test_planned_work_never_hides_danger(house):
    house.journal.log.add("testfarm", T0_US, "kari", _work(600), T0_US)
    put(house, CO2, "900 9000")
    house.work()
    assert [one[0] for one in told(house)] == [f"co2_danger/{CO2}"]


def test_mains_lost_suppresses_what_follows(house):
    put(house, MAINS, "1*30 0*60 1*60")
    put(house, HUMIDITY, "60*40 40*50 60*60")
    house.work()
    assert told(house) == [(f"mains_lost/{MAINS}", 30, 30.5, 92)]
    [dry] = [one for one in house.journal.alarms.between("testfarm") if "humidity" in one.condition]
    assert dry.suppressed_by == f"mains_lost/{MAINS}"
    assert dry.group == f"mains_lost/{MAINS}@{T0_US + 30 * MINUTE_US}"
    assert state_of(dry, [], dry.alarm_us) == AlarmState.SUPPRESSED_BY_DESIGN


def test_what_follows_from_an_alarm_and_is_not_the_same_is_not_told_as_such(house):
    """Lost mains are not lost in the row whose air is dry by it, nor is a warm room warm where a row is dry."""
    put(house, MAINS, "1*30 0*60")
    put(house, "row/relative_humidity", "60*40 30*50")
    house.work()
    assert len(told(house, suppressed=True)) > len(told(house))
    assert all("also" not in one.detail for one in house.journal.alarms.between("testfarm"))


def test_what_still_lasts_a_little_after_its_cause_is_named_beside_it(house):
    """At the end of the first not all are over in the same minute; only what lasts half an hour longer is its own."""
    put(house, HUMIDITY, "60*30 85*20 60*10")
    put(house, "row/relative_humidity", "60*32 85*28")
    house.work()
    [first] = [one for one in house.journal.alarms.between("testfarm") if one.condition == HUMID]
    assert minutes(first.returned_us) == 52
    assert first.detail["also"] == ["Row"]
    put(house, "row/relative_humidity", "60*10", start=60)
    put(house, HUMIDITY, "60*10", start=60)
    house.work()
    assert told(house) == [(HUMID, 30, 35, 52)]
    [first] = [one for one in house.journal.alarms.between("testfarm") if one.condition == HUMID]
    assert first.detail["also"] == ["Row"]


def test_a_door_left_open_is_an_alarm_and_one_passed_through_is_none(house):
    put(house, DOOR, "0*5 1*10 0*30 1*25 0*10")
    house.work()
    assert told(house) == [(f"door_open/{DOOR}", 45, 65, 70.5)]


def test_a_fast_change_is_an_alarm_and_a_slow_one_is_none(house):
    slow = " ".join(f"{420 + 20 * n}" for n in range(60))  # 300 ppm in 15 min
    put(house, CO2, slow)
    house.work()
    assert not any(one[0].startswith("change/") for one in told(house, suppressed=True))
    fast = " ".join(f"{1600 + 160 * n}" for n in range(12))  # 2400 ppm in 15 min
    put(house, CO2, fast + " 3360*60", start=60)
    house.work()
    [change] = [one for one in told(house, suppressed=True) if one[0].startswith("change/")]
    assert change[0] == f"change/{CO2}/high"
    assert change[3] is not None


def _work(minutes_long, **more):
    until = instant(T0_US) + timedelta(minutes=minutes_long)
    return PlannedWork(what="cleaning", until=until, **more)


def test_planned_work_is_recorded_and_no_alarm(house):
    put(house, HUMIDITY, "60*30 85*20 60*30")
    house.journal.log.add("testfarm", T0_US, "kari", _work(60, zones=("room",)), T0_US)
    house.work()
    assert told(house) == []
    [alarm] = house.journal.alarms.between("testfarm")
    assert alarm.suppressed_by.startswith("planned_work/")


def test_planned_work_written_down_later_revises_and_its_withdrawal_too(house):
    put(house, HUMIDITY, "60*30 85*20 60*30")
    house.work()
    assert len(told(house)) == 1
    entry = house.journal.log.add("testfarm", T0_US, "kari", _work(60, series=(HUMIDITY,)), T0_US)
    house.work()
    assert told(house) == []
    house.journal.log.withdraw("testfarm", entry.identity, "kari", T0_US + 1)
    house.work()
    [alarm] = house.journal.alarms.between("testfarm")
    assert alarm.suppressed_by is None
    changed = [one.changed for one in house.journal.alarms.revisions("testfarm", [alarm.identity])]
    assert [list(one) for one in changed] == [["suppressed_by"], ["suppressed_by"]]


def test_planned_work_elsewhere_changes_nothing(house):
    put(house, HUMIDITY, "60*30 85*20 60*30")
    house.journal.log.add("testfarm", T0_US, "kari", _work(60, zones=("outdoors",)), T0_US)
    house.work()
    assert len(told(house)) == 1


def test_chattering_is_one_alarm_from_the_third_on(house):
    put(house, HUMIDITY, "60*5 " + "85*7 60*5 " * 6 + "60*80")
    house.work()
    alarms = [one for one in told(house) if one[0] == HUMID]
    assert [one[1] for one in alarms] == [5, 17, 29]
    # The sixth is back at minute 72, and from then on it must be quiet for an hour; the band's off-delay is within it.
    assert alarms[-1][3] == 132
    [last] = [one for one in house.journal.alarms.between("testfarm") if minutes(one.onset_us) == 29]
    assert last.detail["times"] == 4
    assert "4 times" in last.detail["text"]


@pytest.mark.parametrize("piece", [1, 4, 12, 25, 180])
def test_chattering_is_the_same_whether_its_readings_come_one_by_one_or_at_once(house, piece):
    """What is worked out anew may begin after the first of the three within an hour."""
    rows = samples("60*13 85*12 60*13 85*12 60*13 85*12 60*13 85*12 60*80")
    for first in range(0, len(rows), piece):
        house.put(HUMIDITY, rows[first : first + piece])
        house.work()
    # 13, 38 and 63: the third within an hour. From it on an hour of quiet ends the alarm, at 100 + 60 min.
    assert told(house) == [(HUMID, 13, 18, 27), (HUMID, 38, 43, 52), (HUMID, 63, 68, 160)]


def test_late_readings_make_a_fast_change_of_those_that_came_before_them(house):
    """What comes late decides how far those after it have changed, though none that came late is outside a limit."""
    put(house, AIR, "18*60", start=10)
    house.work()
    put(house, AIR, "27*10")
    house.work()
    # Nine kelvin within half an hour, from minute 30 on.
    found = [one[:3] for one in told(house, suppressed=True) if "change/" in one[0]]
    assert found == [("change/room/air_temperature/low", 30, 32)]


def test_silences_that_late_readings_leave_too_few_to_chatter_return_by_themselves(house):
    rows = dict(samples("60*160"))
    gaps = [range(11, 30), range(32, 51), range(53, 72)]
    missing = {T0_US + minute * MINUTE_US for gap in gaps for minute in gap}
    put(house, CO2, "800*160")  # the farm is not silent
    house.put(HUMIDITY, [(at, value) for at, value in rows.items() if at not in missing])
    house.work()
    silent = f"silence/{HUMIDITY}"
    assert [one[1:] for one in told(house) if one[0] == silent][-1] == (52, 65, 132), "the third within an hour"
    house.put(HUMIDITY, [(T0_US + minute * MINUTE_US, 60.0) for minute in gaps[0]])
    house.work()
    assert [one[1:] for one in told(house) if one[0] == silent] == [(31, 44, 51), (52, 65, 72)]


def test_a_damped_alarm_returns_when_it_was_quiet_long_enough_and_no_reading_changes(house):
    put(house, HUMIDITY, "60*5 " + "85*7 60*5 " * 3)
    house.work()
    put(house, HUMIDITY, "60*20", start=41)
    house.work()
    assert told(house)[-1][3] is None
    put(house, HUMIDITY, "60*70", start=61)
    house.work()
    assert told(house)[-1][3] == 96


def test_rules_of_the_farm_go_before_the_usual_ones(tmp_path):
    own = """
[alarms.quantities.relative_humidity]
priority = "low"
priority_high = "highest"
on_delay_s = 900
[alarms.kinds.door_open]
off = true
"""
    farm, mistakes = check_text(SMALL_FARM.replace("[[surfaces]]", MORE + "\n[[surfaces]]") + own)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "own")
    put(house, HUMIDITY, "60*5 85*14 60*10 85*20 60*10 40*20 60*5")
    put(house, DOOR, "1*60 0*10")
    house.work()
    found = [(one.condition, minutes(one.alarm_us), str(one.priority)) for one in
             house.journal.alarms.between("testfarm")]  # fmt: skip
    house.close()
    assert found == [(HUMID, 44, "highest"), (f"out_of_band/{HUMIDITY}/low", 74, "low")]


def test_a_restart_and_a_crash_between_lose_nothing(house):
    rows = samples("60*3 80*12 60*10")
    house.put(HUMIDITY, rows[:10])
    house.work()
    house.fresh_watch()
    house.put(HUMIDITY, rows[10:])
    notes = house.store.touched("testfarm", 100)
    original, house.store.settle = house.store.settle, lambda notes: (_ for _ in ()).throw(RuntimeError("killed"))
    with pytest.raises(RuntimeError, match="killed"):
        house.work()
    house.store.settle = original
    assert house.store.touched("testfarm", 100) == notes
    house.fresh_watch()
    house.work()
    assert told(house) == [(HUMID, 3, 8, 17)]


def test_alarms_are_made_again_where_a_crash_left_excursions_without_them(house):
    put(house, HUMIDITY, "60*3 80*12 60*10")
    note, house.watch._alarms.note_excursions = house.watch._alarms.note_excursions, lambda *_: None
    original, house.store.settle = house.store.settle, lambda notes: (_ for _ in ()).throw(RuntimeError("killed"))
    with pytest.raises(RuntimeError, match="killed"):
        house.work()
    assert told(house) == []
    house.store.settle = original
    house.fresh_watch()
    house.work()
    assert told(house) == [(HUMID, 3, 8, 17)]
    assert note is not None


def test_an_alarm_of_a_series_that_is_described_no_more_ends(house):
    put(house, DOOR, "0*5 1*40")
    house.work()
    assert told(house) == [(f"door_open/{DOOR}", 5, 25, None)]
    without = MORE.replace('[[series]]\nzone = "room"\nquantity = "door_open"\n', "")
    house.farm, mistakes = check_text(SMALL_FARM.replace("[[surfaces]]", without + "\n[[surfaces]]"))
    assert mistakes == []
    house.fresh_watch()
    [alarm] = house.journal.alarms.between("testfarm")
    assert minutes(alarm.returned_us) == 44
    assert alarm.detail["ended_by"]


def test_what_people_did_decides_the_state_and_survives_a_restart(house):
    put(house, HUMIDITY, "60*3 80*12")
    house.work()
    [alarm] = house.journal.alarms.standing("testfarm")
    house.journal.alarms.add_act(AlarmAct("testfarm", ActKind.ACKNOWLEDGE, alarm.identity, alarm.alarm_us + 1, "kari"))
    house.fresh_watch()
    house.work()
    [alarm] = house.journal.alarms.standing("testfarm")
    assert state_of(alarm, house.journal.alarms.acts_about(alarm), alarm.alarm_us + 2) == AlarmState.ACKNOWLEDGED


STREAMS = {
    HUMIDITY: "60*10 85*9 60*4 85*8 60*12 40*11 60*6 _*18 60*4 85*20",
    "row/relative_humidity": "60*12 85*9 60*30 _*30 60*10",
    CO2: "900*20 5200*3 900*20 _*25 900*20",
    MAINS: "1*40 0*12 1*40",
    DOOR: "0*20 1*30 0*20",
    AIR: "18*15 30*10 18*10 _*40 18*20",
    "outdoors/air_temperature": "5*10 _*160 5*10",  # nothing at all arrives for a while before its end
}


# Findings look at what has come by the full hour, so that what they add hangs on when they looked.
OF_FINDINGS = ("likely", "first_step", "caution", "finding")


def history(house):
    return [
        (
            one.condition, minutes(one.onset_us), minutes(one.alarm_us), minutes(one.returned_us), one.priority,
            one.group, one.suppressed_by,
            {key: value for key, value in one.detail.items() if key not in ("was", *OF_FINDINGS)},
        )
        for one in house.journal.alarms.between("testfarm")
    ]  # fmt: skip


@pytest.fixture(scope="session")
def all_at_once(watched_farm, tmp_path_factory):
    house = House(watched_farm, tmp_path_factory.mktemp("house"))
    for key, text in STREAMS.items():
        house.put(key, samples(text))
    house.work()
    found = history(house)
    house.close()
    assert len(found) > 10
    assert {one[0].split("/")[0] for one in found} == {
        "out_of_band", "silence", "no_data", "co2_danger", "mains_lost", "door_open", "change"
    }  # fmt: skip
    return found


@settings(max_examples=15)
@given(st.integers(0, 10_000), st.integers(1, 8))
def test_any_order_of_arrival_gives_the_same_history(watched_farm, all_at_once, seed, packs):
    rows = [(key, at, value) for key, text in STREAMS.items() for at, value in samples(text)]
    draw = random.Random(seed)
    draw.shuffle(rows)
    with tempfile.TemporaryDirectory() as folder:
        house = House(watched_farm, Path(folder) / "shuffled")
        for pack in range(packs):
            several = rows[pack::packs]
            house.store.append(
                [Reading(house.series(key), at, value, Flag.NOT_EVALUATED) for key, at, value in several]
            )
            if draw.random() < 0.2:
                house.fresh_watch()
            house.work()
        found = history(house)
        house.close()
    assert found == all_at_once


@pytest.mark.parametrize("place", range(6))
@pytest.mark.parametrize("method", ["renew", "replace_excursions", "settle"])
def test_cut_off_at_any_write_it_comes_to_the_same(watched_farm, all_at_once, tmp_path, monkeypatch, place, method):
    house = House(watched_farm, tmp_path / "house")
    kind = {"renew": type(house.journal.alarms), "replace_excursions": type(house.journal)}.get(method, EmbeddedStore)
    real, calls = getattr(kind, method), []

    def failing(one, *arguments, **named):
        calls.append(1)
        if len(calls) == place + 1:
            raise StoreUnavailable("locked for now")
        return real(one, *arguments, **named)

    monkeypatch.setattr(kind, method, failing)
    rows = [(key, at, value) for key, text in STREAMS.items() for at, value in samples(text)]
    for pack in range(4):
        house.store.append(
            [Reading(house.series(key), at, value, Flag.NOT_EVALUATED) for key, at, value in rows[pack::3]]
            if pack < 3
            else []
        )
        try:
            house.work()
        except StoreUnavailable:
            house.fresh_watch()
            house.work()
    assert history(house) == all_at_once
    house.close()


def test_a_storm_of_ten_thousand_late_readings(house):
    """They fill weeks in which nothing was known; the alarms in them are found, and none is told twice."""
    put(house, HUMIDITY, "60*10", start=20_000)
    house.work()
    rows = samples(("60*60 85*10 60*30 " * 100)[:-1])
    random.Random(4).shuffle(rows)
    house.put(HUMIDITY, rows)
    house.work()
    found = [one for one in told(house) if one[0] == HUMID]
    assert [one[1] for one in found] == [60 + 100 * n for n in range(100)]


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_the_days_on_which_clocks_change(watched_farm, tmp_path, day):
    """Norway's clocks change at 01:00 UTC; an alarm from 00:30 to 01:30 UTC lasts one hour all the same."""
    house = House(watched_farm, tmp_path / "house")
    start = int((microseconds(datetime.fromisoformat(f"{day}T00:00:00+00:00")) - T0_US) / MINUTE_US)
    put(house, HUMIDITY, "60*30 85*60 60*30", start=start)
    house.work()
    assert told(house) == [(HUMID, start + 30, start + 35, start + 92)]
    house.close()


def test_a_clock_that_was_moved_makes_no_alarm_of_its_own(house):
    """Readings of an hour ago, then a day ahead within what is taken: silence is told, and nothing is invented."""
    put(house, AIR, "18*60")
    house.work()
    put(house, AIR, "18*30", start=20)  # all of them known already
    house.work()
    assert told(house) == []


@pytest.mark.parametrize("jump_min", [60, 400 * 24 * 60])
def test_a_clock_that_is_set_forward_makes_no_silence_and_hides_none(house, jump_min):
    begun_us = house.now_us
    watched_us = 0

    def pass_by(minutes):
        nonlocal watched_us
        watched_us += minutes * MINUTE_US
        house.now_us += minutes * MINUTE_US
        house.work()

    house.steady_s = lambda: watched_us / 1e6
    house.fresh_watch()
    put(house, HUMIDITY, "60*13")
    house.work()
    pass_by(2)
    house.now_us += jump_min * MINUTE_US
    pass_by(1)
    pass_by(4)
    assert told(house) == [], "seven of the eight minutes are over; the others did not pass"
    put(house, HUMIDITY, "60", start=13)
    pass_by(1)
    pass_by(7)
    assert told(house) == []
    pass_by(1)
    assert house.now_us - begun_us == (jump_min + 16) * MINUTE_US
    assert told(house) == [("no_data", 13, 21, None)]


@pytest.mark.parametrize("more", [0, 1])
def test_a_clock_that_was_ahead_and_is_set_back_still_sees_silence(house, more):
    put(house, HUMIDITY, "60*13")
    house.work()
    house.now_us -= 24 * 60 * MINUTE_US
    put(house, HUMIDITY, "60" * more, start=13)
    house.work()
    house.now_us += 20 * MINUTE_US
    house.work()
    # Nothing arrives from the whole farm: three cadences and five minutes; each series' silence follows from it.
    assert told(house) == [("no_data", 12 + more, 20 + more, None)]


@pytest.mark.parametrize("pumps", [1, 2])
def test_a_stock_that_runs_out_is_told_by_its_count_and_pace(tmp_path, pumps):
    """Of one bottle that two tanks draw on, all that goes out counts, and it is told once."""
    second = """[zones.seedlings]
kind = "reservoir"
label = "Seedlings"
[[series]]
zone = "seedlings"
quantity = "dosed_volume"
sensor = "acid"
cadence_s = 600
"""
    text = SMALL_FARM.replace(
        "[[surfaces]]",
        """[zones.tank]
kind = "reservoir"
label = "Tank"
[[series]]
zone = "tank"
quantity = "dosed_volume"
sensor = "acid"
cadence_s = 600
[equipment.reservoir]
zone = "tank"
volume_l = 200
[[equipment.stocks]]
name = "acid"
label = "Acid"
role = "acid"
bottle_l = 2
"""
        + second * (pumps - 1)
        + "[[surfaces]]",
    )
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    house.journal.log.add("testfarm", T0_US, "kari", Refill(stock="acid", holds_l=1.0), T0_US)
    hours = 120
    # 10 mL an hour, so that 1 L lasts 100 h: 36 h before that, at hour 64, it is told.
    tanks = ("tank", "seedlings")[:pumps]
    for tank in tanks:
        rows = [(T0_US + n * 10 * MINUTE_US, n * 10 / 6 / pumps) for n in range(hours * 6)]
        house.put(f"{tank}/dosed_volume/acid", rows)
    house.work()
    [alarm] = [one for one in house.journal.alarms.between("testfarm") if one.condition.startswith("running_out")]
    assert alarm.condition == "running_out/stock/acid"
    assert minutes(alarm.alarm_us) / 60 == pytest.approx(64, abs=1)
    assert alarm.returned_us is None
    house.journal.log.add("testfarm", T0_US + 119 * 60 * MINUTE_US, "kari", Refill(stock="acid", holds_l=2.0), T0_US)
    for tank in tanks:
        rows = [(T0_US + n * 10 * MINUTE_US, n * 10 / 6 / pumps) for n in range(720, 732)]
        house.put(f"{tank}/dosed_volume/acid", rows)
    house.work()
    [alarm] = [one for one in house.journal.alarms.between("testfarm") if one.condition.startswith("running_out")]
    assert minutes(alarm.returned_us) / 60 == pytest.approx(119, abs=1.01)
    house.close()


def test_a_sensor_that_fails_its_tests_is_told(house):
    put(house, AIR, "18.123*1600")  # a flat line fails after a day
    house.work()
    [alarm] = [one for one in house.journal.alarms.between("testfarm") if one.condition.startswith("sensor_fault")]
    assert alarm.priority == "low"
    assert "flat line" in alarm.detail["text"]
    assert datetime.fromtimestamp(alarm.onset_us / 1e6, UTC) > datetime(2026, 3, 1, 12, tzinfo=UTC)
