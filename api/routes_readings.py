"""Readings of one series, and the band that held over them."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query, Response
from starlette.responses import StreamingResponse

from api import columns, examples, schemas
from api.house import TheHouse
from api.problems import bad_parameter
from api.spans import DAY_US, AskedEvery, AskedSpan, Span
from farm.readings import instant, iso_time
from watch.bands import band_stretches

LONGEST_DAYS = 400  # of bands in one answer; our choice, no source: a year and a little

router = APIRouter(tags=["series"])

Key = Annotated[str, Path(description="zone/quantity or zone/quantity/sensor", examples=["row-1/air_temperature"])]


@router.get("/series/{key:path}/readings", response_model=schemas.ReadingsAnswer, responses=examples.of("readings"))
def readings(
    house: TheHouse,
    key: Key,
    span: AskedSpan,
    every: AskedEvery,
    format_: Annotated[Literal["json", "arrow", "csv"], Query(alias="format", description="how to answer")] = "json",
) -> Response:
    """Tell readings of a range: each one, or summed up over stretches of ``every``."""
    series = house.series_named(key)
    held = house.known().get(key)
    if held is not None:  # a century may be asked for: look only where there is something
        inside = Span(max(span.start_us, held.first_us), min(span.end_us, held.last_us + 1))
    if held is None or inside.start_us >= inside.end_us:
        inside = Span(span.start_us, span.start_us + 1)
    found = (
        columns.single_readings(house.store, series, inside)
        if every is None
        else columns.summed_up(house.store, series, inside, every)
    )
    if format_ == "arrow":
        return Response(columns.as_arrow(series, span, every, found), media_type=columns.ARROW_MEDIA_TYPE)
    if format_ == "csv":
        name = f"{series.farm}_{series.key.replace('/', '_')}.csv"
        disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
        return StreamingResponse(columns.as_csv(series, found), media_type="text/csv", headers=disposition)
    return Response(columns.as_json(series, span, every, found), media_type="application/json")


@router.get("/series/{key:path}/bands", responses=examples.of("bands"))
def bands(house: TheHouse, key: Key, span: AskedSpan) -> schemas.BandsAnswer:
    """Tell the limits that held over a range, stretch by stretch."""
    series = house.series_named(key)
    if span.end_us - span.start_us > LONGEST_DAYS * DAY_US:
        raise bad_parameter("start", iso_time(span.start_us), f"Bands are told for at most {LONGEST_DAYS}d at once.")
    zone_is_described = series.zone in house.farm.zones  # a series may outlive its zone's description
    found = band_stretches(house.farm, house.store, series, span.start_us, span.end_us) if zone_is_described else []
    return schemas.BandsAnswer(
        series=series.key,
        unit=series.registered.unit,
        start=instant(span.start_us),
        end=instant(span.end_us),
        bands=[
            schemas.BandRow(
                start=instant(one.start_us),
                end=instant(one.end_us),
                lit=one.lit,
                low=schemas.finite(one.low),
                high=schemas.finite(one.high),
            )
            for one in found
        ],
    )
