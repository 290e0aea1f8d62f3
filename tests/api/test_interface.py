"""What holds for every address: one error shape, examples that fit their schema, headers, files."""

import re
from html.parser import HTMLParser

import pytest
from pydantic import TypeAdapter

from api import access_schemas, air_schemas, alarm_schemas, day_by_day_schemas, examples, notice_schemas, schemas
from api.page_files import PAGE
from tests.api.conftest import assert_problem

ANSWERS = {
    "farm": schemas.FarmAnswer,
    "zones": schemas.ZonesAnswer,
    "needs": schemas.NeedsAnswer,
    "series": schemas.SeriesListAnswer,
    "latest": schemas.LatestAnswer,
    "readings": schemas.ReadingsAnswer,
    "bands": schemas.BandsAnswer,
    "gaps": schemas.GapsAnswer,
    "air_chart": air_schemas.AirChartAnswer,
    "excursions": schemas.ExcursionsAnswer,
    "excursion": schemas.ExcursionAnswer,
    "findings": schemas.FindingsAnswer,
    "finding": schemas.FindingAnswer,
    "days": schemas.DaysAnswer,
    "day": schemas.DaySheetAnswer,
    "light_days": day_by_day_schemas.LightDaysAnswer,
    "root_zone": day_by_day_schemas.RootZoneAnswer,
    "balances": day_by_day_schemas.BalancesAnswer,
    "batches": schemas.BatchesAnswer,
    "batch": schemas.BatchAnswer,
    "rejects": schemas.RejectsAnswer,
    "unknown": schemas.UnknownAnswer,
    "clocks": schemas.ClocksAnswer,
    "quality": schemas.QualityAnswer,
    "log": schemas.LogAnswer,
    "log_entry": schemas.LogRow,
    "log_versions": schemas.LogVersionsAnswer,
    "alarms": alarm_schemas.AlarmsAnswer,
    "alarm": alarm_schemas.AlarmHistoryAnswer,
    "performance": alarm_schemas.PerformanceAnswer,
    "dose": schemas.DoseAnswer,
    "doses": schemas.DosesAnswer,
    "notices": notice_schemas.NoticesAnswer,
    "notice": notice_schemas.NoticeAnswer,
    "data_set_plan": schemas.DataSetPlanAnswer,
    "health": schemas.HealthAnswer,
    "session": access_schemas.SessionAnswer,
    "audit": access_schemas.AuditAnswer,
    "alive": access_schemas.AliveAnswer,
    "events": schemas.EventData,
}
METHODS = {
    "/api/v1/alarms/{id}/{act}": ["POST"],
    "/api/v1/log": ["GET", "POST"],
    "/api/v1/log/{id}": ["GET", "POST"],
    "/api/v1/log/{id}/withdraw": ["POST"],
    "/api/v1/session": ["GET", "POST", "DELETE"],
}  # the others: GET
WRITING = {"who": "kim", "detail": {"kind": "note", "note": "leaves pale"}}
BODIES = {
    "/api/v1/alarms/{id}/{act}": {"who": "kim"},
    "/api/v1/log": WRITING,
    "/api/v1/log/{id}": WRITING,
    "/api/v1/log/{id}/withdraw": {"who": "kim"},
    "/api/v1/session": {"token": "x"},
}
FILES = {
    "/api/v1/events": {"text/event-stream"},
    "/api/v1/data-set": {"application/zip"},
    "/api/v1/data-set/readings": {"application/vnd.apache.arrow.stream", "text/csv"},
    **{
        f"/api/v1/report/{one}": {"text/html", "application/pdf"}
        for one in ("day/{date}", "week/{week}", "batch/{name}")
    },
}
REAL = {"act": "acknowledge", "key": "room/air_temperature", "date": "2026-03-01"}


@pytest.fixture(scope="module")
def openapi(client):
    return client("/api/v1/openapi.json").json()


def test_every_address_is_documented_with_an_example(openapi):
    assert len(openapi["paths"]) == 46
    for path, operations in openapi["paths"].items():
        assert [method.upper() for method in operations] == METHODS.get(path, ["GET"]), path
        for operation in operations.values():
            documented(path, operation, openapi["components"]["schemas"])


def documented(path, operation, schemas):
    content = operation["responses"]["200"]["content"]
    if path in FILES:
        assert set(content) == FILES[path], "files, which have no example"
    else:
        assert content["application/json"]["example"], path
        assert "$ref" in content["application/json"]["schema"], path
    problem = operation["responses"]["default"]["content"]["application/problem+json"]
    name = problem["schema"]["$ref"].rpartition("/")[2]
    assert "detail" in schemas[name]["properties"]
    assert "422" not in operation["responses"], "the framework's own error shape is not ours"
    for parameter in operation.get("parameters", []):
        assert parameter["description"], (path, parameter["name"])


def test_every_reference_in_the_openapi_leads_somewhere(openapi):
    for name in re.findall(r"'#/components/schemas/(\w+)'", str(openapi)):
        assert name in openapi["components"]["schemas"]


@pytest.mark.parametrize("address", sorted(examples.EXAMPLES))
def test_examples_fit_their_schema(address):
    model = ANSWERS[address]
    TypeAdapter(model).validate_python(examples.EXAMPLES[address], strict=False)
    assert set(examples.EXAMPLES[address]) <= set(model.model_fields), "a field that no answer has"


@pytest.mark.parametrize(
    "address",
    [
        "farm",
        "zones",
        "needs",
        "series",
        "latest",
        "excursions",
        "findings",
        "days",
        "batches",
        "rejects",
        "unknown",
        "clocks",
        "log",
        "doses",
        "alarms",
        "alarms/performance",
        "notices",
    ],
)
def test_answers_have_the_fields_of_their_example(client, address):
    assert set(client.json(address)) == set(examples.EXAMPLES[address.rpartition("/")[2]])


def test_one_error_shape_over_every_address(client, openapi):
    for template in openapi["paths"]:
        path = template.format(**{name: REAL.get(name, "x") for name in re.findall(r"{(\w+)}", template)})
        methods = METHODS.get(template, ["GET"])
        for method in {"GET", "POST", "PUT", "PATCH", "DELETE"} - {*methods}:
            response = client(path, method, json={})
            assert_problem(response, 405)
            assert response.headers["allow"] == ", ".join(methods)
            assert response.headers["allow"] in response.json()["detail"]
        for method in methods:
            doing = {"json": BODIES[template]} if method == "POST" else {}
            body = assert_problem(client(f"{path}?no_such_parameter=1", method, **doing), 422)
            assert body["errors"][0]["parameter"] == "no_such_parameter"
        assert_problem(client(f"{path}/nothing/to/be/found"), 404)


@pytest.mark.parametrize(
    "path",
    ["/nothing", "/api", "/api/v1", "/api/v2/farm", "/docs", "/redoc", "/page/", "/page/nothing.js", "/favicon.ico"],
)
def test_unknown_paths_are_problems(client, path):
    assert_problem(client(path), 404)


@pytest.mark.parametrize(
    "path",
    ["/page/../app.py", "/page/%2e%2e/app.py", "/page/..%2fapp.py", "/page//etc/passwd", "/page/%2fetc%2fpasswd"],
)
def test_no_path_leaves_the_page_folder(client, path):
    assert_problem(client(path), 404)


@pytest.mark.parametrize("path", ["/", "/page/app.js", "/api/v1/farm", "/nothing", "/api/v1/latest?x=1"])
def test_security_headers_stand_on_every_response(client, path):
    headers = client(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


def test_files_are_revalidated_and_answers_are_not_kept(client):
    for path in ("/", "/page/app.js"):
        first = client(path)
        assert first.headers["cache-control"] == "no-cache"
        again = client(path, headers={"If-None-Match": first.headers["etag"]})
        assert again.status_code == 304
        assert again.headers["x-content-type-options"] == "nosniff"
    for path in ("/api/v1/farm", "/metrics"):
        assert client(path).headers["cache-control"] == "no-store"


def test_what_is_long_travels_compressed(client):
    path = "/page/vendor/uPlot.js"
    squeezed = client(path, headers={"Accept-Encoding": "gzip"})
    assert squeezed.headers["content-encoding"] == "gzip"
    assert squeezed.num_bytes_downloaded < (PAGE / "vendor" / "uPlot.js").stat().st_size / 2
    plain = client(path, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == squeezed.content


def test_modules_and_styles_have_the_type_browsers_ask_for(client):
    for path in PAGE.rglob("*"):
        expected = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}.get(path.suffix)
        if expected:
            content_type = client(f"/page/{path.relative_to(PAGE)}").headers["content-type"]
            assert content_type.partition(";")[0] == expected, path


class _Addresses(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.found += [value for name, value in attrs if name in ("src", "href")]


def test_the_page_loads_nothing_from_elsewhere(client):
    page = _Addresses()
    page.feed(client("/").text)
    assert page.found
    for address in page.found:
        assert address.startswith("/")
        assert client(address).status_code == 200
    for path in PAGE.glob("*.js"):
        for module in re.findall(r'from "([^"]+)"', path.read_text()):
            assert module.startswith("./"), (path, module)
            assert (path.parent / module).is_file(), (path, module)


def test_what_is_vendored_has_its_licence_beside_it():
    vendor = PAGE / "vendor"
    listed = (vendor / "README.md").read_text()
    for path in [*vendor.glob("*.js"), *vendor.glob("*.css")]:
        assert f"`{path.name}`" in listed
    for package in ("preact", "htm", "uPlot"):
        assert (vendor / f"{package}.LICENSE").stat().st_size > 500
