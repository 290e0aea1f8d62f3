"""Sensors: what is read lags behind the truth, is off by a little, drifts, jitters, and comes in steps.

Sensors take whole blocks and keep what they remember between blocks, so that the length of the
blocks changes nothing. They use sums and products only: those give the same bits in every length.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import exp
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from farm.description import DescribedSeries, Farm
from simulator.behaviours import Behaviour, behaviour_of
from simulator.fault_kinds import NATURES, Acts, FaultKind
from simulator.faults import Fault
from simulator.lag import followed
from simulator.readings import Readings
from simulator.sensor_faults import stuck, what_it_sees

Floats = NDArray[np.float64]

MINUTE_US = 60_000_000
MINUTES_A_MONTH = 30 * 1440
SERVICED_EVERY_DAYS = 180.0  # where the description says nothing: a sensor is then adjusted; our choice
BIASES, NOISE, LOSSES = range(3)  # purposes of random numbers


class Habits(NamedTuple):
    """How good a farm's sensors are, over the usual.

    ``noise``, ``bias`` and ``drift`` multiply the usual ones; ``lost`` is the share of readings that never come.
    """

    noise: float = 1.0
    bias: float = 1.0
    drift: float = 1.0
    lost: float = 0.0


USUAL = Habits()


def generator(seed: int, key: str, purpose: int) -> np.random.Generator:
    """Return random numbers of one series' own for one purpose: other series change nothing in them."""
    return np.random.default_rng([seed, crc32(key.encode()), purpose])


class Sensor:
    """One sensor of one described series."""

    def __init__(self, described: DescribedSeries, *, seed: int, step_s: float = 60.0, habits: Habits = USUAL) -> None:
        how: Behaviour = behaviour_of(described)
        key = described.key
        first, second, third = generator(seed, key, BIASES).standard_normal(3).clip(-2.0, 2.0).tolist()
        self.key = key
        self._bias: float = how.bias * first * habits.bias
        self._gain: float = 1.0 + how.relative_bias * second * habits.bias
        self._drift: float = how.drift * third * habits.drift / MINUTES_A_MONTH
        self._serviced_every = round((described.calibrate_every_days or SERVICED_EVERY_DAYS) * 1440)
        self._noise_size = how.noise * habits.noise
        self._relative = how.relative_noise * habits.noise
        self._decimals = how.decimals
        self._share = 1.0 - exp(-step_s / how.lag_s) if how.lag_s > 0.0 else 1.0
        self._low, self._high = described.limits
        self._every = max(1, round(described.cadence_s / step_s))
        self._noise = generator(seed, key, NOISE)
        self._lost = habits.lost
        self._losses = generator(seed, key, LOSSES) if habits.lost > 0.0 else None
        self._remembered = np.full(1, np.nan)
        self._held = np.full(1, np.nan)

    def read(self, minute: int, time_us: NDArray[np.int64], truth: Floats, faults: Sequence[Fault] = ()) -> Floats:
        """Return what it reads of a block's truth; ``minute`` counts from the beginning of the run."""
        count = len(truth)
        seen, slower = what_it_sees(truth, time_us, faults)
        if self._share < 1.0:
            value = np.empty(count)
            followed(seen, self._share, slower, self._remembered, value)
        else:
            value = seen
        if self._noise_size or self._relative:
            normal = self._noise.standard_normal(count)
            value = value * (self._gain + self._relative * normal) + (self._bias + self._noise_size * normal)
        else:
            value = value * self._gain + self._bias
        if self._drift:
            value = value + self._drift * (np.arange(minute, minute + count) % self._serviced_every)
        for fault in faults:
            if fault.kind in (FaultKind.SENSOR_OFFSET, FaultKind.HUMIDITY_SENSOR_DRIFT, FaultKind.CO2_SENSOR_DRIFT):
                value = value + fault.sizes(time_us)
        value = np.round(value, self._decimals).clip(self._low, self._high)
        return stuck(value, time_us, faults, self._held)

    def came(self, time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return at which minutes a reading comes: those of its cadence, less what is lost."""
        found: NDArray[np.bool_] = time_us // MINUTE_US % self._every == 0
        if self._losses is not None:
            found &= self._losses.random(len(time_us)) >= self._lost
        return found


class Sensors:
    """All sensors of a farm, block by block.

    Parameters
    ----------
    farm : Farm
        The description; every described series has a sensor.
    seed : int
        Decides biases, drift, noise and losses.
    faults : iterable of Fault
        Of these, the sensors' own act here.
    habits : Habits
        How good they are.
    """

    def __init__(self, farm: Farm, *, seed: int, faults: Iterable[Fault] = (), habits: Habits = USUAL) -> None:
        self.keys = tuple(one.key for one in farm.series)
        self._sensors = [Sensor(one, seed=seed, habits=habits) for one in farm.series]
        self.take(faults)
        self._minute = 0

    def take(self, faults: Iterable[Fault]) -> None:
        """Let other faults act from here on."""
        self._faults: dict[str, list[Fault]] = {}
        for fault in faults:
            if NATURES[fault.kind].acts is Acts.SENSOR:
                self._faults.setdefault(fault.target, []).append(fault)

    def read(self, time_us: NDArray[np.int64], truths: Iterable[Floats]) -> Readings:
        """Return what they report of the next block; ``truths`` are in the description's order."""
        value = np.empty((len(self.keys), len(time_us)))
        came = np.empty(value.shape, bool)
        start_us, end_us = int(time_us[0]), int(time_us[-1]) + 1
        for row, (sensor, truth) in enumerate(zip(self._sensors, truths, strict=True)):
            own = self._faults.get(sensor.key)
            faults = [fault for fault in own if fault.touches(start_us, end_us)] if own else ()
            value[row] = sensor.read(self._minute, time_us, truth, faults)
            came[row] = sensor.came(time_us)
        self._minute += len(time_us)
        return Readings(self.keys, time_us, value, came)
