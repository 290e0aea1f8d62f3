"""Whether a probe may go on, by what its calibrations say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats


class Condition(StrEnum):
    """What a pH electrode's calibration asks for."""

    GOOD = "good"
    MAINTAIN = "maintain"  # clean it and store it right
    STOP = "stop"  # clean and calibrate again before it is relied on
    REJECT = "reject"  # replace it
    REPEAT = "repeat"  # steeper than physics allows: wrong buffer, wrong temperature, or read too early
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class AcceptanceLimits:
    """Where the classes of a pH electrode's slope begin, and how far its offset may be from zero.

    The defaults are instrument practice as one source has it: 95-105 % good, 90-95 maintain, 85-90 stop,
    below 85 reject; offset within 30 mV at pH 7. Another source replaces below 91 % or beyond 20 mV: set
    your own. [%], [mV]
    """

    good_percent: float = 95.0
    maintain_percent: float = 90.0
    stop_percent: float = 85.0
    highest_percent: float = 105.0
    offset_mv: float = 30.0


DEFAULT_LIMITS = AcceptanceLimits()


def electrode_condition(slope_percent: float, offset_mv: float, limits: AcceptanceLimits = DEFAULT_LIMITS) -> Condition:
    """Return what a pH electrode's slope and offset ask for.

    Parameters
    ----------
    slope_percent : float
        Slope as a share of the ideal one at its temperature. [%]
    offset_mv : float
        Its voltage at pH 7. [mV]
    limits : AcceptanceLimits
        Where the classes begin; a limit itself belongs to the better class.

    Returns
    -------
    condition : Condition
        An offset out of limits is at best "stop"; "unknown" where the slope is NaN.

    Examples
    --------
    >>> electrode_condition(98.6, -15.0)
    <Condition.GOOD: 'good'>
    """
    if math.isnan(slope_percent):
        return Condition.UNKNOWN
    if slope_percent < limits.stop_percent:
        return Condition.REJECT
    if slope_percent > limits.highest_percent:
        return Condition.REPEAT
    if slope_percent < limits.maintain_percent or abs(offset_mv) > limits.offset_mv:
        return Condition.STOP
    return Condition.MAINTAIN if slope_percent < limits.good_percent else Condition.GOOD


def cell_constant(standard: ArrayLike, conductance_ms: ArrayLike) -> Floats:
    """Return an EC probe's cell constant from a standard solution.

    Parameters
    ----------
    standard : array_like
        The solution's conductivity at its temperature. [mS/cm]
    conductance_ms : array_like
        What the cell conducts in it. [mS]

    Returns
    -------
    cell_constant : numpy.ndarray
        NaN where an input is NaN or not above 0. [1/cm]

    Notes
    -----
    ``K = kappa / G``. A probe that reads a standard too low has a larger constant than it is set to: the new
    one is the old one times standard over reading.

    Examples
    --------
    >>> float(cell_constant(1.413, 1.413))
    1.0
    """
    kappa, conductance = np.asarray(standard, dtype=float), np.asarray(conductance_ms, dtype=float)
    return np.where(kappa > 0.0, kappa, np.nan) / np.where(conductance > 0.0, conductance, np.nan)
