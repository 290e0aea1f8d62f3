"""The application: addresses under ``/api/v1``, the page at ``/``."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends, FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import Receive, Scope, Send

from api import (
    access,
    acknowledging,
    metrics,
    problems,
    roles,
    routes_access,
    routes_air,
    routes_alarms,
    routes_batches,
    routes_data_sets,
    routes_day_by_day,
    routes_dose,
    routes_doses,
    routes_events,
    routes_farm,
    routes_findings,
    routes_journal,
    routes_notices,
    routes_readings,
    routes_reports,
    routes_writing,
)
from api.auditing import Audited
from api.changes import Changes
from api.conditional import Conditional
from api.guard import Guard
from api.house import House
from api.page_files import serve_page
from api.problems import PREFIX, ProblemDetails, only_known_parameters
from api.rate import RequestRate

__all__ = ["House", "create_app"]

ABOUT = (
    "Readings, bands, excursions and day sheets of one indoor farm. Times are ISO 8601; every number has its unit "
    "beside it. Every error is a problem detail as of RFC 9457."
)


class Thinned(GZipMiddleware):
    """Compresses answers, but not data sets, which are compressed already."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        dense = scope["type"] == "http" and scope["path"] == routes_data_sets.ARCHIVE
        await (self.app if dense else super().__call__)(scope, receive, send)


def create_app(house: House) -> FastAPI:
    """Return the application that serves one farm.

    Parameters
    ----------
    house : House
        The farm's description, its store, its journal, and how to tell health and time.

    Returns
    -------
    app : fastapi.FastAPI
        Ready to be served; it closes neither store nor journal.
    """
    # The documentation pages that come with the framework load scripts from elsewhere: they stay off.
    app = FastAPI(
        title="Leafweather",
        description=ABOUT,
        version=routes_farm.software_version(),
        openapi_url=f"{PREFIX}/openapi.json",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        dependencies=[Depends(access.admitted)],  # before every address, also those of which nobody thought
    )
    app.state.house, app.state.changes = house, Changes(house)
    often = house.access.requests_per_minute
    app.state.rate = None if often is None else RequestRate(often)
    api = APIRouter(prefix=PREFIX, dependencies=[Depends(only_known_parameters)], responses=_every_error())
    for part in (
        routes_farm,
        routes_readings,
        routes_air,
        routes_journal,
        routes_day_by_day,
        routes_findings,
        routes_alarms,
        routes_batches,
        routes_dose,
        routes_doses,
        routes_events,
        routes_notices,
        routes_data_sets,
        routes_reports,
        routes_writing,
        routes_access,
    ):
        api.include_router(part.router)
    app.include_router(api)
    app.include_router(metrics.router)
    app.include_router(acknowledging.router)
    serve_page(app)
    openapi = roles.with_roles(
        _with_problems(app.openapi()), access.cookie_name(house)
    )  # once every address is there: it is kept from then on
    app.state.query_parameters = _query_parameters(openapi)
    problems.install(app)
    app.add_middleware(Audited, house=house)
    app.add_middleware(Conditional)  # before an answer is compressed
    app.add_middleware(Thinned, minimum_size=1024, compresslevel=5)  # farms hang on thin links
    app.add_middleware(Guard)
    return app


def _every_error() -> dict[int | str, dict[str, Any]]:
    content = {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}}
    return {"default": {"description": "A problem, as of RFC 9457", "content": content}}


def _with_problems(openapi: dict[str, Any]) -> dict[str, Any]:
    """Add the shape of errors to the description of the interface, which refers to it."""
    schema = ProblemDetails.model_json_schema(ref_template="#/components/schemas/{model}")
    openapi["components"]["schemas"] |= schema.pop("$defs") | {"ProblemDetails": schema}
    return openapi


def _query_parameters(openapi: dict[str, Any]) -> dict[str, frozenset[str]]:
    """Return the query parameters that each address takes, under its path after the prefix."""
    return {
        path.removeprefix(PREFIX): frozenset(
            one["name"]
            for operation in operations.values()
            for one in operation.get("parameters", ())
            if one["in"] == "query"
        )
        for path, operations in openapi["paths"].items()
    }
