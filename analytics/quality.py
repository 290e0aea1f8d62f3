"""Verdicts on the samples of one series: the tests of QARTOD with one set of limits, and their roll-up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import samples
from analytics.flagging import Flags, seconds_as_us
from analytics.persistence import flat_line_flags
from analytics.quality_tests import gap_flags, gross_range_flags, rate_of_change_flags, spike_flags
from farm.flags import Flag

TESTS = ("gross_range", "spike", "rate_of_change", "flat_line", "gap")
ROLLED_UP = TESTS[:-1]  # a gap is no fault of the sample that ends it
PRIORITY = (Flag.MISSING, Flag.NOT_EVALUATED, Flag.GOOD, Flag.SUSPECT, Flag.FAIL)
IS_FLAG = np.isin(np.arange(256), PRIORITY)
OF_RANK = np.array(PRIORITY, np.uint8)
RANK = np.zeros(256, np.uint8)
RANK[list(PRIORITY)] = np.arange(len(PRIORITY))


@dataclass(frozen=True, slots=True)
class QualityLimits:
    """What a series' samples are tested against; a threshold left infinite is not tested.

    Parameters
    ----------
    gap_s : float
        Samples further apart than this are no neighbours. [s]
    fail_low, fail_high, suspect_low, suspect_high : float
        As for ``gross_range_flags``. [the quantity's unit]
    spike_suspect, spike_fail : float
        As for ``spike_flags``, method "differential". [the quantity's unit]
    rate_suspect_per_s, rate_fail_per_s, rate_allowance : float
        As for ``rate_of_change_flags``. [the quantity's unit per s], [the quantity's unit]
    flat_line_tolerance, flat_line_suspect_s, flat_line_fail_s, resting_value : float
        As for ``flat_line_flags``. [the quantity's unit], [s]
    """

    gap_s: float
    fail_low: float = -math.inf
    fail_high: float = math.inf
    suspect_low: float = -math.inf
    suspect_high: float = math.inf
    spike_suspect: float = math.inf
    spike_fail: float = math.inf
    rate_suspect_per_s: float = math.inf
    rate_fail_per_s: float = math.inf
    rate_allowance: float = 0.0
    flat_line_tolerance: float = math.inf
    flat_line_suspect_s: float = math.inf
    flat_line_fail_s: float = math.inf
    resting_value: float | None = None

    @property
    def tests(self) -> tuple[str, ...]:
        """The tests that have a threshold, in the order of ``TESTS``."""
        ranges = (-self.fail_low, self.fail_high, -self.suspect_low, self.suspect_high)
        made = {
            "gross_range": min(ranges) < math.inf,
            "spike": self.spike_suspect < math.inf,
            "rate_of_change": self.rate_suspect_per_s < math.inf,
            "flat_line": self.flat_line_suspect_s < math.inf,
            "gap": self.gap_s < math.inf,
        }
        return tuple(test for test in TESTS if made[test])


@dataclass(frozen=True, slots=True)
class Verdicts:
    """One flag a sample, rolled up, and those of each test of ``TESTS`` (NOT_EVALUATED where it is not made)."""

    flag: Flags
    tests: dict[str, Flags]


def verdicts(time_us: ArrayLike, value: ArrayLike, limits: QualityLimits, since: int = 0) -> Verdicts:
    """Return what the tests say of each sample of one series.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples as measured; NaN is missing. [the quantity's unit]
    limits : QualityLimits
        What to test against.
    since : int
        Position of the first sample that is asked about; those before only take part, which is quicker.

    Returns
    -------
    verdicts : Verdicts
        Of the samples from ``since`` on. The roll-up leaves the gap test out: the sample that ends a gap is as
        good as any.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, limits contradict each other, or ``since`` is
        negative.

    See Also
    --------
    reach_s : How far around a sample its verdict looks.

    Examples
    --------
    >>> limits = QualityLimits(gap_s=180, fail_low=-40, fail_high=60, spike_suspect=1, spike_fail=3)
    >>> verdicts([0, 60_000_000, 120_000_000], [20.0, 25.0, 20.0], limits).flag.tolist()
    [1, 4, 1]
    """
    times, values = samples(time_us, value)
    if since < 0:
        raise ValueError(f"since is {since}: give the position of a sample, 0 or more")
    one = limits
    # All but the flat line test look no further back than a gap.
    near = (
        int(np.searchsorted(times, times[since] - seconds_as_us("gap_s", one.gap_s))) if since < len(times) else since
    )
    at, seen, asked = times[near:], values[near:], slice(since - near, None)
    tests = {
        "gross_range": lambda: gross_range_flags(
            seen, one.fail_low, one.fail_high, one.suspect_low, one.suspect_high
        )[asked],
        "spike": lambda: spike_flags(at, seen, one.spike_suspect, one.spike_fail, one.gap_s)[asked],
        "rate_of_change": lambda: rate_of_change_flags(
            at, seen, one.rate_suspect_per_s, one.rate_fail_per_s, one.gap_s, one.rate_allowance
        )[asked],
        "flat_line": lambda: flat_line_flags(
            times, values, one.flat_line_tolerance, one.flat_line_suspect_s, one.flat_line_fail_s, one.gap_s,
            one.resting_value, since,
        ),
        "gap": lambda: gap_flags(at, seen, one.gap_s)[asked],
    }  # fmt: skip
    made = limits.tests
    not_made = np.where(np.isfinite(values[since:]), np.uint8(Flag.NOT_EVALUATED), np.uint8(Flag.MISSING))
    found = {test: tests[test]() if test in made else not_made.copy() for test in TESTS}
    return Verdicts(_combined([found[test] for test in ROLLED_UP if test in made] or [not_made]), found)


def reach_s(limits: QualityLimits) -> tuple[float, float]:
    """Return how far before and after a sample other samples take part in its verdict, both ends included.

    Parameters
    ----------
    limits : QualityLimits
        What is tested.

    Returns
    -------
    before_s, after_s : float
        A sample later than ``after_s`` or earlier than ``before_s`` changes nothing. [s]

    Examples
    --------
    >>> reach_s(QualityLimits(gap_s=180, spike_suspect=1, flat_line_tolerance=0.01, flat_line_suspect_s=3600))
    (3780, 180)
    """
    durations = [one for one in (limits.flat_line_suspect_s, limits.flat_line_fail_s) if math.isfinite(one)]
    return max(durations, default=0) + limits.gap_s, limits.gap_s if "spike" in limits.tests else 0


def combined_flags(flags: Sequence[ArrayLike]) -> Flags:
    """Return one flag a sample from those of several tests.

    Parameters
    ----------
    flags : sequence of array_like
        One array a test, all of one length.

    Returns
    -------
    combined : numpy.ndarray of uint8
        FAIL if any test says so, else SUSPECT, else GOOD, else NOT_EVALUATED, else MISSING.

    Raises
    ------
    ValueError
        If there is no test, the lengths differ, or a number is not a flag.

    Notes
    -----
    QARTOD's roll-up: one test passed makes a sample good though others were not made. A value *derived* from
    several readings follows another rule, ``farm.flags.worst_flag``.

    Examples
    --------
    >>> combined_flags([[1, 1, 1, 2, 9], [1, 3, 4, 1, 9], [2, 2, 1, 2, 9]]).tolist()
    [1, 3, 4, 1, 9]
    """
    columns = [np.asarray(one) for one in flags]
    shapes = {one.shape for one in columns}
    if len(shapes) != 1 or len(next(iter(shapes))) != 1:
        raise ValueError(f"the tests' flags have shapes {sorted(shapes)}: give one-dimensional arrays of one length")
    together = np.stack(columns)
    known = together.astype(np.uint8)
    if (known != together).any() or not IS_FLAG[known].all():
        raise ValueError(f"{sorted(set(together.ravel().tolist()) - set(PRIORITY))} are no flags: give 1, 2, 3, 4 or 9")
    return _combined(list(known))


def _combined(flags: Sequence[Flags]) -> Flags:
    """Return the flags' roll-up; a test that was not made adds nothing to one that was."""
    rank = RANK[flags[0]]
    for one in flags[1:]:
        rank = np.maximum(rank, RANK[one])
    return OF_RANK[rank]
