"""How each worked-out number comes about: one table, held against what is worked out, shown and documented."""

from __future__ import annotations

import re
from pathlib import Path

import httpx
import pytest

from api.examples import EXAMPLES
from farm.quantities import QUANTITIES
from simulator.demo import demo_farm
from tests.browsing import AXE, DESK, IN_BROWSER, PHONE, expect
from watch.derived import derived_series
from watch.rates import RATES

pytestmark = IN_BROWSER
SCIENCE = (Path(__file__).parents[2] / "docs" / "science.md").read_text("utf-8")
TABLE = "import('/page/workings.js').then((one) => one.WORKINGS)"
OTHERS = {"ec_drift"}  # what a section tells and no series holds


@pytest.fixture
def page(tabs, served):
    page = tabs.open()
    page.goto(served.url)
    page.get_by_text("Room", exact=True).first.wait_for()
    return page


def test_every_derived_quantity_is_in_the_table_and_nothing_else(page):
    table = page.evaluate(TABLE)
    derived = {one.quantity for one in derived_series(demo_farm())} | {name for name, _ in RATES.values()}
    derived |= {name for name, one in QUANTITIES.items() if one.derived}
    estimated = {"ppfd/estimated"}
    assert set(table) == (derived - {"ppfd"}) | estimated | OTHERS
    for name, told in table.items():
        assert len(told) == 4, name
        assert all(len(one) > 3 for one in told), name


def test_every_formula_is_named_as_in_the_documentation(page):
    for name, (_, _, _, function) in page.evaluate(TABLE).items():
        assert re.search(rf"`{function}`", SCIENCE), (name, function)


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_a_tile_tells_it_of_what_it_shows_and_of_nothing_measured(tabs, served, size):
    page = tabs.open(size)
    page.goto(f"{served.url}#open=none")
    tile = page.get_by_role("article").filter(has=page.get_by_role("heading", name="Room", exact=True))
    told = tile.locator(".workings")
    expect(told).to_have_count(1)
    tile.locator("details").first.evaluate("(one) => { one.open = true; }")
    told.locator("summary").click()
    shown = {row["label"] for row in zone_rows(served) if row["key"] in derived_keys(served)}
    assert shown
    assert set(told.locator("dt").all_inner_texts()) == shown
    expect(told).to_contain_text("es(T) × (1 − RH/100)")
    expect(told).to_contain_text("ASHRAE Fundamentals 2017, ch. 1, eq. 20")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document.getElementById('zones'))")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


def answered(served, path):
    return httpx.get(f"{served.url}api/v1/{path}").json()


def zone_rows(served):
    return next(zone for zone in answered(served, "zones")["zones"] if zone["zone"] == "room")["series"]


def derived_keys(served):
    return {one["key"] for one in answered(served, "series")["series"] if one["origin"] == "derived"}


def test_a_track_tells_it_and_so_does_the_drift_of_the_root_zone(tabs, served):
    page = tabs.open()
    page.route("**/api/v1/root-zone*", lambda route: route.fulfill(json=EXAMPLES["root_zone"]))
    page.goto(f"{served.url}#tracks=room/humidity_ratio,room/air_temperature&last=1d&open=timeline,root-zone")
    tracks = page.locator("figure.track")
    expect(tracks.nth(0).locator(".workings")).to_have_count(1)
    expect(tracks.nth(1).locator(".workings")).to_have_count(0)
    expect(page.locator("#root-zone .workings")).to_contain_text("a straight line through each stretch")
