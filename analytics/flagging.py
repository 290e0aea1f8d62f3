"""What the tests of samples share: finite samples, two thresholds, seconds."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import MICROSECONDS, Floats, Times, samples
from farm.flags import Flag

Flags = NDArray[np.uint8]


def finite(values: Floats) -> Floats:
    """Return values with NaN for what is infinite."""
    return np.where(np.isfinite(values), values, np.nan)


def finite_samples(time_us: ArrayLike, value: ArrayLike) -> tuple[Times, Floats]:
    """Return times and finite values as arrays, checked as ``samples`` does."""
    times, values = samples(time_us, value)
    return times, finite(values)


def graded(measure: Floats, suspect: float, fail: float, values: Floats) -> Flags:
    """Return flags of a measure (NaN where there is none) against two thresholds."""
    flags = np.where(np.isnan(measure), np.uint8(Flag.NOT_EVALUATED), np.uint8(Flag.GOOD))
    flags[measure > suspect] = Flag.SUSPECT
    flags[measure > fail] = Flag.FAIL
    flags[np.isnan(values)] = Flag.MISSING
    return flags


def check_pair(what: str, suspect: float, fail: float) -> None:
    """Raise ValueError unless two thresholds are above 0 and in order."""
    if not 0.0 < suspect <= fail:
        raise ValueError(f"the {what} is {suspect:g} for suspect and {fail:g} for fail: give 0 < suspect <= fail")


def seconds_as_us(name: str, seconds: float) -> int:
    """Return a duration in whole microseconds; raise ValueError unless it is above 0."""
    if not 0.0 < seconds < 1e12:
        raise ValueError(f"{name} is {seconds:g} s: give a time above 0")
    return round(seconds * MICROSECONDS)
