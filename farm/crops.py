"""The crop plan: bands by phase, light targets, and batches that move through the zones."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Annotated, Self

from pydantic import AfterValidator, Field, model_validator

from farm.model import Described, Name, ZoneName

OpenEnd = Annotated[float, Field(allow_inf_nan=True)]
Delay = Annotated[float, Field(ge=0, le=31 * 86_400)]


def _low_below_high(limits: tuple[float, float]) -> tuple[float, float]:
    if not limits[0] < limits[1]:
        raise ValueError("[low, high] with low below high")
    return limits


Limits = Annotated[
    tuple[OpenEnd, OpenEnd],
    AfterValidator(_low_below_high),
    Field(description="[low, high]; write -inf or inf for an open side"),
]

DEFAULT_ON_DELAY_S = 600.0  # our choice, no source: two to ten readings at usual cadences
DEFAULT_OFF_DELAY_S = 300.0  # our choice, no source
DEADBAND_SHARE = 0.05  # of the band's width; our choice, no source


class Band(Described):
    """Low and high limit of one quantity, the same always or by lights on and off."""

    always: Limits | None = None
    lit: Limits | None = None
    dark: Limits | None = None
    on_delay_s: Delay = Field(DEFAULT_ON_DELAY_S, description="outside for this long before it counts")
    off_delay_s: Delay = Field(DEFAULT_OFF_DELAY_S, description="back inside for this long before it ends")
    deadband: float | None = Field(
        None,
        ge=0,
        description="how far inside counts as back, in the quantity's unit; 5 % of the width by default",
    )

    @model_validator(mode="after")
    def _limits_make_sense(self) -> Self:
        if self.always is None and self.lit is None and self.dark is None:
            raise ValueError("limits: always = [low, high], or lit and dark")
        if self.always is not None and (self.lit is not None or self.dark is not None):
            raise ValueError("either always, or lit and dark, not both")
        return self

    def limits(self, lit: bool) -> Limits | None:
        """Return the limits that hold while the lights are on (or off); None where there are none."""
        return self.always if self.always is not None else (self.lit if lit else self.dark)

    @property
    def by_light(self) -> bool:
        """Whether the limits depend on the lights."""
        return self.always is None


class Phase(Described):
    """What plants need during one phase of their life."""

    photoperiod_h: float | None = Field(None, ge=0, le=24, description="hours of light a day")
    lights_on_at: time | None = Field(None, description="local time the light day begins")
    daily_light_integral: Limits | None = Field(None, description="[low, high] in mol m-2 d-1")
    bands: dict[Name, Band] = Field(default_factory=dict, description="quantity -> its band")


class Crop(Described):
    """One crop of the plan, with its phases under the names the keeper gives them."""

    label: str
    source: str = Field("", description="where the bands come from; they are a starting point to be changed")
    base_temperature_c: float | None = Field(
        None, ge=-10, le=30, description="above it warmth counts towards a batch's degree-hours; none without it"
    )
    cap_temperature_c: float | None = Field(
        None, ge=-10, le=60, description="warmth above it counts as this; no cap if left out"
    )
    phases: dict[Name, Phase]

    @model_validator(mode="after")
    def _cap_above_base(self) -> Self:
        if self.cap_temperature_c is not None:
            if self.base_temperature_c is None:
                raise ValueError("base_temperature_c beside cap_temperature_c")
            if not self.cap_temperature_c > self.base_temperature_c:
                raise ValueError("a cap_temperature_c above base_temperature_c")
        return self


class Stay(Described):
    """A batch's time in one zone."""

    zone: ZoneName
    phase: Name
    entered: date | datetime
    left: date | datetime | None = None


class Batch(Described):
    """Plants sown together."""

    name: Name
    crop: Name
    sown: date | datetime
    plants: int | None = Field(None, gt=0)
    harvest_kg: float | None = Field(None, ge=0)
    stays: list[Stay] = Field(default_factory=list)
