"""Readings of one series, and the band that held over them."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query, Response
from starlette.responses import StreamingResponse

from api import columns, examples, schemas
from api.house import TheHouse
from api.problems import Problem
from api.spans import AskedEvery, AskedSpan, Span, at_most_days
from farm.readings import MICROSECONDS_PER_SECOND, instant
from watch.bands import band_stretches
from watch.silence import expected_cadence_s, gaps, silent_after_s

router = APIRouter(tags=["series"])

Key = Annotated[str, Path(description="zone/quantity or zone/quantity/sensor", examples=["row-1/air_temperature"])]


@router.get(
    "/series/{key:path}/readings",
    response_model=schemas.ReadingsAnswer,
    responses=examples.of("readings", columns.ARROW_MEDIA_TYPE, "text/csv"),
)
def readings(
    house: TheHouse,
    key: Key,
    span: AskedSpan,
    every: AskedEvery,
    format_: Annotated[Literal["json", "arrow", "csv"], Query(alias="format", description="how to answer")] = "json",
    raw: Annotated[bool, Query(description="as they arrived: without corrections and quality tests")] = False,
) -> Response:
    """Tell readings of a range: each one, or summed up over stretches of ``every``."""
    store = house.store.as_arrived if raw else house.store
    series = house.series_named(key)
    held = house.known().get(key)
    if held is not None:  # a century may be asked for: look only where there is something
        inside = Span(max(span.start_us, held.first_us), min(span.end_us, held.last_us + 1))
    if held is None or inside.start_us >= inside.end_us:
        inside = Span(span.start_us, span.start_us + 1)
    found = (
        columns.single_readings(store, series, inside)
        if every is None
        else columns.summed_up(store, series, inside, every)
    )
    if format_ == "arrow":
        return Response(columns.as_arrow(series, span, every, found), media_type=columns.ARROW_MEDIA_TYPE)
    if format_ == "csv":
        name = f"{series.farm}_{series.key.replace('/', '_')}.csv"
        disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
        return StreamingResponse(columns.as_csv(series, found), media_type="text/csv", headers=disposition)
    return Response(columns.as_json(series, span, every, found), media_type="application/json")


@router.get("/series/{key:path}/gaps", responses=examples.of("gaps"))
def series_gaps(
    house: TheHouse,
    key: Key,
    span: AskedSpan,
    limit: Annotated[int, Query(ge=1, le=10_000, description="at most so many gaps, the newest")] = 1000,
) -> schemas.GapsAnswer:
    """Tell when a series was silent: stretches without a reading of more than three cadences."""
    series = house.series_named(key)
    at_most_days(span, "Gaps")
    cadence_s, longest_s = expected_cadence_s(house.farm, series), silent_after_s(house.farm, series)
    if cadence_s is None or longest_s is None:
        detail = f"{series.key} is derived, or not described any more: nothing says how often it should report."
        raise Problem(404, f"{detail} Ask for a series that /api/v1/series tells with a cadence.")
    found = gaps(house.farm, house.store, series, span.start_us, span.end_us, house.clock())
    held = house.known().get(key)
    return schemas.GapsAnswer(
        series=series.key,
        start=instant(span.start_us),
        end=instant(span.end_us),
        cadence_s=cadence_s,
        silent_after_s=longest_s,
        last=instant(held.last_us) if held else None,
        count=len(found),
        silent_s=sum(one.end_us - one.start_us for one in found) / MICROSECONDS_PER_SECOND,
        gaps=[
            schemas.GapRow(
                start=instant(one.start_us),
                end=instant(one.end_us),
                duration_s=(one.end_us - one.start_us) / MICROSECONDS_PER_SECOND,
                missed=one.missed,
                open=one.open,
            )
            for one in found[-limit:]
        ],
    )


@router.get("/series/{key:path}/quality", responses=examples.of("quality"))
def quality(
    house: TheHouse,
    key: Key,
    span: AskedSpan,
    limit: Annotated[int, Query(ge=1, le=10_000, description="at most so many doubts, the newest")] = 1000,
) -> schemas.QualityAnswer:
    """Tell which readings of a range the quality tests doubt, and the corrections that calibrations make."""
    series = house.series_named(key)
    at_most_days(span, "Doubts")
    doubts = house.store.marks(series, span.start_us, span.end_us)
    return schemas.QualityAnswer(
        series=series.key,
        start=instant(span.start_us),
        end=instant(span.end_us),
        doubts=[
            schemas.DoubtRow(
                test=one.test,
                flag=one.flag,
                first=instant(one.first_us),
                last=instant(one.last_us),
                readings=one.readings,
            )
            for one in doubts[-limit:]
        ],
        corrections=[
            schemas.CorrectionRow(since=instant(one.from_us), scale=one.scale, offset=one.offset)
            for one in house.store.corrections(series)
        ],
    )


@router.get("/series/{key:path}/bands", responses=examples.of("bands"))
def bands(house: TheHouse, key: Key, span: AskedSpan) -> schemas.BandsAnswer:
    """Tell the limits that held over a range, stretch by stretch."""
    series = house.series_named(key)
    at_most_days(span, "Bands")
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
