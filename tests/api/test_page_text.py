"""Numbers and times as the page writes them, held against Babel and Python: their tables are not ours."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from babel.numbers import format_decimal

from tests.api.conftest import NOW_US
from tests.browsing import IN_BROWSER, expect, launched
from tests.serving import Served

pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def page(house):
    """Return the page of the same farm, which writes numbers as Norway does."""
    place = house.farm.farm.model_copy(update={"locale": "nb-NO"})
    served = Served(replace(house, farm=house.farm.model_copy(update={"farm": place})))
    with launched() as browser:
        page = browser.new_context(timezone_id="America/New_York", locale="en-US").new_page()
        page.goto(f"{served.url}#open=write-down")
        page.locator("article.zone").first.wait_for()
        yield page
    served.stop()


def of_text(page, expression, given=None):
    return page.evaluate(
        f"async (given) => {{ const text = await import('/page/text.js'); return {expression}; }}", given
    )


def test_numbers_are_the_farms_own_wherever_they_stand(page):
    humidity = page.get_by_role("row").filter(has_text="Relative humidity").first
    assert "82,0" in humidity.inner_text()
    assert "50,0 to 75,0" in humidity.inner_text()


@pytest.mark.parametrize("locale", ["nb-NO", "en-GB", "de", "fr-CA", "hi-IN", "sv-SE"])
def test_numbers_of_many_places(page, locale):
    values = [0.0, -0.04, -0.05, 3.14159, -21.25, 9999.5, 12345.678, -1234567.891]
    told = of_text(page, "(text.speak(given[0]), given[1].map((one) => text.number(one, 2)))", [locale, values])
    of_text(page, "text.speak('nb-NO')")
    tag = locale.replace("-", "_")
    for value, text in zip(values, told, strict=True):
        pattern = "#,##0.00" if abs(value) >= 10_000 else "0.00"  # our choice: groups from five digits on
        if locale == "hi-IN" and abs(value) >= 10_000:
            pattern = "#,##,##0.00"  # lakhs and crores
        wanted = format_decimal(abs(value), format=pattern, locale=tag)
        assert text.removeprefix("\u2212") == wanted
        assert text.startswith("\u2212") == (value < 0 and round(value, 2) != 0)


TIMES = [
    "2026-03-01T12:00:00",
    "2026-03-29T00:30:00",
    "2026-03-29T01:30:00",
    "2026-10-25T00:30:00",
    "2026-10-25T01:30:00",
]
PLACES = ["Europe/Oslo", "America/St_Johns", "Asia/Kathmandu", "Pacific/Chatham", "UTC"]


@pytest.mark.parametrize("place", PLACES)
def test_times_are_the_farms_clock_whatever_this_devices_is(page, place):
    for text in TIMES:
        at = datetime.fromisoformat(text).replace(tzinfo=UTC)
        ms = at.timestamp() * 1000
        local = at.astimezone(ZoneInfo(place))
        assert of_text(page, "text.isoTime(...given)", [ms, place]) == local.isoformat()
        back = of_text(page, "text.instantOf(...given)", [local.replace(tzinfo=None).isoformat(), place])
        first = local.replace(tzinfo=None, fold=0).replace(tzinfo=ZoneInfo(place))  # of two, the earlier
        assert back == first.timestamp() * 1000


def test_an_hour_that_the_clock_skips_is_an_instant_near_it(page):
    found = of_text(page, "text.instantOf('2026-03-29T02:30', 'Europe/Oslo')")
    turn = datetime(2026, 3, 29, 1, tzinfo=UTC)
    assert abs(datetime.fromtimestamp(found / 1000, UTC) - turn) <= timedelta(minutes=30)
    assert of_text(page, "Number.isNaN(text.instantOf('', 'Europe/Oslo'))")


def test_what_is_done_is_written_down_by_the_farms_clock(page, house):
    form = page.locator("#write-down")
    form.get_by_label("Who").fill("Kim")
    form.locator("select").first.select_option("note")
    form.get_by_label("What happened").fill("By the farm's clock.")
    form.get_by_label("When, if not now (clock of Europe/Oslo)").fill("2026-03-02T12:00")  # noon in Oslo is 11:00 UTC
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("status")).to_have_text("Written down.")
    notes = house.journal.log.entries("testfarm", kinds=["note"])
    (written,) = [one for one in notes if one.detail.note == "By the farm's clock."]
    house.journal.log.withdraw("testfarm", written.identity, "test", NOW_US)
    assert written.at_us == NOW_US - 3_600_000_000


def test_values_at_a_glance_are_named_where_their_unit_tells_two(page):
    row = {"value": 1.5, "decimals": 1, "display_unit": "°C", "standing": "no_band", "label": "Air temperature"}
    rows = [row, row | {"label": "Dew point", "value": 0.5}, row | {"display_unit": "", "label": "pH"}]
    told = page.evaluate("async (given) => (await import('/page/zones.js')).glance(given)", rows)
    assert told.replace("\u00a0", " ") == "1,5 °C · Dew point 0,5 °C · pH 1,5"
