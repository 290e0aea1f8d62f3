"""What readings of each quantity are tested against, unless the farm's description says otherwise.

Every number here is our choice, no source: wide enough that doors, doses, lamps and a cycling compressor pass,
narrow enough that a loose plug does not. They hold for readings once a minute or slower.
"""

from __future__ import annotations

from math import inf
from typing import Literal, get_args

from pydantic import Field, field_validator

from farm.crops import OpenEnd
from farm.model import Described
from farm.quantities import QUANTITIES, Kind

Test = Literal["gross_range", "spike", "rate_of_change", "flat_line"]
Pair = tuple[OpenEnd, OpenEnd]

HOUR = 3600.0
DAY = 24 * HOUR


class Quality(Described):
    """What a series' readings are tested against; a key left out is as usual for the quantity."""

    expected: Pair | None = Field(None, description="[low, high]: outside of it, still inside range, is suspect")
    spike: Pair | None = Field(
        None, description="[suspect, fail]: height of one reading above, or below, both its neighbours"
    )
    change_per_min: Pair | None = Field(None, description="[suspect, fail]: change since the reading before, a minute")
    change_allowance: float | None = Field(
        None, ge=0, description="a change that is noise at any rate; the sensor's accuracy by default"
    )
    flat_line_s: Pair | None = Field(None, description="[suspect, fail]: so long without any movement")
    flat_line_tolerance: float | None = Field(
        None, gt=0, description="a movement is at least this; less than one step of the sensor"
    )
    resting_value: float | None = Field(None, description="where it may stand still for ever, e.g. 0 for a flow")
    gap_s: float | None = Field(
        None, gt=0, le=31 * 86_400, description="readings further apart are no neighbours; three cadences by default"
    )
    skip: list[Test] = Field(default_factory=list, description=f"tests not to make: {', '.join(get_args(Test))}")

    @field_validator("expected")
    @classmethod
    def _low_first(cls, pair: Pair | None) -> Pair | None:
        if pair is not None and not pair[0] < pair[1]:
            raise ValueError("[low, high] with low below high")
        return pair

    @field_validator("spike", "change_per_min", "flat_line_s")
    @classmethod
    def _suspect_first(cls, pair: Pair | None) -> Pair | None:
        if pair is not None and not 0 < pair[0] <= pair[1]:
            raise ValueError("[suspect, fail], both above 0, suspect no more than fail")
        return pair


def _usual(
    spike: Pair | None = None,
    change: Pair | None = None,
    flat_line_h: Pair | None = None,
    tolerance: float | None = None,
    expected: Pair | None = None,
    resting: float | None = None,
) -> Quality:
    flat = None if flat_line_h is None else (flat_line_h[0] * HOUR, flat_line_h[1] * HOUR)
    return Quality(
        spike=spike, change_per_min=change, flat_line_s=flat, flat_line_tolerance=tolerance, expected=expected,
        resting_value=resting,
    )  # fmt: skip


# What switches or gusts (light, power, flow, pressure in a line, air speed) has neither spikes nor a fastest change.
# A crop in a sealed room draws CO2 far below outdoors'. Flat lines are long: a sensor of 0.5 K in a steady room, or of
# 0.05 pH in a tank that a doser holds, repeats itself honestly; one of 0.1 pH, for days: give it limits of its own.
USUAL: dict[str, Quality] = {
    "air_temperature": _usual((2.5, 8), (6, 20), (8, 24), 1e-4),
    "relative_humidity": _usual((15, 40), (25, 60), (6, 24), 1e-3, (3, 103), resting=100),
    # However fast CO2 rises, it may be true: such a reading is doubted, but never left out of an exposure.
    "co2_mole_fraction": _usual((400, inf), (1000, inf), (6, 24), 1e-2, (100, 6000)),
    "air_pressure": _usual((0.5, 2), (0.5, 2), (24, 72), 1e-4),
    "air_speed": _usual(flat_line_h=(6, 24), tolerance=1e-4, resting=0),
    "leaf_temperature": _usual((2.5, 8), (6, 20), (6, 24), 1e-4),
    "surface_temperature": _usual((2, 6), (5, 20), (6, 24), 1e-4),
    "ppfd": _usual(flat_line_h=(24, 72), tolerance=1e-3, resting=0),
    "illuminance": _usual(flat_line_h=(24, 72), tolerance=1e-2, resting=0),
    "solution_ec": _usual((0.25, 1), (0.5, 2), (24, 72), 1e-5, (0.05, 8)),
    "solution_ph": _usual((0.25, 1), (0.5, 2), (24, 96), 1e-4, (3, 10)),
    "solution_temperature": _usual((1, 4), (2, 8), (24, 72), 1e-4, (0.5, 40)),
    "dissolved_oxygen": _usual((1, 4), (2, 8), (24, 72), 1e-4, (0.3, 20)),
    "solution_level": _usual((4, 15), (10, 40), (24, 72), 1e-3),
    "solution_volume": _usual(flat_line_h=(24, 72), tolerance=1e-3),
    "flow_rate": _usual(flat_line_h=(24, 72), tolerance=1e-4, resting=0),
    "line_pressure_before_filter": _usual(flat_line_h=(24, 72), tolerance=1e-3, resting=0),
    "line_pressure_after_filter": _usual(flat_line_h=(24, 72), tolerance=1e-3, resting=0),
    "electrical_power": _usual(flat_line_h=(6, 24), tolerance=1e-3, resting=0),
}

# In the air that leaves a coil, where the compressor's every start and stop is a step.
USUAL_IN_A_DUCT: dict[str, Quality] = {
    "air_temperature": _usual((5, 12), (12, 40), (8, 24), 1e-4),
    "relative_humidity": _usual((25, 50), (50, 90), (6, 24), 1e-3, (3, 103), resting=100),
}

# How far one place's air may honestly be from the median of the same room's other places, sensors aside.
SPREAD_IN_A_ROOM: dict[str, float] = {"air_temperature": 1.5, "relative_humidity": 6.0, "co2_mole_fraction": 100.0}

NOTHING_BUT_RANGE = Quality(skip=["spike", "rate_of_change", "flat_line"])  # switches and counters


def usual_quality(quantity: str, *, in_a_duct: bool = False) -> Quality:
    """Return what readings of a quantity are usually tested against."""
    if in_a_duct and quantity in USUAL_IN_A_DUCT:
        return USUAL_IN_A_DUCT[quantity]
    return USUAL.get(quantity, NOTHING_BUT_RANGE)


if untested := {q.name for q in QUANTITIES.values() if q.kind is Kind.LEVEL and not q.derived} - USUAL.keys():
    raise RuntimeError(f"measured quantities without usual limits of quality: {sorted(untested)}")
