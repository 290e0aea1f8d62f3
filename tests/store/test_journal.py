"""The journal keeps what it is given, merged, replaced and found as its docstrings say."""

from __future__ import annotations

import random
import threading
from dataclasses import replace
from datetime import date

import pytest
from sqlalchemy import Engine, event

from farm.readings import Series
from store.entries import DaySheetEntry, ExcursionEntry, QualityMark, Reason, Reject, Side, UnknownName
from store.journal import MAX_REJECTS, Journal
from tests.store.words import AIR, HUMIDITY, SOUTH_AIR


@pytest.fixture
def url(tmp_path):
    return f"sqlite:///{tmp_path / 'journal.sqlite'}"


@pytest.fixture
def journal(url):
    with Journal(url) as opened:
        yield opened


def reject(last_us, name="room/air", reason=Reason.UNKNOWN_NAME, topic="north/air", count=1, first_us=None):
    first_us = last_us if first_us is None else first_us
    return Reject(reason, topic, name, f"detail of {last_us}", b"\x00\xff%d" % last_us, first_us, last_us, count)


def excursion(onset_us, end_us=None, side=Side.HIGH, series=AIR, **changes):
    entry = ExcursionEntry(series, side, onset_us, end_us, onset_us + 5, 31.5, onset_us + 3, 28.0, 0.25, 26.0)
    return replace(entry, **changes)


class TestRejects:
    def test_what_was_refused_comes_back_newest_first(self, journal):
        rejects = [reject(5, "b"), reject(9, "a"), reject(7, "c", Reason.WRONG_UNIT, topic="")]
        journal.add_rejects("north", rejects)
        assert journal.rejects("north") == [rejects[1], rejects[2], rejects[0]]
        assert journal.rejects("north", limit=1) == [rejects[1]]
        assert journal.rejects("north", limit=0) == []

    def test_the_same_kind_is_merged_within_and_across_calls(self, journal):
        journal.add_rejects("north", [reject(50, count=2), reject(40), reject(60, first_us=45)])
        assert journal.rejects("north") == [replace(reject(60), first_us=40, count=4)]
        journal.add_rejects("north", [reject(30, first_us=10, count=3)])
        assert journal.rejects("north") == [replace(reject(60), first_us=10, count=7)]

    def test_a_pack_of_thousands_of_strange_names_takes_few_statements(self, journal):
        """One such message held everything up for a minute, with several statements a name."""
        names = [f"name-{n}" for n in range(3000)]
        unknown = [UnknownName(name, "north/air", 1.0, "Cel", 1, 2) for name in names]
        journal.add_rejects("north", [reject(1, name) for name in names[:1000]])
        journal.add_unknown_names("north", unknown[:1000])
        statements = []

        def note(_connection, _cursor, statement, *_):
            statements.append(statement)

        event.listen(Engine, "before_cursor_execute", note)
        try:
            journal.add_rejects("north", [reject(2, name) for name in names])
            journal.add_unknown_names("north", unknown)
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        assert len(statements) < 100
        assert sum(one.count for one in journal.rejects("north", 5000)) == 4000
        assert sum(one.count for one in journal.unknown_names("north")) == 4000
        kept = {one.name: one.count for one in journal.rejects("north", 5000)}
        assert (kept["name-0"], kept["name-1999"], kept[""]) == (2, 1, 1000)

    @pytest.mark.parametrize("other", [{"name": "x"}, {"topic": "x"}, {"reason": Reason.CONFLICT}])
    def test_another_name_topic_or_reason_is_another_entry(self, journal, other):
        journal.add_rejects("north", [reject(1), reject(2, **other)])
        assert len(journal.rejects("north")) == 2

    def test_counts_are_by_reason_and_farm(self, journal):
        journal.add_rejects("north", [reject(1, count=3), reject(2, "x"), reject(3, reason=Reason.FUTURE, count=5)])
        journal.add_rejects("south", [reject(1)])
        assert journal.reject_counts("north") == {Reason.UNKNOWN_NAME: 4, Reason.FUTURE: 5}
        assert journal.reject_counts("south") == {Reason.UNKNOWN_NAME: 1}
        assert journal.reject_counts("west") == {}

    def test_a_flood_of_names_stays_bounded_and_nothing_goes_uncounted(self, journal):
        total = MAX_REJECTS + 500
        for first in range(0, total, 700):
            journal.add_rejects(
                "north",
                [
                    reject(1000 + one, f"name-{one}", (Reason.UNKNOWN_NAME, Reason.MALFORMED)[one % 2])
                    for one in range(first, min(first + 700, total))
                ],
            )
        journal.add_rejects("north", [reject(9999, "name-0"), reject(9998, "name-1", count=2, reason=Reason.MALFORMED)])
        kept = journal.rejects("north", limit=10_000)
        assert len(kept) == MAX_REJECTS + 2
        assert journal.reject_counts("north") == {Reason.UNKNOWN_NAME: total / 2 + 1, Reason.MALFORMED: total / 2 + 2}
        together = [one for one in kept if not one.name]
        assert sorted((one.reason, one.topic, one.count) for one in together) == [
            (Reason.MALFORMED, "", 250),
            (Reason.UNKNOWN_NAME, "", 250),
        ]
        newest = next(one for one in together if one.reason is Reason.MALFORMED)
        assert (newest.first_us, newest.last_us, newest.raw) == (3001, 3499, b"\x00\xff3499")
        assert f"more than {MAX_REJECTS} different" in newest.detail
        assert "'name-2499': detail of 3499" in newest.detail
        assert next(one for one in kept if one.name == "name-0").count == 2  # those known before still grow
        journal.add_rejects("south", [reject(1)])  # another farm has room of its own
        assert journal.rejects("south") == [reject(1)]

    def test_broken_text_is_kept_readable(self, journal):
        journal.add_rejects("north", [reject(1, "half \ud800 of a character", topic="nul \x00")])
        assert [(one.name, one.topic) for one in journal.rejects("north")] == [
            ("half \\ud800 of a character", "nul \x00")
        ]

    def test_none_is_no_mistake(self, journal):
        journal.add_rejects("north", [])
        assert journal.rejects("north") == []


class TestExcursions:
    def test_they_come_back_exactly_and_by_onset(self, journal):
        entries = [excursion(20), excursion(10, 15, Side.LOW), excursion(30, 40, extreme=-1e-9, dose=0.1 + 0.2)]
        journal.replace_excursions("north", AIR, 0, entries)
        assert journal.excursions("north") == [entries[1], entries[0], entries[2]]
        assert all(journal.excursion("north", one.identity) == one for one in entries)

    def test_they_grow_vanish_and_appear_from_an_instant_on(self, journal):
        journal.replace_excursions("north", AIR, 0, [excursion(10, 15), excursion(20), excursion(30, 35)])
        grown = excursion(20, 28, extreme=40.0, extreme_us=27)
        journal.replace_excursions("north", AIR, 20, [grown, excursion(50)])
        assert journal.excursions("north") == [excursion(10, 15), grown, excursion(50)]
        journal.replace_excursions("north", AIR, 20, [])
        assert journal.excursions("north") == [excursion(10, 15)]

    def test_other_series_and_farms_stay(self, journal):
        other, south = excursion(10, series=HUMIDITY), excursion(10, series=SOUTH_AIR)
        probe = excursion(10, series=AIR._replace(sensor="b"))
        journal.replace_excursions("north", HUMIDITY, 0, [other])
        journal.replace_excursions("south", SOUTH_AIR, 0, [south])
        journal.replace_excursions("north", probe.series, 0, [probe])
        journal.replace_excursions("north", AIR, 0, [excursion(10)])
        journal.replace_excursions("north", AIR, 0, [])
        assert sorted(journal.excursions("north"), key=repr) == sorted([other, probe], key=repr)
        assert journal.excursions("south") == [south]
        assert journal.excursions("north", series=HUMIDITY) == [other]
        assert journal.excursion("north", south.identity) is None

    @pytest.mark.parametrize(
        ("start_us", "end_us", "onsets"),
        [
            (None, None, [10, 20, 30]),
            (0, 10, []),  # ends as the first begins
            (0, 11, [10]),
            (15, 20, []),  # [10, 15) is over, [20, 25) not begun
            (14, 21, [10, 20]),
            (25, None, [30]),
            (10**15, 10**16, [30]),  # an open one lasts
            (None, 30, [10, 20]),
        ],
    )
    def test_a_range_finds_what_overlaps_it(self, journal, start_us, end_us, onsets):
        journal.replace_excursions("north", AIR, 0, [excursion(10, 15), excursion(20, 25), excursion(30)])
        found = journal.excursions("north", start_us=start_us, end_us=end_us)
        assert [one.onset_us for one in found] == onsets

    def test_open_ones_can_be_had_alone(self, journal):
        journal.replace_excursions("north", AIR, 0, [excursion(10, 15), excursion(30)])
        assert journal.excursions("north", open_only=True) == [excursion(30)]

    @pytest.mark.parametrize(
        ("entries", "message"),
        [
            ([excursion(30), excursion(9)], "does not belong to those of north/room/air_temperature from 1970"),
            ([excursion(30), excursion(40, series=HUMIDITY)], "relative_humidity/probe-2 at .* does not belong"),
            ([excursion(30), excursion(30, 99)], "given twice"),
        ],
    )
    def test_what_does_not_belong_is_refused_and_nothing_changes(self, journal, entries, message):
        journal.replace_excursions("north", AIR, 0, [excursion(20)])
        with pytest.raises(ValueError, match=message):
            journal.replace_excursions("north", AIR, 10, entries)
        assert journal.excursions("north") == [excursion(20)]

    def test_a_series_of_another_farm_is_refused(self, journal):
        with pytest.raises(ValueError, match="south/room/air_temperature is not a series of the farm 'north'"):
            journal.replace_excursions("north", SOUTH_AIR, 0, [])

    def test_any_course_agrees_with_a_plain_list(self, journal):
        chance, held = random.Random(11), {}
        for _ in range(60):
            start = chance.randrange(40)
            onsets = chance.sample(range(start, 60), chance.randrange(5))
            new = [excursion(onset, chance.choice([None, onset + 7]), chance.choice(list(Side))) for onset in onsets]
            journal.replace_excursions("north", AIR, start, new)
            held = {one.onset_us: one for one in held.values() if one.onset_us < start}
            held |= {one.onset_us: one for one in new}
            assert journal.excursions("north") == [held[onset] for onset in sorted(held)]


class TestDaysAndDescriptions:
    def test_a_day_sheet_comes_back_and_a_newer_one_takes_its_place(self, journal):
        first = DaySheetEntry(date(2026, 3, 1), 5, "abc", {"text": "Tørr luft", "rows": [1, 2.5, None, {"a": True}]})
        journal.save_day_sheet("north", first)
        journal.save_day_sheet("north", replace(first, day=date(2026, 2, 28)))
        assert journal.day_sheet("north", date(2026, 3, 1)) == first
        newer = replace(first, computed_us=9, description_hash="def", sheet={})
        journal.save_day_sheet("north", newer)
        assert journal.day_sheet("north", date(2026, 3, 1)) == newer
        assert journal.days("north") == [date(2026, 2, 28), date(2026, 3, 1)]

    def test_farms_do_not_mix(self, journal):
        journal.save_day_sheet("north", DaySheetEntry(date(2026, 3, 1), 5, "abc", {}))
        assert journal.day_sheet("south", date(2026, 3, 1)) is None
        assert journal.days("south") == []

    def test_descriptions_are_kept_and_the_last_one_noted_is_in_force(self, journal):
        assert journal.description_in_force("north") is None
        for seen_us, name in ((5, "abc"), (7, "xyz"), (9, "abc")):
            journal.note_description("north", name, f"[farm] # {name}\n", seen_us)
            assert journal.description_in_force("north") == name
        assert journal.description("north", "abc") == "[farm] # abc\n"
        assert journal.description("north", "def") is None
        assert journal.description("south", "abc") is None


class TestSharing:
    def test_all_is_there_after_opening_again(self, url):
        with Journal(url) as journal:
            journal.add_rejects("north", [reject(1)])
            journal.replace_excursions("north", AIR, 0, [excursion(10)])
        with Journal(url) as journal:
            assert journal.rejects("north") == [reject(1)]
            assert journal.excursions("north") == [excursion(10)]

    def test_threads_write_and_read_together(self, journal):
        mistakes = []

        def run(task):
            try:
                for step in range(25):
                    task(step)
            except Exception as error:
                mistakes.append(error)

        def excurse(step):
            journal.replace_excursions("north", AIR, 0, [excursion(onset) for onset in range(step, step + 4)])

        def look(_):
            assert len(journal.excursions("north")) in (0, 4)  # all or nothing
            journal.rejects("north"), journal.days("north")

        tasks = [
            lambda step: journal.add_rejects("north", [reject(step)]),
            lambda step: journal.add_rejects("north", [reject(step), reject(step, "x")]),
            excurse,
            lambda step: journal.save_day_sheet("north", DaySheetEntry(date(2026, 3, 1 + step), step, "abc", {})),
            lambda step: journal.note_description("north", str(step % 3), "text", step),
            look,
            look,
        ]
        threads = [threading.Thread(target=run, args=(task,)) for task in tasks]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        assert mistakes == []
        assert journal.reject_counts("north") == {Reason.UNKNOWN_NAME: 75}
        assert [one.onset_us for one in journal.excursions("north")] == [24, 25, 26, 27]
        assert len(journal.days("north")) == 25

    def test_two_journals_on_one_file_see_each_other(self, journal, url):
        with Journal(url) as other:
            other.note_description("north", "abc", "text", 1)
            assert journal.description("north", "abc") == "text"

    def test_a_series_that_reads_like_sql_is_only_text(self, journal):
        odd = Series("north", "room' OR 1=1 --", "air_temperature", '"')
        journal.replace_excursions("north", AIR, 0, [excursion(1)])
        journal.replace_excursions("north", odd, 0, [excursion(1, series=odd)])
        journal.replace_excursions("north", odd, 0, [])
        assert journal.excursions("north") == [excursion(1)]


def test_a_stale_day_stays_noted_until_its_sheet_is_saved(journal):
    first, second = date(2026, 3, 1), date(2026, 3, 2)
    journal.mark_days_stale("north", {second, first})
    journal.mark_days_stale("north", {first})
    journal.mark_days_stale("south", {first})
    assert journal.stale_days("north") == [first, second]
    journal.save_day_sheet("north", DaySheetEntry(first, 1, "hash", {}))
    assert journal.stale_days("north") == [second]
    assert journal.stale_days("south") == [first]


def test_a_mark_longer_than_an_hour_is_refused_since_it_would_not_be_found(journal):
    hour_us = 3_600_000_000
    longest, longer = (QualityMark("spike", 3, 10, 10 + length_us, 2) for length_us in (hour_us, hour_us + 1))
    journal.marks.replace(AIR, 0, 2 * hour_us, [longest])
    assert journal.marks.between(AIR, 10 + hour_us, 11 + hour_us) == [longest]
    with pytest.raises(ValueError, match="longer than an hour"):
        journal.marks.replace(AIR, 0, 2 * hour_us, [longer])
