"""Drift: small lasting shifts that no single sample shows, by cumulative sums and by Page and Hinkley."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats

MODES = ("up", "down")


@dataclass(frozen=True, slots=True)
class CumulativeSums:
    """What has summed up, after each sample: the plain deviation, and its tabular form upward and downward."""

    deviation: Floats
    high: Floats
    low: Floats

    def first_signal(self, decision_interval: float) -> int | None:
        """Return the position of the first sample after which ``high`` or ``low`` is above an interval."""
        beyond = (self.high > decision_interval) | (self.low > decision_interval)
        return int(np.argmax(beyond)) if beyond.any() else None


def cumulative_sums(value: ArrayLike, target: float, slack: float, head_start: float = 0.0) -> CumulativeSums:
    """Return the cumulative sums of samples against the value they should have.

    Parameters
    ----------
    value : array_like
        Samples in order, shape (n,); a NaN adds nothing. [any unit]
    target : float
        The value in control. [that unit]
    slack : float
        Deviations up to this are let pass, 0 or more: half the shift that is to be found. [that unit]
    head_start : float
        What both sums begin with, 0 or more; half the decision interval finds quickly what is wrong from the
        beginning. [that unit]

    Returns
    -------
    sums : CumulativeSums
        Three arrays of shape (n,). [that unit]

    Raises
    ------
    ValueError
        If ``value`` is not one-dimensional, or slack or head start is negative.

    Notes
    -----
    ``high = max(0, high + x - target - slack)`` and ``low = max(0, low + target - slack - x)`` [1]_, all at
    once as the cumulative sum less its own lowest so far. A signal is a sum above the decision interval: with
    independent normal samples, slack 0.5 and interval 4 or 5 standard deviations there is a false one in
    168 or 465 samples (from memory). Samples that resemble their neighbours, as sensors' do, give more.

    References
    ----------
    .. [1] D. C. Montgomery, "Introduction to Statistical Quality Control," cumulative sum control chart,
       equations of the tabular form.
    .. [2] J. M. Lucas and R. B. Crosier, "Fast initial response for CUSUM quality-control schemes,"
       Technometrics 24, 1982.

    Examples
    --------
    >>> cumulative_sums([0.5, 2.0, 2.0], target=0.0, slack=0.5).high.tolist()
    [0.0, 1.5, 3.0]
    """
    values = _line(value)
    if not slack >= 0.0 or not head_start >= 0.0:
        raise ValueError(f"slack is {slack:g} and head_start {head_start:g}: give 0 or more")
    deviation = np.where(np.isfinite(values), values - target, 0.0)
    known = np.isfinite(values)
    upward, downward = (np.cumsum(np.where(known, one - slack, 0.0)) for one in (deviation, -deviation))
    high, low = (
        sums - np.minimum(np.minimum.accumulate(sums), -head_start) if len(sums) else sums
        for sums in (upward, downward)
    )
    return CumulativeSums(np.cumsum(deviation), high, low)


def page_hinkley(value: ArrayLike, slack: float, mode: str = "up") -> Floats:
    """Return how far samples have run away from their own mean so far.

    Unlike ``cumulative_sums`` it needs no target: the mean of all samples up to each one stands for it.

    Parameters
    ----------
    value : array_like
        Samples in order, shape (n,); a NaN is passed over. [any unit]
    slack : float
        A deviation from the mean up to this is let pass, 0 or more. [that unit]
    mode : {"up", "down"}
        Which way a shift is looked for.

    Returns
    -------
    statistic : numpy.ndarray
        Shape (n,), 0 or more. The caller's threshold on it makes an alarm, after some samples (often 30), since
        the first mean rests on one. [that unit]

    Raises
    ------
    ValueError
        If ``value`` is not one-dimensional, slack is negative, or the mode is unknown.

    Notes
    -----
    ``U = sum(x - mean - slack)``, statistic ``U - min(U)`` [1]_, without forgetting. A slow drift pulls the mean
    along and is found late or never: for that use ``cumulative_sums``.

    References
    ----------
    .. [1] E. S. Page, "Continuous inspection schemes," Biometrika 41, 1954.

    Examples
    --------
    >>> page_hinkley([0.0, 0.0, 3.0], slack=0.5).tolist()
    [0.0, 0.0, 1.5]
    """
    values = _line(value)
    if not slack >= 0.0:
        raise ValueError(f"slack is {slack:g}: give 0 or more")
    if mode not in MODES:
        raise ValueError(f"mode is {mode!r}: give one of {', '.join(MODES)}")
    if not len(values):
        return values
    known = np.isfinite(values)
    signed = np.where(known, values if mode == "up" else -values, 0.0)
    mean = np.cumsum(signed) / np.maximum(np.cumsum(known), 1)
    sums = np.cumsum(np.where(known, signed - mean - slack, 0.0))
    first = int(np.argmax(known))  # before the first sample there is no sum to be lowest
    lowest = np.minimum.accumulate(np.where(np.arange(len(sums)) < first, np.inf, sums))
    return np.where(np.isfinite(lowest), sums - lowest, 0.0)


def _line(value: ArrayLike) -> Floats:
    values = np.asarray(value, dtype=float)
    if values.ndim != 1:
        raise ValueError(f"value has shape {values.shape}: give a one-dimensional array")
    return values
