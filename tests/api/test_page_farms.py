"""The page of farms at the ends: fifty zones, none with a reading, and a link as slow as a phone's in a cold yard."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.house import House
from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.api.conftest import MINUTE_US, NOW_US
from tests.browsing import AXE, DESK, IN_BROWSER, PHONE, Tabs, expect
from tests.serving import Served
from watch.judged import JudgedReadings

pytestmark = IN_BROWSER

ZONES = 50
HEAD = '[farm]\nname = "testfarm"\ntitle = "Test farm"\ntimezone = "Europe/Oslo"\nelevation_m = 120\n'
ROW = """
[zones.row-{n}]
kind = "growing_row"
label = "Row {n}"
crop = "cress"
phase = "growing"
[[series]]
zone = "row-{n}"
quantity = "air_temperature"
[[series]]
zone = "row-{n}"
quantity = "relative_humidity"
"""
CROP = """
[crops.cress]
label = "Cress"
[crops.cress.phases.growing.bands]
air_temperature = { always = [18, 24] }
relative_humidity = { always = [50, 75] }
"""
VALUES = {"air_temperature": 21.0, "relative_humidity": 60.0}
SLOW_MS, SLOW_BYTES_S = 400, 50_000  # to the server and back, and each way: a poor mobile link; our choice, no source


def house_of(folder, rows, told):
    """Yield a house of so many rows, with readings in each or in none."""
    farm, mistakes = check_text(HEAD + "".join(ROW.format(n=n) for n in range(1, rows + 1)) + CROP)
    assert farm is not None, mistakes
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        if told:
            store.append([
                Reading(series, NOW_US - minute * MINUTE_US, VALUES[series.quantity], Flag.GOOD)
                for series in farm.described for minute in range(60)
            ])  # fmt: skip
        judged = JudgedReadings(farm.name, store, journal)
        yield House(farm, "feedfacecafe", judged, journal, lambda: {"status": "ok"}, lambda: NOW_US)


@pytest.fixture(scope="module")
def fifty(tmp_path_factory):
    yield from house_of(tmp_path_factory.mktemp("fifty"), ZONES, told=True)


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    yield from house_of(tmp_path_factory.mktemp("empty"), 1, told=False)


@pytest.fixture
def opened(browser):
    """Serve a house and open its page, with what stood on the console checked at the end."""
    ends = []

    def opened(house, size):
        served = Served(replace(house))
        tabs = Tabs(browser, served.url)
        ends.extend((tabs.close, served.stop))
        page = tabs.open(size)
        page.goto(served.url)
        return page

    yield opened
    for end in ends:
        end()


def is_sound(page):
    page.evaluate(AXE)
    assert page.evaluate("axe.run().then((found) => found.violations.map((one) => one.id))") == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_fifty_zones_are_all_shown_each_with_its_verdict(opened, fifty, size):
    page = opened(fifty, size)
    expect(page.locator("article.zone")).to_have_count(ZONES)
    expect(page.locator("#zones")).to_contain_text("Row 50")
    assert page.locator("article.zone summary", has_text="all 2 inside their bands").or_(
        page.locator("article.zone summary", has_text="All 2 inside their bands")
    ).count() == ZONES  # fmt: skip
    is_sound(page)


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_a_farm_without_a_reading_says_so_and_claims_nothing(opened, empty, size):
    page = opened(empty, size)
    zone = page.locator("article.zone")
    expect(zone).to_have_count(1)
    expect(zone).to_contain_text("silent")
    assert "inside" not in zone.inner_text()
    expect(page.locator("#needs")).to_contain_text("No reading has arrived yet. Check the broker")
    is_sound(page)


def test_over_a_slow_link_it_says_what_it_waits_for_and_then_shows_it(browser, fifty):
    served = Served(replace(fifty))
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, service_workers="block")
    try:
        page = context.new_page()
        network = context.new_cdp_session(page)
        network.send("Network.enable")
        network.send("Network.emulateNetworkConditions", {
            "offline": False, "latency": SLOW_MS, "downloadThroughput": SLOW_BYTES_S, "uploadThroughput": SLOW_BYTES_S,
        })  # fmt: skip
        page.goto(served.url, wait_until="commit")
        expect(page.locator("body")).to_contain_text("Asking for the farm’s readings", timeout=20_000)
        expect(page.locator("article.zone").first).to_be_visible(timeout=30_000)
        expect(page.locator("header [role=status]")).to_contain_text("live", timeout=20_000)
    finally:
        context.close()
        served.stop()
