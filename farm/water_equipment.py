"""Nameplates of what moves water: irrigation plan, flood shelves, filters, condensate."""

from __future__ import annotations

from pydantic import Field

from farm.model import Described, Name, ZoneName


class IrrigationPlan(Described):
    """What a drip row's controller is set to; without it, what is usual is learned from earlier days."""

    cycles_a_day: int | None = Field(None, gt=0)
    minutes: float | None = Field(None, gt=0, description="how long one cycle lasts")
    longest_minutes: float | None = Field(None, gt=0, description="a cycle longer than this is stuck")


class FloodShelf(Described):
    """A shelf that floods and drains."""

    zone: ZoneName
    pump: str | None = Field(None, description="key of the pump_on or electrical_power series of what floods it")
    water: str | None = Field(None, description="key of the float_switch_closed or solution_level series on it")
    pump_above: float | None = Field(None, gt=0, description="W from which the pump runs; needed with electrical_power")
    water_above: float | None = Field(None, gt=0, description="% from which water is up; needed with solution_level")
    longest_wet_minutes: float | None = Field(None, gt=0, description="wet for longer than this does not drain")


class Filter(Described):
    """A filter in a line, with a pressure sensor on each side."""

    name: Name
    label: str | None = None
    before: str = Field(description="key of a line_pressure_before_filter series")
    after: str = Field(description="key of a line_pressure_after_filter series")
    flow: str = Field(description="key of the flow_rate series through it")
    reference_flow_l_min: float | None = Field(
        None,
        gt=0,
        description="flow that pressure drops are referred to; the rating of the drip rows on that flow if left out",
    )
    limit_kpa: float | None = Field(None, gt=0, description="pressure drop at which it is to be cleaned")


class Condensate(Described):
    """Where the water goes that the air conditioner takes out of the air."""

    volume: str | None = Field(
        None, description="key of its condensate_volume series; that of [equipment.air_conditioner] if left out"
    )
    returned: bool = Field(False, description="true where it flows back into the reservoir")
