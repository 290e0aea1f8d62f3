"""What every engine must do: each sentence of the store's contract, as a test.

An engine's own test module subclasses `StoreConformance` and gives three fixtures: ``store``, a new
and empty store; ``reopened``, a function that opens the same store once more; and ``opening``, lines
of Python that bind the same store to the name ``store`` in another process.
"""

from __future__ import annotations

import math
import random
import subprocess
import sys
import threading
from dataclasses import FrozenInstanceError

import numpy as np
import pytest

from farm.readings import Columns, Reading, Series
from store.contract import Appended, Known, Origin, Touched
from tests.store.buckets import check_buckets
from tests.store.words import (
    AIR,
    FAR,
    HOUR,
    HUMIDITY,
    MINUTE,
    ROOT,
    SOUTH_AIR,
    VPD,
    columns,
    everything,
    reading,
    windows,
)

READ_WHILE_WRITING = """
import sys
from farm.readings import Series
series = Series("north", "room", "air_temperature")
print("ready", flush=True)
seen = -1
with store:
    while seen < int(sys.argv[1]):
        times = store.read(series, -(1 << 62), 1 << 62).time_us
        assert list(times) == list(range(len(times))), "a batch was seen in part, or out of order"
        assert len(times) % 50 == 0, f"{len(times)} readings: a batch was seen in part"
        assert len(times) >= seen, "readings vanished"
        seen = len(times)
print(seen)
"""


class AppendConformance:
    """`append`: durable, idempotent, first reading stands."""

    def test_any_order_and_any_age_comes_back_in_order_of_time(self, store):
        times = [5 * HOUR, -7, 0, 3, -2 * HOUR, 90 * 365 * 24 * HOUR]
        assert store.append([reading(time, float(time % 50)) for time in times]) == Appended(6, 0, ())
        assert store.append([reading(1, 4.0)]).stored == 1
        assert everything(store, AIR) == [
            (time, float(time % 50) if time != 1 else 4.0, 1) for time in sorted([*times, 1])
        ]

    def test_nothing_appended_changes_nothing(self, store):
        assert store.append([]) == Appended(0, 0, ())
        assert store.known("north") == []

    def test_values_and_flags_come_back_exactly(self, store):
        rows = [(0, 0.1 + 0.2, 1), (1, -1e-300, 2), (2, 1.7976931348623157e308, 3), (3, 21.0, 4), (4, -0.5, 9)]
        store.append([reading(*row) for row in rows])
        assert everything(store, AIR) == rows

    def test_an_identical_reading_counts_as_duplicate(self, store):
        batch = [reading(time, 20.0 + time) for time in range(10)]
        assert store.append(batch).stored == 10
        assert store.append(batch) == Appended(0, 10, ())
        assert store.append([*batch, reading(10)]) == Appended(1, 10, ())
        assert len(everything(store, AIR)) == 11

    @pytest.mark.parametrize("other", [reading(5, 21.0), reading(5, 20.0, flag=3)], ids=["value", "flag"])
    def test_another_value_or_flag_is_a_conflict_and_the_first_stands(self, store, other):
        store.append([reading(5, 20.0)])
        assert store.append([reading(6), other, reading(4)]) == Appended(2, 0, (other,))
        assert everything(store, AIR) == [(4, 20.0, 1), (5, 20.0, 1), (6, 20.0, 1)]

    def test_the_rule_holds_within_one_call(self, store):
        batch = [
            reading(9),
            reading(5, 1.0),
            reading(5, 2.0),
            reading(5, 1.0),
            reading(5, 3.0),
            reading(1, series=HUMIDITY),
        ]
        result = store.append(batch)
        assert (result.stored, result.duplicate) == (3, 1)
        assert sorted(one.value for one in result.conflicting) == [2.0, 3.0]
        assert everything(store, AIR) == [(5, 1.0, 1), (9, 20.0, 1)]

    @pytest.mark.parametrize("most", [40, 400])
    def test_every_reading_is_stored_a_duplicate_or_conflicting(self, store, most):
        chance = random.Random(7)
        kept = {}
        for _ in range(20):
            batch = [
                reading(
                    chance.randrange(3 * most // 2), float(chance.randrange(2)), series=chance.choice([AIR, HUMIDITY])
                )
                for _ in range(chance.randrange(most))
            ]
            result = store.append(batch)
            assert result.stored + result.duplicate + len(result.conflicting) == len(batch)
            before = len(kept)
            for one in batch:
                kept.setdefault((one.series, one.time_us), one)
            assert result.stored == len(kept) - before
            assert all(kept[one.series, one.time_us].value != one.value for one in result.conflicting)
        for series in (AIR, HUMIDITY):
            assert everything(store, series) == sorted(one[1:] for key, one in kept.items() if key[0] == series)

    @pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
    def test_a_value_that_is_not_finite_is_refused_and_nothing_is_stored(self, store, value):
        with pytest.raises(ValueError, match=r"north/room/air_temperature at 1970-01-01T00:00:00.000002Z.*finite"):
            store.append([reading(1), reading(2, value), reading(3)])
        assert store.known("north") == []
        assert store.touched("north", 10) == []

    def test_a_flag_that_is_not_qartods_is_refused_and_nothing_is_stored(self, store):
        with pytest.raises(ValueError, match=r"\[7\] are not quality flags"):
            store.append([reading(1), reading(2, flag=7)])
        assert store.known("north") == []

    def test_a_derived_series_is_refused_and_nothing_is_stored(self, store):
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        with pytest.raises(ValueError, match="vapour_pressure_deficit is a derived series"):
            store.append([reading(1), reading(5, series=VPD)])
        assert everything(store, AIR) == []
        assert everything(store, VPD) == [(1, 1.0, 1)]
        assert store.append([reading(1)]) == Appended(1, 0, ())  # and the store goes on

    def test_what_was_appended_is_there_after_opening_again(self, store, reopened):
        store.append([reading(3), reading(5, 22.0)])
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        notes = store.touched("north", 10)
        store.close()
        with reopened() as again:
            assert everything(again, AIR) == [(3, 20.0, 1), (5, 22.0, 1)]
            assert again.latest("north") == {AIR: reading(5, 22.0), VPD: reading(1, 1.0, series=VPD)}
            assert again.touched("north", 10) == notes
            assert again.append([reading(3), reading(3, 1.0)]) == Appended(0, 1, (reading(3, 1.0),))
            with pytest.raises(ValueError, match="derived"):
                again.append([reading(5, series=VPD)])


class ReplaceConformance:
    """`replace`: the only readings of a derived series in a range."""

    def test_only_the_range_changes(self, store):
        store.replace(VPD, 0, 100, columns((0, 1.0, 1), (10, 1.1, 1), (20, 1.2, 2), (99, 1.3, 1)))
        store.replace(VPD, 10, 99, columns((10, 2.0, 3), (15, 2.1, 1)))
        assert everything(store, VPD) == [(0, 1.0, 1), (10, 2.0, 3), (15, 2.1, 1), (99, 1.3, 1)]

    def test_repeating_is_harmless(self, store):
        for _ in range(3):
            store.replace(VPD, 0, 10, columns((1, 1.0, 1), (2, 1.0, 1)))
        assert everything(store, VPD) == [(1, 1.0, 1), (2, 1.0, 1)]

    def test_nan_is_a_gap_that_says_why(self, store):
        store.replace(VPD, 0, 10, columns((1, math.nan, 9), (2, 1.0, 1), (3, math.nan, 4)))
        assert everything(store, VPD) == [(1, None, 9), (2, 1.0, 1), (3, None, 4)]
        assert math.isnan(store.latest("north")[VPD].value)
        assert math.isnan(store.last_before(VPD, 2).value)

    def test_replacing_by_nothing_clears(self, store):
        store.replace(VPD, 0, 10, columns((1, 1.0, 1), (5, 2.0, 1)))
        store.replace(VPD, 5, 10, Columns.empty())
        assert everything(store, VPD) == [(1, 1.0, 1)]
        assert store.latest("north") == {VPD: reading(1, 1.0, series=VPD)}
        store.replace(VPD, 0, 5, Columns.empty())
        assert store.latest("north") == {}
        assert store.known("north") == []

    def test_nothing_in_place_of_nothing_makes_no_series(self, store):
        store.replace(VPD, 0, 10, Columns.empty())
        assert store.known("north") == []
        assert store.append([reading(1, series=VPD)]).stored == 1

    def test_latest_follows_the_newest_that_remains(self, store):
        store.replace(VPD, 0, 100, columns((1, 1.0, 1), (50, 2.0, 1)))
        store.replace(VPD, 40, 60, columns((45, 3.0, 1)))
        assert store.latest("north")[VPD].time_us == 45
        store.replace(VPD, 0, 10, columns((2, 4.0, 1)))
        assert store.latest("north")[VPD].time_us == 45

    def test_it_notes_nothing(self, store):
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        assert store.touched("north", 10) == []

    def test_a_measured_series_is_refused(self, store):
        store.append([reading(1)])
        with pytest.raises(ValueError, match="air_temperature is a measured series"):
            store.replace(AIR, 0, 10, columns((2, 1.0, 1)))
        with pytest.raises(ValueError, match="air_temperature is a measured series"):
            store.replace(AIR, 0, 10, Columns.empty())
        assert everything(store, AIR) == [(1, 20.0, 1)]

    @pytest.mark.parametrize(
        ("rows", "message"),
        [
            ([(2, 1.0, 1), (1, 1.0, 1)], "strictly ascending"),
            ([(2, 1.0, 1), (2, 1.0, 1)], "strictly ascending"),
            ([(-1, 1.0, 1), (2, 1.0, 1)], r"outside \["),
            ([(2, 1.0, 1), (10, 1.0, 1)], r"outside \["),
            ([(2, 1.0, 6)], "not quality flags"),
        ],
    )
    def test_unfit_columns_are_refused_and_nothing_changes(self, store, rows, message):
        store.replace(VPD, 0, 10, columns((3, 1.0, 1)))
        with pytest.raises(ValueError, match=message):
            store.replace(VPD, 0, 10, columns(*rows))
        assert everything(store, VPD) == [(3, 1.0, 1)]

    def test_columns_of_unequal_length_are_refused(self, store):
        unequal = Columns(np.array([1, 2]), np.array([1.0]), np.array([1, 1], np.uint8))
        with pytest.raises(ValueError, match="2 times, 1 values and 2 flags"):
            store.replace(VPD, 0, 10, unequal)


class ReadConformance:
    """`read`, `last_before`, `latest`, `known`."""

    def test_ranges_are_half_open(self, store):
        store.append([reading(time) for time in (10, 20, 30)])
        assert store.read(AIR, 10, 30).time_us.tolist() == [10, 20]
        assert store.read(AIR, 11, 31).time_us.tolist() == [20, 30]
        assert len(store.read(AIR, 20, 20)) == 0
        assert len(store.read(AIR, 30, 10)) == 0

    def test_an_unknown_series_is_empty(self, store):
        assert everything(store, AIR) == []
        assert store.last_before(AIR, FAR) is None
        assert len(store.aggregate(AIR, 0, 10, 1).time_us) == 0
        assert (store.latest("north"), store.known("north"), store.touched("north", 10)) == ({}, [], [])

    def test_last_before_is_strict(self, store):
        store.append([reading(10, 1.0), reading(20, 2.0, flag=3)])
        assert store.last_before(AIR, 10) is None
        assert store.last_before(AIR, 11) == reading(10, 1.0)
        assert store.last_before(AIR, 20) == reading(10, 1.0)
        assert store.last_before(AIR, FAR) == reading(20, 2.0, flag=3)

    def test_late_readings_do_not_move_the_latest(self, store):
        store.append([reading(20, 2.0), reading(10, 1.0)])
        assert store.latest("north") == {AIR: reading(20, 2.0)}
        store.append([reading(15, 9.0)])
        assert store.latest("north") == {AIR: reading(20, 2.0)}
        store.append([reading(20, 9.0), reading(25, 3.0, flag=4), reading(22, 8.0)])
        assert store.latest("north") == {AIR: reading(25, 3.0, flag=4)}

    def test_known_gives_spans_in_order_of_keys(self, store):
        series = [
            Series("north", zone, "air_temperature", sensor)
            for zone in ("row", "row-1", "row_2")
            for sensor in ("b", "a", "")
        ]
        store.append([reading(time, series=one) for place, one in enumerate(series) for time in (place, 100)])
        store.replace(VPD, 0, 10, columns((3, 1.0, 1), (7, math.nan, 9)))
        known = store.known("north")
        assert [one.series.key for one in known] == sorted(one.key for one in [*series, VPD])
        assert Known(VPD, Origin.DERIVED, 3, 7) in known
        assert {(one.origin, one.first_us, one.last_us) for one in known if one.series != VPD} == {
            (Origin.MEASURED, place, 100) for place in range(len(series))
        }

    def test_farms_do_not_mix(self, store):
        store.append([reading(1, 1.0), reading(1, 2.0, series=SOUTH_AIR)])
        store.append([reading(2, 3.0, series=SOUTH_AIR)])
        assert everything(store, AIR) == [(1, 1.0, 1)]
        assert store.latest("south") == {SOUTH_AIR: reading(2, 3.0, series=SOUTH_AIR)}
        assert [one.series for one in store.known("north")] == [AIR]
        assert windows(store, "north") == [(AIR, 1, 1)]
        store.settle(store.touched("south", 10))
        assert (windows(store, "north"), windows(store, "south")) == ([(AIR, 1, 1)], [])

    def test_series_differ_by_every_part(self, store):
        series = [AIR, AIR._replace(zone="row-1"), AIR._replace(quantity="relative_humidity"), AIR._replace(sensor="a")]
        store.append([reading(1, float(place), series=one) for place, one in enumerate(series)])
        assert [everything(store, one) for one in series] == [[(1, float(place), 1)] for place in range(4)]


class AggregateConformance:
    """`aggregate`, against the rule written out in plain Python."""

    @pytest.mark.parametrize("every_us", [1, 7, 60, 1000, 10**9])
    @pytest.mark.parametrize(("start_us", "end_us"), [(-FAR, FAR), (-133, 250), (0, 1), (5, 5)])
    def test_it_agrees_with_the_rule(self, store, start_us, end_us, every_us):
        chance = random.Random(every_us)
        values = [None, *(round(chance.uniform(-5, 40), 3) for _ in range(9))]
        times = sorted(chance.sample(range(-400, 400), 120))
        rows = [(time, chance.choice(values), chance.choice([1, 1, 2, 3, 4, 9])) for time in times]
        store.replace(
            VPD, -FAR, FAR, columns(*((time, math.nan if value is None else value, flag) for time, value, flag in rows))
        )
        check_buckets(store.aggregate(VPD, start_us, end_us, every_us), rows, start_us, end_us, every_us)

    def test_a_worked_case_before_1970(self, store):
        store.append([reading(-61, 1.0), reading(-60, 2.0, 3), reading(-1, 4.0), reading(0, 8.0), reading(59, 16.0, 4)])
        got = store.aggregate(AIR, -FAR, FAR, 60)
        assert got.time_us.tolist() == [-120, -60, 0]
        assert got.count.tolist() == [1, 2, 1]
        assert got.mean.tolist() == [1.0, 3.0, 8.0]
        assert got.flag.tolist() == [1, 3, 1]
        assert (got.first.tolist(), got.last.tolist()) == ([1.0, 2.0, 8.0], [1.0, 4.0, 8.0])

    @pytest.mark.parametrize("every_us", [0, -60])
    def test_a_length_that_is_not_positive_is_refused(self, store, every_us):
        with pytest.raises(ValueError, match=f"{every_us} us.*above 0"):
            store.aggregate(AIR, 0, 10, every_us)


class NotesConformance:
    """`touched` and `settle`: nothing that changed is forgotten."""

    def test_notes_say_exactly_what_was_stored(self, store):
        store.append([reading(HOUR - 1), reading(HOUR), reading(HOUR + 5), reading(-1), reading(7, series=HUMIDITY)])
        assert sorted(windows(store)) == sorted(
            [(AIR, -1, -1), (AIR, HOUR - 1, HOUR - 1), (AIR, HOUR, HOUR + 5), (HUMIDITY, 7, 7)]
        )

    def test_notes_on_one_hour_are_merged(self, store):
        for time in (30 * MINUTE, 10 * MINUTE, 50 * MINUTE, 20 * MINUTE):
            store.append([reading(time)])
        assert windows(store) == [(AIR, 10 * MINUTE, 50 * MINUTE)]

    def test_duplicates_and_conflicts_note_nothing(self, store):
        store.append([reading(1), reading(2 * HOUR)])
        store.settle(store.touched("north", 10))
        store.append([reading(1), reading(2 * HOUR, 99.0)])
        assert windows(store) == []
        store.append([reading(1), reading(2 * HOUR, 99.0), reading(5 * HOUR), reading(5 * HOUR, 1.0)])
        assert windows(store) == [(AIR, 5 * HOUR, 5 * HOUR)]

    def test_the_oldest_come_first_up_to_the_limit(self, store):
        for hour in (5, 3, 8, 1):
            store.append([reading(hour * HOUR)])
        store.append([reading(3 * HOUR + 1)])  # a note that grew counts as new: nobody waits behind it for ever
        notes = store.touched("north", 10)
        assert [note.first_us // HOUR for note in notes] == [5, 8, 1, 3]
        assert store.touched("north", 2) == notes[:2]
        assert store.touched("north", 0) == []

    def test_settled_notes_are_gone(self, store):
        store.append([reading(1), reading(2 * HOUR), reading(3 * HOUR)])
        notes = store.touched("north", 10)
        store.settle(notes[:1])
        assert store.touched("north", 10) == notes[1:]
        store.settle(notes)
        store.settle([])
        assert store.touched("north", 10) == []
        assert len(everything(store, AIR)) == 3

    def test_a_note_that_grew_stays(self, store):
        store.append([reading(10)])
        notes = store.touched("north", 10)
        store.append([reading(20)])
        store.settle(notes)
        assert windows(store) == [(AIR, 10, 20)]

    def test_a_note_that_grew_inside_its_window_stays(self, store):
        store.append([reading(10), reading(20)])
        notes = store.touched("north", 10)
        store.append([reading(15)])
        store.settle(notes)
        assert windows(store) == [(AIR, 10, 20)]

    def test_settling_twice_does_not_forget_a_new_note(self, store):
        store.append([reading(10)])
        notes = store.touched("north", 10)
        store.settle(notes)
        store.append([reading(20)])
        store.settle(notes)
        assert windows(store) == [(AIR, 20, 20)]

    def test_a_note_on_an_unknown_series_is_no_mistake(self, store):
        store.settle([Touched(AIR, 0, 0, 1)])

    def test_no_change_is_missed_between_two_threads(self, store):
        done, worked_off = threading.Event(), set()

        def work():
            while True:
                last_round = done.is_set()
                notes = store.touched("north", 3)
                for note in notes:
                    worked_off.update(store.read(note.series, note.first_us, note.last_us + 1).time_us.tolist())
                store.settle(notes)
                if last_round and not notes:
                    return

        worker = threading.Thread(target=work)
        worker.start()
        times = [place * 11 * MINUTE for place in range(300)]
        random.Random(3).shuffle(times)
        for place in range(0, 300, 3):
            store.append([reading(time) for time in times[place : place + 3]])
        done.set()
        worker.join(30)
        assert not worker.is_alive()
        assert worked_off == set(times)


class SharingConformance:
    """Threads, processes, closing."""

    def test_threads_append_replace_and_read_together(self, store):
        mistakes = []

        def run(task):
            try:
                for step in range(40):
                    task(step)
            except Exception as error:
                mistakes.append(error)

        def append_as(series):
            return lambda step: store.append([reading(step * 10 + one, float(one), series=series) for one in range(10)])

        def derive(step):
            store.replace(VPD, 0, 100, columns(*((time, float(step), 1) for time in range(100))))

        def look(_):
            assert len(set(store.read(VPD, 0, 100).value.tolist())) <= 1  # all or nothing
            assert len(store.read(AIR, -FAR, FAR)) % 10 == 0
            store.latest("north"), store.aggregate(AIR, 0, 400, 100), store.touched("north", 5)

        tasks = [append_as(AIR), append_as(HUMIDITY), append_as(AIR), derive, look, look]
        threads = [threading.Thread(target=run, args=(task,)) for task in tasks]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        assert mistakes == []
        assert [len(everything(store, series)) for series in (AIR, HUMIDITY, VPD)] == [400, 400, 100]

    def test_another_process_reads_while_this_one_writes(self, store, opening):
        program = opening + READ_WHILE_WRITING
        with subprocess.Popen(
            [sys.executable, "-c", program, "2000"], cwd=ROOT, stdout=subprocess.PIPE, text=True
        ) as other:
            assert other.stdout.readline() == "ready\n"
            for batch in range(40):
                store.append([reading(batch * 50 + one) for one in range(50)])
            out, _ = other.communicate(timeout=30)
        assert (other.returncode, out) == (0, "2000\n")

    def test_closing_twice_is_harmless(self, store):
        store.append([reading(1)])
        store.close()
        store.close()

    def test_leaving_the_context_closes(self, store, reopened):
        with store as same:
            assert same is store
            same.append([reading(1)])
        with reopened() as again:
            assert everything(again, AIR) == [(1, 20.0, 1)]

    def test_answers_cannot_be_changed_by_mistake(self, store):
        with pytest.raises(FrozenInstanceError):
            store.append([reading(1)]).stored = 2
        assert isinstance(store.last_before(AIR, FAR), Reading)


class StoreConformance(
    AppendConformance, ReplaceConformance, ReadConformance, AggregateConformance, NotesConformance, SharingConformance
):
    """The whole suite."""
