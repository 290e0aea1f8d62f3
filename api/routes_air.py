"""Where a zone's air was: the points and lines of a psychrometric chart."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query

from api import examples
from api.air_schemas import AirBandRow, AirChartAnswer, AirHours, AirLine, AirNowRow, ColdSurfaceRow
from api.house import House, TheHouse
from api.problems import Problem, bad_parameter
from api.schemas import finite
from api.spans import DAY_US, AskedSpan, Span
from farm.moments import Day
from farm.readings import instant
from watch.air_chart import AirBand, AirChart, Hours, Line, air_chart
from watch.air_conditioner import air_sensors
from watch.cold_surfaces import ColdSurface
from watch.day_data import day_range

router = APIRouter(tags=["readings"])

LONGEST_DAYS = 92
FIRST_YEAR, LAST_YEAR = 1971, 2199  # beyond them is a typing mistake
STATES = {1: True, 0: False}


@router.get("/air-chart", responses=examples.of("air_chart"))
def air_on_a_chart(
    house: TheHouse,
    span: AskedSpan,
    day: Annotated[Day | None, Query(description="a local day, as in 2026-03-01, instead of start and end")] = None,
    zone: Annotated[
        str | None,
        Query(description="whose air; the first zone that has a temperature and a humidity sensor by default"),
    ] = None,
) -> AirChartAnswer:
    """Tell where a zone's air was, hour by hour, with the lines of a psychrometric chart."""
    if day is not None:
        span = _local_day(house, day)
    if span.end_us - span.start_us > LONGEST_DAYS * DAY_US:
        raise bad_parameter("start", str(instant(span.start_us)), f"A chart spans at most {LONGEST_DAYS} days.")
    with_air = [one for one in house.farm.zones if air_sensors(house.farm, one) is not None]
    if zone is None and not with_air:
        raise Problem(404, "No zone of this farm has both a temperature and a humidity sensor for its air.")
    named = with_air[0] if zone is None else house.zone_named(zone)
    found = air_chart(house.farm, house.store, named, *span, house.clock())
    if found is None:
        raise Problem(
            404, f"{named} has no temperature and humidity sensor for its air. Zones with: {_listed(with_air)}."
        )
    return _answer(house, named, span.start_us, span.end_us, found)


def _local_day(house: House, day: date) -> Span:
    if not FIRST_YEAR <= day.year < LAST_YEAR:
        raise bad_parameter(
            "day", day, f"A local day between {FIRST_YEAR}-01-01 and {LAST_YEAR}-01-01, as in 2026-03-01."
        )
    return Span(*day_range(house.farm, day))


def _listed(zones: list[str]) -> str:
    return ", ".join(zones) or "none"


def _answer(house: House, zone: str, start_us: int, end_us: int, found: AirChart) -> AirChartAnswer:
    now = found.now
    return AirChartAnswer(
        zone=zone,
        label=house.farm.zone_label(zone),
        start=instant(start_us),
        end=instant(end_us),
        temperature=found.temperature.key,
        humidity=found.humidity.key,
        crop=found.crop,
        phase=found.phase,
        air_pressure_kpa=found.air_pressure_kpa,
        air_pressure_measured=found.pressure_measured,
        temperature_window_degc=list(found.temperature_window_degc),
        humidity_ratio_window_g_kg=list(found.humidity_ratio_window_g_kg),
        saturation=_line(found.saturation),
        relative_humidity=[_line(one) for one in found.humidities],
        vapour_pressure_deficit=[_line(one) for one in found.deficits],
        hours=_hours(found.hours),
        bands=[_band(one) for one in found.bands],
        surfaces=[_surface(one) for one in found.surfaces],
        now=now
        and AirNowRow(
            time=instant(now.time_us),
            temperature_degc=now.temperature_degc,
            humidity_ratio_g_kg=now.humidity_ratio_g_kg,
        ),
    )


def _line(one: Line) -> AirLine:
    return AirLine(
        level=finite(one.level),
        temperature_degc=one.temperature_degc.tolist(),
        humidity_ratio_g_kg=one.humidity_ratio_g_kg.tolist(),
    )


def _hours(hours: Hours) -> AirHours:
    return AirHours(
        time=[instant(one) for one in hours.time_us.tolist()],
        temperature_degc=hours.temperature_degc.tolist(),
        humidity_ratio_g_kg=hours.humidity_ratio_g_kg.tolist(),
        relative_humidity_percent=_finite(hours.relative_humidity_percent.tolist()),
        vpd_kpa=_finite(hours.vpd_kpa.tolist()),
        lit=[STATES.get(one) for one in hours.lit.tolist()],
    )


def _finite(values: Iterable[float]) -> list[float | None]:
    return [finite(one) for one in values]


def _band(one: AirBand) -> AirBandRow:
    return AirBandRow(
        lit=one.lit,
        temperature_degc=_finite(one.temperature_degc),
        relative_humidity_percent=_finite(one.relative_humidity_percent),
        vpd_kpa=_finite(one.vpd_kpa),
        outline=_line(one.outline),
    )


def _surface(one: ColdSurface) -> ColdSurfaceRow:
    return ColdSurfaceRow(
        surface=one.name,
        label=one.label,
        zone=one.zone,
        measured=one.measured,
        give_or_take_k=finite(one.give_or_take_k),
        coldest_degc=finite(one.coldest_degc),
        coldest_hour=None if one.coldest_us is None else instant(one.coldest_us),
        coldest_g_kg=finite(one.coldest_g_kg),
        now_degc=finite(one.now_degc),
        now_g_kg=finite(one.now_g_kg),
        tonight_degc=finite(one.tonight_degc),
        tonight_give_or_take_k=finite(one.tonight_give_or_take_k),
        tonight_g_kg=finite(one.tonight_g_kg),
    )
