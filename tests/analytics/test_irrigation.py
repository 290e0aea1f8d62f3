"""Irrigation cycles, what is usual, and what is wrong: by hand, and on made-up days whose truth is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.irrigation import CycleFault, cycle_faults, irrigation_cycles, rated_flow, usual_cycle
from analytics.irrigation_times import missed_starts, usual_starts
from analytics.row_comparison import sibling_ratios
from analytics.time_in_band import time_in_band
from analytics.water_volumes import litres_from_flow
from farm.units import LITRES_PER_US_GALLON, conversion_to
from tests.conftest import samples

MINUTE = 60_000_000
NAN = math.nan


def found(text, threshold=2.0, until=None, gap=3):
    rows = samples(text, start_us=0)
    times, values = zip(*rows, strict=True) if rows else ((), ())
    until = (times[-1] + MINUTE if times else 0) if until is None else until * MINUTE
    return irrigation_cycles(times, values, threshold, until, gap * MINUTE)


def minutes(cycles):
    return [
        (start // MINUTE, end // MINUTE, first, last)
        for start, end, first, last in zip(
            cycles.start_us.tolist(), cycles.end_us.tolist(), cycles.start_seen, cycles.end_seen, strict=True
        )
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0*3 9*5 0*4 9*2 0", [(3, 8, True, True), (12, 14, True, True)]),
        ("9*2 0", [(0, 2, False, True)]),  # it ran when the record began
        ("0 9*3", [(1, 4, True, False)]),  # it still runs
        ("0 9 _ 9 0", [(1, 4, True, True)]),  # one missing sample: the one before holds
        ("0 9*2 _*6 0*2", [(1, 5, True, False)]),  # a gap ends nothing silently: held for 3 minutes, end not seen
        ("0*2 _*6 9*2 0", [(8, 10, False, True)]),  # nor does it begin anything
        ("0 9*2 _*6 9*2 0", [(1, 5, True, False), (9, 11, False, True)]),  # nor does it join two
        ("0*5", []),
        ("", []),
        ("9", [(0, 1, False, False)]),
        ("1.9 2 1.9", [(1, 2, True, True)]),  # the threshold itself counts as running
    ],
)
def test_cycles(text, expected):
    assert minutes(found(text)) == expected


def test_the_mean_is_over_time():
    cycles = irrigation_cycles([0, MINUTE, 4 * MINUTE, 5 * MINUTE], [0, 6.0, 10.0, 0], 2.0, 6 * MINUTE, 9 * MINUTE)
    assert cycles.mean.tolist() == [7.0]  # 6 for three minutes and 10 for one
    assert cycles.duration_s.tolist() == [240.0]


def test_a_missing_value_is_a_sample_that_never_came_and_nothing_counts_after_the_end():
    cycles = irrigation_cycles([0, MINUTE, 2 * MINUTE, 3 * MINUTE], [0, 5, NAN, 0], 2.0, 9 * MINUTE, 9 * MINUTE)
    assert minutes(cycles) == [(1, 3, True, True)]
    assert len(irrigation_cycles([0, MINUTE], [0.0, 5.0], 2.0, MINUTE, MINUTE)) == 0


def test_cycles_that_began_in_a_day():
    assert minutes(found("0 9 0 9 0 9 0").begun_in(2 * MINUTE, 5 * MINUTE)) == [(3, 4, True, True)]


@given(st.lists(st.tuples(st.integers(1, 400), st.sampled_from([0.0, 3.0, 5.5, NAN])), max_size=60))
def test_cycles_hold_the_time_and_the_litres_above_the_threshold(rows):
    """Against ``time_in_band``, and the litres of cycles and pauses against the whole."""
    times = np.cumsum([step for step, _ in rows], dtype=np.int64) * 1_000_000
    values = np.array([value for _, value in rows])
    until = int(times[-1]) + 77_000_000 if len(times) else 10
    gap = 180_000_000
    cycles = irrigation_cycles(times, values, 2.0, until, gap)
    start = int(times[0]) if len(times) else 0
    above = time_in_band(times, values, 2.0, math.inf, start, until, gap).inside_s
    assert cycles.duration_s.sum() == pytest.approx(above)
    assert np.all(cycles.end_us[:-1] <= cycles.start_us[1:])
    inside = litres_from_flow(times, values, cycles.start_us, cycles.end_us, gap).litres
    np.testing.assert_allclose(inside, cycles.mean * cycles.duration_s / 60, rtol=1e-9)
    edges = np.concatenate(([start], np.stack([cycles.start_us, cycles.end_us], axis=1).ravel(), [until]))
    parts = litres_from_flow(times, values, edges[:-1], edges[1:], gap).litres
    whole = litres_from_flow(times, values, [start], [until], gap).litres
    assert np.nansum(parts) == pytest.approx(np.nansum(whole), abs=1e-9)


def test_rating_of_a_row():
    # 40 emitters of 2 US gal/h: 80 gal/h = 302.83 L/h, by the exact gallon; in 6 min a tenth of that.
    per_emitter = 2 * LITRES_PER_US_GALLON
    assert per_emitter == pytest.approx(7.5708, abs=5e-5)
    assert 2 * conversion_to("L/min", "gph").scale * 60 == pytest.approx(7.5708, abs=5e-5)
    assert float(rated_flow(40, per_emitter)) * 6 == pytest.approx(30.283, abs=5e-4)


def test_usual_is_the_median_of_days():
    days = [found("0 9*4 0 9*4 0 9*4 0"), found("0 8*5 0 8*5 0 8*5 0"), found("0 10*6 0 2*1 0")]
    usual = usual_cycle(days)
    assert (usual.cycles_per_day, usual.duration_s, usual.mean, usual.days) == (3.0, 240.0, 8.0, 3)


def test_usual_takes_lengths_from_whole_cycles_and_counts_idle_days():
    usual = usual_cycle([found("9*9 0 9*5 0"), found("0*5"), found("0*5")])
    assert (usual.cycles_per_day, usual.duration_s) == (0.0, 300.0)
    nothing = usual_cycle([])
    assert math.isnan(nothing.cycles_per_day)
    assert math.isnan(nothing.duration_s)
    assert nothing.days == 0


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0 10*10 0", []),
        ("0 10*7 0", []),  # 420 s of 600: not below 0.7
        ("0 10*6 0", [("short", 360.0, 420.0)]),
        ("10*6 0", []),  # its start was not seen
        ("0 10*6 _*9 0", []),  # its end was not seen
        ("0 8*10 0", []),  # 8 of 10: not below 0.8
        ("0 7.9*10 0", [("weak", 7.9, 8.0)]),
        ("0 10*20 0", []),  # twice as long: not above
        ("0 10*21 0", [("stuck", 1260.0, 1200.0)]),
        ("0 10*21", [("stuck", 1260.0, 1200.0)]),  # and it still runs
        ("0 5*3 0", [("short", 180.0, 420.0), ("weak", 5.0, 8.0)]),
    ],
)
def test_faults_against_the_usual(text, expected):
    faults = cycle_faults(found(text), usual_duration_s=600.0, usual_mean=10.0)
    assert [(one.fault.value, one.found, pytest.approx(one.limit)) for one in faults] == expected


def test_differences_that_samples_cannot_show_are_none():
    assert cycle_faults(found("0 10*2 0"), 180.0, 10.0, resolution_s=60.0) == []  # 120 or up to 180 s
    assert len(cycle_faults(found("0 10*2 0"), 181.0, 10.0, resolution_s=60.0)) == 1
    assert cycle_faults(found("0 2*5 0"), 300.0, 3.0, level_accuracy=1.0) == []
    assert len(cycle_faults(found("0 2*5 0"), 300.0, 3.0, level_accuracy=0.9)) == 1
    assert cycle_faults(found("0 10*3 0"), 61.0, 10.0, resolution_s=120.0) == []
    [stuck] = cycle_faults(found("0 10*4 0"), 61.0, 10.0, resolution_s=120.0)
    assert stuck.limit == 181.0


def test_a_limit_needs_no_usual():
    [stuck] = cycle_faults(found("0 10*31 0"), NAN, NAN, longest_s=1800.0)
    assert (stuck.fault, stuck.position, stuck.found, stuck.limit) == (CycleFault.STUCK, 0, 1860.0, 1800.0)
    assert cycle_faults(found("0 10*31 0"), NAN, NAN) == []
    assert cycle_faults(found("0 10*12 0"), 600.0, NAN, longest_s=660.0)[0].limit == 660.0


HOUR_S = 3600.0


def test_usual_starts_by_hand():
    days = [[6 * HOUR_S, 12 * HOUR_S], [6 * HOUR_S + 40, 12 * HOUR_S], [6 * HOUR_S - 10], [20 * HOUR_S], [12 * HOUR_S]]
    # six o'clock recurs on three of five days, noon on three, 20:00 on one
    assert usual_starts(days, 120).tolist() == [6 * HOUR_S, 12 * HOUR_S]
    assert usual_starts([*days, []], 120).tolist() == []  # three of six is below 0.6
    assert usual_starts(days[:2], 120).tolist() == []  # two days make no habit
    assert usual_starts([], 120).tolist() == []


def test_a_start_at_midnight_is_one():
    days = [[-4.0, 86_395.0], [5.0, 86_404.0], [10.0, 86_390.0], [2.0, 86_399.0]]
    assert len(usual_starts(days, 60)) == 1


def test_missed_starts_by_hand():
    assert missed_starts([0.0, 600.0, 1200.0], [-50.0, 661.0], 60).tolist() == [600.0, 1200.0]
    assert missed_starts([600.0], [660.0], 60).tolist() == []
    assert missed_starts([], [1.0], 60).tolist() == []
    assert missed_starts([1.0], [], 60).tolist() == [1.0]
    with pytest.raises(ValueError, match="tolerance_s is 0: give how far apart"):
        usual_starts([[1.0]], 0)


@pytest.mark.parametrize("seed", range(3))
def test_a_made_up_fortnight(seed):
    """Cycles of 5 min every half hour with jitter and noise; on the last day known ones are lost or changed."""
    random = np.random.default_rng(seed)
    start = np.arange(0, 86_400, 1800)
    days = []
    for _ in range(14):
        flow = np.zeros(1440)
        for begin in start:
            at = int(begin // 60 + random.integers(0, 2))
            flow[at : at + 5] = 10.0
        days.append(flow * (1 + 0.01 * random.standard_normal(1440)))
    today = days[-1]
    today[np.arange(1440) // 30 == 20] = 0.0  # 10:00 does not come
    today[600 + 30 + 3 : 600 + 60] = 0.0  # 10:30 ends after 3 minutes at most
    today[720:725] *= 0.5  # noon is weak
    today[1200:1225] = 10.0  # 20:00 runs on
    cycles = [irrigation_cycles(np.arange(1440) * MINUTE, flow, 2.0, 1440 * MINUTE, 3 * MINUTE) for flow in days]
    usual = usual_cycle(cycles[:-1])
    assert (usual.cycles_per_day, usual.duration_s) == (48.0, 300.0)
    assert usual.mean == pytest.approx(10.0, rel=0.01)
    starts = [one.start_us / 1e6 for one in cycles]
    slots = usual_starts(starts[:-1], 300)
    assert len(slots) == 48
    np.testing.assert_allclose(slots, start, atol=61)
    [missed] = missed_starts(slots, starts[-1], 300)
    assert missed == pytest.approx(36_000, abs=61)
    faults = cycle_faults(cycles[-1], usual.duration_s, usual.mean, resolution_s=60, level_accuracy=0.2)
    told = [(one.fault.value, starts[-1][one.position] // 600 / 6) for one in faults]
    assert told == [("short", 10.5), ("weak", 12.0), ("stuck", 20.0)]


def test_siblings_by_hand():
    one_weak = sibling_ratios([10.1, 9.9, 10.0, 5.0])  # median 9.95
    np.testing.assert_allclose(one_weak.ratio, [1.0151, 0.9950, 1.0050, 0.5025], atol=5e-5)
    assert one_weak.differs.tolist() == [False, False, False, True]
    assert not sibling_ratios([10.0, 10.0, 5.0, 5.0]).differs.any()  # which half is right?
    assert not sibling_ratios([10.0, 9.0, 8.0, 5.0]).differs.any()  # 3.5 off, spread 1: within 3 x 1.48
    assert sibling_ratios([10.0, 9.0, 8.0, 4.0]).differs.tolist() == [False, False, False, True]  # 4.5 off: beyond
    assert sibling_ratios([10.0, 10.0, 10.0, 11.5]).differs.tolist() == [False, False, False, True]  # exactly 15 %
    assert not sibling_ratios([10.0, 10.0, 10.0, 11.4]).differs.any()


def test_siblings_without_enough_data():
    assert np.isnan(sibling_ratios([10.0, 5.0, NAN]).ratio).all()
    assert np.isnan(sibling_ratios([0.0, 0.0, 0.0, 5.0]).ratio).all()
    assert np.isnan(sibling_ratios([]).ratio).all()
    some = sibling_ratios([10.0, NAN, 10.0, 4.0])
    assert some.differs.tolist() == [False, False, False, True]
    assert np.isnan(some.ratio).tolist() == [False, True, False, False]


def test_wrong_calls():
    with pytest.raises(ValueError, match="max_gap_us is 0: give the longest time that a sample holds"):
        irrigation_cycles([0], [1.0], 0.5, 10, 0)
    with pytest.raises(ValueError, match="time_us must ascend"):
        irrigation_cycles([1, 1], [1.0, 1.0], 0.5, 10, 1)
    with pytest.raises(ValueError, match="give two one-dimensional arrays"):
        irrigation_cycles([1, 2], [1.0], 0.5, 10, 1)
