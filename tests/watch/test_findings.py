"""Findings over a real store and journal: named, the same in any order of arrival and after a restart, not invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from analytics.findings.episodes import Episode, told_at
from analytics.findings.explaining import Candidate, Explanation
from analytics.findings.weighing import Hypothesis, places
from farm.causes import BY_NAME
from farm.check import check_text
from farm.description import ZoneKind
from farm.flags import Flag
from farm.readings import Reading, Series
from leafweather.cli import app
from leafweather.explain_command import lines
from simulator.demo import demo_farm
from store.alarm_entries import AlarmEntry, Priority
from store.embedded import EmbeddedStore
from store.entries import ClockFault, ExcursionEntry, FindingEntry, Side
from store.journal import Journal
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from watch.alarm_findings import findings_told
from watch.day_data import day_data
from watch.day_sheet import SECTIONS
from watch.findings import NOT_MOVED, UNUSUAL, FindingsKeeper, _moved, shipped_table
from watch.nights import wet_probability
from watch.quarter_looks import Hourly, Look, QuarterLooks, no_longer_seen
from watch.recurrence import Before

HOUR_US = 60 * MINUTE_US
DAYS, FAULT_H = 9, 9 * 24
FARM = SMALL_FARM.replace(
    "[[surfaces]]",
    """
[zones.supply]
kind = "supply_duct"
label = "Supply"
[[series]]
zone = "supply"
quantity = "air_temperature"
[[series]]
zone = "supply"
quantity = "relative_humidity"
[[series]]
zone = "room"
quantity = "compressor_on"
[[series]]
zone = "room"
quantity = "condensate_volume"
[equipment.air_conditioner]
cooling_w = 5000
power_w = 1500
compressor = "room/compressor_on"
condensate = "room/condensate_volume"
return_zone = "room"
supply_zone = "supply"
air_flow_m3_h = 700
[[surfaces]]""",
    1,
)


def readings(farm, hours, fault_h=10**9, seed=4, *, at_once=False, mended_h=10**9):
    """Return readings of a room that its coil keeps dry, and from ``fault_h`` on does not: the sooner ``at_once``."""
    minutes = np.arange(1, hours * 60 + 1)
    random = np.random.default_rng(seed)
    wrong = (minutes > fault_h * 60) & (minutes <= mended_h * 60)
    runs = (minutes % 20 < 12) | wrong
    since_h = np.clip((8 if at_once else 1) * (minutes / 60 - fault_h), 0, 6) * (minutes <= mended_h * 60)
    humidity = 65 + 2 * np.sin(2 * np.pi * minutes / 1440) + 3.0 * since_h
    took = np.cumsum(np.where(runs & ~wrong, 0.05, 0.0))
    values = {
        "room/air_temperature": 22 + random.normal(0, 0.05, len(minutes)),
        "room/relative_humidity": humidity + random.normal(0, 0.3, len(minutes)),
        "supply/air_temperature": np.where(runs, 10.0, 21.0) + random.normal(0, 0.05, len(minutes)),
        "supply/relative_humidity": np.where(wrong, 99.0, np.where(runs, 94.0, 68.0)),
        "room/compressor_on": runs.astype(float),
        "room/condensate_volume": took,
    }
    at = (T0_US + minutes * MINUTE_US).tolist()
    return [
        Reading(Series.parse(farm.name, key), when, round(float(value), 2), Flag.NOT_EVALUATED)
        for key, column in values.items()
        for when, value in zip(at, column, strict=True)
    ]


class Kept:
    """A farm's store, journal and keeper; the clock stands where we put it."""

    def __init__(self, folder):
        folder.mkdir()
        self.folder = folder
        self.farm = check_text(FARM)[0]
        self.store = EmbeddedStore(folder)
        self.journal = Journal(f"sqlite:///{folder}/journal.sqlite")
        self.now_us = self.followed_us = T0_US
        self.restart()

    def restart(self):
        self.keeper = FindingsKeeper(self.farm, self.store, self.store, self.journal, lambda: self.now_us)

    def take(self, rows, *, busy=False):
        self.store.append(rows)
        spans = {}
        for one in rows:
            first, last = spans.get(one.series, (one.time_us, one.time_us))
            spans[one.series] = (min(first, one.time_us), max(last, one.time_us))
        self.now_us = max(self.now_us, *(last + MINUTE_US for _, last in spans.values()))
        self.keeper.note({series: [span] for series, span in spans.items()})
        return self.keeper.renew(busy=busy)

    def follow(self, rows, end_us):
        """Take what came since it was followed last."""
        since, self.followed_us = self.followed_us, end_us
        return self.take([one for one in rows if since < one.time_us <= end_us])

    def found(self):
        return self.journal.findings.between(self.farm.name)

    def close(self):
        self.store.close()
        self.journal.close()


@pytest.fixture
def kept(tmp_path):
    made = Kept(tmp_path / "kept")
    yield made
    made.close()


@pytest.fixture(scope="module")
def rows():
    return readings(check_text(FARM)[0], FAULT_H + 8, FAULT_H)


def told(found):
    return [(one.subject, one.onset_us, one.end_us, one.detail["causes"][0]["cause"]) for one in found]


def test_a_coil_that_dries_nothing_is_named_with_its_numbers(kept, rows):
    kept.take(rows)
    [one] = kept.found()
    assert one.subject == UNUSUAL
    assert T0_US + FAULT_H * HOUR_US <= one.onset_us < T0_US + (FAULT_H + 4) * HOUR_US
    assert one.end_us is None
    assert one.detail["causes"][0]["cause"] == "drying_lost"
    spoken = " ".join(piece["sentence"] for piece in one.detail["causes"][0]["for"])
    assert "Condensate" in spoken
    assert "usually" in spoken
    assert one.detail["next_check"]


def test_a_healthy_record_has_no_findings(kept, rows):
    kept.take([one for one in rows if one.time_us <= T0_US + FAULT_H * HOUR_US])
    assert kept.found() == []


def test_the_same_findings_whatever_order_the_readings_came_in(kept, rows, tmp_path):
    kept.take(rows)
    other = Kept(tmp_path / "other")
    by_day = {}
    for one in rows:
        by_day.setdefault((one.time_us - T0_US) // (24 * HOUR_US), []).append(one)
    for day in (0, 9, 3, 1, 2, 8, 7, 4, 6, 5):
        other.take(by_day[day])
        other.restart()
    assert told(other.found()) == told(kept.found())
    other.close()


def test_a_restart_in_between_changes_nothing(kept, rows, tmp_path):
    kept.take(rows)
    other = Kept(tmp_path / "other")
    other.take([one for one in rows if one.time_us <= T0_US + (FAULT_H + 4) * HOUR_US])
    other.restart()
    other.take([one for one in rows if one.time_us > T0_US + (FAULT_H + 4) * HOUR_US])
    assert told(other.found()) == told(kept.found())
    other.close()


def test_what_was_noted_before_a_crash_is_worked_out_after_it(kept, rows):
    early = [one for one in rows if one.time_us <= T0_US + FAULT_H * HOUR_US]
    kept.take(early)
    late = [one for one in rows if one.time_us > T0_US + FAULT_H * HOUR_US]
    kept.store.append(late)
    kept.now_us = rows[-1].time_us + MINUTE_US
    kept.keeper.note({late[0].series: [(late[0].time_us, rows[-1].time_us)]})
    kept.restart()  # crashed before it was worked out
    kept.keeper.renew()
    assert [one.detail["causes"][0]["cause"] for one in kept.found()] == ["drying_lost"]


QUARTER_US = HOUR_US // 4
FAULT_US = T0_US + FAULT_H * HOUR_US


@pytest.fixture(scope="module")
def sudden():
    return readings(check_text(FARM)[0], FAULT_H + 4, FAULT_H, at_once=True)


def until(rows, end_us):
    return [one for one in rows if one.time_us <= end_us]


def whole(found):
    return [(one.identity, one.onset_us, one.end_us, one.at_us, one.detail) for one in found]


def test_a_fast_fault_is_found_before_the_hour_is_whole_and_is_the_same_finding_after_it(kept, sudden):
    for minutes in (20, 50, 62, 80, 95):
        kept.follow(sudden, FAULT_US + minutes * MINUTE_US)
    [early] = kept.found()
    assert early.at_us == FAULT_US + 90 * MINUTE_US
    for minutes in (110, 122, 140, 185):
        kept.follow(sudden, FAULT_US + minutes * MINUTE_US)
        [later] = kept.found()
        assert later.identity == early.identity
        assert later.at_us >= FAULT_US + (minutes - 16) * MINUTE_US  # told anew each quarter of an hour
    assert later.detail["causes"][0]["cause"] == "drying_lost"


def test_looks_in_between_are_the_same_whatever_came_first_and_after_a_restart(kept, sudden, tmp_path):
    end_us = FAULT_US + 95 * MINUTE_US
    kept.take(until(sudden, end_us))
    assert kept.found()[0].at_us == FAULT_US + 90 * MINUTE_US
    other = Kept(tmp_path / "other")
    other.now_us = end_us + MINUTE_US
    mixed = until(sudden, end_us)
    for part in (mixed[1::3], mixed[::3], mixed[2::3]):
        other.take(part)
        other.restart()
    assert whole(other.found()) == whole(kept.found())
    step = Kept(tmp_path / "step")
    for minutes in (*range(-60, 95, 7), 95):
        step.follow(sudden, FAULT_US + minutes * MINUTE_US)
    assert whole(step.found()) == whole(kept.found())
    step.restart()
    step.keeper.renew()
    assert whole(step.found()) == whole(kept.found())
    other.close()
    step.close()


def test_an_excursion_of_this_hour_is_explained_within_a_quarter_of_it(kept, sudden):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us, last_us = FAULT_US + 65 * MINUTE_US, FAULT_US + 95 * MINUTE_US
    excursion = ExcursionEntry(humidity, Side.HIGH, onset_us, None, last_us, 84.0, last_us, 75.0, 20.0)
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take(until(sudden, last_us))
    found = kept.journal.findings.of(kept.farm.name, excursion.identity)
    assert found.at_us == FAULT_US + 90 * MINUTE_US
    assert found.detail["causes"][0]["cause"] != "as_usual"


def test_an_alarm_of_a_finding_is_raised_when_it_is_found_and_not_later(kept):
    cause = {"cause": "drying_lost", "label": "No drying", "probability": 0.95, "nature": "equipment"}
    detail = {"headline": "No drying (95 %).", "causes": [cause], "next_check": "Look at the drain.", "cautions": []}
    at_us = FAULT_US + 15 * MINUTE_US
    kept.journal.findings.replace(
        kept.farm.name, FAULT_US, [FindingEntry(kept.farm.name, UNUSUAL, FAULT_US, None, at_us, detail)]
    )
    told = findings_told(kept.farm, kept.journal, T0_US, at_us, lambda condition: [])
    [(condition, _, [alarm])] = told.conditions
    assert condition == "finding/drying_lost"
    assert alarm.detail["what"] == "Likely cause: No drying"
    assert FAULT_US <= alarm.onset_us <= alarm.alarm_us <= at_us


@pytest.mark.parametrize("later", ["gone", "ended", "another_cause"])
def test_an_alarm_of_a_finding_that_is_none_any_more_is_over(kept, later):
    """A look in between may tell what whole hours do not, or name what they name otherwise."""
    at_us = FAULT_US + 150 * MINUTE_US
    if later != "gone":
        name, label = ("cooling_lost", "No cooling") if later == "another_cause" else ("drying_lost", "No drying")
        cause = {"cause": name, "label": label, "probability": 0.95, "nature": "equipment"}
        detail = {"headline": f"{label} (95 %).", "causes": [cause], "next_check": "Look.", "cautions": []}
        end_us = FAULT_US + 2 * HOUR_US if later == "ended" else None
        kept.journal.findings.replace(
            kept.farm.name, FAULT_US, [FindingEntry(kept.farm.name, UNUSUAL, FAULT_US, end_us, at_us, detail)]
        )
    alarm = AlarmEntry(
        kept.farm.name, "finding/drying_lost", FAULT_US, FAULT_US + QUARTER_US, None, Priority.LOW, "", detail={}
    )
    told = findings_told(
        kept.farm, kept.journal, T0_US, at_us, lambda condition: [alarm] * (condition == alarm.condition)
    )
    ended = {condition: entries for condition, _, entries in told.conditions}[alarm.condition]
    assert [one.returned_us for one in ended] == [at_us]


@pytest.fixture
def sure_looks(monkeypatch):
    """Instants at which a look in between is sure, whatever the readings: whole hours see nothing of it."""
    sure, real = set(), QuarterLooks._look

    def look(self, origin_us, at_us, best_known):
        return real(self, origin_us, at_us, best_known)._replace(something=0.99 if at_us in sure else 0.0)

    monkeypatch.setattr(QuarterLooks, "_look", look)
    return sure


def test_what_only_a_look_in_between_told_stays_told_with_its_end(kept, rows, sure_looks):
    begun_us = FAULT_US - 6 * HOUR_US
    sure_looks.add(begun_us + QUARTER_US)
    kept.follow(rows, begun_us + 17 * MINUTE_US)
    [early] = kept.found()
    assert (early.onset_us, early.end_us, early.at_us) == (begun_us, None, begun_us + QUARTER_US)
    kept.follow(rows, begun_us + 80 * MINUTE_US)
    assert [one.end_us for one in kept.found()] == [None], "it stands for an hour at least"
    moved = kept.follow(rows, begun_us + 122 * MINUTE_US)
    ended = replace(early, end_us=begun_us + 2 * HOUR_US)
    assert kept.found() == [ended]
    assert (ended.onset_us, ended.end_us) in moved.stretches, "the day's sheet is written anew"
    kept.follow(rows, begun_us + 140 * MINUTE_US)
    kept.restart()
    kept.follow(rows, begun_us + 245 * MINUTE_US)
    assert kept.found() == [ended]
    kept.restart()
    late = [one for one in rows if one.time_us == begun_us - 30 * MINUTE_US]
    kept.take(late)
    assert kept.found() == [ended], "worked out anew, it is the same"
    sure_looks.clear()
    kept.take(late)
    assert kept.found() == [], "late readings may take it back"


def looked_at(onset_h, at_h, end_h=None):
    end_us = None if end_h is None else FAULT_US + end_h * HOUR_US
    at_us = FAULT_US + int(at_h * HOUR_US)
    return FindingEntry("testfarm", UNUSUAL, FAULT_US + onset_h * HOUR_US, end_us, at_us, {"causes": []})


@pytest.mark.parametrize(
    ("before", "after", "sure_h", "kept_h"),
    [  # hours from the fault on: what was told, what whole hours tell, looks that are sure, what stays beside that
        ([looked_at(0, 1.75)], [], [0.75, 1.75], [(0, 3)]),
        ([looked_at(0, 1.75)], [looked_at(1, 2.0)], [0.75, 1.75], [(0, 1)]),
        ([looked_at(0, 2.25)], [looked_at(1, 2.0)], [2.0, 2.25], []),  # it is the same, found to begin later
        ([looked_at(0, 1.75, 1), looked_at(1, 2.25, 4)], [], [0.75, 1.75, 2.25], [(0, 1), (1, 4)]),
        ([looked_at(0, 1.75)], [looked_at(-1, 2.0)], [0.75, 1.75], []),
    ],
)
def test_no_hour_is_of_two_findings_where_readings_that_came_late_tell_them_otherwise(
    kept, monkeypatch, before, after, sure_h, kept_h
):
    sure = {FAULT_US + int(one * HOUR_US) for one in sure_h}
    monkeypatch.setattr(QuarterLooks, "_look", lambda _, __, at_us, ___: Look(at_us, None, None, float(at_us in sure)))
    looks = QuarterLooks(kept.farm, kept.store, lambda *_: None)
    hourly = Hourly(T0_US, FAULT_US - HOUR_US, FAULT_US + 8 * HOUR_US, tuple(after), FAULT_US, 9, 9)
    found = sorted((one.onset_us, one.end_us) for one in no_longer_seen(before, after, looks, hourly))
    assert found == [(FAULT_US + begin * HOUR_US, FAULT_US + end * HOUR_US) for begin, end in kept_h]


@pytest.mark.parametrize(
    ("end_us", "later_us", "moved"), [(FAULT_US + HOUR_US, 0, True), (None, 0, True), (None, QUARTER_US, False)]
)
def test_another_probability_alone_moves_a_finding_but_not_where_it_goes_on(end_us, later_us, moved):
    first, second = (
        FindingEntry("testfarm", UNUSUAL, FAULT_US, end_us, at_us, {"causes": [{"cause": "x", "probability": one}]})
        for at_us, one in ((FAULT_US + QUARTER_US, 0.8), (FAULT_US + QUARTER_US + later_us, 0.9))
    )
    assert bool(_moved([first], [second]).stretches) == moved
    assert _moved([first], [first]) == NOT_MOVED


@pytest.mark.parametrize(
    ("one", "other", "moved"),
    [
        ({"probability": 0.4}, {"probability": 0.6}, True),  # from 50 % on its days are of no usual use
        ({"places": ["a"]}, {"places": ["b"]}, True),
        ({"probability": 0.6}, {"probability": 0.7}, False),
    ],
)
def test_of_a_finding_that_goes_on_what_sheets_look_back_on_moves_it(one, other, moved):
    usual = {"cause": "acid_empty", "probability": 0.9, "places": ["a"]}
    first, second = (
        FindingEntry("testfarm", UNUSUAL, FAULT_US, None, at_us, {"causes": [usual | more]})
        for at_us, more in ((FAULT_US + QUARTER_US, one), (FAULT_US + HOUR_US, other))
    )
    found = _moved([first], [second])
    assert found.stretches == found.emptied
    assert bool(found.emptied) == moved


@pytest.mark.parametrize("begin_min", [0, 7, 16, 31, 59])
def test_a_farm_in_its_first_hours_is_looked_at_without_an_hour_to_look_at(tmp_path, begin_min):
    kept = Kept(tmp_path / "new")
    fresh = [one for one in readings(kept.farm, 3) if one.time_us >= T0_US + begin_min * MINUTE_US]
    for minute in range(begin_min + 1, 170, 5):
        kept.follow(fresh, T0_US + minute * MINUTE_US)
    assert kept.found() == []
    kept.close()


@pytest.mark.parametrize(("probability", "first_step"), [(0.95, "Look at the bottle."), (0.7, "Measure by hand.")])
def test_a_sure_cause_is_looked_for_and_a_likely_one_told_apart_from_the_next(kept, probability, first_step):
    cause = {
        "cause": "nutrient_stock_empty",
        "label": "Empty",
        "probability": probability,
        "check": "Look at the bottle.",
    }
    detail = {
        "headline": "Empty.",
        "causes": [cause],
        "next_check": "Measure by hand.",
        "series": "reservoir/solution_ec",
    }
    kept.journal.findings.replace(
        kept.farm.name, FAULT_US, [FindingEntry(kept.farm.name, "an-excursion", FAULT_US, None, FAULT_US, detail)]
    )
    told = findings_told(kept.farm, kept.journal, T0_US, FAULT_US, lambda condition: [])
    shown = told.of_excursions["an-excursion"].over({"first_step": "Look around.", "caution": ""})
    assert shown["first_step"] == first_step


def test_an_excursion_is_told_by_the_hour_that_is_clearest_for_what_can_lie_behind_it():
    # Two hypotheses and the row of something else: the first is clearest in hour 1, the second in hour 3.
    fast = [Hypothesis("pump_off", "", ""), Hypothesis("drying_lost", "", "")]
    weighing = SimpleNamespace(
        log_odds=np.array([[0.0, 9.0, 1.0, 1.0], [0.0, 2.0, 3.0, 4.0], [0.0, 0.0, 0.0, 0.0]]), hypotheses=fast
    )
    something = np.array([0.1, 0.99, 0.99, 0.99])
    assert told_at(Episode(0, 0, 3), something, weighing) == 1
    assert told_at(Episode(0, 0, 3), something, weighing, np.array([False, True])) == 3
    assert told_at(Episode(0, 0, None), np.array([0.1, 0.99, 0.99, 0.2]), weighing) == 2


def test_a_slow_cause_within_a_day_of_a_clearer_fast_one_is_its_echo():
    # Lamps that were dark for three hours, and a mean over the day that falls because of it: no fade.
    hours = 30
    odds = np.zeros((3, hours))
    odds[0, 1:4], odds[1, 4:] = 9.0, 5.0
    lamps = [Hypothesis("lamp_group_lost", "", "row-1"), Hypothesis("lamp_fade", "one", "row-1")]
    weighing = SimpleNamespace(log_odds=odds, hypotheses=lamps)
    something = np.full(hours, 0.99)
    assert told_at(Episode(1, 1, None), something[:5], weighing) == 1
    assert told_at(Episode(1, 1, None), something[:24], weighing) == 1
    assert told_at(Episode(1, 1, None), something, weighing) == hours - 1  # a day later it is one
    odds[0] = 0.0
    assert told_at(Episode(1, 1, None), something[:5], weighing) == 4


def test_an_excursion_that_lasts_is_told_by_its_newest_sure_hour(kept, sudden):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us, last_us = FAULT_US + 30 * MINUTE_US, FAULT_US + 180 * MINUTE_US
    excursion = ExcursionEntry(humidity, Side.HIGH, onset_us, None, last_us, 84.0, last_us, 75.0, 20.0)
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take(until(sudden, last_us))
    assert kept.journal.findings.of(kept.farm.name, excursion.identity).at_us == last_us


def test_rain_on_an_outdoor_sensor_is_no_fault_of_it():
    farm = demo_farm()
    outdoors = {name for name, zone in farm.zones.items() if zone.kind is ZoneKind.OUTDOORS}
    assert outdoors
    for cause in ("humidity_sensor_wet", "humidity_sensor_drift", "sensor_offset"):
        at = {place.split("/")[0] for place in places(farm, BY_NAME[cause], "")}
        assert at
        assert not at & outdoors
    assert {place.split("/")[0] for place in places(farm, BY_NAME["sensor_stuck"], "")} & outdoors


def test_a_past_that_comes_late_is_told_by_whole_hours_alone(kept, sudden):
    past = until(sudden, FAULT_US + 200 * MINUTE_US)
    kept.now_us = FAULT_US + 48 * HOUR_US
    kept.take(past, busy=True)
    assert [one.at_us for one in kept.found()] == [FAULT_US + 180 * MINUTE_US]


def test_a_healthy_record_has_no_findings_between_whole_hours(kept, rows):
    for quarter in range(-12, 1):
        kept.follow(rows, FAULT_US + quarter * QUARTER_US + 2 * MINUTE_US * (quarter < 0))
        assert kept.found() == []


def test_an_excursion_is_explained_and_the_command_prints_it(kept, rows):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us, last_us = T0_US + (FAULT_H + 3) * HOUR_US, rows[-1].time_us
    excursion = ExcursionEntry(humidity, Side.HIGH, onset_us, None, last_us, 84.0, last_us, 75.0, 20.0)
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take(rows)
    found = kept.journal.findings.of(kept.farm.name, excursion.identity)
    assert found.detail["causes"][0]["cause"] == "drying_lost"
    assert found.detail["series"] == humidity.key
    printed = "\n".join(lines(found, kept.farm.farm.zone_info))
    assert "drying_lost" in printed
    assert "Check first: Look at the coil" in printed
    assert kept.journal.findings.named(excursion.identity) == found


@pytest.mark.parametrize("described", [True, False])
def test_the_command_tells_times_by_the_farms_clock_and_names_it(kept, described):
    winter_us = int(datetime(2026, 3, 28, 22, 30, tzinfo=UTC).timestamp()) * 1_000_000
    detail = {
        "headline": "No drying (95 %).",
        "causes": [],
        "also": [],
        "cannot_tell_apart": [],
        "next_check": None,
        "next_check_shows": {},
        "cautions": [],
        "leads_since": "2026-03-29T01:30:00Z",
    }
    summer_us = winter_us + 5 * HOUR_US  # Oslo goes over to summer time at 01:00 UTC on 29 March 2026
    found = FindingEntry(kept.farm.name, UNUSUAL, winter_us, summer_us, summer_us, detail)
    kept.journal.findings.replace(kept.farm.name, winter_us, [found])
    if described:
        kept.journal.note_description(kept.farm.name, "sha", FARM, winter_us)
    done = CliRunner().invoke(app, ["explain", found.identity, "--data", str(kept.folder)])
    assert done.exit_code == 0, done.output
    since, until, named = (
        ("2026-03-28 23:30 CET", "2026-03-29 05:30 CEST", "(times: Europe/Oslo)")
        if described
        else ("2026-03-28 22:30 UTC", "2026-03-29 03:30 UTC", "(times: UTC)")
    )
    assert f"since {since}, until {until}; as of {until} {named}" in done.output
    led = "2026-03-29 03:30 CEST" if described else "2026-03-29 01:30 UTC"
    assert f"This cause leads since {led}." in done.output


def test_an_excursion_while_nothing_is_unusual_is_told_as_usual(kept, rows):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us = T0_US + (FAULT_H - 20) * HOUR_US
    excursion = ExcursionEntry(
        humidity, Side.HIGH, onset_us, onset_us + 3 * HOUR_US, onset_us, 67.0, onset_us, 66.0, 1.0
    )
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take(rows)
    found = kept.journal.findings.of(kept.farm.name, excursion.identity)
    assert found.detail["causes"][0]["cause"] == "as_usual"


@pytest.mark.parametrize(("days", "told"), [(1, "1 before it, and 3 are needed"), (2, "2 before it, and 3 are needed")])
def test_in_a_farms_first_days_nothing_is_called_usual(kept, rows, days, told):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us, end_us = T0_US + (24 * days + 3) * HOUR_US, T0_US + (24 * days + 5) * HOUR_US
    excursion = ExcursionEntry(humidity, Side.HIGH, onset_us, end_us, onset_us, 67.0, onset_us, 66.0, 1.0)
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take([one for one in rows if one.time_us <= end_us + HOUR_US])
    detail = kept.journal.findings.of(kept.farm.name, excursion.identity).detail
    assert detail["headline"].startswith("Too few days are known yet to tell what is usual")
    assert told in detail["headline"]
    assert "no indicator differs" not in detail["causes"][0]["label"]


def test_from_the_fourth_day_on_it_can_be_called_usual(kept, rows):
    humidity = Series.parse(kept.farm.name, "room/relative_humidity")
    onset_us, end_us = T0_US + (24 * 3 + 3) * HOUR_US, T0_US + (24 * 3 + 5) * HOUR_US
    excursion = ExcursionEntry(humidity, Side.HIGH, onset_us, end_us, onset_us, 67.0, onset_us, 66.0, 1.0)
    kept.journal.replace_excursions(kept.farm.name, humidity, 0, [excursion])
    kept.take([one for one in rows if one.time_us <= end_us + HOUR_US])
    headline = kept.journal.findings.of(kept.farm.name, excursion.identity).detail["headline"]
    assert headline == "Nothing differs from this farm's usual beyond its scatter."


def test_silence_of_everything_is_found_by_the_clock(kept, rows):
    kept.take([one for one in rows if one.time_us <= T0_US + FAULT_H * HOUR_US])
    kept.now_us = T0_US + (FAULT_H + 5) * HOUR_US
    kept.keeper.renew()
    assert "link_cut" in [one.detail["causes"][0]["cause"] for one in kept.found()]


def test_a_wrong_clock_that_the_arrival_check_noted_is_a_finding(kept, rows):
    at_us = T0_US + (FAULT_H - 5) * HOUR_US
    kept.journal.add_clock_faults(
        kept.farm.name, [ClockFault("box", "ahead", "x", -900.0, at_us, at_us + 3 * HOUR_US, 180)]
    )
    kept.take([one for one in rows if one.time_us <= T0_US + FAULT_H * HOUR_US])
    assert "clock_jump" in [one.detail["causes"][0]["cause"] for one in kept.found()]


def test_fewer_sensors_give_wider_answers_and_never_evidence_from_what_is_not_there(kept, rows):
    kept.take([one for one in rows if one.series.zone == "room" and one.series.quantity != "condensate_volume"])
    for one in kept.found():
        pieces = [piece for cause in one.detail["causes"] for piece in (*cause["for"], *cause["against"])]
        indicators = {piece["indicator"].split("@")[0] for piece in pieces}
        assert not indicators & {"condensate", "condensate_per_run", "coil_drying", "coil_cooling"}
        assert one.detail["causes"][0]["probability"] < 0.999


def test_the_day_sheet_tells_the_days_findings(kept, rows):
    kept.take(rows)
    at = kept.found()[0].onset_us
    from farm.readings import instant

    day = instant(at).astimezone(kept.farm.farm.zone_info).date()
    [told_of] = SECTIONS["findings"](day_data(kept.farm, kept.store, kept.journal, day, kept.now_us))
    assert told_of["causes"][0]["cause"] == "drying_lost"
    assert told_of["id"] == kept.found()[0].identity


def test_what_is_over_tells_when_it_was_seen_last_and_later_sheets_leave_it_out(kept):
    """The coil dries again after 8 h: what looks back on a day does not know that for a day or two."""
    from farm.readings import instant, microseconds

    kept.take(readings(kept.farm, FAULT_H + 96, FAULT_H, mended_h=FAULT_H + 8))
    [one] = [one for one in kept.found() if one.subject == UNUSUAL]
    seen_us = microseconds(datetime.fromisoformat(one.detail["last_seen"]))
    assert T0_US + (FAULT_H + 8) * HOUR_US <= seen_us <= T0_US + (FAULT_H + 10) * HOUR_US
    assert one.end_us > seen_us + 4 * HOUR_US
    zone = kept.farm.farm.zone_info

    def told_on(at_us):
        day = day_data(kept.farm, kept.store, kept.journal, instant(at_us).astimezone(zone).date(), kept.now_us)
        return one.identity in [told["id"] for told in SECTIONS["findings"](day)]

    assert told_on(one.onset_us)
    assert told_on(seen_us - 1)
    assert not told_on(seen_us + 24 * HOUR_US)
    assert "traces in a day's figures last longer" in "\n".join(lines(one, zone))
    before = Before("aaaaaaaaaa", T0_US - 24 * HOUR_US, T0_US, ("Row 1",))
    assert "The same cause was found before: 2026-02-28 01:00 CET." in lines(one, zone, [before])
    assert "found before" not in "\n".join(lines(one, zone))


def test_a_headline_tells_places_apart_whose_labels_hold_commas(kept):
    from watch.finding_details import detail

    keys = ("room/air_temperature", "room/relative_humidity", "supply/air_temperature", "supply/relative_humidity")
    one = Candidate("sensor_offset", "A sensor reads wrong", 0.9, keys, "")
    told = detail(kept.farm, Explanation((one,), (), (), "", {}))["headline"]
    labels = ["Room, Air temperature", "Room, Relative humidity", "Supply, Air temperature"]
    assert told == f"A sensor reads wrong: {'; '.join(labels)} and 1 more (90 %)."


def test_no_probability_is_told_as_certain():
    from analytics.findings.explaining import Candidate, Explanation
    from watch.finding_details import detail

    empty = Candidate("nutrient_stock_empty", "The nutrient bottles are all empty", 0.9999, (), "all")
    found = detail(check_text(FARM)[0], Explanation((empty,), (), (), "", {}))
    assert found["headline"] == "The nutrient bottles are all empty (99 %)."
    assert found["causes"][0]["probability"] == 0.99


def test_a_valve_stuck_open_tells_people_to_leave():
    from analytics.findings.explaining import Candidate, Explanation
    from watch import cautions
    from watch.finding_details import detail

    stuck = Candidate("co2_valve_stuck_open", BY_NAME["co2_valve_stuck_open"].label, 0.4, (), "")
    found = detail(check_text(FARM)[0], Explanation((stuck,), (), (), BY_NAME[stuck.cause].check, {}))
    assert found["urgent"]
    assert found["cautions"] == [cautions.CO2]
    assert "Leave the room now" in found["next_check"]
    assert "certified gas detector" in found["cautions"][0]
    assert "local code" in found["cautions"][0]


@pytest.mark.parametrize(
    ("margin", "give", "wet"),
    # The standard normal distribution's table: 0.1587 beyond one standard deviation, 0.0228 beyond two.
    [(0.0, 2.0, 0.5), (1.0, 2.0, 0.1587), (2.0, 2.0, 0.0228), (-1.0, 2.0, 0.8413)],
)
def test_the_chance_of_a_wet_surface_is_the_normal_distributions(margin, give, wet):
    assert wet_probability(margin, give) == pytest.approx(wet, abs=5e-5)


def test_the_shipped_table_can_be_read():
    assert len(shipped_table().kinds) > 50
