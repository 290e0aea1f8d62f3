"""A lamp group against its siblings: ratios, and steps that are no dimming, no timer shift and no gap."""

import math

import numpy as np
import pytest
from scipy import stats

from analytics.lamp_loss import _rank_sum_tail, block_medians, output_steps, ratio_to_siblings
from analytics.lamps import settled_light

MINUTE, HOUR = 60_000_000, 3_600_000_000
DAY = 24 * HOUR
BLOCK = 10 * MINUTE


def rows(days=3, groups=4, noise=0.004, seed=1):
    """PPFD and switches of some groups, a sample a minute, lit from 6 to 22 o'clock."""
    random = np.random.default_rng(seed)
    times = np.arange(0, days * DAY, MINUTE, dtype=np.int64)
    minute = times // MINUTE % 1440
    on = np.tile(((minute >= 360) & (minute < 1320)).astype(float), (groups, 1))
    full = np.array([250.0, 245.0, 255.0, 238.0, 260.0])[:groups, None]
    return times, on * full * (1 + random.normal(0, noise, on.shape)), on


def ratios(times, ppfd, on):
    end = int(times[-1]) + MINUTE
    levels = [
        block_medians(times, settled_light(times, light, switch, 3 * MINUTE, 10 * MINUTE), 0, end, BLOCK)
        for light, switch in zip(ppfd, on, strict=True)
    ]
    return BLOCK * np.arange(len(levels[0])), ratio_to_siblings(levels)


def steps_of(times, ppfd, on):
    at, ratio = ratios(times, ppfd, on)
    return [output_steps(at, one) for one in ratio]


def test_a_lost_part_of_a_group_is_found_where_and_when_it_was_lost():
    times, ppfd, on = rows()
    ppfd[1, times >= DAY + 12 * HOUR] *= 0.7
    found = steps_of(times, ppfd, on)
    assert [len(one) for one in found] == [0, 1, 0, 0]
    [step] = found[1]
    assert step.before_us < DAY + 12 * HOUR <= step.after_us + BLOCK
    assert step.after_us - step.before_us == BLOCK
    assert step.change == pytest.approx(-0.3, abs=3 * step.plus_or_minus + 1e-3)
    assert 0 < step.plus_or_minus < 0.01
    assert step.confidence > 0.999


def test_loss_and_repair_are_two_steps():
    times, ppfd, on = rows()
    ppfd[0, (times >= DAY + 8 * HOUR) & (times < DAY + 18 * HOUR)] = 0.0  # dark while switched on
    [loss, repair] = steps_of(times, ppfd, on)[0]
    assert (loss.change, repair.change) == (-1.0, 1.0)
    assert (loss.after_us, repair.after_us) == (DAY + 8 * HOUR, DAY + 18 * HOUR)


def test_of_three_groups_the_right_one_is_named_even_when_repaired():
    times, ppfd, on = rows(groups=3)
    ppfd[2, (times >= DAY + 8 * HOUR) & (times < DAY + 18 * HOUR)] *= 0.5
    found = steps_of(times, ppfd, on)
    assert [len(one) for one in found] == [0, 0, 2]
    assert [step.change for step in found[2]] == pytest.approx([-0.5, 0.5], abs=0.02)


def test_dimming_that_all_share_is_no_loss():
    times, ppfd, on = rows()
    ppfd[:, times >= DAY + 12 * HOUR] *= 0.6
    assert steps_of(times, ppfd, on) == [[], [], [], []]


def test_a_timer_shift_is_no_loss():
    times, ppfd, on = rows()
    minute = times // MINUTE % 1440
    shifted = (times >= DAY) & (minute < 480)  # two hours later from the second day on
    late = (times >= DAY) & (minute >= 1320)  # up to midnight
    full = ppfd[0, 400]
    on[0, shifted], ppfd[0, shifted] = 0.0, 0.0
    on[0, late], ppfd[0, late] = 1.0, full
    assert steps_of(times, ppfd, on) == [[], [], [], []]


def test_a_gap_is_no_loss():
    times, ppfd, on = rows()
    ppfd[0, (times >= DAY + 9 * HOUR) & (times < DAY + 15 * HOUR)] = np.nan
    ppfd[3, times >= 2 * DAY] = np.nan
    assert steps_of(times, ppfd, on) == [[], [], [], []]


def test_a_loss_during_a_gap_is_found_with_its_bounds():
    times, ppfd, on = rows()
    ppfd[0, (times >= DAY + 9 * HOUR) & (times < DAY + 15 * HOUR)] = np.nan
    ppfd[0, times >= DAY + 12 * HOUR] *= 0.8
    [step] = steps_of(times, ppfd, on)[0]
    assert step.before_us < DAY + 9 * HOUR
    assert step.after_us >= DAY + 15 * HOUR
    assert step.change == pytest.approx(-0.2, abs=0.01)


def test_a_slow_fade_is_no_step():
    times, ppfd, on = rows(days=10)
    ppfd[0] *= 1 - 0.2 * times / times[-1]  # leaves that grow before the sensor: a fifth in ten days
    assert steps_of(times, ppfd, on) == [[], [], [], []]


def test_two_groups_cannot_tell_which_one_changed():
    times, ppfd, on = rows(groups=2)
    ppfd[0, times >= DAY + 12 * HOUR] *= 0.7
    assert steps_of(times, ppfd, on) == [[], []]


def test_noise_alone_shows_no_step():
    # 1 % chance of any in a record: of 100 records at most a handful (5 has a chance of 0.4 %, Poisson)
    random = np.random.default_rng(9)
    found = sum(bool(output_steps(np.arange(300), 1 + random.normal(0, 0.2, 300), least=0.01)) for _ in range(100))
    assert found <= 4


def test_give_or_take_is_95_per_cent_of_the_errors_made():
    """300 records with a loss of 30 % in normal noise of 1 %.

    From twelve samples a side the spread is known to a fifth (1 / sqrt(2 x 11)), and medians of so few follow the
    theory of many within 15 %: hence 15 % for its mean and 85 to 99 % for how often it holds.
    """
    random = np.random.default_rng(21)
    level = np.where(np.arange(24) < 12, 1.0, 0.7)
    steps = [output_steps(np.arange(24), level * (1 + random.normal(0, 0.01, 24)))[0] for _ in range(300)]
    error = np.array([step.change for step in steps]) + 0.3
    told = np.array([step.plus_or_minus for step in steps])
    assert float(told.mean()) == pytest.approx(1.96 * float(error.std()), rel=0.15)
    assert 0.85 < float((np.abs(error) <= told).mean()) < 0.99


def test_the_sensors_accuracy_is_in_the_give_or_take():
    """A sensor whose zero is off by 10 of a level of 250: JCGM 100:2008 eq. 10 by differences, apart from its noise."""
    random = np.random.default_rng(4)
    for lost in (1.0, 0.3):
        level = 250.0 * np.where(np.arange(24) < 12, 1.0, 1.0 - lost) * (1 + random.normal(0, 1e-6, 24))
        [step] = output_steps(np.arange(24), level / 250.0, accuracy=10.0 / 250.0)
        shown = [one + zero for zero in (-10.0, 10.0) for one in (250.0 * (1 - lost), 250.0)]
        farthest = max(abs(after / before - 1 + lost) for after, before in (shown[:2], shown[2:]))
        assert step.change == pytest.approx(-lost, abs=1e-4)
        assert step.plus_or_minus == pytest.approx(farthest, rel=0.06)  # 10 / 250 taken as small: second order
    assert math.isnan(output_steps(np.arange(24), level, accuracy=math.nan)[0].plus_or_minus)
    with pytest.raises(ValueError, match=r"accuracy is -0\.1: give"):
        output_steps([], [], accuracy=-0.1)


def test_a_step_within_the_noise_is_left_out():
    random = np.random.default_rng(2)
    ratio = 1 + random.normal(0, 0.1, 200)
    ratio[100:] *= 0.94
    assert output_steps(np.arange(200), ratio) == []
    assert len(output_steps(np.arange(200), 1 + (ratio - 1) * 0.01 - 0.06 * (np.arange(200) >= 100))) == 1


def test_least_counts():
    ratio = np.where(np.arange(60) < 30, 1.0, 0.96) + np.tile([0.0, 0.001, 0.002], 20)
    assert output_steps(np.arange(60), ratio) == []
    assert len(output_steps(np.arange(60), ratio, least=0.03)) == 1


@pytest.mark.parametrize("size", [5, 8, 12])
def test_chance_is_the_exact_rank_sum_distribution(size):
    # SciPy's exact Mann-Whitney test: of ranks without ties, with each statistic that can occur
    tail = _rank_sum_tail(size)
    for shift in range(0, size * size + 1, 3):
        one, other = ranks_with_statistic(size, shift)
        assert tail[shift] == pytest.approx(
            stats.mannwhitneyu(one, other, alternative="greater", method="exact").pvalue, rel=1e-9
        )


def ranks_with_statistic(size, pairs):
    """Two lists of different numbers of which ``pairs`` pairs have the first one's member above."""
    above, rest = divmod(pairs, size)
    other = [float(n) for n in range(size)]
    one = [size + 0.1 * n for n in range(above)] + [-1.0 - 0.1 * n for n in range(size - above)]
    if rest:
        one[-1] = rest - 0.5
    return one, other


def test_ratio_nothing_known():
    nothing = np.full((3, 4), np.nan)
    assert np.isnan(ratio_to_siblings(nothing)).all()
    assert np.isnan(ratio_to_siblings(np.zeros((3, 4)))).all()
    assert ratio_to_siblings(np.empty((0, 0))).shape == (0, 0)
    assert output_steps([], []) == []
    assert output_steps([1], [math.nan]) == []
    assert block_medians([], [], 0, 10, 3).tolist() == pytest.approx([math.nan] * 3, nan_ok=True)


def test_wrong_calls():
    for call, message in (
        (lambda: ratio_to_siblings([1.0]), "level has shape"),
        (lambda: output_steps([0], [1.0], window=4), "window is 4"),
        (lambda: output_steps([0], [1.0], least=0.0), "least is 0"),
        (lambda: output_steps([0], [1.0], confidence=1.0), "confidence is 1"),
        (lambda: output_steps([1, 0], [1.0, 1.0]), "must ascend"),
        (lambda: block_medians([0], [1.0], 0, 1, 0), "every_us is 0"),
    ):
        with pytest.raises(ValueError, match=message):
            call()
