"""Wire types of the air chart. Temperatures in degC, humidity ratios in g of water a kg of dry air."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, Field


class AirLine(BaseModel):
    """A curve of the chart: what is the same along it, and its points."""

    level: float | None = Field(description="% RH or kPa of air VPD; null for an outline")
    temperature_degc: list[float]
    humidity_ratio_g_kg: list[float]


class AirHours(BaseModel):
    """Hourly means, column by column; an hour without both sensors is left out."""

    time: list[datetime] = Field(description="start of each hour")
    temperature_degc: list[float]
    humidity_ratio_g_kg: list[float]
    relative_humidity_percent: list[float | None]
    vpd_kpa: list[float | None] = Field(description="mean of the deficits of moments, not the deficit of the means")
    lit: list[bool | None] = Field(
        description="whether the zone was lit for the greater part; null where nothing tells"
    )


class AirBandRow(BaseModel):
    """Air that the crop plan wants; a null limit is none, or an open side."""

    lit: bool | None = Field(description="while lit, or while dark; null for both")
    temperature_degc: list[float | None] = Field(description="low and high")
    relative_humidity_percent: list[float | None]
    vpd_kpa: list[float | None]
    outline: AirLine = Field(
        description="closed outline of the air within all of these, cut to the chart; may be empty"
    )


class ColdSurfaceRow(BaseModel):
    """A surface: how cold it was, is, and may become. Air with more water than the ratio beside it wets it."""

    surface: str
    label: str
    zone: str
    measured: bool = Field(description="by a probe; else worked out from the air on both sides")
    give_or_take_k: float | None
    coldest_degc: float | None = Field(description="lowest in the range")
    coldest_hour: datetime | None = Field(description="start of the hour in which it was")
    coldest_g_kg: float | None
    now_degc: float | None = Field(description="null where it is not heard from")
    now_g_kg: float | None
    tonight_degc: float | None = Field(description="in the coldest hour of the night to come, as the last nights were")
    tonight_give_or_take_k: float | None = Field(description="of the coldest hour outdoors, brought to the surface")
    tonight_g_kg: float | None


class AirNowRow(BaseModel):
    """The newest state of the air."""

    time: datetime
    temperature_degc: float
    humidity_ratio_g_kg: float


class AirChartAnswer(BaseModel):
    """Where a zone's air was, with all lines of a psychrometric chart at its mean air pressure."""

    zone: str
    label: str
    start: datetime
    end: datetime
    temperature: str = Field(description="key of the series")
    humidity: str = Field(description="key of the series")
    crop: str | None
    phase: str | None = Field(description="whose bands these are: the phase at the range's end")
    air_pressure_kpa: float = Field(description="mean of the range")
    air_pressure_measured: bool = Field(description="at some time of it; else the usual one at the farm's elevation")
    temperature_window_degc: list[float] = Field(description="low and high end of the chart")
    humidity_ratio_window_g_kg: list[float] = Field(description="low and high end of the chart")
    saturation: AirLine
    relative_humidity: list[AirLine] = Field(description="level in %")
    vapour_pressure_deficit: list[AirLine] = Field(description="air VPD, level in kPa")
    hours: AirHours
    bands: list[AirBandRow]
    surfaces: list[ColdSurfaceRow]
    now: AirNowRow | None
