"""QARTOD's tests against ioos_qc's flags, and their reach against every cut of a record."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.persistence import flat_line_flags
from analytics.quality import TESTS, QualityLimits, combined_flags, reach_s, verdicts
from analytics.quality_tests import gap_flags, gross_range_flags, rate_of_change_flags, spike_flags

S = 1_000_000
NAN = float("nan")
FAR = 1e6  # no gap matters


def minutes(n):
    return np.arange(n) * 60 * S


@pytest.fixture
def vector(reference):
    table = reference("qartod_vectors")
    return lambda test: (table["value"][table["test"] == test], table["flag"][table["test"] == test].astype(int))


def test_gross_range_vector(vector):
    value, flag = vector(1)
    assert gross_range_flags(value, 10, 30, 12, 28).tolist() == flag.tolist()


def test_spike_vector(vector):
    value, flag = vector(2)
    assert spike_flags(minutes(len(value)), value, 0.8, 3, 60, "average").tolist() == flag.tolist()


def test_rate_of_change_vector(vector):
    value, flag = vector(3)
    ours = rate_of_change_flags(np.arange(len(value)) * 900 * S, value, 5 / 900, np.inf, 900)
    assert ours[1:].tolist() == flag[1:].tolist()
    assert ours[0] == 2  # nothing stands before it: ioos_qc says 1, we say that it was not evaluated


def test_flat_line_vector(vector):
    value, flag = vector(4)
    ours = flat_line_flags(np.arange(len(value)) * 600 * S, value, 0.001, 3000, 4800, 600)
    assert ours[1:].tolist() == flag[1:].tolist()
    assert ours[0] == 2


def test_roll_up_of_ioos_qc():
    """Its qartod_compare, version 3.0.0."""
    assert combined_flags([[1, 1, 1, 2, 9], [1, 3, 4, 1, 9], [2, 2, 1, 2, 9]]).tolist() == [1, 3, 4, 1, 9]


def test_random_walk(reference):
    table = reference("qartod_random_walk")
    at, value = (table["time_s"] * S).astype(np.int64), table["value"]
    later = (table["gap_time_s"] * S).astype(np.int64)
    assert gross_range_flags(value, -6, 6, -4, 4).tolist() == table["gross"].tolist()
    for method in ("average", "differential"):
        assert spike_flags(at, value, 0.8, 2, 180, method).tolist() == table[method].tolist()
    known = slice(1, None)  # of the first sample nothing is known
    assert rate_of_change_flags(at, value, 1 / 60, 3 / 60, 180)[known].tolist() == table["rate"][known].tolist()
    assert gap_flags(later, value, 180)[known].tolist() == table["gap"][known].tolist()
    flat = flat_line_flags(at, value, 0.15, 300, 900, 180)
    evaluated = flat != 2
    assert flat[evaluated].tolist() == table["flat"][evaluated].tolist()
    assert np.flatnonzero(~evaluated).max(initial=0) < 5, "only where less than 300 s are known"
    for column in ("gross", "average", "differential", "rate", "gap"):
        assert len(set(table[column])) > 1, f"{column} proves nothing"
    assert set(table["flat"]) == {1, 3, 4}


def test_a_step_is_no_spike_but_its_neighbours_are_to_the_average():
    """By hand: a step of 1, and a spike of 1, against a threshold of 0.4."""
    step, spike = [0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 0, 0]
    assert spike_flags(minutes(6), step, 0.4, 9, 180).tolist() == [2, 1, 1, 1, 1, 2]
    assert spike_flags(minutes(6), step, 0.4, 9, 180, "average").tolist() == [2, 1, 3, 3, 1, 2]
    assert spike_flags(minutes(6), spike, 0.4, 9, 180).tolist() == [2, 1, 1, 3, 1, 2]
    assert spike_flags(minutes(6), spike, 0.4, 9, 180, "average").tolist() == [2, 1, 3, 3, 3, 2]


def test_differential_is_the_spike_test_of_argo():
    """|x2 - (x1 + x3)/2| - |x3 - x1|/2 of Argo's quality control manual (from memory)."""
    value = np.random.default_rng(8).normal(0, 2, 300)
    one, two, three = value[:-2], value[1:-1], value[2:]
    argo = np.abs(two - (one + three) / 2) - np.abs(three - one) / 2
    ours = spike_flags(minutes(300), value, 1.0, 3.0, 180)[1:-1]
    assert ours.tolist() == np.select([argo > 3, argo > 1], [4, 3], 1).tolist()
    assert {1, 3, 4} == set(ours.tolist())


def test_neighbours_beyond_the_gap_are_none():
    at = np.array([0, 60, 120, 400, 460, 520]) * S
    value = [0.0, 9.0, 0.0, 9.0, 0.0, 0.0]
    assert spike_flags(at, value, 1, 5, 180).tolist() == [2, 4, 2, 2, 1, 2]
    assert rate_of_change_flags(at, value, 1 / 60, np.inf, 180).tolist() == [2, 3, 3, 2, 3, 1]
    assert gap_flags(at, value, 180).tolist() == [4, 1, 1, 4, 1, 1]
    assert flat_line_flags(at, [5.0] * 6, 0.1, 120, 600, 180).tolist() == [2, 2, 3, 2, 2, 3]


def test_a_missing_sample_is_missing_and_no_neighbour():
    value = [1.0, NAN, 1.0, 1.0, np.inf, 1.0]
    assert spike_flags(minutes(6), value, 1, 2, 180).tolist() == [2, 9, 2, 2, 9, 2]
    assert rate_of_change_flags(minutes(6), value, 1, 2, 180).tolist() == [2, 9, 2, 1, 9, 2]
    assert gap_flags(minutes(6), value, 60).tolist() == [4, 9, 4, 1, 9, 4]
    assert flat_line_flags(minutes(6), value, 0.1, 180, 300, 180).tolist() == [2, 9, 2, 3, 9, 4]
    assert gross_range_flags(value, 0, 2).tolist() == [1, 9, 1, 1, 9, 1]


def test_noise_of_a_fast_sensor_is_no_fast_change():
    """0.1 K up in one second is 6 K/min by QARTOD; within an allowance of 0.2 K it is noise."""
    at, value = np.arange(3) * S, [20.0, 20.1, 20.5]
    assert rate_of_change_flags(at, value, 5 / 60, np.inf, 10).tolist() == [2, 3, 3]
    assert rate_of_change_flags(at, value, 5 / 60, np.inf, 10, allowance=0.2).tolist() == [2, 1, 3]


def test_a_flow_may_rest():
    value = [3.0] + [0.0] * 6 + [2.0] * 4
    assert flat_line_flags(minutes(11), value, 0.1, 120, 999, 60).tolist() == [2, 1, 1, 3, 3, 3, 3, 1, 1, 3, 3]
    rested = flat_line_flags(minutes(11), value, 0.1, 120, 999, 60, resting_value=0.0)
    assert rested.tolist() == [2, 1, 1, 2, 2, 2, 2, 1, 1, 3, 3]


def test_empty_and_single():
    for n in (0, 1):
        at, value = minutes(n), np.ones(n)
        assert spike_flags(at, value, 1, 2, 60).tolist() == [2] * n
        assert rate_of_change_flags(at, value, 1, 2, 60).tolist() == [2] * n
        assert flat_line_flags(at, value, 1, 2, 3, 60).tolist() == [2] * n
        assert gap_flags(at, value, 60).tolist() == [4] * n
        assert gross_range_flags(value).tolist() == [1] * n
        assert verdicts(at, value, LIMITS).flag.tolist() == [1] * n


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: gross_range_flags([1.0], 3, 2), "put low before high"),
        (lambda: gross_range_flags([[1.0]]), r"shape \(1, 1\): give a one-dimensional array"),
        (lambda: spike_flags([0], [1.0], 1, 2, 60, "median"), "method is 'median': give one of differential, average"),
        (lambda: spike_flags([0], [1.0], 2, 1, 60), "spike height is 2 for suspect and 1 for fail"),
        (lambda: spike_flags([5, 5], [1.0, 1.0], 1, 2, 60), "time_us must ascend"),
        (lambda: rate_of_change_flags([0], [1.0], 0, 1, 60), "the rate is 0 for suspect"),
        (lambda: rate_of_change_flags([0], [1.0], 1, 1, 60, -1), "allowance is -1: give 0 or more"),
        (lambda: flat_line_flags([0], [1.0], 0, 1, 1, 60), "tolerance is 0"),
        (lambda: flat_line_flags([0], [1.0], 1, NAN, 1, 60), "flat line duration is nan"),
        (lambda: gap_flags([0], [1.0], 0), "gap_s is 0 s: give a time above 0"),
        (lambda: verdicts([0], [1.0], QualityLimits(gap_s=60), -1), "since is -1: give the position"),
        (lambda: combined_flags([[1], [1, 2]]), "one-dimensional arrays of one length"),
        (lambda: combined_flags([]), "one-dimensional arrays of one length"),
        (lambda: combined_flags([[1, 7]]), r"\[7\] are no flags"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()


LIMITS = QualityLimits(
    gap_s=150, fail_low=-20, fail_high=20, suspect_low=-10, suspect_high=10, spike_suspect=1.5, spike_fail=4,
    rate_suspect_per_s=2 / 60, rate_fail_per_s=5 / 60, rate_allowance=0.5, flat_line_tolerance=0.5,
    flat_line_suspect_s=240, flat_line_fail_s=420, resting_value=7.0,
)  # fmt: skip

records = st.lists(
    st.tuples(st.sampled_from([30, 60, 60, 61, 150, 151, 400]), st.sampled_from([0.0, 0.1, 1.0, 3.0, 7.0, 12.0, NAN])),
    min_size=1,
    max_size=40,
)


@given(records, st.data())
def test_a_verdict_looks_no_further_than_its_reach(record, data):
    """Over any stretch, with the samples within reach of it, the verdicts are those over the whole record."""
    at = np.cumsum([step for step, _ in record]) * S
    value = np.array([one for _, one in record])
    whole = verdicts(at, value, LIMITS)
    first = data.draw(st.integers(0, len(at) - 1))
    last = data.draw(st.integers(first, len(at) - 1))
    before, after = reach_s(LIMITS)
    near = (at >= at[first] - before * S) & (at <= at[last] + after * S)
    part = verdicts(at[near], value[near], LIMITS)
    asked = (at[near] >= at[first]) & (at[near] <= at[last])
    assert part.flag[asked].tolist() == whole.flag[first : last + 1].tolist()
    for test in TESTS:
        assert part.tests[test][asked].tolist() == whole.tests[test][first : last + 1].tolist(), test


@given(records, st.data())
def test_asked_from_a_sample_on_the_verdicts_are_those_of_the_whole_record(record, data):
    at = np.cumsum([step for step, _ in record]) * S
    value = np.array([one for _, one in record])
    since = data.draw(st.integers(0, len(at)))
    whole, part = verdicts(at, value, LIMITS), verdicts(at, value, LIMITS, since)
    assert part.flag.tolist() == whole.flag[since:].tolist()
    for test in TESTS:
        assert part.tests[test].tolist() == whole.tests[test][since:].tolist(), test


@given(records)
def test_flat_line_is_what_a_walk_through_the_samples_finds(record):
    at = np.cumsum([step for step, _ in record]) * S
    value = np.array([one for _, one in record])
    expected = [walked_flat(at, value, n) for n in range(len(at))]
    assert flat_line_flags(at, value, 0.5, 240, 420, 150, 7.0).tolist() == expected


def walked_flat(at, value, n):
    """Go back from sample n until the record is broken or begins."""
    if np.isnan(value[n]):
        return 9
    found, low, high, newer = 2, value[n], value[n], at[n]
    reached = {240: False, 420: False}
    moved = {240: False, 420: False}
    for m in range(n, -1, -1):
        if np.isnan(value[m]):
            continue
        if newer - at[m] > 150 * S:
            break
        newer, low, high = at[m], min(low, value[m]), max(high, value[m])
        for duration, done in reached.items():
            if not done:
                moved[duration] = high - low >= 0.5
                reached[duration] = at[n] - at[m] >= duration * S
    if moved[240]:
        return 1
    if reached[240]:
        found = 3
    if reached[420] and not moved[420]:
        found = 4
    return 2 if found > 2 and abs(value[n] - 7.0) < 0.5 else found


def test_reach_is_no_wider_than_needed():
    """Where a test is not made its reach is not asked for; the tests' own statements add up to it."""
    assert reach_s(QualityLimits(gap_s=180)) == (180, 0)
    assert reach_s(QualityLimits(gap_s=180, spike_suspect=1)) == (180, 180)
    assert reach_s(LIMITS) == (420 + 150, 150)


def test_verdicts_leave_the_gap_out_of_the_roll_up():
    limits = QualityLimits(gap_s=60, fail_low=0, fail_high=1)
    made = verdicts([0, 60 * S, 300 * S, 360 * S], [0.5, 2.0, 0.5, NAN], limits)
    assert made.flag.tolist() == [1, 4, 1, 9]
    assert made.tests["gap"].tolist() == [4, 1, 4, 9]
    assert made.tests["spike"].tolist() == [2, 2, 2, 9]


def test_verdicts_without_any_limit_evaluate_nothing():
    assert verdicts([0, 60 * S], [0.5, NAN], QualityLimits(gap_s=60)).flag.tolist() == [2, 9]


def test_on_a_threshold_a_sample_passes():
    """QARTOD flags what exceeds; numbers that floats hold exactly."""
    assert gross_range_flags([0.0, 1.0, 2.0, 3.0], 0, 3, 1, 2).tolist() == [3, 1, 1, 3]
    assert gross_range_flags([2.0, 2.5], 2, 2, 2, 2).tolist() == [1, 4]
    for method in ("average", "differential"):
        assert spike_flags(minutes(3), [0, 2, 0], 2, 4, 60, method).tolist() == [2, 1, 2]
        assert spike_flags(minutes(3), [0, 4, 0], 2, 4, 60, method).tolist() == [2, 3, 2]
    assert rate_of_change_flags(minutes(2), [0, 60], 1, 2, 60).tolist() == [2, 1]
    assert rate_of_change_flags(minutes(2), [0, 120], 1, 2, 60).tolist() == [2, 3]
    assert flat_line_flags(minutes(3), [0, 0.5, 0], 0.5, 60, 120, 60).tolist() == [2, 1, 1], "that is a movement"
    assert flat_line_flags(minutes(3), [1, 1, 1], 1, 60, 120, 60, resting_value=0).tolist() == [2, 3, 4]


@pytest.mark.parametrize(
    ("test", "value", "limits"),
    [
        ("gross_range", [0, 9, 9], QualityLimits(gap_s=60, fail_high=5)),
        ("spike", [0, 9, 0], QualityLimits(gap_s=60, spike_suspect=5)),
        ("rate_of_change", [0, 0, 9], QualityLimits(gap_s=60, rate_suspect_per_s=0.14)),  # 9 in 60 s is 0.15
        ("flat_line", [5, 5, 5], QualityLimits(gap_s=60, flat_line_tolerance=0.1, flat_line_suspect_s=60)),
    ],
)
def test_each_test_alone_makes_a_verdict(test, value, limits):
    made = verdicts(minutes(3), value, limits)
    assert limits.tests == (test, "gap")
    assert made.flag.tolist() == made.tests[test].tolist()
    assert {3, 4} & set(made.flag.tolist())
    assert all(set(made.tests[other].tolist()) == {2} for other in TESTS if other not in (test, "gap"))


def test_humidity_may_rest_at_saturation():
    value = [100.0] * 4 + [90.0] * 4
    flags = flat_line_flags(minutes(8), value, 0.1, 120, 999, 60, resting_value=100.0)
    assert flags.tolist() == [2, 2, 2, 2, 1, 1, 3, 3]
