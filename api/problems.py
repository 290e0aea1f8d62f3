"""The one shape of an error: problem details as of RFC 9457."""

from __future__ import annotations

import difflib
import logging
from http import HTTPStatus
from typing import Any

import msgspec
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import Match

from store.contract import StoreUnavailable, StoreUnusable

MEDIA_TYPE = "application/problem+json"
PREFIX = "/api/v1"
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")  # in the order they are told
RETRY_AFTER_S = 5  # our choice, no source

log = logging.getLogger(__name__)


class ParameterError(BaseModel):
    """One parameter that cannot be used."""

    parameter: str
    found: str | None = None
    allowed: str


class ProblemDetails(BaseModel):
    """Problem details for HTTP interfaces (RFC 9457)."""

    type: str = "about:blank"
    title: str = Field(description="what kind of problem: the phrase of the HTTP status")
    status: int
    detail: str = Field(description="what, where and how to mend it")
    instance: str = Field(description="path of the request")
    errors: list[ParameterError] | None = Field(None, description="each parameter that cannot be used")
    close_matches: list[str] | None = Field(None, description="names that exist and look similar")


class Problem(Exception):
    """A request that cannot be answered; becomes problem details."""

    def __init__(self, status: int, detail: str, headers: dict[str, str] | None = None, **extra: object) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.headers = headers
        self.extra = extra


def bad_parameter(parameter: str, found: object, allowed: str) -> Problem:
    """Return the problem of one parameter that cannot be used."""
    shown = str(found)[:200]
    return Problem(
        422,
        f"{parameter} = {shown!r} cannot be used. {allowed}",
        errors=[{"parameter": parameter, "found": shown, "allowed": allowed}],
    )


def problem_response(
    path: str, status: int, detail: str, headers: dict[str, str] | None = None, **extra: object
) -> Response:
    """Return a problem as a response."""
    body = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": path,
        **extra,
    }
    return Response(msgspec.json.encode(body), status, headers=headers, media_type=MEDIA_TYPE)


def unexpected_response(path: str) -> Response:
    """Return the response to a fault of ours: it says nothing of our insides."""
    detail = "The server met an unexpected fault and has logged it. Nothing was changed; the request may be repeated."
    return problem_response(path, 500, detail)


def only_known_parameters(request: Request) -> None:
    """Refuse query parameters that an endpoint does not have: a misspelt one must not pass unnoticed."""
    route = request.scope["route"].path_format  # with or without the prefix, as the framework's version has it
    allowed = request.app.state.query_parameters[route.removeprefix(PREFIX)]
    errors = []
    for name in sorted(set(request.query_params) - allowed):
        close = difflib.get_close_matches(name, allowed, n=1)
        hint = f" Did you mean {close[0]}?" if close else ""
        listed = ", ".join(sorted(allowed)) or "none"
        errors.append({"parameter": name[:200], "found": None, "allowed": f"This address takes: {listed}.{hint}"})
    if errors:
        names = ", ".join(repr(error["parameter"]) for error in errors)
        raise Problem(422, f"Unknown parameter {names}. {errors[0]['allowed']}", errors=errors)


def install(app: FastAPI) -> None:
    """Give every error of an application the one shape."""
    app.add_exception_handler(Problem, _problem)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(StoreUnavailable, _unavailable)
    app.add_exception_handler(StoreUnusable, _unusable)


def _problem(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, Problem)  # noqa: S101 - tells the type checker what the registration above says
    return problem_response(request.url.path, exc.status, exc.detail, exc.headers, **exc.extra)


def _http(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, HTTPException)  # noqa: S101 - as above
    path, headers = request.url.path, dict(exc.headers or {})
    if exc.status_code == HTTPStatus.NOT_FOUND:
        detail = f"There is nothing at {path[:200]!r}. /api/v1/openapi.json lists every address."
    elif exc.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        headers["Allow"] = ", ".join(methods_of(request)) or headers.get("Allow", "GET")
        detail = f"{request.method} is not possible here. Allowed: {headers['Allow']}."
    else:
        detail = str(exc.detail)
    return problem_response(path, exc.status_code, detail, headers)


def methods_of(request: Request) -> list[str]:
    """Return every method that the address of a request takes; none where no address of ours fits."""
    scope, found = dict(request.scope), set[str]()
    for method in METHODS:
        scope["method"] = method
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.router.routes):
            found.add(method)
    return [one for one in METHODS if one in found]


def _validation(request: Request, exc: Exception) -> Response:
    assert isinstance(exc, RequestValidationError)  # noqa: S101 - as above
    errors = [
        {
            "parameter": ".".join(str(part) for part in error["loc"][1:]),
            "found": None if error["type"] == "missing" else str(error["input"])[:200],
            "allowed": _allowed(error),
        }
        for error in exc.errors()
    ]
    detail = " ".join(f"{e['parameter']} = {e['found']!r} cannot be used. {e['allowed']}" for e in errors)
    return problem_response(request.url.path, 422, detail, errors=errors)


def _allowed(error: dict[str, Any]) -> str:
    """Say what a parameter may be, from the validator's own words."""
    if error["type"] == "literal_error":
        return f"Write {error['ctx']['expected']}."
    if error["type"].startswith("bool"):
        return "Write true or false."
    if error["type"].startswith("date"):
        return f"Write a date as in 2026-03-01 ({error['msg']})."
    return f"{error['msg']}."


def _unusable(request: Request, exc: Exception) -> Response:
    log.error("the store cannot be used for %s: %s", request.url.path, exc)
    detail = (
        "Stored readings that this needs are damaged or cannot be used. Asking again does not help: whoever runs "
        "Leafweather finds what and where in its log, and by leafweather store verify. Other ranges still answer."
    )
    return problem_response(request.url.path, 503, detail)


def _unavailable(request: Request, exc: Exception) -> Response:
    log.warning("the store cannot serve %s: %s", request.url.path, exc)
    detail = f"The store cannot serve now. Nothing is lost by asking again in {RETRY_AFTER_S} s."
    return problem_response(request.url.path, 503, detail, {"Retry-After": str(RETRY_AFTER_S)})
