"""The page's sections in a real browser: the air on its chart, and what is read beside it."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator

import pytest

from api.examples import EXAMPLES
from tests.browsing import AXE, DESK, IN_BROWSER, NARROWEST, PHONE, expect
from tests.serving import Served

pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def served(house) -> Iterator[Served]:
    served = Served(house)
    yield served
    served.stop()


@pytest.fixture
def visit(tabs, served):
    """Return how to open the page."""

    def visit(path: str = "", size: tuple[int, int] = DESK, scheme: str = "light"):
        page = tabs.open(size, scheme)
        page.goto(served.url + path)
        page.locator("article.zone").first.wait_for()
        return page

    return visit


SHOWN = {"light-days": "#light", "root-zone": "#root-zone", "balances": "#balances"}


@pytest.fixture
def of_examples(tabs, served):
    """Return how to open the page with the documented examples as what three addresses answer."""

    def opened(path: str, size: tuple[int, int] = DESK, scheme: str = "light", **answers):
        page = tabs.open(size, scheme)
        for address in SHOWN:
            example = answers.get(address, EXAMPLES[address.replace("-", "_")])
            page.route(f"**/api/v1/{address}?*", lambda route, _, example=example: route.fulfill(json=example))
        page.goto(served.url + path)
        page.locator("article.zone").first.wait_for()
        return page

    return opened


def plain(locator) -> str:
    return locator.inner_text().replace("\u00a0", " ")


def test_the_air_is_drawn_hour_by_hour_and_told_in_words(visit):
    """24 hours: 16 of them lit, in 2 of which 82 % is above 75 %; the 8 dark ones are at 21.4 degC, above 20 degC."""
    air = visit("#air=room&open=air").locator("#air")
    caption = air.locator("#air-told")
    expect(caption).to_contain_text("Room, Sun 1 Mar, 13:00 to Mon 2 Mar, 13:00: 16 hours with lights on")
    told = plain(caption)
    assert "10.0 g/kg" in told
    assert "2 of 16 outside what the plan wants" in told
    assert "8 hours with lights off" in told
    assert "8 of 8 outside what the plan wants" in told
    expect(air.locator(".spots .lit")).to_have_count(16)
    expect(air.locator(".spots .dark")).to_have_count(8)
    expect(air.locator(".spots .out")).to_have_count(10)
    assert air.locator("path.wanted").count() == 2
    assert "1.0\u00a0kPa" in [
        one.replace(" ", "\u00a0") for one in air.locator("svg .name.deficit").all_text_contents()
    ]


def test_the_drawing_puts_each_hour_where_its_axes_say(visit):
    """10 g/kg, and 21.45 degC: the mean of ten steps from 21.0 to 21.9; measured on the axes' own numbers."""
    page = visit("#air=room&open=air")
    page.locator("#air .spots circle").first.wait_for()
    found = page.evaluate(
        """() => {
        const numbers = (selector, to) => [...document.querySelectorAll(selector)].map(to);
        const marks = numbers('#air .axes g', (g) => ({ value: Number(g.querySelector('text').textContent),
          x: Number(g.querySelector('line').getAttribute('x1')), y: Number(g.querySelector('line').getAttribute('y1')),
          across: g.querySelector('line').getAttribute('x1') === g.querySelector('line').getAttribute('x2') }));
        const spot = document.querySelector('#air .spots .lit');
        const along = (several, key) => { const [a, b] = [several[0], several.at(-1)];
          return (at) => a.value + (at - a[key]) / (b[key] - a[key]) * (b.value - a.value); };
        return { degc: along(marks.filter((one) => one.across), 'x')(Number(spot.getAttribute('cx'))),
          g_kg: along(marks.filter((one) => !one.across), 'y')(Number(spot.getAttribute('cy'))) }; }"""
    )
    assert found["degc"] == pytest.approx(21.45, abs=0.01)
    assert found["g_kg"] == pytest.approx(10.0, abs=0.01)


def test_an_hour_of_the_air_is_read_by_keyboard_and_the_address_keeps_the_choice(visit):
    page = visit("#air=room&open=air")
    slider = page.get_by_role("slider", name="Read an hour")
    slider.focus()
    page.keyboard.press("Home")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("^Sun 1 Mar, 13:00, the hour from then: "))
    expect(page.locator("#air circle.picked")).to_have_count(1)
    page.keyboard.press("End")
    expect(slider).to_have_attribute("aria-valuetext", re.compile("82.%.RH.*outside what the plan wants$"))
    page.locator("#air").get_by_label("Stretch").select_option("2026-03-01")
    page.locator("#air").get_by_label("Join the hours").check()
    expect(page.locator("#air-told")).to_contain_text("Sun 1 Mar, 00:00 to Mon 2 Mar, 00:00")
    expect(page.locator("#air path.course")).to_have_count(1)
    assert "airspan=2026-03-01&joined=yes" in page.url
    page.reload()
    expect(page.locator("#air-told")).to_contain_text("Sun 1 Mar, 00:00 to Mon 2 Mar, 00:00")
    table = page.locator("#air details", has_text="The same as a table")
    table.locator("summary").click()
    assert table.get_by_role("row").count() == 1 + 22, "23 hours of the day have readings, and one of them no humidity"


def another_stretch(page):
    page.locator("#air").get_by_label("Stretch").select_option("7d")


def another_day(page):
    page.evaluate("location.hash = 'day=2026-03-02&open=day'")


@pytest.mark.parametrize(
    ("link", "address", "told", "choose"),
    [
        ("#air=room&open=air", "air-chart", "#air-told", another_stretch),
        ("#day=2026-03-01&open=day", "days/2026-03-02", "#day .body", another_day),
    ],
)
def test_what_answered_another_question_is_not_shown_while_the_new_one_fails(
    browser, served, link, address, told, choose
):
    context = browser.new_context()
    page = context.new_page()
    page.goto(served.url + link)
    part = page.locator(told.split()[0].removesuffix("-told"))
    expect(page.locator(told)).to_contain_text("Mon 2 Mar")
    page.route(f"**/api/v1/{address}*", lambda route: route.fulfill(status=503, json={"detail": "The store rests."}))
    choose(page)
    expect(part.get_by_role("alert")).to_have_text("The store rests.")
    expect(part).not_to_contain_text("82")
    expect(part.locator("table, svg.air-drawing")).to_have_count(0)
    context.close()


def test_air_that_could_not_be_read_anew_says_how_old_it_is(browser, served):
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()
    page.goto(f"{served.url}#air=room&open=air")
    expect(page.locator("#air-told")).to_contain_text("Room")
    page.route("**/api/v1/air-chart*", lambda route: route.fulfill(status=503, json={"detail": "The store rests."}))
    page.clock.fast_forward(301_000)
    expect(page.locator("#air").get_by_role("alert")).to_contain_text("The store rests. What stands here was read 5")
    expect(page.locator("#air-told")).to_contain_text("Room")
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [NARROWEST, PHONE, DESK])
def test_the_air_fits_and_axe_finds_nothing_serious(visit, size, scheme):
    page = visit("#air=room&open=air", size, scheme)
    page.locator("#air .spots circle").first.wait_for()
    page.evaluate("document.querySelectorAll('#air details').forEach((one) => { one.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document.getElementById('air'))")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


def test_a_phone_shows_what_is_urgent_and_each_zone_and_folds_the_rest(visit):
    page = visit(size=PHONE)
    folds = page.locator("details.fold")
    expect(folds.first).to_be_visible()
    assert folds.count() >= 8
    assert page.locator("details.fold[open]").count() == 0
    assert page.locator("#timeline, #day, #data-set").count() == 0, "nothing is asked for that nobody looks at"
    room = page.locator("article.zone", has=page.locator("#zone-room"))
    assert plain(room.locator("summary").first).startswith("Relative humidity above; CO2, Air VPD silent; 1 inside")
    assert room.get_by_role("row").filter(has_text="Relative humidity").is_visible()
    outdoors = page.locator("article.zone", has=page.locator("#zone-outdoors"))
    assert outdoors.locator("summary").first.is_visible()
    assert page.evaluate("document.documentElement.scrollHeight") < 4000


def test_a_part_is_opened_and_folded_by_keyboard_and_the_link_keeps_it(visit):
    page = visit(size=PHONE)
    fold = page.locator("#fold-day")
    fold.locator("summary").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#day")).to_contain_text("The whole day")
    assert page.url.endswith("open=day")
    page.reload()
    expect(page.locator("#day")).to_contain_text("The whole day")
    page.locator("#fold-day > summary").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#day")).to_have_count(0)
    assert page.url.endswith("open=none")


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_links_at_the_top_lead_to_every_part(visit, size):
    page = visit(size=size)
    nav = page.get_by_role("navigation", name="On this page")
    if size == PHONE:
        nav.locator("summary").click()
    names = nav.get_by_role("link").all_inner_texts()
    assert len(names) == page.locator("details.fold").count()
    nav.get_by_role("link", name="Excursions").press("Enter")
    expect(page.locator("#excursions-title")).to_be_focused()
    expect(page.locator("#excursions-title")).to_be_in_viewport()
    assert "excursions" in page.url.rpartition("open=")[2]
    page.go_back()
    expect(page.locator("#fold-excursions")).not_to_have_attribute("open", "")


def test_a_need_opens_the_timeline_where_it_was_folded(visit):
    page = visit(size=PHONE)
    page.locator(".need a").filter(has_text="Relative humidity").first.click()
    expect(page.locator("#timeline figcaption").first).to_contain_text("Room, Relative humidity")
    expect(page.locator("#timeline-title")).to_be_focused()
    assert "open=timeline" in page.url


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_while_all_is_folded(visit, scheme):
    page = visit("#open=none", PHONE, scheme)
    page.locator("#fold-day").wait_for()
    page.evaluate(AXE)
    found = page.evaluate("axe.run()")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


def test_light_stands_by_day_and_row_with_what_missed_its_target(visit, of_examples):
    light = visit("#open=light").locator("#light")
    expect(light.locator("li").first).to_contain_text("Row: 14.4")
    assert "12.0 to 17.0 wanted; met" in plain(light)
    answer = copy.deepcopy(EXAMPLES["light_days"])
    [row] = answer["zones"]
    row["days"].append({**row["days"][0], "day": "2026-02-28", "mol": 8.9, "standing": "low"})
    light = of_examples("#open=light", **{"light-days": answer}).locator("#light")
    expect(light.locator("li")).to_contain_text("1 of 2 days missed it")
    assert light.locator("tbody th").all_inner_texts() == ["Sat 28 Feb", "Fri 27 Feb"], "the newest day first"
    low = light.locator("td.low")
    assert "8.9 below its target" in plain(low).replace("\n", " ")
    assert low.locator("path.out").count() == 1, "a shape, not colour alone"


def test_the_light_of_five_rows_fits_a_phone_and_of_many_scrolls_in_its_own_frame(of_examples):
    answer = copy.deepcopy(EXAMPLES["light_days"])
    [row] = answer["zones"]
    row["days"].append({**row["days"][0], "day": "2026-02-28", "mol": 5.2, "standing": "low"})
    names = ["Row 1", "Row 2", "Row 3", "Row 4", "Seedling shelf"]
    frames = {}
    for several in (names, [*names, *(f"Row {n}" for n in range(5, 15))]):
        answer["zones"] = [{**copy.deepcopy(row), "zone": f"z{i}", "label": name} for i, name in enumerate(several)]
        page = of_examples("#open=light", PHONE, **{"light-days": answer})
        page.locator("#light td.low").first.wait_for()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0], "the page itself stays"
        frame = page.locator("#light .sideways")
        frames[len(several)] = frame.evaluate("(one) => one.scrollWidth - one.clientWidth")
    assert frames[5] <= 0, "nothing is cut off"
    assert frames[15] > 100


def test_the_root_zone_shows_doses_top_ups_uptake_and_calibrations(of_examples):
    page = of_examples("#open=root-zone")
    root = page.locator("#root-zone")
    slider = root.get_by_role("slider", name="Read a day")
    told = slider.get_attribute("aria-valuetext").replace("\u00a0", " ")
    assert "EC drift, mS/cm a day" in root.locator("th").all_text_contents()
    for part in (
        "Sat 28 Feb 2026: EC at 25 °C 1.80 mS/cm (1.74 to 1.86)",
        "1 dose of nutrient, 60 mL",
        "topped up 35.1 L",
        "drunk 39.9 L, give or take 1.5 L",
        "taken up at 2.17 mS/cm, give or take 0.18 mS/cm",
    ):
        assert part in told, part
    assert root.locator("svg .tick").count() == 1
    assert root.locator("svg .drop").count() == 1
    assert "slope 97.6 % of Nernst, offset −2.6 mV" in plain(root)
    answer = copy.deepcopy(EXAMPLES["root_zone"])
    answer["reservoirs"][0]["days"][0]["solution"][0]["mean"] = 1.4
    root = of_examples("#open=root-zone", **{"root-zone": answer}).locator("#root-zone")
    expect(root).to_contain_text("1 of 1 days outside")
    assert root.locator("svg .out path.point").count() == 1


def test_what_was_drunk_is_averaged_over_whole_days_and_a_calibration_without_a_line_leaves_the_one_before(of_examples):
    answer = copy.deepcopy(EXAMPLES["root_zone"])
    [whole] = answer["reservoirs"][0]["days"]
    answer["days"].append("2026-03-01")
    answer["reservoirs"][0]["days"].append(whole | {"day": "2026-03-01", "complete": False, "drunk_l": 3.9})
    calibration = answer["probes"][0]["calibrations"][0]
    answer["probes"][0]["calibrations"].append(calibration | {"id": "4f9c1a7be0", "scale": None, "offset": None})
    shown = of_examples("#open=root-zone", **{"root-zone": answer}).locator("#root-zone")
    expect(shown).to_contain_text("on a whole day, on average")
    root = plain(shown)
    assert "39.9 L were drunk on a whole day, on average" in root
    assert "as before: in mV only after one in mV" in root


def test_what_is_over_is_not_counted_as_standing_and_what_is_of_the_whole_farm_names_no_place(tabs, served, house):
    alarm = EXAMPLES["alarms"]["alarms"][0]
    over = alarm | {"id": "1c5e8d21fa", "state": "returned_unacknowledged", "what": "Likely cause: The link was cut",
                    "where": house.farm.farm.title, "zone": None}  # fmt: skip
    page = tabs.open(DESK)
    answer = EXAMPLES["alarms"] | {"alarms": [alarm, over]}
    page.route("**/api/v1/alarms?*", lambda route: route.fulfill(json=answer))
    page.goto(served.url)
    told = "Over, and not acknowledged: Likely cause: The link was cut"
    page.locator("#needs").get_by_role("link", name=told, exact=True).wait_for()
    expect(page.locator("#fold-alarms > summary")).to_contain_text("1 alarm stands, 1 over and not acknowledged")


def test_one_notice_is_one(tabs, served):
    page = tabs.open(DESK)
    answer = EXAMPLES["notices"] | {"notices": EXAMPLES["notices"]["notices"][:1]}
    page.route("**/api/v1/notices*", lambda route: route.fulfill(json=answer))
    page.goto(f"{served.url}#open=alarms")
    expect(page.locator("#notices caption")).to_have_text("1 notice, 0 waiting")


def test_on_a_phone_what_is_over_opens_its_list_and_nothing_else(tabs, served):
    over = EXAMPLES["alarms"]["alarms"][0] | {"state": "returned_unacknowledged"}
    page = tabs.open(PHONE)
    page.route("**/api/v1/alarms?*", lambda route: route.fulfill(json=EXAMPLES["alarms"] | {"alarms": [over]}))
    page.goto(served.url)
    page.locator("#needs").get_by_role("link", name="Over, and not acknowledged").click()
    expect(page.locator("#over-title")).to_be_focused()
    expect(page.locator("#over-title")).to_be_in_viewport()
    assert [one.get_attribute("id") for one in page.locator("details.fold[open]").all()] == ["fold-alarms"]


def test_balances_tell_what_is_used_and_how_long_stocks_last(of_examples):
    page = of_examples("#open=balances&days=30")
    shown = page.locator("#balances")
    expect(shown.get_by_label("Days")).to_have_value("30")
    expect(shown).to_contain_text("water drunk")
    text = plain(shown)
    assert "water drunk 40.8 L, condensate 27.0 L, energy 122 kWh, at a cost of 19.55 EUR, CO2 633 g" in text
    assert "13.5 L\t812 mL\t17 days (13 to 22 days)\tFri 20 Feb 2026" in text
    answer = copy.deepcopy(EXAMPLES["balances"])
    answer["stocks"][0]["days_left"] = 3.2
    soon = of_examples("#open=balances", balances=answer).locator("#balances strong.outside")
    expect(soon).to_contain_text("3\u00a0days")


def test_where_another_choice_is_not_answered_the_one_before_is_not_shown_for_it(of_examples, tabs):
    page = of_examples("#open=balances&days=30")
    shown = page.locator("#balances")
    expect(shown).to_contain_text("water drunk")
    page.route("**/api/v1/balances?*", lambda route: route.abort())
    shown.get_by_label("Days").select_option("14")
    expect(shown.get_by_role("alert")).to_be_visible()
    expect(shown).not_to_contain_text("water drunk")
    tabs.complaints[:] = [one for one in tabs.complaints if "net::ERR_FAILED" not in one]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [NARROWEST, DESK])
def test_days_side_by_side_fit_and_axe_finds_nothing_serious(of_examples, size, scheme):
    page = of_examples("#open=light,root-zone,balances", size, scheme)
    for section in SHOWN.values():
        page.locator(f"{section} table").first.wait_for(state="attached")
    page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    text = "".join(page.locator(section).inner_text() for section in SHOWN.values())
    assert "undefined" not in text
    assert "NaN" not in text
    page.evaluate(AXE)
    found = page.evaluate("axe.run({ include: ['#light', '#root-zone', '#balances'] })")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []


def test_sensors_tell_who_is_silent_and_whose_readings_were_doubted(visit):
    sensors = visit("#open=sensors").locator("#sensors")
    expect(sensors).to_contain_text("6 series are described; 2 are silent")
    silent = sensors.get_by_role("table", name="Silent: 2")
    told = plain(silent)
    assert "Outdoors, Air temperature" in told
    assert "never heard from" in told
    assert ".." not in plain(sensors)
    assert "silent for 2 h 51 min" in told
    assert "every 60 s" in told
    well = sensors.locator("details", has_text="heard from")
    well.locator("summary").click()
    assert "Row, PPFD" in plain(well)
    lights = well.get_by_role("row").filter(has_text="Row, Lights")
    expect(lights.get_by_role("cell").first).to_have_text("on")  # no 1 or 0


def test_a_batch_tells_where_it_stood_and_what_it_bears(browser, served):
    context = browser.new_context()
    page = context.new_page()
    page.route("**/api/v1/batches", lambda route: route.fulfill(json=EXAMPLES["batches"]))
    page.route("**/api/v1/batches/*", lambda route: route.fulfill(json=EXAMPLES["batch"]))
    page.goto(served.url + "#open=batches")
    batches = page.locator("#batches")
    batches.locator("summary").click()
    batches.get_by_text("What it had in all").wait_for()
    told = plain(batches)
    # 296.4 mol in 483.2 h are 14.7 a day
    assert "Row 1\tgrowing on\tMon 9 Feb, 00:00\tstill there\t14.7 mol m⁻² d⁻¹" in told
    for part in (
        "Energy\t612 kWh",
        "Water drunk\t212 L",
        "Stock A\t4060 mL",
        "CO2 dosed\t3150 g",
        "by plants and time",
    ):
        assert part in told, part
    assert "undefined" not in told
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document.getElementById('batches'))")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
    context.close()


@pytest.mark.parametrize(
    ("link", "part"),
    [
        ("#day=2026-03-01", "day"),
        ("#series=room/air_temperature", "timeline"),
        ("#tracks=room/air_temperature&last=7d", "timeline"),
        ("#from=2026-03-01&to=2026-03-02", "timeline"),
        ("#airspan=7d", "air"),
    ],
)
def test_a_link_from_before_opens_what_it_speaks_of(visit, link, part):
    page = visit(link, PHONE)
    page.locator(f"#{part}").wait_for()
    assert page.locator("details.fold[open]").count() == 1


def test_one_part_is_folded_away_out_of_all(visit):
    page = visit("#open=all")
    page.locator("#fold-air > summary").click()
    expect(page.locator("#air")).to_have_count(0)
    assert page.url.endswith("open=all,-air")
    page.reload()
    page.locator("#timeline").wait_for()
    assert page.locator("#air").count() == 0
    page.locator("#fold-air > summary").click()
    expect(page.locator("#air")).to_have_count(1)
    assert page.url.endswith("open=all")


def test_a_finding_says_how_to_read_it_in_a_terminal(browser, served):
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]})
    page = context.new_page()
    page.route("**/api/v1/findings?*", lambda route: route.fulfill(json=EXAMPLES["findings"]))
    page.goto(f"{served.url}#open=excursions")
    identity = EXAMPLES["findings"]["findings"][0]["id"]
    finding = page.locator(f"#found-{identity}")
    finding.wait_for(state="attached")
    expect(finding.locator("code")).to_have_text(f"leafweather explain {identity}")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    context.close()


def test_a_zones_day_is_told_in_a_line_on_a_phone(browser, served):
    def row(label, below_h, coverage=1.0, *, banded=True):
        band = {"inside_h": 24 * coverage - below_h, "below_h": below_h, "above_h": 0.0, "covered_h": 24 * coverage}
        return {"key": f"x/{label}", "label": label, "unit": "degC", "mean": 20.0, "low": 19.0, "high": 21.0,
                "count": 1440, "coverage": coverage, "band": band if banded else None}  # fmt: skip

    zones = {"Dark": [row("PPFD", 10.0), row("pH", 0.04)], "Well": [row("pH", 0.04)], "Gappy": [row("pH", 0.0, 0.5)],
             "Free": [row("Power", 0.0, banded=False)]}  # fmt: skip
    sheet = EXAMPLES["day"] | {"zones": [{"zone": name, "label": name, "series": of} for name, of in zones.items()]}
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]})
    page = context.new_page()
    page.route("**/api/v1/days", lambda route: route.fulfill(json={"days": ["2026-02-28"]}))
    page.route("**/api/v1/days/2026-02-28", lambda route: route.fulfill(json=sheet))
    page.goto(f"{served.url}#open=day")
    page.locator("#day summary", has_text="Time in band, zone by zone").click()
    told = page.locator("#day summary", has_text=re.compile(f"^({'|'.join(zones)}):"))
    expect(told).to_have_text(
        [
            "Dark: PPFD 10.0\u00a0h outside",
            "Well: nothing outside for 3\u00a0min",
            "Gappy: never outside, as far as readings speak for it",
            "Free: no limits are set here",
        ]
    )
    told.first.click()
    page.locator("#day caption", has_text="Time in band, Dark").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    context.close()


def test_what_is_told_alike_is_told_once(browser, served):
    """No "0.0 h; at least 0.0 h, at most 0.0 h" and no "in 5 days (5 to 5 days)"; what differs is told as it is."""
    sheet = copy.deepcopy(EXAMPLES["day"])
    first = sheet["surfaces"][0]
    dry = first | {"label": "Dry", "wet_h": 0.0, "surely_wet_h": 0.0, "perhaps_wet_h": 0.04}
    sheet["surfaces"] = [first | {"label": "Wet", "wet_h": 5.9, "surely_wet_h": 5.8, "perhaps_wet_h": 6.0}, dry]
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]})
    page = context.new_page()
    page.route("**/api/v1/days", lambda route: route.fulfill(json={"days": ["2026-02-28"]}))
    page.route("**/api/v1/days/2026-02-28", lambda route: route.fulfill(json=sheet))
    page.goto(f"{served.url}#open=day")
    walls = page.get_by_role("table", name="Margin above the dew point, wet time and mould")
    cells = [walls.get_by_role("row").filter(has_text=name).get_by_role("cell").nth(1) for name in ("Wet", "Dry")]
    expect(cells[0]).to_have_text("5.9 h; at least 5.8 h, at most 6.0 h")
    expect(cells[1]).to_have_text("0.0 h")
    told = page.evaluate(
        """async () => { const { due } = await import('/page/told.js');
        return [due(5.2, 4.9, 5.4), due(5.2, 4.2, 7.1), due(5.2, null, 7)]; }"""
    )
    assert [one.replace("\u00a0", " ") for one in told] == ["in 5 days", "in 5 days (4 to 7 days)", "in 5 days"]
    context.close()


def test_a_data_set_up_to_today_has_no_end_so_that_what_is_still_to_come_is_no_gap(visit):
    page = visit()
    asked = """async ([last, today]) => {
      const { query } = await import("/page/data_set.js");
      return String(query({ first: "2026-03-01", last, zone: "", batch: "", every: "" }, today));
    }"""
    assert page.evaluate(asked, ["2026-03-02", "2026-03-02"]) == "start=2026-03-01"
    assert page.evaluate(asked, ["2026-03-01", "2026-03-02"]) == "start=2026-03-01&end=2026-03-02"
