"""Wrong clocks and cut links: what arrives, in which order, and with which time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.readings import Series, microseconds
from simulator.data_path import Clocks, Link
from simulator.faults import Fault, FaultKind
from simulator.readings import Readings, columns_by_series

START = datetime(2026, 2, 2, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
MINUTE_US = 60_000_000
KEYS = ("room/air_temperature", "row-1/air_temperature")


def readings(first, last):
    """Two series that say which minute it is."""
    minutes = np.arange(first, last)
    return Readings(
        KEYS,
        microseconds(START) + MINUTE_US * minutes,
        np.tile(minutes * 1.0, (2, 1)),
        np.ones((2, len(minutes)), bool),
    )


def arrivals(faults, lengths):
    """Minutes in the order in which they arrive, sent in blocks of these lengths."""
    link = Link("north", seed=1, faults=faults)
    at, found = 0, []
    for length in lengths:
        for part in link.passed_on(readings(at, at + length)):
            found += part.value[0].tolist()
        at += length
    return found


CUT = Fault(FaultKind.LINK_CUT, START + 10 * MINUTE, START + 20 * MINUTE, 0.0)


@pytest.mark.parametrize("lengths", [[30], [1] * 30, [15, 15], [10, 10, 10], [7, 23]])
def test_a_cut_link_loses_nothing_and_brings_it_late(lengths):
    assert arrivals([CUT], lengths) == [*range(10), 20, *range(10, 20), *range(21, 30)]


def test_what_is_held_at_the_end_has_not_arrived():
    assert arrivals([CUT], [15]) == [*range(10)]


def test_a_share_of_what_was_held_can_be_lost_for_good():
    lossy = Fault(FaultKind.LINK_CUT, START + 100 * MINUTE, START + 1100 * MINUTE, 0.3)
    link = Link("north", seed=1, faults=[lossy])
    came = sum(int(part.came.sum()) for part in link.passed_on(readings(0, 1440)))
    assert came == pytest.approx(2 * 1440 - 0.3 * 2000, abs=82)  # four standard errors


def test_a_clock_that_jumps_stamps_the_readings_of_its_zone():
    jump = Fault(FaultKind.CLOCK_JUMP, START + 10 * MINUTE, START + 20 * MINUTE, 300.0, "row-1")
    stamped = Clocks(KEYS, [jump]).stamped(readings(0, 30))
    off = (stamped.stamp_us - stamped.time_us) / 1e6
    assert (off[0] == 0.0).all()
    assert off[1].tolist() == [0.0] * 10 + [300.0] * 10 + [0.0] * 10


def test_of_two_readings_with_one_time_the_first_to_arrive_stays():
    jump = Fault(FaultKind.CLOCK_JUMP, START + 10 * MINUTE, START + 20 * MINUTE, 300.0)
    found = columns_by_series("north", [Clocks(KEYS, [jump]).stamped(readings(0, 30))])
    columns = found[Series("north", "room", "air_temperature")]
    minutes = ((columns.time_us - microseconds(START)) // MINUTE_US).tolist()
    assert minutes == [*range(10), *range(15, 30)]
    assert columns.value.tolist() == [*range(10), *range(10, 20), *range(25, 30)]
