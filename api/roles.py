"""The least role that each address needs: the only such table. An address that is not in it needs a keeper.

A new address needs its line here, written as its router writes it, and its row in docs/api.md, which ends with the same
role; tests/api/test_roles.py holds both to each other and tries every address with every kind of token. Where a part of
the address decides, each of its values has a line.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.problems import PREFIX
from farm.roles import Role

ANYBODY = None  # also those who are not signed in
VIEWER, TECHNICIAN, KEEPER = Role.VIEWER, Role.TECHNICIAN, Role.KEEPER

LEAST: dict[str, Role | None] = {
    # Signing in, and what tells nothing of the farm.
    "GET /": ANYBODY,
    "GET /service-worker.js": ANYBODY,
    "GET /alive": ANYBODY,
    "GET /session": ANYBODY,
    "POST /session": ANYBODY,
    "DELETE /session": ANYBODY,
    # A notice's link carries its own secret, which works once.
    "GET /acknowledge/{token}": ANYBODY,
    "POST /acknowledge/{token}": ANYBODY,
    # Reading.
    "GET /air-chart": VIEWER,
    "GET /alarms": VIEWER,
    "GET /alarms/performance": VIEWER,
    "GET /alarms/{id}": VIEWER,
    "GET /balances": VIEWER,
    "GET /batches": VIEWER,
    "GET /batches/{name}": VIEWER,
    "GET /clocks": VIEWER,
    "GET /data-set": VIEWER,
    "GET /data-set/plan": VIEWER,
    "GET /data-set/readings": VIEWER,
    "GET /days": VIEWER,
    "GET /days/{date}": VIEWER,
    "GET /dose": VIEWER,
    "GET /doses": VIEWER,
    "GET /events": VIEWER,
    "GET /excursions": VIEWER,
    "GET /excursions/{id}": VIEWER,
    "GET /farm": VIEWER,
    "GET /findings": VIEWER,
    "GET /findings/{id}": VIEWER,
    "GET /health": VIEWER,
    "GET /latest": VIEWER,
    "GET /light-days": VIEWER,
    "GET /log": VIEWER,
    "GET /log/{id}": VIEWER,
    "GET /metrics": VIEWER,
    "GET /needs": VIEWER,
    "GET /notices": VIEWER,
    "GET /notices/{id}": VIEWER,
    "GET /rejects": VIEWER,
    "GET /report/batch/{name}": VIEWER,
    "GET /report/day/{date}": VIEWER,
    "GET /report/week/{week}": VIEWER,
    "GET /root-zone": VIEWER,
    "GET /series": VIEWER,
    "GET /series/{key}/bands": VIEWER,
    "GET /series/{key}/gaps": VIEWER,
    "GET /series/{key}/quality": VIEWER,
    "GET /series/{key}/readings": VIEWER,
    "GET /unknown": VIEWER,
    "GET /zones": VIEWER,
    # The work of the day.
    "POST /alarms/{id}/acknowledge": TECHNICIAN,
    "POST /log": TECHNICIAN,
    "POST /log/{id}": TECHNICIAN,
    "POST /log/{id}/withdraw": TECHNICIAN,
    # What keeps people from being told, and who did what.
    "POST /alarms/{id}/shelve": KEEPER,
    "POST /alarms/{id}/unshelve": KEEPER,
    "POST /alarms/{id}/out-of-service": KEEPER,
    "POST /alarms/{id}/in-service": KEEPER,
    "GET /audit": KEEPER,
}


def declared(method: str, template: str, parts: Mapping[str, str] | None = None) -> str | None:
    """Return the line of `LEAST` that an address falls under; None where it has none.

    Parameters
    ----------
    method : str
        As ``GET``.
    template : str
        The address as its route has it, with its parts in braces; with or without the interface's prefix.
    parts : mapping of str to str, optional
        What stands in the braces.
    """
    line = f"{method} {template.removeprefix(PREFIX)}"
    if line in LEAST:
        return line
    filled = (line.replace(f"{{{name}}}", str(value)) for name, value in (parts or {}).items())
    return next((one for one in filled if one in LEAST), None)


def least_role(method: str, template: str, parts: Mapping[str, str] | None = None) -> Role | None:
    """Return the least role that an address needs, as `declared` finds it; `ANYBODY` where it needs none."""
    line = declared(method, template, parts)
    return KEEPER if line is None else LEAST[line]


def with_roles(openapi: dict[str, Any], cookie: str) -> dict[str, Any]:
    """Say in the description of the interface what each address needs, and how to bring it."""
    components = openapi["components"]
    components["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer", "description": "a token that leafweather token make printed"},
        "session": {"type": "apiKey", "in": "cookie", "name": cookie, "description": "a browser that is signed in"},
    }
    for path, operations in openapi["paths"].items():
        for method, operation in operations.items():
            choices = {
                str(value): least_role(method.upper(), path, {one["name"]: value})
                for one in operation.get("parameters", ())
                for value in _values(components, one["schema"])
                if one["in"] == "path" and declared(method.upper(), path) is None
            }
            least = min(choices.values(), key=_height) if choices else least_role(method.upper(), path)
            operation["x-least-role"] = {name: _word(role) for name, role in choices.items()} or _word(least)
            operation["security"] = [{"token": []}, {"session": []}] if least else []
    return openapi


def _word(role: Role | None) -> str:
    return "anybody" if role is None else str(role)


def _height(role: Role | None) -> int:
    return -1 if role is None else list(Role).index(role)


def _values(components: dict[str, Any], schema: dict[str, Any]) -> list[str]:
    """Return the values that a part of an address may have, where it is one of several words."""
    name = schema.get("$ref", "").rpartition("/")[2]
    values: list[str] = components["schemas"][name].get("enum", []) if name else []
    return values
