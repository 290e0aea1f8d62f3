"""A sensor held against samples that somebody measured by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import hold_as_of
from analytics.lines import NOTHING, Estimate
from analytics.probes import GrabSample
from analytics.student import CONFIDENCE, student_quantile


class Verdict(StrEnum):
    """What samples by hand say of a sensor."""

    AGREES = "agrees"  # the difference is within both instruments' give or take
    DIFFERS = "differs"  # it lies outside, scatter included
    UNCLEAR = "unclear"  # the samples scatter too much, or are too few, to tell
    UNKNOWN = "unknown"  # no sample has a reading beside it


class Comparison(NamedTuple):
    """A sensor against samples by hand: each difference, their mean with its interval, and what it means."""

    differences: list[float]
    bias: Estimate
    allowed: float
    verdict: Verdict


def grab_comparison(
    time_us: ArrayLike,
    value: ArrayLike,
    grabs: Sequence[GrabSample],
    accuracy: float,
    max_age_us: int,
    confidence: float = CONFIDENCE,
) -> Comparison:
    """Return how a sensor compares with samples that were measured by hand.

    Parameters
    ----------
    time_us : array_like of int
        Times of the sensor's readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        Its readings. [its unit]
    grabs : sequence of GrabSample
        The samples, in any order. [its unit]
    accuracy : float
        The sensor's own give or take. [its unit]
    max_age_us : int
        A sample is held against the newest reading no older than this; one without is left out. [µs]
    confidence : float
        Of the interval of the mean. [1]

    Returns
    -------
    comparison : Comparison
        ``differences`` sensor less sample, in the samples' order, NaN where there is no reading; ``bias`` their
        mean, its interval by Student's t from two differences on, of a single one its ``allowed``; ``allowed`` the
        root of the squares of both instruments' give or take (of the samples the largest). [its unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a limit is out of range.

    Notes
    -----
    Give or take of instruments is mostly systematic: it does not shrink with the number of samples. "Differs"
    only if the whole interval of the mean lies outside ``allowed``; "agrees" if all of it lies inside, or there
    is one sample and it does.

    Examples
    --------
    >>> grabs = [GrabSample(0, 5.9, 0.05), GrabSample(60, 5.92, 0.05), GrabSample(120, 5.88, 0.05)]
    >>> found = grab_comparison([0, 60, 120], [6.2, 6.2, 6.2], grabs, accuracy=0.1, max_age_us=60)
    >>> round(found.bias.value, 2), found.verdict
    (0.3, <Verdict.DIFFERS: 'differs'>)
    """
    if not accuracy >= 0.0:
        raise ValueError(f"accuracy is {accuracy}: give the sensor's plus or minus, 0 or more")
    held = hold_as_of(time_us, value, np.array([one.at_us for one in grabs], dtype=np.int64), max_age_us)
    differences = held.value - np.array([one.value for one in grabs], dtype=float)
    known = ~np.isnan(differences)
    count = int(known.sum())
    quantile = student_quantile(max(count - 1.0, 1.0), confidence)
    if count == 0:
        return Comparison(differences.tolist(), NOTHING, math.nan, Verdict.UNKNOWN)
    by_hand = max(one.plus_or_minus for one, there in zip(grabs, known, strict=True) if there)
    allowed = math.hypot(accuracy, by_hand)
    mean = float(differences[known].mean())
    if count == 1:
        verdict = Verdict.AGREES if abs(mean) <= allowed else Verdict.DIFFERS
        return Comparison(differences.tolist(), Estimate(mean, allowed), allowed, verdict)
    reach = quantile * float(differences[known].std(ddof=1)) / math.sqrt(count)
    if abs(mean) - reach > allowed:
        verdict = Verdict.DIFFERS
    else:
        verdict = Verdict.AGREES if abs(mean) + reach <= allowed else Verdict.UNCLEAR
    return Comparison(differences.tolist(), Estimate(mean, reach), allowed, verdict)
