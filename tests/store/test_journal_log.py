"""What people write stays as they wrote it, whatever is written over it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from store.entries import QualityMark
from store.journal import Journal
from store.journal_log import UnknownEntry
from store.log_entries import Drained, GrabSample, Note, PhCalibration
from tests.store.words import AIR, HUMIDITY, SOUTH_AIR


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'journal.sqlite'}"


@pytest.fixture
def journal(url):
    with Journal(url) as opened:
        yield opened


CALIBRATION = PhCalibration(series="tank/solution_ph", buffers=(7.0, 4.01), readings=(7.1, 4.2), note="buffers new")


class TestEntries:
    def test_comes_back_in_the_order_of_what_happened_even_after_reopening(self, journal, url):
        later = journal.log.add("north", 20, "kim", Note(note="leaves pale"), 30)
        earlier = journal.log.add("north", 10, "kim", CALIBRATION, 40)
        journal.log.add("south", 10, "kim", Drained(volume_l=20), 40)
        journal.close()
        with Journal(url) as again:
            assert again.log.entries("north") == [earlier, later]
            assert again.log.entries("north", kinds=["ph_calibration"]) == [earlier]
            assert again.log.entries("north", start_us=11) == again.log.entries("north", start_us=20) == [later]
            assert again.log.entries("north", end_us=20) == [earlier]

    def test_written_twice_stands_once(self, journal):
        one = journal.log.add("north", 10, "kim", CALIBRATION, 40)
        assert journal.log.add("north", 10, "kim", CALIBRATION, 40) == one
        assert journal.log.entries("north") == [one]

    def test_an_edit_keeps_the_former_version_and_who_wrote_it(self, journal):
        first = journal.log.add("north", 10, "kim", GrabSample(series="tank/solution_ph", value=6.1), 40)
        second = journal.log.edit(
            "north", first.identity, 12, "lee", GrabSample(series="tank/solution_ph", value=6.3), 50
        )
        assert journal.log.versions("north", first.identity) == [first, second]
        assert journal.log.entries("north") == [second]
        assert (second.version, second.author, second.at_us) == (2, "lee", 12)

    def test_withdrawn_counts_for_nothing_but_stays(self, journal):
        entry = journal.log.add("north", 10, "kim", Note(note="x"), 40)
        gone = journal.log.withdraw("north", entry.identity, "lee", 50)
        assert journal.log.entries("north") == []
        assert journal.log.entries("north", withdrawn=True) == [gone]
        assert gone == replace(entry, version=2, author="lee", written_us=50, withdrawn=True)

    def test_there_must_be_something_to_change(self, journal):
        with pytest.raises(UnknownEntry, match="'0123456789'"):
            journal.log.edit("north", "0123456789", 1, "kim", Note(note="x"), 2)
        with pytest.raises(UnknownEntry, match="'0123456789'"):
            journal.log.withdraw("north", "0123456789", "kim", 2)
        assert journal.log.entries("north", withdrawn=True) == []

    def test_the_days_it_belongs_on_are_noted_with_it(self, journal):
        entry = journal.log.add("north", 10, "kim", Note(note="x"), 40, stale_days=[date(2026, 3, 1)])
        journal.log.withdraw("north", entry.identity, "kim", 50, stale_days=[date(2026, 3, 2)])
        assert journal.stale_days("north") == [date(2026, 3, 1), date(2026, 3, 2)]

    def test_its_state_changes_with_every_write(self, journal):
        states = [journal.log.state("north")]
        entry = journal.log.add("north", 10, "kim", Note(note="x"), 40)
        states.append(journal.log.state("north"))
        journal.log.withdraw("north", entry.identity, "kim", 40)
        states.append(journal.log.state("north"))
        assert len(set(states)) == 3


class TestMarks:
    SPIKE = QualityMark("spike", 4, 10, 10, 1)
    STUCK = QualityMark("flat_line", 3, 12, 30, 4)

    def test_found_by_series_and_range(self, journal):
        journal.marks.replace(AIR, 0, 100, [self.SPIKE, self.STUCK])
        assert journal.marks.between(AIR, 0, 100) == [self.SPIKE, self.STUCK]
        assert journal.marks.between(AIR, 30, 31) == [self.STUCK]
        assert journal.marks.between(AIR, 31, 100) == journal.marks.between(HUMIDITY, 0, 100) == []
        assert journal.marks.marked("north") == {AIR}
        assert SOUTH_AIR not in journal.marks.marked("south")

    def test_replaced_by_where_they_begin(self, journal):
        journal.marks.replace(AIR, 0, 100, [self.SPIKE, self.STUCK])
        journal.marks.replace(AIR, 11, 100, [])
        assert journal.marks.between(AIR, 0, 100) == [self.SPIKE]

    def test_two_tests_may_doubt_the_same_readings(self, journal):
        both = [replace(self.SPIKE, test="rate_of_change", flag=3), self.SPIKE]
        journal.marks.replace(AIR, 0, 100, both)
        assert journal.marks.between(AIR, 0, 100) == both

    def test_outside_the_range_is_a_mistake(self, journal):
        with pytest.raises(ValueError, match="does not lie in"):
            journal.marks.replace(AIR, 0, 20, [self.STUCK])
