"""Sensors: what is read lags behind the truth, is off by a little, jitters, and comes in steps."""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from farm.description import DescribedSeries
from farm.quantities import Kind


class Behaviour(NamedTuple):
    """How a kind of sensor reads (our choices, no source; within usual accuracy).

    ``lag_s`` first-order time constant, ``noise`` and ``bias`` standard deviations in the quantity's
    unit, ``relative_noise`` and ``relative_bias`` as shares of the value, ``decimals`` of the reading.
    """

    decimals: int
    lag_s: float = 0.0
    noise: float = 0.0
    relative_noise: float = 0.0
    bias: float = 0.0
    relative_bias: float = 0.0


BEHAVIOURS: dict[str, Behaviour] = {
    "air_temperature": Behaviour(2, lag_s=60.0, noise=0.03, bias=0.08),
    "relative_humidity": Behaviour(1, lag_s=45.0, noise=0.25, bias=0.5),
    "co2_mole_fraction": Behaviour(0, lag_s=60.0, noise=5.0, bias=12.0),
    "surface_temperature": Behaviour(2, lag_s=120.0, noise=0.03, bias=0.08),
    "ppfd": Behaviour(1, relative_noise=0.004, relative_bias=0.02),
    "solution_ec": Behaviour(3, lag_s=60.0, noise=0.004, bias=0.01),
    "solution_ph": Behaviour(2, lag_s=120.0, noise=0.01, bias=0.02),
    "solution_temperature": Behaviour(2, lag_s=120.0, noise=0.02, bias=0.08),
    "dissolved_oxygen": Behaviour(2, lag_s=120.0, noise=0.02, bias=0.08),
    "solution_level": Behaviour(1, noise=0.15, bias=0.2),
    "solution_volume": Behaviour(1, noise=0.3, bias=0.5),
    "flow_rate": Behaviour(2, relative_noise=0.006, relative_bias=0.01),
    "line_pressure_before_filter": Behaviour(1, relative_noise=0.004, relative_bias=0.005),
    "line_pressure_after_filter": Behaviour(1, relative_noise=0.004, relative_bias=0.005),
    "metered_volume": Behaviour(2),
    "dosed_volume": Behaviour(1),
    "condensate_volume": Behaviour(2),
    "electrical_power": Behaviour(0, relative_noise=0.003, relative_bias=0.003),
    "electrical_energy": Behaviour(3),
    "air_pressure": Behaviour(2, noise=0.01, bias=0.03),
}

_STATE = Behaviour(0)


class Sensor:
    """One sensor of one described series."""

    __slots__ = ("_bias", "_decimals", "_filtered", "_gain", "_high", "_low", "_noise", "_relative", "_share")

    def __init__(self, described: DescribedSeries, step_s: float, random: np.random.Generator) -> None:
        quantity = described.registered
        how = _STATE if quantity.kind == Kind.STATE else BEHAVIOURS[described.quantity]
        first, second = random.standard_normal(2).clip(-2.0, 2.0).tolist()
        self._bias: float = how.bias * first
        self._gain: float = 1.0 + how.relative_bias * second
        self._noise = how.noise
        self._relative = how.relative_noise
        self._decimals = how.decimals
        self._share: float = 1.0 - exp(-step_s / how.lag_s) if how.lag_s > 0.0 else 1.0
        self._low: float = described.limits[0]
        self._high: float = described.limits[1]
        self._filtered: float | None = None

    def read(self, truth: float, normal: float) -> float:
        """Return a reading of ``truth``; ``normal`` is a standard normal draw."""
        before = self._filtered
        value = truth if before is None else before + (truth - before) * self._share
        self._filtered = value
        value = value * (self._gain + self._relative * normal) + self._bias + self._noise * normal
        if value < self._low:
            return self._low
        if value > self._high:
            return self._high
        return round(value, self._decimals)
