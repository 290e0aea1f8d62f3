"""What strangers may send: names that are code elsewhere, paths that lead out, long bodies; and what pages may run."""

from __future__ import annotations

import re
import secrets
from html.parser import HTMLParser

import pytest

from api.guard import LONGEST_BODY
from api.page_files import PAGE
from store.notice_entries import Link
from tests.api.conftest import HOUR_US, NOW_US, assert_problem
from tests.api.test_interface import BODIES

# As they stand in an address. What each would be, if anybody took it for more than a name:
HOSTILE = [
    "%22%27%60;--",  # quotes of SQL and Flux
    "x%22)%20%7C%3E%20drop()",  # Flux
    "%27%20OR%20%271%27=%271",  # SQL
    "%25",  # a percent sign, and what two rounds of decoding make of others
    "%252e%252e%252f",
    "..%2f..%2f..%2fetc%2fpasswd",
    "%2fetc%2fpasswd",
    "%5c..%5c..%5cwin.ini",
    "%0d%0aSet-Cookie:%20x=y%0d%0a%0d%0a",  # a header of somebody else's
    "%0a",
    "%00",
    "%f0%9f%8c%b1%e2%80%ae",  # a plant, and text that runs backwards
    "%ff%fe",  # no UTF-8
    "=HYPERLINK(1)",
    "%3Cscript%3Ealert(1)%3C/script%3E",
    "{0.__class__}",
    "$%7Bjndi:x%7D",
    "9" * 400,
    "-1",
    "1e999",
    "NaN",
]


@pytest.fixture(scope="module")
def openapi(client):
    return client("/api/v1/openapi.json").json()


def held(response, sent):
    """What holds for every answer: no fault of ours, no header of theirs, nothing that a browser would run."""
    where = f"{response.request.url}: {response.status_code} {response.text[:200]}"
    assert response.status_code < 500, where
    assert "set-cookie" not in response.headers, where
    assert not [value for value in response.headers.values() if "\r" in value or "\n" in value], where
    assert response.headers["x-content-type-options"] == "nosniff"
    if response.status_code >= 400:
        assert response.headers["content-type"] == "application/problem+json", where
        assert response.json()["status"] == response.status_code, where
    assert "root:" not in response.text, where
    assert len(response.text) < 20_000 or response.status_code == 200, f"{sent!r} comes back many times over"


@pytest.mark.parametrize("hostile", HOSTILE)
def test_names_in_addresses_are_names_and_nothing_else(client, openapi, hostile):
    tried = 0
    for template, operations in openapi["paths"].items():
        for name in re.findall(r"{(\w+)}", template):
            method = "POST" if "post" in operations else "GET"
            path = re.sub(r"{\w+}", "acknowledge", template.replace(f"{{{name}}}", hostile))
            more = {"json": BODIES[template]} if method == "POST" else {}
            response = client(path, method, **more)
            held(response, hostile)
            assert response.status_code in (404, 405, 422), (path, response.status_code)
            tried += 1
    assert tried >= 12


@pytest.mark.parametrize("hostile", HOSTILE)
def test_what_is_asked_for_is_data_and_nothing_else(client, openapi, hostile):
    tried = 0
    for template, operations in openapi["paths"].items():
        path = template.replace("{key}", "room/air_temperature").replace("{date}", "2026-03-01")
        for one in operations.get("get", {}).get("parameters", ()):
            if one["in"] == "query" and "{" not in path:
                held(client(f"{path}?{one['name']}={hostile}"), hostile)
                tried += 1
    assert tried > 60


@pytest.mark.parametrize("hostile", HOSTILE)
def test_no_path_leads_from_a_request_to_the_file_system(client, hostile):
    for path in (f"/page/{hostile}", f"/page/vendor/{hostile}", f"/acknowledge/{hostile}", f"/{hostile}"):
        response = client(path)
        assert response.status_code == (200 if path == "/%0a" else 404), path  # the page itself: a line's end ends it
        assert "root:" not in response.text
        assert "<script>" not in response.text or response.headers["content-type"] == "application/problem+json"


def test_a_data_set_is_named_by_the_farm_and_its_days_alone(client):
    asked = "start=2026-03-01&end=2026-03-02&zone=room&format=csv&cleaned=true&every=1h"
    response = client(f'/api/v1/data-set?{asked}&creator=%22%0d%0aX:%20y&licence="../x')
    if response.status_code == 200:
        disposition = response.headers["content-disposition"]
        assert re.fullmatch(r'attachment; filename="testfarm-cleaned-[\d-]+-to-[\d-]+\.zip"', disposition)
    else:
        assert_problem(response, 422)
    assert "x" not in {name for name in response.headers if len(name) == 1}


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_long_bodies_are_refused_before_they_are_read(client, method):
    for path in ("/api/v1/session", "/api/v1/alarms/x/acknowledge", "/acknowledge/x", "/", "/page/app.js", "/nothing"):
        long = client(path, method, content=b"x" * (LONGEST_BODY + 1))
        assert_problem(long, 413)
        said = client(path, method, content=b"x", headers={"Content-Length": "9" * 30})
        assert_problem(said, 413)
        odd = client(path, method, content=b"x", headers={"Content-Length": "-1"})
        assert_problem(odd, 413)

        async def pieces():
            yield b"x"

        assert_problem(client(path, method, content=pieces()), 411)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"x"',
        b"5",
        b"[" * 8000,
        b'{"token":' * 1500,
        b"\xff\xfe",
        b'{"token":1e999}',
        b'{"token":NaN}',
    ],
)
def test_a_body_that_is_not_what_is_wanted_is_a_problem(client, body):
    for path in ("/api/v1/session", "/api/v1/alarms/x/acknowledge"):
        response = client(path, "POST", content=body, headers={"Content-Type": "application/json"})
        assert_problem(response, 400 if body[1:2] in (b"[", b'"') and len(body) > 5000 else 422)  # nested without end


class Inline(HTMLParser):
    """Collects what a page would run or draw without a file of ours."""

    def __init__(self):
        super().__init__()
        self.found, self.tags = [], 0

    def handle_starttag(self, tag, attrs):
        given, self.tags = dict(attrs), self.tags + 1
        if tag == "style" or (tag == "script" and "src" not in given):
            self.found.append(tag)
        self.found += [name for name, value in attrs if name == "style" or name.startswith("on")]
        self.found += [value for value in given.values() if value and value.strip().lower().startswith("javascript:")]


def test_no_page_of_ours_runs_or_draws_anything_inline_and_the_policy_forbids_it(client, house):
    secret = secrets.token_urlsafe(32)
    house.journal.links.keep(Link("testfarm", "ada", "hostile", "g", ("x",), NOW_US + HOUR_US), secret)
    for path in ("/", f"/acknowledge/{secret}", "/acknowledge/none"):
        response, page = client(path), Inline()
        page.feed(response.text)
        assert page.tags > 5
        assert page.found == [], path
        policy = dict(part.strip().split(" ", 1) for part in response.headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'self'"
        assert not {"script-src", "style-src", "connect-src"} & policy.keys()  # nothing wider than the default
        assert {policy[name] for name in ("object-src", "base-uri", "frame-ancestors")} == {"'none'"}
        assert "unsafe" not in str(policy)
        assert "*" not in str(policy)


def test_our_modules_make_no_code_and_no_markup_out_of_text():
    for path in PAGE.glob("*.js"):
        text = path.read_text(encoding="utf-8")
        for sink in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
            "srcdoc",
            "dangerouslySet",
        ):
            assert sink not in text, (path.name, sink)
