"""A store as a plain dictionary, and a machine that compares an engine with it after any calls."""

from __future__ import annotations

import math
from collections.abc import Callable

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from farm.readings import Columns, Reading
from store.contract import Appended, Known, Origin, ReadingStore
from tests.store.buckets import check_buckets
from tests.store.words import AIR, DAY, HOUR, HUMIDITY, MINUTE, SOUTH_AIR, VPD, everything

MEASURED = (AIR, HUMIDITY, SOUTH_AIR)
# Few instants, values and flags, so that duplicates and conflicts are common; three hours either side of
# midnight, on four days about 1970.
times = st.builds(lambda step, day: step * 1_200_000_001 + day * DAY, st.integers(-9, 9), st.sampled_from([0, -1, 2]))
flags = st.sampled_from([1, 3, 4])
readings = st.builds(Reading, st.sampled_from(MEASURED), times, st.sampled_from([0.0, -1.5, 20.25]), flags)
derived = st.dictionaries(times, st.tuples(st.sampled_from([None, 0.5, 1.25]), st.sampled_from([1, 9])), max_size=6)


class StoreMachine(RuleBasedStateMachine):
    """Calls an engine in any order; subclasses say how it is opened, and opened again after it was closed."""

    opened: Callable[[], ReadingStore]
    reopened: Callable[[], ReadingStore]

    def roll_up(self, farm, before):
        """Make kept sums, where the engine has some."""

    def seal(self, farm, before):
        """Move old readings where the engine keeps them for good; nothing to do where it knows one place only."""

    def __init__(self):
        super().__init__()
        self.store = self.opened()
        self.kept = {series: {} for series in (*MEASURED, VPD)}
        self.changes = 0
        self.notes = {}  # (series, hour) -> (first, last, how many changes there were by then)
        self.seen = []  # notes read at some time, with the model's own of that time

    @rule(batch=st.lists(readings, max_size=12))
    def append(self, batch):
        stored, duplicate, conflicting, changed = 0, 0, [], {}
        for one in batch:
            rows = self.kept[one.series]
            if one.time_us not in rows:
                rows[one.time_us] = (one.value, one.flag)
                stored += 1
                changed.setdefault((one.series, one.time_us // HOUR), []).append(one.time_us)
            elif rows[one.time_us] == (one.value, one.flag):
                duplicate += 1
            else:
                conflicting.append(one)
        assert self.store.append(batch) == Appended(stored, duplicate, tuple(conflicting))
        for key, stamps in changed.items():
            self.changes += 1
            stamps += self.notes.get(key, ())[:2]
            self.notes[key] = (min(stamps), max(stamps), self.changes)

    @rule(limit=st.integers(0, 5), farm=st.sampled_from(["north", "south"]))
    def touched(self, limit, farm):
        notes = self.store.touched(farm, limit)
        mine = [self.notes[note.series, note.first_us // HOUR] for note in notes]
        assert [(note.first_us, note.last_us) for note in notes] == [one[:2] for one in mine]
        assert len(notes) == min(limit, sum(series.farm == farm for series, _ in self.notes))
        self.seen += zip(notes, mine, strict=True)

    @precondition(lambda self: self.seen)
    @rule(data=st.data())
    def settle(self, data):
        chosen = data.draw(st.lists(st.sampled_from(self.seen), unique=True, max_size=4))
        self.store.settle([note for note, _ in chosen])
        for note, mine in chosen:
            if self.notes.get((note.series, note.first_us // HOUR)) == mine:
                del self.notes[note.series, note.first_us // HOUR]

    @rule()
    def open_again(self):
        self.store.close()
        self.store = self.reopened()

    @rule(farm=st.sampled_from(["north", "south"]), before=times)
    def roll_some_hours_up(self, farm, before):
        self.roll_up(farm, before)

    @rule(farm=st.sampled_from(["north", "south"]), before=st.sampled_from([-DAY, 0, DAY, 5 * DAY]))
    def seal_some_days(self, farm, before):
        self.seal(farm, before)

    @rule(start=times, length=st.integers(0, 4 * HOUR), rows=derived)
    def replace(self, start, length, rows):
        end = start + length
        inside = {time: row for time, row in sorted(rows.items()) if start <= time < end}
        columns = [(time, math.nan if value is None else value, flag) for time, (value, flag) in inside.items()]
        self.store.replace(VPD, start, end, Columns.from_rows(columns))
        remaining = {time: row for time, row in self.kept[VPD].items() if not start <= time < end}
        self.kept[VPD] = remaining | inside

    @rule(series=st.sampled_from([*MEASURED, VPD]), before=times)
    def last_before(self, series, before):
        earlier = [time for time in self.kept[series] if time < before]
        found = self.store.last_before(series, before)
        assert (found and found.time_us) == max(earlier, default=None)

    @rule(
        series=st.sampled_from([*MEASURED, VPD]),
        start=times,
        length=st.one_of(st.integers(0, 4 * HOUR), st.just(4 * DAY)),
        every=st.sampled_from([1_000_000, MINUTE, 20 * MINUTE, HOUR, 90 * MINUTE, DAY]),
    )
    def aggregate(self, series, start, length, every):
        rows = [(time, *row) for time, row in sorted(self.kept[series].items())]
        check_buckets(self.store.aggregate(series, start, start + length, every), rows, start, start + length, every)

    @invariant()
    def readings_agree(self):
        for series, rows in self.kept.items():
            assert everything(self.store, series) == [(time, *row) for time, row in sorted(rows.items())]

    @invariant()
    def overviews_agree(self):
        for farm in ("north", "south"):
            held = {series: rows for series, rows in self.kept.items() if rows and series.farm == farm}
            known = [
                Known(series, Origin.DERIVED if series == VPD else Origin.MEASURED, min(rows), max(rows))
                for series, rows in sorted(held.items(), key=lambda pair: pair[0].key)
            ]
            assert self.store.known(farm) == known
            latest = self.store.latest(farm)
            assert latest.keys() == held.keys()
            for series, one in latest.items():
                value = None if math.isnan(one.value) else one.value
                assert (one.series, one.time_us) == (series, max(held[series]))
                assert (value, one.flag) == held[series][one.time_us]

    @invariant()
    def notes_agree(self):
        notes = [note for farm in ("north", "south") for note in self.store.touched(farm, 1000)]
        held = {(note.series, note.first_us // HOUR): (note.first_us, note.last_us) for note in notes}
        assert len(held) == len(notes)
        assert held == {key: mine[:2] for key, mine in self.notes.items()}

    def teardown(self):
        self.store.close()
