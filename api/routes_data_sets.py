"""Data sets: what one would hold, the whole of it as a zip file, and its readings as a stream of any length."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from itertools import chain
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response, StreamingResponse

from api import examples, schemas
from api.columns import ARROW_MEDIA_TYPE
from api.house import House, TheHouse
from api.problems import PREFIX, RETRY_AFTER_S, Problem
from api.routes_farm import software_version
from farm.readings import MICROSECONDS_PER_SECOND, instant
from handover.archive import archive
from handover.asking import Asked, Format, Imprint, asked
from handover.export import Export
from handover.fields import named_in_full
from handover.provenance import MadeBy
from handover.refusals import NotWritten, Refused
from handover.streaming import arrow_stream, csv_stream
from watch.bands import USUAL_CADENCE_S

ARCHIVE = f"{PREFIX}/data-set"

router = APIRouter(tags=["data sets"])
log = logging.getLogger(__name__)

_one_at_a_time = threading.Lock()  # a data set needs room and time: they are made one after the other

DATES = "A local date (its midnight), or ISO 8601 with a zone."


def asked_for(
    house: TheHouse,
    start: Annotated[str | None, Query(description=f"From when on. {DATES} The first reading by default.")] = None,
    end: Annotated[str | None, Query(description=f"Until when, not included. {DATES} The last by default.")] = None,
    zone: Annotated[list[str] | None, Query(description="only this zone's series; may be repeated")] = None,
    series: Annotated[list[str] | None, Query(description="only this series, by its key; may be repeated")] = None,
    batch: Annotated[str | None, Query(description="only where this batch stood, while it stood there")] = None,
    light_days: Annotated[
        str | None, Query(description="light days of one zone that begin on a date, or on FIRST/LAST")
    ] = None,
    origin: Annotated[str, Query(description="all, measured or derived series")] = "all",
    cleaned: Annotated[bool, Query(description="corrected and on a regular grid; else as they arrived")] = False,
    every: Annotated[str | None, Query(description="length of a cell: 1m, 10m, 1h, 1d, or day for local days")] = None,
    aggregation: Annotated[
        str | None, Query(description="mean, time_mean, median, low, high, first or last; mean by default")
    ] = None,
    flags: Annotated[str | None, Query(description="flags that count; good,not_evaluated by default")] = None,
    coverage: Annotated[
        float | None, Query(description="share of a cell that readings must speak for; 0.75 by default")
    ] = None,
    layout: Annotated[str | None, Query(description="of cleaned tables: wide (by default) or long")] = None,
) -> Asked:
    """Return what a request asks for, in the words of ``leafweather export``."""
    try:
        return asked(
            house.farm,
            start=start,
            end=end,
            series=series or (),
            zones=zone or (),
            batch=batch,
            light_days=light_days,
            origins=origin,
            cleaned=cleaned,
            every=every,
            aggregation=aggregation,
            flags=flags,
            least_coverage=coverage,
            layout=layout,
        )
    except Refused as error:
        raise Problem(422, str(error)) from error


Wanted = Annotated[Asked, Depends(asked_for)]


@router.get("/data-set/plan", responses=examples.of("data_set_plan"))
def data_set_plan(house: TheHouse, wanted: Wanted) -> schemas.DataSetPlanAnswer:
    """Tell what a data set would hold, without making it."""
    export = _export(house, wanted)
    choice, farm = export.choice, house.farm
    return schemas.DataSetPlanAnswer(
        start=instant(choice.start_us),
        end=instant(choice.end_us),
        form="raw" if export.grid is None else "cleaned",
        cells=None if export.grid is None else export.grid.cells,
        readings_about=_readings_about(house, export),
        series=[
            schemas.DataSetSeries(
                key=one.series.key, label=named_in_full(farm, one), column=one.column, unit=one.series.registered.unit
            )
            for one in choice.members
        ],
        nothing_stored=[one.series.key for one in choice.members if one.known is None],
        formats=[str(one) for one in Format],
    )


def _readings_about(house: House, export: Export) -> int:
    """Return about how many readings there are, as far as series report as often as described."""
    total = 0.0
    for piece in export.choice.pieces:
        member = export.choice.members[piece.member]
        if member.known is not None:
            described = house.farm.described.get(member.series)
            cadence_s = described.cadence_s if described else USUAL_CADENCE_S
            first_us, last_us = max(piece.start_us, member.known.first_us), min(piece.end_us, member.known.last_us + 1)
            total += max(0, last_us - first_us) / MICROSECONDS_PER_SECOND / cadence_s
    return round(total)


@router.get(
    "/data-set",
    response_class=StreamingResponse,
    responses={200: {"content": {"application/zip": {}}, "description": "The folder of the data set, zipped"}},
)
def data_set(
    house: TheHouse,
    wanted: Wanted,
    format_: Annotated[
        list[Literal["parquet", "csv", "netcdf"]] | None,
        Query(alias="format", description="may be repeated; parquet by default"),
    ] = None,
    licence: Annotated[str | None, Query(description="SPDX identifier of its licence, e.g. CC-BY-4.0")] = None,
    creator: Annotated[str | None, Query(description="who gives it away, for the citation")] = None,
) -> Response:
    """Give a whole data set as a zip file: readings, units, flags, gaps, provenance and checksums."""
    if not _one_at_a_time.acquire(blocking=False):
        detail = "Another data set is being made; they are made one after the other. Ask again in a while."
        raise Problem(503, detail, {"Retry-After": str(RETRY_AFTER_S)})
    try:
        made = archive(
            house.farm,
            house.store,
            wanted,
            MadeBy(software_version(), house.description_hash),
            [Format(one) for one in format_ or ("parquet",)],
            Imprint(creator, licence),
            house.scratch,
        )
    except Refused as error:
        raise Problem(422, str(error)) from error
    except NotWritten as error:
        log.error("a data set cannot be made: %s", error)
        detail = (
            "The data set cannot be made: the disk of the service is full, or may not be written. Ask for less, or "
            "have whoever runs Leafweather look at its log; leafweather export writes to any other disk."
        )
        raise Problem(507, detail) from error
    finally:
        _one_at_a_time.release()
    headers = {"Content-Disposition": f'attachment; filename="{made.name}"', "Content-Length": str(made.size)}
    return StreamingResponse(made.pieces(), media_type="application/zip", headers=headers)


@router.get(
    "/data-set/readings",
    response_class=StreamingResponse,
    responses={
        200: {"content": {ARROW_MEDIA_TYPE: {}, "text/csv": {}}, "description": "The table of readings, however long"}
    },
)
def data_set_readings(
    house: TheHouse,
    wanted: Wanted,
    format_: Annotated[Literal["arrow", "csv"], Query(alias="format", description="how to answer")] = "arrow",
) -> Response:
    """Stream the table of a data set, of any length: as Arrow or CSV."""
    export = _export(house, wanted)
    stream = arrow_stream(export) if format_ == "arrow" else csv_stream(export)
    media_type = ARROW_MEDIA_TYPE if format_ == "arrow" else "text/csv"
    # The first part is worked out before the answer begins: what goes wrong there can still be told as a problem.
    return StreamingResponse(_begun(stream), media_type=media_type)


def _begun(stream: Iterator[bytes]) -> Iterator[bytes]:
    first = next(stream, b"")
    return chain([first], stream)


def _export(house: House, wanted: Asked) -> Export:
    try:
        return Export(house.farm, house.store, wanted)
    except Refused as error:
        raise Problem(422, str(error)) from error
