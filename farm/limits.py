"""Limits of people's exposure and of probes: published ones, unless the farm's description gives its own."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from farm.model import Described

# CO2, umol mol-1: 29 CFR 1910.1000 table Z-1; NIOSH Pocket Guide and IDLH documentation (124-38-9).
LONG_TERM_LIMIT = 5000.0  # 8-h time-weighted average: OSHA PEL, NIOSH REL (the latter for up to 10 h)
SHORT_TERM_LIMIT = 30_000.0  # 15-min average: NIOSH STEL
IMMEDIATE_DANGER = 40_000.0  # immediately dangerous to life or health: NIOSH IDLH, revised 1994
PUBLISHED_BY = "OSHA PEL, NIOSH REL, STEL and IDLH"


class OccupationalLimits(Described):
    """CO2 that may be breathed at work where your country's limits are lower; they can be lowered, never raised."""

    eight_hours_ppm: float = Field(
        LONG_TERM_LIMIT, gt=0, le=LONG_TERM_LIMIT, description="8-h average; any single reading above it is announced"
    )
    fifteen_minutes_ppm: float = Field(SHORT_TERM_LIMIT, gt=0, le=SHORT_TERM_LIMIT, description="15-min average")
    danger_ppm: float = Field(
        IMMEDIATE_DANGER, gt=0, le=IMMEDIATE_DANGER, description="immediately dangerous to life or health"
    )
    source: str = Field(
        PUBLISHED_BY, min_length=1, description="whose limits they are, shown beside them; needed with limits of yours"
    )

    @model_validator(mode="after")
    def _in_order_and_of_a_source(self) -> Self:
        if not self.eight_hours_ppm <= self.fifteen_minutes_ppm <= self.danger_ppm:
            raise ValueError("eight_hours_ppm no higher than fifteen_minutes_ppm, and that no higher than danger_ppm")
        published = (LONG_TERM_LIMIT, SHORT_TERM_LIMIT, IMMEDIATE_DANGER)
        own = (self.eight_hours_ppm, self.fifteen_minutes_ppm, self.danger_ppm) != published
        if own and self.source == PUBLISHED_BY:
            raise ValueError("limits of yours together with source, the regulation they are from")
        return self


class ElectrodeLimits(Described):
    """Where the classes of a pH electrode begin: one source's; yours are its maker's, or your laboratory's."""

    good_percent: float = Field(95.0, gt=0, le=100, description="slope from which it is good, % of the ideal one")
    maintain_percent: float = Field(90.0, gt=0, le=100, description="slope from which cleaning will do, below it stop")
    stop_percent: float = Field(85.0, gt=0, le=100, description="slope below which it is to be replaced")
    highest_percent: float = Field(105.0, ge=100, le=200, description="slope above which to calibrate again")
    offset_mv: float = Field(30.0, gt=0, le=200, description="plus or minus at pH 7; beyond it stop")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.stop_percent <= self.maintain_percent <= self.good_percent:
            raise ValueError("stop_percent no higher than maintain_percent, and that no higher than good_percent")
        return self


class CellLimits(Described):
    """How far an EC probe's cell constant may have moved since its first calibration in the log."""

    maintain_percent: float = Field(
        10.0, gt=0, le=100, description="plus or minus; beyond it clean and calibrate again; our choice, no source"
    )
    reject_percent: float = Field(
        30.0,
        gt=0,
        le=100,
        description="plus or minus; beyond it replace the probe; USGS Techniques and Methods 1-D3 publishes no record "
        "of a conductivity sensor that is further off (from memory)",
    )

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.maintain_percent <= self.reject_percent:
            raise ValueError("maintain_percent no higher than reject_percent")
        return self


class ProbeLimits(Described):
    """What a calibration must show for a probe to go on."""

    electrode: ElectrodeLimits = ElectrodeLimits()
    cell: CellLimits = CellLimits()
