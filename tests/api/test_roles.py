"""Who may ask what: every address of the OpenAPI document with every kind of token, held to docs/api.md."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from api.house import Access
from api.roles import LEAST
from farm.roles import Role
from store.journal import Journal
from tests.api.conftest import HOUR_US, NOW_US, Client, assert_problem

API_PAGE = Path(__file__).parents[2] / "docs" / "api.md"
REAL = {"key": "room/air_temperature", "date": "2026-03-01", "week": "2026-W09", "id": "x", "name": "x"}
BODIES = {"session": {"token": "x"}}  # else who does it

# What lies beside the OpenAPI document: nothing of the farm, or a secret of its own.
BESIDE = {
    "GET /": "anybody",
    "GET /page/app.js": "anybody",
    "GET /service-worker.js": "anybody",
    "GET /api/v1/openapi.json": "anybody",
    "GET /acknowledge/x": "anybody",
    "POST /acknowledge/x": "anybody",
    "GET /metrics": "viewer",
}

OTHERS = ("nobody", "unknown", "revoked", "expired", "of another farm")  # let in nowhere but where anybody is
BEARERS = (*OTHERS, *map(str, Role))


@dataclass(frozen=True)
class Ask:
    """One address as it is asked, and the least role that its documentation promises."""

    method: str
    path: str
    least: str

    def lets_in(self, bearer):
        order = ["anybody", *map(str, Role)]
        return order.index(self.least) <= (order.index(bearer) if bearer in order else 0)


@cache
def promised() -> dict[str, str]:
    """Return the least role of each method and path, as docs/api.md tells it; of each word where one decides."""
    table = {}
    for row in re.findall(r"^\| `/api/v1/.*\|$", API_PAGE.read_text(encoding="utf-8"), re.MULTILINE):
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        path, role = cells[0].strip("`"), cells[-1]
        assert len(cells) == 3, f"docs/api.md: end the row of {path} with its least role: | viewer |"
        assert role in ("anybody", *Role), (
            f"docs/api.md: the least role of {path} is {role!r}: one of anybody, {', '.join(Role)}"
        )
        said = re.match(r"`(POST|PUT|PATCH|DELETE)`: ((?:`[\w-]+`(?:, )?)*)", cells[1])
        words = re.findall(r"`([\w-]+)`", said[2]) if said and "{act}" in path else [""]
        for word in words:
            table[f"{said[1] if said else 'GET'} {path.replace('{act}', word)}"] = role
    return table


def addresses(openapi) -> list[str]:
    """Return every method and path of the document; one for each word where one decides."""
    found = []
    for path, operations in openapi["paths"].items():
        for method, operation in operations.items():
            refs = [one["schema"].get("$ref", "") for one in operation.get("parameters", ()) if one["name"] == "act"]
            words = openapi["components"]["schemas"][refs[0].rpartition("/")[2]]["enum"] if refs else [""]
            found += [f"{method.upper()} {path.replace('{act}', word)}" for word in words]
    return found


@pytest.fixture(scope="module")
def guarded(house, tmp_path_factory):
    """The application as it is off this machine, with a token of each kind: how to ask as each of them."""
    with Journal(f"sqlite:///{tmp_path_factory.mktemp('guarded')}/journal.sqlite") as journal:
        make = journal.tokens.make
        texts = {str(role): make("testfarm", str(role), role, 1, "kim")[1] for role in Role}
        texts["of another farm"] = make("north", "keeper", Role.KEEPER, 1, "kim")[1]
        texts["expired"] = make("testfarm", "keeper", Role.KEEPER, 1, "kim", NOW_US)[1]
        token, texts["revoked"] = make("testfarm", "keeper", Role.KEEPER, 1, "kim")
        journal.tokens.revoke("testfarm", token.identity, NOW_US - HOUR_US, "kim")
        texts["unknown"] = "lw_" + "0" * 10 + "_" + "x" * 43
        client = Client(house, journal=journal, access=Access(required=True))
        client.texts, client.journal = texts, journal
        yield client


def bearing(client, bearer):
    return {} if bearer == "nobody" else {"Authorization": f"Bearer {client.texts[bearer]}"}


def ask(client, one: Ask, bearer: str, **more):
    body = {"json": BODIES.get(one.path.rpartition("/")[2], {"who": "kim"})} if one.method != "GET" else {}
    return client(one.path, one.method, headers=bearing(client, bearer) | more, **body)


def asks(openapi) -> list[Ask]:
    found = []
    for address in addresses(openapi):
        method, path = address.split()
        found.append(Ask(method, path.format(**REAL), promised()[address]))
    beside = [Ask(*address.split(), least) for address, least in BESIDE.items()]
    return found + beside


@pytest.fixture(scope="module")
def openapi(guarded):
    return guarded("/api/v1/openapi.json").json()


def test_every_address_has_its_line_in_the_table_of_roles_and_its_row_in_the_documentation(openapi):
    there = set(addresses(openapi))
    code = {address.replace(" ", " /api/v1", 1) for address in LEAST}
    lines = [f'    "{one.replace("/api/v1", "", 1)}": VIEWER,' for one in sorted(there - code)]
    assert not lines, "these addresses need a keeper until api/roles.py says otherwise; add to LEAST:\n" + "\n".join(
        lines
    )
    missing = sorted(there - promised().keys())
    assert not missing, "docs/api.md has no row of: " + ", ".join(missing) + " (those that write begin with `POST`: )"
    for address in there:
        word = LEAST[address.replace("/api/v1", "", 1)] or "anybody"
        assert word == promised()[address], f"{address}: {word} in api/roles.py, {promised()[address]} in docs/api.md"
    beside = {
        "GET /",
        "GET /service-worker.js",
        "GET /metrics",
        "GET /acknowledge/{token}",
        "POST /acknowledge/{token}",
    }
    gone = {one for one in LEAST if one.replace(" ", " /api/v1", 1) not in there} - beside
    assert not gone, f"api/roles.py tells of addresses that are not there: {sorted(gone)}"


def test_the_openapi_document_tells_each_role(openapi):
    for path, operations in openapi["paths"].items():
        for method, operation in operations.items():
            told = operation["x-least-role"]
            if isinstance(told, dict):
                for word, role in told.items():
                    assert role == promised()[f"{method.upper()} {path.replace('{act}', word)}"]
            else:
                assert told == promised()[f"{method.upper()} {path}"]
            assert operation["security"] == ([] if told == "anybody" else [{"token": []}, {"session": []}])


def test_no_address_lies_outside_of_the_documentation_and_of_what_is_listed_here(guarded, openapi):
    beside = {"/", "/service-worker.js", "/metrics", "/acknowledge/{token}", "/api/v1/openapi.json", "/page/{path}"}
    known = set(openapi["paths"]) | beside
    assert set(paths_of(guarded.app.routes)) == known


def paths_of(routes):
    """Return the path of every route, also of those that are included in others."""
    for route in routes:
        inner = getattr(route, "effective_candidates", None)
        if inner is not None:
            yield from paths_of(inner())
        else:
            yield getattr(route, "path_format", None) or route.path


@pytest.mark.parametrize("bearer", BEARERS)
def test_every_address_lets_in_whom_the_documentation_promises_and_nobody_else(guarded, openapi, bearer):
    tried = asks(openapi)
    assert len(tried) > 45
    for one in tried:
        response = ask(guarded, one, bearer)
        where = f"{one.method} {one.path} ({one.least}) as {bearer}: {response.status_code} {response.text[:200]}"
        if one.lets_in(bearer):
            wrong_token = one.path == "/api/v1/session" and one.method == "POST"  # its own business: x is no token
            assert response.status_code != 403, where
            assert response.status_code != 401 or wrong_token, where
            assert response.status_code < 500 or response.status_code == 503, where
        elif bearer in OTHERS:
            problem = assert_problem(response, 401)
            assert response.headers["www-authenticate"].startswith("Bearer"), where
            assert "testfarm" not in response.text, where
            assert "leafweather token make" in problem["detail"], where
        else:
            assert one.least in assert_problem(response, 403)["detail"], where


@pytest.mark.parametrize("bearer", Role)
def test_a_signed_in_browser_may_what_its_token_may(guarded, openapi, bearer):
    signed_in = guarded("/api/v1/session", "POST", json={"token": guarded.texts[bearer]})
    cookie, csrf = signed_in.headers["set-cookie"].partition(";")[0], signed_in.json()["csrf"]
    for one in asks(openapi):
        if one.path == "/api/v1/session":
            continue
        response = ask(guarded, one, "nobody", Cookie=cookie, **{"X-CSRF-Token": csrf})
        assert (response.status_code != 403) == one.lets_in(bearer), (one, response.text)
        assert response.status_code != 401, (one, response.text)
        if one.method == "POST" and one.lets_in(bearer) and one.least != "anybody":
            for wrong in ({}, {"X-CSRF-Token": "x"}, {"X-CSRF-Token": csrf[:-1]}, {"X-CSRF-Token": "é"}):
                headers = {"Cookie": cookie} | {name: value.encode() for name, value in wrong.items()}
                refused = guarded(one.path, "POST", json={"who": "kim"}, headers=headers)
                assert "X-CSRF-Token" in assert_problem(refused, 403)["detail"], one


ESCAPES = [
    "{path}/", "{path}//", "/{path}", "{path}?token={text}", "{path}?access_token={text}", "{path};x=y", "{path}%2f",
    "{path}%00",
    "{path}%0a", "{path}%0d%0a",
    "/page/..{path}", "/page/%2e%2e{path}", "/acknowledge/..{path}", "/acknowledge/%2e%2e{path}",
    "/api/v1/session/..{path}", "/api/v1/alive/..{path}", "{upper}", "/api/v1/./farm", "/api/v1/series/../farm",
]  # fmt: skip


@pytest.mark.parametrize("form", ESCAPES)
def test_no_other_way_of_writing_an_address_leads_past_the_door(guarded, form):
    path = "/api/v1/farm"
    asked = form.format(path=path, text=guarded.texts["keeper"], upper=path.upper())
    response = guarded(asked)
    assert response.status_code in (401, 404, 405), (asked, response.text)
    assert "Test farm" not in response.text or response.headers["content-type"].startswith("text/html")


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "PUT", "PATCH", "TRACE", "get", "GET\tx", "PROPFIND"])
def test_no_other_method_leads_past_the_door(guarded, method):
    response = guarded("/api/v1/farm", method)
    assert response.status_code in (401, 405)
    assert "testfarm" not in response.text


@pytest.mark.parametrize(
    "name", ["X-HTTP-Method-Override", "X-Original-URL", "X-Rewrite-URL", "X-Forwarded-User", "Remote-User", "X-Role"]
)
def test_no_header_of_a_proxys_gives_a_role(guarded, name):
    for value in ("keeper", "GET", "/api/v1/alive"):
        assert_problem(guarded("/api/v1/farm", headers={name: value}), 401)
        viewer = bearing(guarded, "viewer")
        assert_problem(guarded("/api/v1/audit", headers=viewer | {name: value}), 403)


@pytest.mark.parametrize(
    "header",
    [
        "Basic a2VlcGVyOmtlZXBlcg==",
        "Bearer",
        "Bearer ",
        "bearer x",
        "Token {text}",
        "{text}",
        "Bearer {text} x",
        "Bearer null",
    ],
)
def test_what_is_no_bearer_token_opens_nothing(guarded, header):
    sent = header.format(text=guarded.texts["keeper"])
    assert_problem(guarded("/api/v1/farm", headers={"Authorization": sent}), 401)


def test_a_bad_token_is_refused_although_the_cookie_or_the_open_door_would_let_in(guarded, house):
    signed_in = guarded("/api/v1/session", "POST", json={"token": guarded.texts["keeper"]})
    cookie = signed_in.headers["set-cookie"].partition(";")[0]
    headers = bearing(guarded, "expired") | {"Cookie": cookie}
    assert_problem(guarded("/api/v1/farm", headers=headers), 401)
    open_door = Client(house, journal=guarded.journal)
    assert open_door("/api/v1/farm").status_code == 200
    assert_problem(open_door("/api/v1/farm", headers=bearing(guarded, "revoked")), 401)
    assert_problem(open_door("/api/v1/audit", headers=bearing(guarded, "viewer")), 403)


def test_why_a_token_lets_nobody_in_is_told_to_who_has_it_alone(guarded):
    def told(text):
        return assert_problem(guarded("/api/v1/farm", headers={"Authorization": f"Bearer {text}"}), 401)["detail"]

    assert "was revoked on 02 March 2026 at 12:00" in told(guarded.texts["revoked"])
    assert "expired on 02 March 2026 at 13:00" in told(guarded.texts["expired"])
    same = {told(guarded.texts[one]) for one in ("unknown", "of another farm")}
    same |= {told(guarded.texts[one][:-1]) for one in ("revoked", "expired", "keeper")}
    assert len(same) == 1
    assert "not known here" in same.pop()


def test_an_address_without_a_line_needs_a_keeper(guarded, monkeypatch):
    monkeypatch.delitem(LEAST, "GET /needs")
    one = Ask("GET", "/api/v1/needs", "keeper")
    assert ask(guarded, one, "technician").status_code == 403
    assert ask(guarded, one, "keeper").status_code == 200


def test_the_tables_are_held_to_each_other(openapi, monkeypatch):
    """The test above it must see a line that is missing, a role that is lower, and an address that is gone."""
    check = test_every_address_has_its_line_in_the_table_of_roles_and_its_row_in_the_documentation
    for change, said in (
        (lambda: monkeypatch.delitem(LEAST, "GET /needs"), '"GET /needs": VIEWER,'),
        (
            lambda: monkeypatch.setitem(LEAST, "GET /audit", Role.VIEWER),
            "viewer in api/roles.py, keeper in docs/api.md",
        ),
        (lambda: monkeypatch.setitem(LEAST, "GET /nothing", Role.VIEWER), "GET /nothing"),
    ):
        change()
        with pytest.raises(AssertionError, match=re.escape(said)):
            check(openapi)
        monkeypatch.undo()
    more = replace_paths(openapi, "/api/v1/reports/{day}")
    with pytest.raises(AssertionError, match=re.escape('"GET /reports/{day}": VIEWER,')):
        check(more)


def replace_paths(openapi, path):
    return openapi | {"paths": openapi["paths"] | {path: {"get": {}}}}
