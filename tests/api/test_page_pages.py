"""Lists that come in pages: the page reads them all, and says where it does not."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest

from api.examples import EXAMPLES
from tests.browsing import IN_BROWSER, expect

pytestmark = IN_BROWSER
EXCURSION = EXAMPLES["excursions"]["excursions"][0] | {"end": "2026-03-02T11:00:00Z", "onset": "2026-03-02T10:00:00Z"}
FINDING = EXAMPLES["findings"]["findings"][0] | {"subject": "excursion", "end": None}


def paged(name, one, pages, size):
    """Answer a list of ``pages`` pages of ``size`` entries; only what ``next`` names leads on."""

    def answer(route):
        before = parse_qs(urlsplit(route.request.url).query).get("before", ["0-first"])[0]
        page = int(before.partition("-")[0])
        rows = [one | {"id": f"{page:05x}{row:05x}", "excursion": f"x{page:04x}{row:05x}"} for row in range(size)]
        if name == "excursions":
            rows = [row | {"id": row["excursion"]} for row in rows]
        route.fulfill(json={name: rows, "next": f"{page + 1}-more" if page + 1 < pages else None})

    return answer


@pytest.fixture
def visit(tabs, served):
    def visit(path, excursion_pages, finding_pages, size):
        page = tabs.open()
        page.route("**/api/v1/excursions?*", paged("excursions", EXCURSION, excursion_pages, size))
        page.route("**/api/v1/findings?*", paged("findings", FINDING, finding_pages, size))
        page.goto(served.url + path)
        return page

    return visit


def digest(page, name):
    return page.locator("summary").filter(has=page.get_by_role("heading", name=name, exact=True))


def test_every_page_is_counted(visit):
    page = visit("#open=none", 3, 2, 500)
    expect(digest(page, "Excursions")).to_contain_text("1500 ended in seven days")


def test_the_cause_on_a_later_page_is_found(visit):
    page = visit("#open=excursions", 2, 2, 4)
    told = page.locator("#excursions table").get_by_role("link", name=FINDING["causes"][0]["label"])
    expect(told).to_have_count(8)
    expect(page.locator("#excursions")).not_to_contain_text("not looked at yet")


def test_where_it_stops_it_says_so(visit):
    page = visit("#open=none", 10_000, 1, 2)
    expect(digest(page, "Excursions")).to_contain_text("at least 20 ended in seven days")
