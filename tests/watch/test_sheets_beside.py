"""The day sheets of a long backlog come from a second process, and are those that this one would have made."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from farm.check import Description, check_text
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.open import open_both
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch import jobs, sheet_writing
from watch.day_sheet import sections_of_readings
from watch.jobs import Watch
from watch.sheets_beside import SheetsBeside

TEMPERATURE, HUMIDITY = "room/air_temperature", "room/relative_humidity"
DAY_US = 24 * 60 * MINUTE_US
DAYS = 4
BANDS = SMALL_FARM + "vapour_pressure_deficit = { always = [0.4, 1.3], on_delay_s = 0 }\n"
WET = "60 60.5 " * 60 + "90 90.5 " * 1200 + "60 60.5 " * 180  # every 2 min: an excursion over days


class Blind(EmbeddedStore):
    """A store that cannot be read."""

    def read(self, *_):
        raise ArithmeticError("nothing to be seen")


def opened_blind(_, folder):
    return Blind(folder), Journal(f"sqlite:///{folder}/journal.sqlite")


class Backlog:
    """A house with some days waiting, worked off in small rounds."""

    def __init__(self, farm, folder, opened=None):
        self.house = House(farm, folder)
        self.house.watch = Watch(
            Description(farm, "its text", "first"), self.house.store, self.house.journal, self.now_us, opened
        )
        self.house.watch.begin()
        for day in range(DAYS):
            for key, text in ((TEMPERATURE, "22 22.1 " * (360 * DAYS)), (HUMIDITY, WET)):
                rows = samples(text, 2 * MINUTE_US)
                self.house.put(key, [one for one in rows if day == (one[0] - T0_US) // DAY_US])

    def now_us(self):
        return self.house.now_us

    @property
    def beside(self):
        return self.house.watch._sheets._beside

    def work(self, between=lambda: None):
        while self.house.watch.round():
            self.house.now_us += 61_000_000
            between()
        self.house.now_us += 61_000_000
        self.house.watch.round()

    def sheets(self):
        journal, farm = self.house.journal, self.house.farm.name
        assert journal.stale_days(farm) == []
        return {day: journal.day_sheet(farm, day).sheet for day in journal.days(farm)}


@pytest.fixture
def backlogs(tmp_path, monkeypatch):
    farm, mistakes = check_text(BANDS)
    assert not mistakes
    monkeypatch.setattr(jobs, "NOTES_AT_ONCE", 24)
    made = []

    def backlog(name, opened=open_both):
        beside = None if opened is None else partial(opened, None, tmp_path / name)
        made.append(Backlog(farm, tmp_path / name, beside))
        return made[-1]

    yield backlog
    for one in made:
        one.house.watch._sheets.close()
        one.house.close()


@pytest.fixture
def written_here(monkeypatch):
    days, sheet = [], sheet_writing.day_sheet
    monkeypatch.setattr(sheet_writing, "day_sheet", lambda *args: (days.append(args[4]), sheet(*args))[1])
    return days


def test_they_are_the_same_and_the_process_ends_with_the_backlog(backlogs, written_here):
    alone, two = backlogs("alone", None), backlogs("two")
    alone.work()
    expected, by_itself = alone.sheets(), len(written_here)
    written_here.clear()
    processes = set()
    two.work(lambda: processes.add(two.beside and two.beside._process))
    [process] = processes - {None}
    assert not process.is_alive()
    assert two.beside is None
    assert len(written_here) < by_itself / 2
    assert two.sheets() == expected
    assert len(expected) > DAYS
    assert two.house.journal.excursions("testfarm") == alone.house.journal.excursions("testfarm")


def test_they_are_the_same_where_sections_are_worked_out_here_meanwhile(backlogs, monkeypatch):
    alone, two = backlogs("alone", None), backlogs("two")
    alone.work()
    made = []
    monkeypatch.setattr(SheetsBeside, "far_behind", True)
    monkeypatch.setattr(
        "watch.sheet_writing.sections_of_readings", lambda *args: made.append(args[3]) or sections_of_readings(*args)
    )
    two.work()
    assert len(made) > DAYS / 2
    assert two.sheets() == alone.sheets()


def test_a_section_that_fails_here_is_left_to_the_second_process(backlogs, monkeypatch):
    alone, two = backlogs("alone", None), backlogs("two")
    alone.work()
    failed = []

    def fails(*args):
        failed.append(args[3])
        raise ValueError("no")

    monkeypatch.setattr(SheetsBeside, "far_behind", True)
    monkeypatch.setattr("watch.sheet_writing.sections_of_readings", fails)
    two.work()
    assert failed
    assert two.sheets() == alone.sheets()
    assert two.house.watch.counts.broken == {}


def test_what_is_live_needs_none(backlogs):
    backlog = backlogs("live")
    backlog.work()
    started = []
    backlog.house.put(HUMIDITY, samples("60*5", start_us=T0_US + DAYS * DAY_US))
    backlog.work(lambda: started.append(backlog.beside))
    assert started == [None]


def test_once_it_is_killed_they_are_written_here(backlogs, written_here):
    alone, two = backlogs("alone", None), backlogs("two")
    alone.work()
    killed = []

    def kill():
        if two.beside and not killed:
            os.kill(two.beside._process.pid, signal.SIGKILL)
            two.beside._process.join()
            killed.append(written_here.clear())

    two.work(kill)
    assert killed
    assert written_here
    assert two.sheets() == alone.sheets()


def test_what_it_cannot_work_out_is_tried_here(backlogs, written_here):
    alone, blind = backlogs("alone", None), backlogs("blind", opened_blind)
    alone.work()
    written_here.clear()
    blind.work()
    assert set(written_here) == alone.sheets().keys()
    assert blind.sheets() == alone.sheets()
    assert blind.house.watch.counts.broken == {}


class TestAsking:
    @pytest.fixture
    def beside(self, backlogs):
        backlog = backlogs("asked", None)
        backlog.work()
        house = backlog.house
        made = SheetsBeside(house.farm, "first", partial(open_both, None, house.store.folder))
        yield house, made
        made.close()

    @staticmethod
    def ask(house, made):
        days = house.journal.days("testfarm")[1:3]
        made.ask(days, house.now_us, house.watch.readings.judgement, (0, 0), house.store)
        return days

    def until_finished(self, made):
        found = []
        while made.under_way:
            found += made.finished(30.0)
        return [entry.day for entry, _ in found]

    def test_each_comes_once(self, beside):
        house, made = beside
        days = self.ask(house, made)
        assert self.until_finished(made) == days
        assert made.finished() == []

    def test_sections_that_are_ready_are_taken_as_they_are(self, beside):
        house, made = beside
        day = house.journal.days("testfarm")[1]
        ready = sections_of_readings(house.farm, house.store, house.journal, day, house.now_us)
        assert ready == {"quality": house.journal.day_sheet("testfarm", day).sheet["quality"]}
        marked = {day: {"quality": {"series": [], "impossible": ["told so"]}}}
        made.ask([day], house.now_us, house.watch.readings.judgement, (0, 0), house.store, marked)
        [(entry, _)] = made.finished(30.0)
        assert entry.sheet["quality"] == marked[day]["quality"]

    def test_one_noted_stale_meanwhile_is_dropped_and_may_be_asked_for_again(self, beside):
        house, made = beside
        days = self.ask(house, made)
        made.note({house.series(HUMIDITY): (T0_US, T0_US)}, set(days[:1]))
        assert list(made.under_way) == days[1:]
        self.ask(house, made)
        assert sorted(self.until_finished(made)) == days

    def test_readings_that_came_since_the_last_request_are_seen(self, beside):
        house, made = beside
        [day, _] = self.ask(house, made)
        self.until_finished(made)
        house.put(HUMIDITY, samples("75*5", start_us=T0_US + DAY_US + MINUTE_US, step_us=2 * MINUTE_US))
        house.work()
        house.now_us += 61_000_000
        house.watch.round()  # findings too are true to what came
        changed = {one.series: (T0_US + DAY_US, one.last_us) for one in house.store.known("testfarm")}
        made.note(changed, {day})
        made.ask([day], house.now_us, house.watch.readings.judgement, (0, 0), house.store)
        [(entry, _)] = made.finished(30.0)
        assert entry.sheet == house.journal.day_sheet("testfarm", day).sheet


START = """
import sys, time
from functools import partial
from pathlib import Path
from farm.check import check_text
from store.open import open_both
from watch.sheets_beside import SheetsBeside
if __name__ == "__main__":
    farm, _ = check_text(Path(sys.argv[1], "farm.toml").read_text())
    beside = SheetsBeside(farm, "first", partial(open_both, None, Path(sys.argv[1])))
    print(beside._process.pid, flush=True)
    time.sleep(60)
"""


@pytest.mark.slow
def test_it_ends_when_the_first_process_is_killed(tmp_path):
    (tmp_path / "farm.toml").write_text(BANDS)
    script = tmp_path / "start.py"
    script.write_text(START)
    root = str(Path(__file__).parents[2])
    with subprocess.Popen(
        [sys.executable, script, tmp_path], stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": root}
    ) as first:
        second = int(first.stdout.readline())
        assert _runs(second)
        first.kill()
    deadline = time.monotonic() + 20
    while _runs(second) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _runs(second)


def _runs(process):
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
