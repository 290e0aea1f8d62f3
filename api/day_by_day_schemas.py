"""Wire types of several days side by side. Absent is null, also where a part of a sum is not known."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, Field


class LightDayRow(BaseModel):
    """A zone's light day that began on a local day."""

    day: date
    start: datetime
    mol: float | None = Field(description="mol m-2 of the light day")
    mol_plus_or_minus: float | None
    coverage: float | None
    complete: bool
    estimated: bool = Field(description="from the lamps' nameplate, for want of a sensor")
    lit_h: float | None
    target_low: float | None
    target_high: float | None
    standing: Literal["low", "inside", "high"] | None = Field(description="null while it lasts, or is known in part")


class ZoneLightDays(BaseModel):
    """One zone's light days."""

    zone: str
    label: str
    days: list[LightDayRow]


class LightDaysAnswer(BaseModel):
    """Light by zone and day."""

    days: list[date] = Field(description="that have a day sheet")
    zones: list[ZoneLightDays]


class SolutionDay(BaseModel):
    """One quantity of a solution over a day."""

    quantity: str
    key: str
    label: str
    unit: str
    mean: float | None
    low: float | None
    high: float | None


class DoseRow(BaseModel):
    """One dose that was found; of a doser that ran on, a part."""

    start: datetime
    end: datetime
    volumes_ml: dict[str, float] = Field(description="by the stock's name")
    ec_step_ms_cm: float | None = Field(description="rise of EC that it made")
    ec_expected_ms_cm: float | None = Field(description="rise that full-strength stock makes")


class TopUpRow(BaseModel):
    """Water that came into the reservoir, by its level."""

    start: datetime
    end: datetime
    volume_l: float


class RootZoneDay(BaseModel):
    """A reservoir's day."""

    day: date
    complete: bool
    solution: list[SolutionDay]
    doses: list[DoseRow]
    top_ups: list[TopUpRow]
    topped_up_l: float | None
    topped_up_give_or_take_l: float | None
    drunk_l: float | None
    drunk_give_or_take_l: float | None
    uptake_ms_cm: float | None = Field(description="EC of what the plants took up: salt over water")
    uptake_give_or_take_ms_cm: float | None
    ec_drift_ms_cm_d: float | None = Field(description="between doses")
    ph_drift_d: float | None


class SolutionBand(BaseModel):
    """Limits of the zone's phase; null on an open side."""

    quantity: str
    low: float | None
    high: float | None


class ReservoirDays(BaseModel):
    """One reservoir, day by day."""

    zone: str
    label: str
    bands: list[SolutionBand]
    stocks: dict[str, Literal["nutrient", "acid", "base"]] = Field(description="what each stock is")
    days: list[RootZoneDay]


class CalibrationRow(BaseModel):
    """What one calibration said of a probe."""

    id: str
    time: datetime
    author: str
    scale: float | None = Field(
        description="right = scale x reading + offset from then on; null where it gives no line"
    )
    offset: float | None
    slope_percent: float | None = Field(description="of Nernst's slope, of a pH electrode calibrated in mV")
    offset_mv: float | None
    constant_percent: float | None = Field(description="cell constant of an EC probe, of the one it began with")
    condition: str | None


class ProbeHistory(BaseModel):
    """A probe's calibrations, the oldest first."""

    key: str
    label: str
    calibrations: list[CalibrationRow]


class RootZoneAnswer(BaseModel):
    """Root zones day by day, and the history of their probes."""

    days: list[date] = Field(description="that have a day sheet")
    reservoirs: list[ReservoirDays]
    probes: list[ProbeHistory]


class StockUse(BaseModel):
    """What a stock's pump turned in a day."""

    stock: str
    label: str
    used_ml: float | None


class BalanceDay(BaseModel):
    """What went in and out in a day."""

    day: date
    complete: bool
    feed_water_l: float | None
    drained_l: float | None
    gained_l: float | None = Field(description="by the reservoir")
    drunk_l: float | None = Field(description="by the meters: what is left over")
    drunk_give_or_take_l: float | None
    condensate_l: float | None
    stocks: list[StockUse]
    energy_kwh: float | None
    energy_coverage: float | None
    energy_cost: float | None
    lamps_kwh: float | None = Field(description="of it, estimated from the lamps' nameplate and hours")
    co2_dosed_g: float | None
    co2_leaked_g: float | None


class StockLeft(BaseModel):
    """How much a stock holds, as the newest of the days tells it."""

    stock: str
    label: str
    used_ml_per_day: float | None = Field(description="usual use")
    refilled: datetime | None
    remaining_ml: float | None = Field(description="null where no refill was written down")
    days_left: float | None
    days_left_soonest: float | None
    days_left_latest: float | None
    full_bottle_lasts_days: float | None


class BalancesAnswer(BaseModel):
    """Water, stocks, energy and CO2, day by day, and what is left of the stocks."""

    currency: str | None = Field(description="of the costs")
    days: list[BalanceDay]
    stocks: list[StockLeft]
