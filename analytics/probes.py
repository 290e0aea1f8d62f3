"""Calibrations of the pH and EC probes, and what they say about the readings between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, samples
from analytics.buffers import NAMES, buffer_ph, nernst_slope

NEUTRAL_PH = 7.0  # an ideal electrode gives 0 mV there
Between = Literal["step", "linear"]


@dataclass(frozen=True, slots=True)
class Correction:
    """How readings become right from an instant on: ``scale * reading + offset``, until the next correction.

    ``scale_per_us`` and ``offset_per_us`` let both move with time; they are 0 for a step.
    """

    from_us: int
    scale: float
    offset: float
    scale_per_us: float = 0.0
    offset_per_us: float = 0.0


class Calibration(Protocol):
    """A probe held to known values: when, whether the device was then set by it, and what it showed before."""

    @property
    def at_us(self) -> int:
        """When it was done. [µs since 1970 UTC]."""

    @property
    def adjusted(self) -> bool:
        """Whether the device was set to the known values afterwards, so that it shows them right from then on."""

    def found(self, held: Calibration | None) -> tuple[float, float]:
        """Return the scale and offset that make right what the device showed while set by ``held``."""


@dataclass(frozen=True, slots=True)
class TwoPointCalibration:
    """A pH probe in two buffers.

    ``buffers`` are the names on the bottles (pH at 25 degC; their pH at ``temperature`` follows from
    ``buffer_ph``; a buffer without a table counts as printed). ``readings`` are what was shown in them, in
    the same order, *before* anything was set: in pH as the device sends it (``unit`` "pH"), or in mV of
    the electrode (``unit`` "mV"). ``temperature`` is that of the buffers. [degC] ``adjusted`` says that the device was
    then set to the buffers; left False, the device goes on as before and its readings need the correction.
    """

    at_us: int
    buffers: tuple[float, float]
    readings: tuple[float, float]
    unit: Literal["pH", "mV"] = "pH"
    temperature: float = 25.0
    adjusted: bool = False

    def __post_init__(self) -> None:
        """Refuse what cannot be two points."""
        if self.unit not in ("pH", "mV"):
            raise ValueError(f"unit is {self.unit!r}: give 'pH' for readings as shown, or 'mV' of the electrode")
        if len(self.buffers) != 2 or len(self.readings) != 2:
            raise ValueError(
                f"{len(self.buffers)} buffers and {len(self.readings)} readings: give two of each, in the same order"
            )
        if abs(self.buffers[0] - self.buffers[1]) < 1.0:
            raise ValueError(
                f"buffers {self.buffers[0]} and {self.buffers[1]} are less than 1 pH apart: take two further apart, "
                "e.g. 7.00 and 4.01"
            )

    @property
    def buffers_ph(self) -> tuple[float, float]:
        """The buffers' pH at their temperature; NaN where the table does not reach."""
        first, second = (
            float(buffer_ph(one, self.temperature)) if one in NAMES else float(one) for one in self.buffers
        )
        return first, second

    @property
    def slope(self) -> float:
        """By how much the electrode's voltage falls a pH; NaN unless the readings are in mV. [mV/pH]."""
        if self.unit != "mV":
            return math.nan
        first, second = self.buffers_ph
        return (self.readings[0] - self.readings[1]) / (second - first)

    @property
    def slope_percent(self) -> float:
        """The slope as a share of the ideal one at this temperature; NaN unless in mV. [%]."""
        return 100.0 * self.slope / float(nernst_slope(self.temperature))

    @property
    def offset_mv(self) -> float:
        """The electrode's voltage at pH 7, 0 for an ideal one; NaN unless in mV. [mV]."""
        return self.readings[0] + self.slope * (self.buffers_ph[0] - NEUTRAL_PH)

    def found(self, held: Calibration | None) -> tuple[float, float]:
        """Return the scale and offset that make right what the device showed while set by ``held``."""
        if self.unit == "pH":
            (first, second), (shown, other) = self.buffers_ph, self.readings
            return _line(shown, other, first, second)
        if not self.slope > 0.0:
            return math.nan, math.nan
        if held is None:
            return 1.0, 0.0  # the first one: the device is taken to make pH of mV by it
        if not isinstance(held, TwoPointCalibration) or held.unit != "mV":
            return math.nan, math.nan  # how the device makes pH of mV is not known
        # The device: pH = 7 + (offset of held - E) / slope of held; the truth: the same with this one's.
        scale = held.slope / self.slope
        return scale, NEUTRAL_PH * (1.0 - scale) + (self.offset_mv - held.offset_mv) / self.slope


@dataclass(frozen=True, slots=True)
class EcCalibration:
    """An EC probe in a standard solution.

    ``standard`` is the solution's EC at 25 degC and ``reading`` what was shown in it before anything was
    set, both at 25 degC. [mS/cm] ``temperature`` is that of the standard: away from 25 degC the device's own
    compensation is in the reading too (see ``ec_at_25``). [degC] ``adjusted`` as for a pH probe.
    """

    at_us: int
    standard: float
    reading: float
    temperature: float = 25.0
    adjusted: bool = False

    def __post_init__(self) -> None:
        """Refuse a standard that is none."""
        if not self.standard > 0.0:
            raise ValueError(f"standard is {self.standard} mS/cm: give the solution's EC at 25 degC, above 0")

    def found(self, held: Calibration | None) -> tuple[float, float]:
        """Return the scale and offset that make right what the device showed: a cell constant has no offset."""
        return (self.standard / self.reading if self.reading > 0.0 else math.nan), 0.0


@dataclass(frozen=True, slots=True)
class GrabSample:
    """A value measured by hand beside the sensor, with its give or take, in the quantity's unit."""

    at_us: int
    value: float
    plus_or_minus: float


def corrections(calibrations: Sequence[Calibration], between: Between = "step") -> list[Correction]:
    """Return how a probe's readings become right, from each of its calibrations on.

    Parameters
    ----------
    calibrations : sequence of TwoPointCalibration or of EcCalibration
        Of one probe, in any order; of two at one instant the later in the sequence counts.
    between : {"step", "linear"}
        "step", the default: a calibration counts from its own instant until the next one; the readings
        before it stay as they were. "linear": between two calibrations the correction moves in a straight line in
        time from what the first left to what the second found, as for probes that drift steadily; after the
        last one it stays.

    Returns
    -------
    corrections : list of Correction
        One a usable calibration, ascending in time. A calibration that gives no line (equal or NaN readings,
        mV where what the device was set by is not known in mV) is left out unless the device was adjusted: the
        one before goes on.

    Raises
    ------
    ValueError
        If ``between`` is unknown.

    Notes
    -----
    A device that was ``adjusted`` shows right from then on: its correction is ``1 * reading + 0``. Steps are the
    default because then a correction depends on nothing that comes later: yesterday's corrected value does not
    change when somebody calibrates tomorrow. Linear in time is the practice of continuous water-quality
    records: drift is spread over the time since the last calibration.

    References
    ----------
    .. [1] R. J. Wagner et al., "Guidelines and standard procedures for continuous water-quality monitors,"
       U.S. Geological Survey Techniques and Methods 1-D3, 2006 (from memory).

    Examples
    --------
    >>> shown = TwoPointCalibration(at_us=0, buffers=(7.00, 4.00), readings=(7.10, 4.10))
    >>> [(one.from_us, round(one.scale, 3), round(one.offset, 3)) for one in corrections([shown])]
    [(0, 1.0, -0.1)]
    """
    if between not in ("step", "linear"):
        raise ValueError(f"between is {between!r}: give 'step' or 'linear'")
    made: list[Correction] = []
    held: Calibration | None = None
    for one in sorted({one.at_us: one for one in calibrations}.values(), key=lambda one: one.at_us):
        scale, offset = one.found(held)
        known = math.isfinite(scale) and math.isfinite(offset) and scale > 0.0
        if not known and not one.adjusted:
            continue
        if known and between == "linear" and made:
            made[-1] = _moving(made[-1], one.at_us, scale, offset)
        made.append(Correction(one.at_us, 1.0, 0.0) if one.adjusted else Correction(one.at_us, scale, offset))
        if one.adjusted or held is None:
            held = one
    return made


def cell_share(calibrations: Sequence[EcCalibration]) -> float:
    """Return an EC probe's cell constant by its newest calibration, as a share of the one it began with.

    Parameters
    ----------
    calibrations : sequence of EcCalibration
        Of one probe, ascending in time; the device is taken to have begun with the cell's own constant.

    Returns
    -------
    share : float
        Standard over reading, times that of every earlier calibration that the device was adjusted by; NaN
        without calibrations or where a reading is not above 0. [1]

    Notes
    -----
    ``K_new = K_set * standard / reading``: what a device shows is conductance times the constant it is set to.

    Examples
    --------
    >>> set_by_it = EcCalibration(0, standard=1.413, reading=1.350, adjusted=True)
    >>> round(cell_share([set_by_it, EcCalibration(1, standard=1.413, reading=1.400)]), 4)
    1.0564
    """
    if not calibrations:
        return math.nan
    set_to = math.prod(one.found(None)[0] for one in calibrations[:-1] if one.adjusted)
    return set_to * calibrations[-1].found(None)[0]


def corrected(time_us: ArrayLike, value: ArrayLike, corrections: Sequence[Correction]) -> Floats:
    """Return readings made right by the correction that holds at each of them.

    Parameters
    ----------
    time_us : array_like of int
        Times of the readings, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The readings. [the quantity's unit]
    corrections : sequence of Correction
        Ascending in time, as from ``corrections``.

    Returns
    -------
    value : numpy.ndarray
        A reading before the first correction is as it was; NaN stays NaN. [the quantity's unit]

    Raises
    ------
    ValueError
        If the arrays do not fit together, or times do not ascend.

    Examples
    --------
    >>> corrected([0, 10, 20], [6.0, 6.0, 6.0], [Correction(10, 1.0, -0.1)]).tolist()
    [6.0, 5.9, 5.9]
    """
    times, values = samples(time_us, value)
    from_us = np.array([one.from_us for one in corrections], dtype=np.int64)
    if np.any(from_us[1:] <= from_us[:-1]):
        raise ValueError("the corrections must ascend in time: hand them on as they come from corrections()")
    right = values.copy()
    place = np.searchsorted(from_us, times, side="right") - 1
    for index, one in enumerate(corrections):
        here = place == index
        passed = (times[here] - one.from_us).astype(float)
        scale, offset = one.scale + one.scale_per_us * passed, one.offset + one.offset_per_us * passed
        right[here] = scale * values[here] + offset
    return right


def _moving(one: Correction, until_us: int, scale: float, offset: float) -> Correction:
    """Return a correction that moves in a straight line in time to a scale and an offset."""
    passed_us = until_us - one.from_us
    return replace(one, scale_per_us=(scale - one.scale) / passed_us, offset_per_us=(offset - one.offset) / passed_us)


def _line(from_one: float, from_other: float, to_one: float, to_other: float) -> tuple[float, float]:
    """Return scale and offset of the line that takes two values to two others; NaN where there is none."""
    if not abs(from_one - from_other) > 0.0:
        return math.nan, math.nan
    scale = (to_one - to_other) / (from_one - from_other)
    return scale, to_one - scale * from_one
