"""Whether a probe may go on, by what its calibrations say."""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats
from farm.limits import CellLimits, ElectrodeLimits


class Condition(StrEnum):
    """What a probe's calibration asks for."""

    GOOD = "good"
    MAINTAIN = "maintain"  # clean it and store it right
    STOP = "stop"  # clean and calibrate again before it is relied on
    REJECT = "reject"  # replace it
    REPEAT = "repeat"  # steeper than physics allows: wrong buffer, wrong temperature, or read too early
    UNKNOWN = "unknown"


USUAL_ELECTRODE = ElectrodeLimits()
USUAL_CELL = CellLimits()


def electrode_condition(slope_percent: float, offset_mv: float, limits: ElectrodeLimits = USUAL_ELECTRODE) -> Condition:
    """Return what a pH electrode's slope and offset ask for.

    Parameters
    ----------
    slope_percent : float
        Slope as a share of the ideal one at its temperature. [%]
    offset_mv : float
        Its voltage at pH 7. [mV]
    limits : ElectrodeLimits
        Where the classes begin; a limit itself belongs to the better class. [%], [mV]

    Returns
    -------
    condition : Condition
        An offset out of limits is at best "stop"; "unknown" where the slope is NaN.

    Notes
    -----
    The usual limits are instrument practice as one source has it: 95-105 % good, 90-95 maintain, 85-90 stop,
    below 85 reject; offset within 30 mV at pH 7. Another source replaces below 91 % or beyond 20 mV.

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


def cell_condition(share_percent: float, limits: CellLimits = USUAL_CELL) -> Condition:
    """Return what an EC probe's cell constant asks for.

    Parameters
    ----------
    share_percent : float
        The cell constant, of the one it began with. [%]
    limits : CellLimits
        How far it may be from 100 %; a limit itself belongs to the better class. [%]

    Returns
    -------
    condition : Condition
        "unknown" where the share is NaN.

    Notes
    -----
    The constant is the cell's geometry and moves little. Where a calibration finds it moved, the electrodes are
    coated or the cell is partly blocked, or the standard is not what its bottle says.

    Examples
    --------
    >>> cell_condition(104.7), cell_condition(88.0)
    (<Condition.GOOD: 'good'>, <Condition.MAINTAIN: 'maintain'>)
    """
    if math.isnan(share_percent):
        return Condition.UNKNOWN
    off = abs(share_percent - 100.0)
    if off > limits.reject_percent:
        return Condition.REJECT
    return Condition.MAINTAIN if off > limits.maintain_percent else Condition.GOOD


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
