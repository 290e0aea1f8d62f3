"""Calibrations and quality tests laid over readings; what arrived is never altered."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.quality import QualityLimits
from farm.check import check_text
from farm.flags import Flag
from farm.readings import Columns, Reading, Series
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.log_entries import EcCalibration, Note, PhCalibration
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.judged import JudgedReadings
from watch.quality import QualityKeeper

TANK = """
[zones.tank]
kind = "reservoir"
label = "Tank"
crop = "cress"
phase = "growing"
[[series]]
zone = "tank"
quantity = "solution_ph"
[[series]]
zone = "tank"
quantity = "solution_ec"
[crops.cress.phases.growing.bands.solution_ph]
always = [5.5, 6.5]
on_delay_s = 300
off_delay_s = 120
"""
PH = "tank/solution_ph"
READS_HIGH = PhCalibration(series=PH, buffers=(6.0, 4.5), readings=(6.5, 5.0))  # names no table knows: as printed


@pytest.fixture
def house(tmp_path):
    farm, mistakes = check_text(SMALL_FARM + TANK)
    assert not mistakes
    made = House(farm, tmp_path / "house")
    yield made
    made.close()


def judged(house, key):
    return house.watch.readings.read(house.series(key), 0, 2**62)


class TestCorrections:
    def test_hold_from_their_instant_and_leave_what_arrived_alone(self, house):
        house.put(PH, samples("6.2*10"))
        house.work()
        house.journal.log.add("testfarm", T0_US + 5 * MINUTE_US, "kim", READS_HIGH, 1)
        house.work()
        assert judged(house, PH).value == pytest.approx([6.2] * 5 + [5.7] * 5)
        assert set(house.read(PH).values()) == {6.2}
        assert house.watch.readings.latest("testfarm")[house.series(PH)].value == pytest.approx(5.7)
        house.fresh_watch()
        assert judged(house, PH).value[-1] == pytest.approx(5.7)

    def test_excursions_follow_and_come_back_when_it_is_withdrawn(self, house):
        house.put(PH, samples("6.7*30"))
        house.work()
        [before] = house.journal.excursions("testfarm")
        entry = house.journal.log.add("testfarm", T0_US, "kim", READS_HIGH, 1)
        house.work()
        assert house.journal.excursions("testfarm") == []
        house.journal.log.withdraw("testfarm", entry.identity, "kim", 2)
        house.work()
        assert house.journal.excursions("testfarm") == [before]

    def test_the_days_from_it_on_are_written_again_with_corrected_values(self, house):
        house.put(PH, samples("6.2*2", step_us=1440 * MINUTE_US, start_us=T0_US + 360 * MINUTE_US))
        house.work()
        first, second = house.journal.days("testfarm")
        untouched = house.journal.day_sheet("testfarm", first)
        house.now_us += 120_000_000
        house.journal.log.add("testfarm", T0_US + 1740 * MINUTE_US, "kim", READS_HIGH, 1)
        house.work()
        sheet = house.journal.day_sheet("testfarm", second).sheet
        [row] = [one for zone in sheet["zones"] for one in zone["series"] if one["key"] == PH]
        assert row["mean"] == pytest.approx(5.7)
        assert house.journal.day_sheet("testfarm", first) == untouched

    def test_a_kill_before_all_follows_repeats_the_round(self, house):
        house.put(PH, samples("6.7*30"))
        house.work()
        house.journal.log.add("testfarm", T0_US, "kim", READS_HIGH, 1)
        house.watch._corrections.settle = lambda: None  # as if killed before it
        house.work()
        assert house.journal.bases("testfarm", "correction") == {}
        house.fresh_watch()
        house.work()
        assert PH in house.journal.bases("testfarm", "correction")
        assert house.journal.excursions("testfarm") == []

    def test_what_follows_is_not_worked_out_again_by_other_entries(self, house, monkeypatch):
        house.put(PH, samples("6.7*30"))
        house.journal.log.add("testfarm", T0_US, "kim", READS_HIGH, 1)
        house.work()
        monkeypatch.setattr(house.watch._deriver, "renew", lambda *_: pytest.fail("worked out anew"))
        house.journal.log.add("testfarm", T0_US + 1, "kim", Note(note="leaves pale"), 2)
        house.work()

    def test_sums_over_time_are_those_of_the_corrected_readings(self, house):
        ec = "tank/solution_ec"
        house.put(ec, samples("1.0*90 1.4*90"))
        at_us = T0_US + 100 * MINUTE_US
        house.journal.log.add(
            "testfarm", at_us, "kim", EcCalibration(series=ec, standard_ms_cm=1.5, reading_ms_cm=1.0), 1
        )
        house.work()
        hours = house.watch.readings.aggregate(house.series(ec), T0_US, T0_US + 180 * MINUTE_US, 60 * MINUTE_US)
        by_hand = [1.0, (30 * 1.0 + 10 * 1.4 + 20 * 2.1) / 60, 2.1]
        assert hours.mean == pytest.approx(by_hand)
        assert hours.high == pytest.approx([1.0, 2.1, 2.1])

    def test_a_calibration_of_something_else_does_no_harm(self, house):
        entry = PhCalibration(series="attic/solution_ph", buffers=(7, 4), readings=(7.1, 4.1))
        house.journal.log.add("testfarm", T0_US, "kim", entry, 1)
        house.put(PH, samples("6.2*3"))
        house.work()
        assert judged(house, PH).value.tolist() == [6.2] * 3


AIR = Series("testfarm", "room", "air_temperature")
LIMITS = QualityLimits(
    gap_s=180, fail_low=-40, fail_high=60, spike_suspect=2, spike_fail=5, flat_line_tolerance=0.01,
    flat_line_suspect_s=1800, flat_line_fail_s=3600,
)  # fmt: skip


class Bench:
    """A store, a journal and a quality keeper for one series."""

    def __init__(self, folder):
        folder.mkdir(exist_ok=True)
        self.store = EmbeddedStore(folder)
        self.journal = Journal(f"sqlite:///{folder}/journal.sqlite")
        self.readings = JudgedReadings("testfarm", self.store, self.journal)
        self.keeper = QualityKeeper("testfarm", {AIR: LIMITS}, self.readings, self.journal)

    def arrive(self, rows):
        self.store.append([Reading(AIR, at, value, Flag.NOT_EVALUATED) for at, value in rows])
        if rows:
            times = [at for at, _ in rows]
            self.keeper.renew(AIR, min(times), max(times))

    def marks(self):
        return self.journal.marks.between(AIR, 0, 2**62)

    def flags(self):
        return self.readings.read(AIR, 0, 2**62).flag.tolist()

    def close(self):
        self.store.close()
        self.journal.close()


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    yield made
    made.close()


class TestQuality:
    def test_a_spike_is_flagged_in_what_is_read_and_the_rest_is_good(self, bench):
        bench.arrive(samples("21 21.5 30 21 21.5"))
        assert bench.flags() == [1, 1, 4, 1, 1]
        assert bench.store.read(AIR, 0, 2**62).flag.tolist() == [2] * 5
        [mark] = bench.marks()
        assert (mark.test, mark.flag, mark.readings) == ("spike", 4, 1)

    def test_a_late_reading_takes_a_doubt_away(self, bench):
        rows = samples("21 22 23.5 26 29 22")
        bench.arrive(rows[:3] + rows[4:])
        assert 4 in bench.flags()
        bench.arrive(rows[3:4])
        assert len(bench.marks()) == 1
        assert bench.flags() == [1, 1, 1, 1, 3, 1]

    def test_not_yet_tested_is_not_called_good(self, bench):
        bench.arrive(samples("21 21.5"))
        later = Reading(AIR, T0_US + 10 * MINUTE_US, 21.0, Flag.NOT_EVALUATED)
        bench.store.append([later])
        assert bench.flags() == [1, 1, 2]
        assert bench.readings.latest("testfarm")[AIR].flag == Flag.NOT_EVALUATED

    def test_sums_over_time_leave_out_what_failed(self, bench):
        bench.arrive(samples("21*30 40 21*29"))
        [hour] = bench.readings.aggregate(AIR, T0_US, T0_US + 60 * MINUTE_US, 60 * MINUTE_US).mean
        assert hour == pytest.approx(21.0)
        assert bench.store.aggregate(AIR, T0_US, T0_US + 60 * MINUTE_US, 60 * MINUTE_US).mean[0] > 21.2

    def test_other_limits_test_all_history_again(self, bench):
        bench.arrive(samples("21 21.5 30 21 21.5"))
        assert bench.keeper.retest() == {}  # the store's notes led to them
        wide = QualityLimits(gap_s=180, fail_low=-40, fail_high=60)
        QualityKeeper("testfarm", {AIR: wide}, bench.readings, bench.journal).retest()
        assert bench.marks() == []
        without = QualityKeeper("testfarm", {}, bench.readings, bench.journal)
        without.retest()
        without.settle()
        assert bench.journal.bases("testfarm", "quality") == {AIR.key: ""}

    def test_readings_from_before_there_were_tests_are_tested(self, bench):
        rows = samples("21 21.5 30 21 21.5")
        bench.store.append([Reading(AIR, at, value, Flag.NOT_EVALUATED) for at, value in rows])
        dew_point = AIR._replace(quantity="dew_point_temperature")
        bench.store.replace(dew_point, T0_US, T0_US + 1, Columns.from_rows([(T0_US, 9.0, 2)]))
        assert bench.keeper.retest() == {AIR: [(rows[0][0], rows[-1][0])]}
        assert bench.keeper.retest() == {AIR: [(rows[0][0], rows[-1][0])]}  # until it is settled
        bench.keeper.settle()
        assert len(bench.marks()) == 1
        assert bench.keeper.retest() == {}

    @pytest.mark.slow
    @settings(max_examples=25)
    @given(st.data())
    def test_any_order_of_arrival_ends_in_the_same_marks(self, tmp_path_factory, data):
        steps = data.draw(st.lists(st.sampled_from([0.0, 0.0, 0.0, 0.5, -0.5, 9.0, -9.0]), min_size=20, max_size=200))
        minutes = np.cumsum(data.draw(st.lists(st.sampled_from([1, 1, 1, 1, 2, 7]), min_size=200, max_size=200)))
        rows = [
            (T0_US + int(at) * MINUTE_US, 21.0 + step) for at, step in zip(minutes, np.cumsum(steps) % 7, strict=False)
        ]
        shuffled = data.draw(st.permutations(rows))
        cut = data.draw(st.integers(0, len(rows)))
        at_once, piecemeal = Bench(tmp_path_factory.mktemp("a")), Bench(tmp_path_factory.mktemp("b"))
        at_once.arrive(rows)
        for part in (shuffled[:cut], shuffled[cut:]):
            piecemeal.arrive(part)
        assert piecemeal.marks() == at_once.marks()
        at_once.close()
        piecemeal.close()
