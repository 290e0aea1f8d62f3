"""A pH calibration written down on the page, in pH and in mV of the electrode."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analytics.probes import TwoPointCalibration
from api.examples import EXAMPLES
from farm.check import check_text
from store.journal import Journal
from tests.browsing import DESK, IN_BROWSER, PHONE, expect
from tests.conftest import SMALL_FARM
from tests.serving import Served

pytestmark = IN_BROWSER
TANK = """
[zones.tank]
kind = "reservoir"
label = "Tank"
[[series]]
zone = "tank"
quantity = "solution_ph"
"""


@pytest.fixture
def written(browser, house, tmp_path):
    """Open the form for a pH calibration; gives it, and what the journal then holds."""
    farm, mistakes = check_text(SMALL_FARM + TANK)
    assert farm is not None, mistakes
    contexts = []
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        served = Served(replace(house, farm=farm, journal=journal))

        def form(size):
            contexts.append(browser.new_context(viewport={"width": size[0], "height": size[1]}))
            page = contexts[-1].new_page()
            page.goto(f"{served.url}#open=write-down")
            shown = page.locator("#write-down")
            shown.get_by_label("Who").fill("Kim")
            shown.locator("select").first.select_option(label="pH calibration")
            shown.locator("select").nth(1).select_option("tank/solution_ph")
            shown.get_by_label("First buffer, pH at 25 °C").fill("7.00")
            shown.get_by_label("Second buffer, pH at 25 °C").fill("4.01")
            return shown

        yield form, lambda: journal.log.entries("testfarm", kinds=["ph_calibration"])
        for one in contexts:
            one.close()
        served.stop()


def test_a_refilled_bottle_is_chosen_by_its_name_and_a_sample_told_in_the_probes_unit(tabs, served):
    page = tabs.open(PHONE)
    page.route("**/api/v1/balances?*", lambda route: route.fulfill(json=EXAMPLES["balances"]))
    sent = []
    page.route("**/api/v1/log", lambda route: (sent.append(route.request.post_data_json), route.fulfill(json={})))
    page.goto(f"{served.url}#open=write-down")
    form = page.locator("#write-down")
    form.get_by_label("Who").fill("Kim")
    form.locator("select").first.select_option(label="Bottle refilled")
    form.locator("select").nth(1).select_option(label="Stock A")
    form.get_by_label("Holds now, L").fill("20")
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("status")).to_have_text("Written down.")
    assert sent[0]["detail"] == {"kind": "refill", "stock": "nutrient-a", "holds_l": 20}
    form.locator("select").first.select_option(label="Sample by hand")
    form.get_by_label("Compared with").select_option("room/relative_humidity")
    expect(form.get_by_label("What your instrument gave, %")).to_be_visible()


def test_where_no_stock_is_known_a_bottle_is_written_by_its_name(tabs, served):
    page = tabs.open(PHONE)
    page.route("**/api/v1/balances?*", lambda route: route.fulfill(json=EXAMPLES["balances"] | {"stocks": []}))
    page.goto(f"{served.url}#open=write-down")
    page.locator("#write-down select").first.select_option(label="Bottle refilled")
    expect(page.locator("#write-down").get_by_label("Bottle, as named in farm.toml")).to_be_editable()


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_in_mv_of_the_electrode(written, size):
    form, entries = written
    shown = form(size)
    shown.get_by_label("The readings are").select_option(label="mV of the electrode")
    shown.get_by_label("The probe read in the first, mV").fill("-3.5")
    shown.get_by_label("The probe read in the second, mV").fill("168.2")
    expect(shown).to_contain_text("mV tell the electrode’s slope and offset")
    shown.get_by_role("button", name="Write it down").click()
    expect(shown.get_by_role("status")).to_have_text("Written down.")
    [one] = entries()
    detail = one.detail
    assert (detail.series, detail.buffers, detail.readings) == ("tank/solution_ph", (7.0, 4.01), (-3.5, 168.2))
    assert (detail.reading_unit, detail.temperature_c, detail.adjusted) == ("mV", 25.0, False)
    # By hand: (168.2 + 3.5) mV over (7.00 - 4.01) pH is 57.42 mV a pH, and -3.5 mV at pH 7; a bottle's name is good to
    # 0.01 pH, which is 0.2 mV a pH in the slope and 0.6 mV in the offset.
    read = TwoPointCalibration(one.at_us, detail.buffers, detail.readings, "mV", detail.temperature_c)
    assert abs(read.slope) == pytest.approx(57.42, abs=0.2)
    assert read.offset_mv == pytest.approx(-3.5, abs=0.6)


def test_in_ph_as_the_device_shows_it_and_nothing_else_is_taken_for_it(written):
    form, entries = written
    shown = form(DESK)
    shown.get_by_label("The probe read in the first, pH").fill("-3.5")
    shown.get_by_label("The probe read in the second, pH").fill("168.2")
    shown.get_by_role("button", name="Write it down").click()
    expect(shown.get_by_role("alert")).to_contain_text("readings from -1 to 15 pH")
    shown.get_by_label("The probe read in the first, pH").fill("7.06")
    shown.get_by_label("The probe read in the second, pH").fill("4.13")
    shown.get_by_label("The device was set by it").check()
    shown.get_by_role("button", name="Write it down").click()
    expect(shown.get_by_role("status")).to_have_text("Written down.")
    [one] = entries()
    assert (one.detail.readings, one.detail.reading_unit, one.detail.adjusted) == ((7.06, 4.13), "pH", True)
