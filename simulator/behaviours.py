"""How each kind of sensor reads while nothing is wrong with it."""

from __future__ import annotations

from typing import NamedTuple

from farm.description import DescribedSeries
from farm.quantities import Kind


class Behaviour(NamedTuple):
    """How a kind of sensor reads (our choices, no source; within usual accuracy).

    ``lag_s`` first-order time constant, ``noise`` and ``bias`` standard deviations in the quantity's
    unit, ``relative_noise`` and ``relative_bias`` as shares of the value, ``drift`` standard deviation of
    what a month adds, in the quantity's unit, ``decimals`` of the reading.
    """

    decimals: int
    lag_s: float = 0.0
    noise: float = 0.0
    relative_noise: float = 0.0
    bias: float = 0.0
    relative_bias: float = 0.0
    drift: float = 0.0


BEHAVIOURS: dict[str, Behaviour] = {
    "air_temperature": Behaviour(2, lag_s=60.0, noise=0.03, bias=0.08, drift=0.005),
    "relative_humidity": Behaviour(1, lag_s=45.0, noise=0.25, bias=0.5, drift=0.05),
    "co2_mole_fraction": Behaviour(0, lag_s=60.0, noise=5.0, bias=12.0, drift=2.0),
    "air_speed": Behaviour(2, lag_s=5.0, noise=0.03, relative_bias=0.02),
    "leaf_temperature": Behaviour(2, lag_s=30.0, noise=0.05, bias=0.15),
    "surface_temperature": Behaviour(2, lag_s=120.0, noise=0.03, bias=0.08),
    "ppfd": Behaviour(1, relative_noise=0.004, relative_bias=0.02),
    "illuminance": Behaviour(0, relative_noise=0.004, relative_bias=0.02),
    "solution_ec": Behaviour(3, lag_s=60.0, noise=0.004, bias=0.01, drift=0.005),
    "solution_ph": Behaviour(2, lag_s=120.0, noise=0.01, bias=0.02, drift=0.015),
    "solution_temperature": Behaviour(2, lag_s=120.0, noise=0.02, bias=0.08),
    "dissolved_oxygen": Behaviour(2, lag_s=120.0, noise=0.02, bias=0.08, drift=0.03),
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


def behaviour_of(described: DescribedSeries) -> Behaviour:
    """Return how a described series' sensor reads."""
    if described.registered.kind == Kind.STATE:
        return _STATE
    return BEHAVIOURS.get(described.quantity, Behaviour(described.registered.decimals + 1))
