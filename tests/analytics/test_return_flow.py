"""Return-flow lag: known delays found again, also under noise and with gaps."""

import math

import numpy as np
import pytest

from analytics.return_flow import return_lag

MINUTE = 60_000_000


def pulses(n, every=30, length=5):
    return (np.arange(n) % every < length).astype(float) * 10.0


@pytest.mark.parametrize("delay", [0, 1, 4, 11])
@pytest.mark.parametrize("seed", range(2))
def test_a_known_delay_is_found(delay, seed):
    random = np.random.default_rng(seed)
    out = pulses(600)
    back = 0.8 * np.roll(out, delay) + 0.5 * random.standard_normal(600)  # the period divides 600, so rolling is clean
    at = np.arange(600) * MINUTE
    found = return_lag(at, out, at, back, MINUTE, 14 * MINUTE, 3 * MINUTE)
    assert (found.lag_s, found.resolution_s) == (delay * 60.0, 60.0)
    assert found.correlation > 0.95


def test_a_return_that_is_smeared_and_sampled_otherwise():
    """A sump that passes on a seventh a minute, 3 minutes later: the likeness peaks a little after 3 minutes."""
    out = pulses(900)
    back = np.zeros(900)
    store = 0.0
    for n in range(900):
        store += out[n - 3] if n >= 3 else 0.0
        back[n] = store / 7
        store -= back[n]
    at = np.arange(900) * MINUTE
    found = return_lag(at, out, at[::2] + 20_000_000, back[::2], MINUTE, 14 * MINUTE, 6 * MINUTE)
    assert 180 <= found.lag_s <= 8 * 60


def test_gaps_are_left_out():
    out = pulses(600)
    back = np.roll(out, 4)
    at = np.arange(600) * MINUTE
    kept = (np.arange(600) % 100) < 70
    found = return_lag(at[kept], out[kept], at, back, MINUTE, 14 * MINUTE, 2 * MINUTE)
    assert found.lag_s == 240.0
    assert found.correlation == pytest.approx(1.0, abs=0.02)  # held for a minute more at each gap
    blank = np.where(kept, out, np.nan)
    assert return_lag(at, blank, at, back, MINUTE, 14 * MINUTE, 2 * MINUTE).lag_s == 240.0


def test_when_nothing_can_be_said():
    at = np.arange(60) * MINUTE
    for times, out, back in (([], [], []), (at, np.zeros(60), pulses(60)), (at[:5], pulses(5), pulses(5))):
        found = return_lag(times, out, times, back, MINUTE, 10 * MINUTE, 3 * MINUTE)
        assert math.isnan(found.lag_s)
        assert math.isnan(found.correlation)
    nine, ten = (return_lag(at[:n], pulses(n), at[:n], pulses(n), MINUTE, 0, 3 * MINUTE).lag_s for n in (9, 10))
    assert (math.isnan(nine), ten) == (True, 0.0)
    assert math.isnan(return_lag(at, pulses(60), at + 10**12, pulses(60), MINUTE, MINUTE, MINUTE).lag_s)
    with pytest.raises(ValueError, match="step_us is 0"):
        return_lag(at, at, at, at, 0, 1, 1)
    with pytest.raises(ValueError, match="time_us must ascend"):
        return_lag([2, 1], [1.0, 1.0], [], [], 1, 1, 1)
