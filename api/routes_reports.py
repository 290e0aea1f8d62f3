"""Reports of a day, a week or a batch, as a page to be looked at and printed, or as PDF."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query
from starlette.responses import Response

from api.house import TheHouse
from api.problems import Problem
from api.routes_farm import software_version
from handover.provenance import MadeBy
from handover.refusals import NothingThere, Refused
from handover.reports.sources import Sources
from handover.reports.web_page import POLICY
from handover.reports.writing import Of, Shape, report_of, written_as

router = APIRouter(tags=["reports"])

MEDIA_TYPES = {Shape.HTML: "text/html; charset=utf-8", Shape.PDF: "application/pdf"}
FILES = {"content": {"text/html": {}, "application/pdf": {}}, "description": "The report, whole in one file"}
AsShape = Annotated[Shape, Query(alias="format", description="how to write it")]


@router.get("/report/day/{date}", response_class=Response, responses={200: FILES})
def day_report(
    house: TheHouse,
    day: Annotated[
        str, Path(alias="date", description="local day, as in 2026-03-01", json_schema_extra={"format": "date"})
    ],
    shape: AsShape = Shape.HTML,
) -> Response:
    """Give the report of one local day, from its day sheet."""
    return _report(house, Of.DAY, day, shape)


@router.get("/report/week/{week}", response_class=Response, responses={200: FILES})
def week_report(
    house: TheHouse,
    week: Annotated[
        str, Path(description="a week by ISO 8601, as in 2026-W09, or any day in it", examples=["2026-W09"])
    ],
    shape: AsShape = Shape.HTML,
) -> Response:
    """Give the report of a calendar week, from the sheets of its days."""
    return _report(house, Of.WEEK, week, shape)


@router.get("/report/batch/{name}", response_class=Response, responses={200: FILES})
def batch_report(
    house: TheHouse,
    name: Annotated[str, Path(description="of the batch, as the batches tell it")],
    shape: AsShape = Shape.HTML,
) -> Response:
    """Give the report of a batch, until now or until it was over."""
    return _report(house, Of.BATCH, name, shape)


def _report(house: TheHouse, of: Of, name: str, shape: Shape) -> Response:
    made_by = MadeBy(software_version(), house.description_hash)
    try:
        report = report_of(Sources(house.farm, house.store, house.journal, made_by, house.clock()), of, name)
    except NothingThere as error:
        raise Problem(404, str(error)) from error
    except Refused as error:
        raise Problem(422, str(error)) from error
    headers = {"Content-Disposition": f'inline; filename="{report.file_name}.{shape}"'}
    if shape is Shape.HTML:
        headers["Content-Security-Policy"] = POLICY
    return Response(written_as(report, shape), media_type=MEDIA_TYPES[shape], headers=headers)
