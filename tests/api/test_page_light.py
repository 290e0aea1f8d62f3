"""The light of a day that runs, on the first screen: told as what it is so far, with the last whole day beside it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from farm.readings import Columns, Series
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.api.conftest import HOUR_US, T0_US, Client, fill
from tests.browsing import DESK, IN_BROWSER, PHONE, expect
from tests.serving import Served
from watch.judged import JudgedReadings

pytestmark = IN_BROWSER
LIGHT = Series("testfarm", "row", "daily_light_integral")


@pytest.fixture
def lit(house, tmp_path):
    """The house, with the light integrals that the watch derives: noon of the second light day."""
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        fill(store, journal)
        store.replace(LIGHT, T0_US, T0_US + 30 * HOUR_US, Columns.from_rows([(T0_US + 5 * HOUR_US, 14.4, 1)]))
        yield replace(house, store=JudgedReadings("testfarm", store, journal), journal=journal)


def test_the_interface_tells_the_day_so_far_and_the_last_whole_one(lit):
    """250 umol m-2 s-1 from 05:00 to 12:00 UTC is 6.30 mol m-2, and 14.40 in the 16 h of the day before."""
    rows = {row["key"]: row for row in Client(lit).json("zones")["zones"][1]["series"]}
    row = rows[LIGHT.key]
    assert (row["standing"], row["low"], row["high"]) == ("so_far", 12.0, 17.0)
    assert row["value"] == pytest.approx(6.30, abs=0.02)
    last = row["last_day"]
    assert (last["start"], last["end"], last["standing"]) == ("2026-03-01T05:00:00Z", "2026-03-02T05:00:00Z", "inside")
    assert last["mol"] == pytest.approx(14.40, abs=0.02)
    assert rows["row/ppfd"]["last_day"] is None


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_the_tile_counts_no_day_that_is_not_over(browser, lit, size):
    served = Served(lit)
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    try:
        page = context.new_page()
        page.goto(served.url)
        tile = page.get_by_role("article").filter(has=page.get_by_role("heading", name="Row", exact=True))
        expect(tile.locator("summary").first).to_contain_text("Its light day is under way")
        expect(tile.locator("summary").first).not_to_contain_text("inside")
        tile.locator("details").first.evaluate("(one) => { one.open = true; }")
        row = tile.get_by_role("row").filter(has_text="Daily light integral")
        told = " ".join(row.inner_text().replace("\u00a0", " ").split())
        assert "6.3 mol m⁻² d⁻¹" in told
        assert "so far 12.0 to 17.0" in told
        assert "last whole day 14.4, inside" in told
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        for cell in row.locator(".said > span").all():
            assert cell.evaluate("(one) => one.getBoundingClientRect().right <= innerWidth"), cell.inner_text()
    finally:
        context.close()
        served.stop()
