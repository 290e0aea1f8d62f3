"""The page in a real browser that can reach nothing but this machine."""

from __future__ import annotations

import copy
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.examples import EXAMPLES
from farm.alarm_words import Priority
from store.alarm_entries import AlarmEntry
from store.log_entries import Note, PhCalibration
from store.notice_entries import Link
from tests.api.conftest import HOUR_US, HUMIDITY, NOW_US, OPEN, T0_US
from tests.api.page_reads import science_of
from tests.browsing import AXE, DESK, IN_BROWSER, NARROWEST, PHONE, SMALL_PHONE, expect

pytestmark = IN_BROWSER


@pytest.fixture
def visit(tabs, served):
    """Return how to open the page."""

    def visit(path: str = "", size: tuple[int, int] = DESK, scheme: str = "light", clock: bool = False):
        page = tabs.open(size, scheme)
        if clock:
            page.clock.install()
        everything = "" if "open=" in path else "&open=all" if "#" in path else "#open=all"
        page.goto(served.url + path + everything)
        page.get_by_text("Room", exact=True).first.wait_for()
        page.locator(".uplot canvas").first.wait_for()
        return page

    visit.complaints = tabs.complaints
    return visit


def test_the_first_screen_tells_what_needs_a_person_and_each_zone(visit):
    page = visit()
    assert page.title() == "Test farm · Leafweather"
    assert page.get_by_text("Invented demonstration farm.").is_visible()
    assert page.locator(".need").filter(has_text="Relative humidity").first.is_visible()
    zones = page.locator("article.zone")
    assert zones.locator("h3").all_text_contents() == ["Room", "Row", "Outdoors"]
    humidity = page.get_by_role("row").filter(has_text="Relative humidity").first
    assert "82.0 %" in humidity.inner_text().replace("\u00a0", " ").replace("\n", " ")
    assert "above" in humidity.inner_text()
    assert "50.0 to 75.0" in humidity.inner_text()
    assert page.locator("header").get_by_text("live", exact=True).is_visible()
    assert page.locator("header .clock").inner_text() == "13:00"  # noon UTC is 13:00 in Oslo in winter
    assert "not a life-safety device" in page.locator("footer").inner_text()


def test_what_has_answered_is_shown_while_the_rest_takes_its_time(browser, served):
    context = browser.new_context()
    page = context.new_page()
    held = []
    page.route("**/api/v1/notices*", lambda route: held.append(route))  # it gets no answer
    page.add_init_script("window.setInterval = () => 0;")  # the clock's tick would show it a second later
    page.goto(served.url)
    expect(page.locator("article.zone").first).to_contain_text("Relative humidity")
    assert held
    context.close()


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_what_was_done_is_written_down_on_the_page(visit, house, size):
    page = visit(size=size)
    form = page.locator("#write-down")
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("alert")).to_have_text("Give your name first.")
    form.get_by_label("Who").fill("Kim")
    form.locator("select").first.select_option(label="Sample by hand")
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("alert")).to_contain_text("Fill in every field")
    form.get_by_label("Compared with").select_option("room/air_temperature")
    form.get_by_label("What your instrument gave").fill(str(size[0] / 100))
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("status")).to_have_text("Written down.")
    newest = max(house.journal.log.entries("testfarm", kinds=["grab_sample"]), key=lambda one: one.written_us)
    assert (newest.author, newest.detail.series, newest.detail.value) == ("Kim", "room/air_temperature", size[0] / 100)
    form.locator("select").first.select_option(label="Bottle refilled")
    form.locator("select").nth(1).select_option("nutrient-a")  # the day sheet's; this farm describes it no more
    form.get_by_label("Holds now, L").fill("5")
    form.get_by_role("button", name="Write it down").click()
    expect(form.get_by_role("alert")).to_contain_text("no stock of farm.toml")
    visit.complaints[:] = [one for one in visit.complaints if "422" not in one]  # the browser notes the refusal
    house.journal.log.withdraw("testfarm", newest.identity, "test", NOW_US)


def test_every_module_is_fetched_at_once_not_wave_by_wave():
    page = Path(__file__).parents[2] / "api" / "page"
    named = set(re.findall(r'rel="modulepreload" href="/page/([^"]+)"', (page / "index.html").read_text()))
    assert named == {one.relative_to(page).as_posix() for one in page.rglob("*.js")} - {"app.js"}


def test_silent_series_are_not_shown_as_fresh(visit):
    page = visit()
    co2 = page.get_by_role("row").filter(has_text="CO2").first
    assert "silent" in co2.inner_text()
    assert "last heard 2 h 51 min ago" in co2.inner_text().replace("\u00a0", " ")


def test_when_nothing_needs_a_person_it_says_so_and_how_fresh_that_is(browser, served):
    context = browser.new_context()
    page = context.new_page()
    nothing = {"time": "2026-03-02T12:00:00Z", "needs": []}
    page.route("**/api/v1/needs", lambda route: route.fulfill(json=nothing))
    page.goto(served.url)
    expect(page.locator("#needs")).to_contain_text("Nothing needs a person now.")
    expect(page.locator("#needs")).to_contain_text("looked at Mon 2 Mar, 13:00")
    context.close()


def test_a_need_opens_its_series_around_the_excursion(visit):
    page = visit()
    page.locator(".need a").filter(has_text="Relative humidity").first.click()
    expect(page.locator("figcaption").first).to_contain_text("Room, Relative humidity [%]")
    assert f"tracks={HUMIDITY.key},room/air_temperature,row/ppfd&last=" in page.url  # it began two hours ago
    assert page.evaluate("document.activeElement.id") == "timeline-title"
    assert OPEN.end_us is None


def test_the_keyboard_reaches_and_moves_everything(visit):
    page = visit("#tracks=room/air_temperature&last=1h")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "needs-title"
    assert "tracks=room/air_temperature" in page.url
    page.get_by_role("radio", name="Hour").focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("radio", name="Day")).to_be_checked()
    expect(page.locator(".spanned")).to_contain_text("Sun 1 Mar, 13:00 CET to Mon 2 Mar 2026, 13:00 CET")
    slider = page.get_by_role("slider", name="Read a moment")
    # the day has come: every minute, and one more where the page's own clock has gone on past the server's still one
    expect(slider).to_have_attribute("max", re.compile("^14(39|40)$"))
    slider.focus()
    before = slider.get_attribute("aria-valuetext")
    page.keyboard.press("Home")
    # noon UTC of 1 March is the fixture's minute 720: 21 and no tenths; lights are on
    expect(slider).to_have_attribute(
        "aria-valuetext", "Sun 1 Mar, 13:00. Room, Air temperature: 21.0\u00a0°C, inside its band"
    )
    assert not before.startswith("Sun 1 Mar, 13:00")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none", "the focus is visible"


@pytest.mark.parametrize("size", [NARROWEST, SMALL_PHONE, PHONE, DESK])
def test_nothing_scrolls_sideways(visit, size):
    page = visit("", size)
    page.locator("#day .stack").first.wait_for()
    page.locator("#day summary", has_text="How good the readings were").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    small = page.evaluate(
        """() => [...document.querySelectorAll('a, button, select, summary, input[type=range], .ranges span')]
        .filter((one) => one.checkVisibility() && !one.closest('.sentence, .invented, footer p:not(.note)'))
        .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 80)])
        .filter(([box]) => box.width > 0 && (box.height < 24 || box.width < 24)).map(([, text]) => text)"""
    )
    assert small == [], "WCAG 2.2, 2.5.8: targets are at least 24 px wide and high"


def test_names_nobody_described_and_wrong_clocks_are_shown(visit):
    page = visit()
    unknown = page.locator("#unknown")
    assert "room/humidty" in unknown.inner_text()
    assert "yard-1" not in unknown.inner_text()  # described since
    unknown.locator("summary").first.click()
    assert "relative_humidity" in unknown.locator(".raw").first.inner_text()
    assert "Set its clock" in page.locator("#clocks").inner_text()
    assert "3\u00a0min ahead" in page.locator("#clocks").inner_text()


def test_the_record_shows_the_day_and_what_was_refused_as_text(visit):
    page = visit("#day=2026-03-01")
    day = page.locator("#day")
    expect(day).to_contain_text("12.0 to 17.0, met")
    expect(day).to_contain_text("14.4\u00a0mol m⁻² d⁻¹")
    rejects = page.locator("#rejects")
    assert "room/humidty" in rejects.inner_text()
    rejects.locator("summary").nth(1).click()
    assert r"<b>\x5c\xff\x00\x0a</b>" in rejects.inner_text()
    excursions = page.locator("#excursions tbody tr")
    told = excursions.first.inner_text().replace("\u00a0", " ")
    assert "open" in told
    assert "above 70.0 %" in told
    assert "82.0 %, when 75.0 % was the limit" in told


def test_who_was_told_is_shown_with_every_try(visit):
    page = visit()
    section = page.locator("#notices")
    section.get_by_text("10 notices, 9 waiting").wait_for()
    row = section.get_by_role("row").filter(has_text="Room: Relative humidity <1>")
    assert "ada, mail 1" in row.inner_text()
    assert "sent" in row.inner_text()
    row.get_by_text("Text and tries").click()
    row.get_by_text("not taken, tried again (451 later <b>)").wait_for()
    assert "Too humid." in row.inner_text()
    assert section.get_by_role("row").count() == 9  # with the heads
    section.get_by_role("button", name="Show all 10").click()
    assert section.get_by_role("row").count() == 11


def test_a_notices_link_is_acknowledged_by_its_button(browser, served, house):
    entry = AlarmEntry(
        "testfarm", "door_open/room", T0_US, T0_US, None, Priority.HIGH, "door", detail={"text": "Open."}
    )
    house.journal.alarms.replace("testfarm", entry.condition, 0, [entry], NOW_US)
    try:
        token = "t" * 43
        house.journal.links.keep(Link("testfarm", "ada", "n", "door", (entry.identity,), NOW_US + HOUR_US), token)
        context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]})
        page = context.new_page()
        page.goto(f"{served.url}acknowledge/{token}")
        page.get_by_text("Open. Since 01 March").wait_for()
        page.evaluate(AXE)
        assert page.evaluate("axe.run().then((found) => found.violations.map((one) => one.id))") == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        page.get_by_role("button", name="Acknowledge").click()
        page.get_by_text("Acknowledged by ada at").wait_for()
        context.close()
        assert [act.about for act in house.journal.alarms.acts("testfarm")] == [entry.identity]
    finally:
        house.journal.alarms.replace("testfarm", entry.condition, 0, [], NOW_US)


def test_the_day_sheet_shows_the_science_with_its_give_or_take_limits_and_cautions(visit):
    page = visit("#day=2026-03-01")
    day = page.locator("#day")
    expect(day).to_contain_text("How good the readings were")
    shown = day.inner_text().replace("\u00a0", " ")
    for told in (
        "−2.5 K, give or take 0.5 K, at 08:51",
        "1.6 K, give or take 3.4 K, at −6 °C outdoors; from 7 nights",
        "−0.78 % in 1000 h (−0.85 to −0.70 %)",
        "limit 5000 ppm",
        "Only a certified gas detector and alarm protects people",
        "Rise of EC, as a share of what the stock should give\tnot known",
        "doser running on\t480 mL\tnot known\t0.247 mS/cm",
        "add acid to water and never water to acid",
        "55 of 56 planned",
        "missed: nothing began within 4 min of the usual time; the pump did not run.",
        "the pump ran for 5 min and no water came up",
        "Assumed: nothing is drained",
        "Humidity sensor stuck wet: Room, Relative humidity, since 04:10, for 1.5 h.",
    ):
        assert told in shown, told
    assert "undefined" not in shown
    assert "NaN" not in shown


@pytest.fixture
def wrote(house) -> Iterator[None]:
    """Two entries of the day shown, withdrawn again after the test: the journal is shared."""
    log = house.journal.log
    details = [
        PhCalibration(series="reservoir/solution_ph", buffers=(7.0, 4.01), readings=(-3.5, 168.2), reading_unit="mV"),
        Note(note="<b>Plug</b> of row 3 was loose."),
    ]
    entries = [log.add("testfarm", T0_US + n * HOUR_US, "kim", one, NOW_US) for n, one in enumerate(details)]
    yield
    for one in entries:
        log.withdraw("testfarm", one.identity, "kim", NOW_US)


@pytest.mark.usefixtures("wrote")
def test_the_day_sheet_has_what_people_wrote_that_day(visit):
    wrote = visit("#day=2026-03-01").locator("#day details", has_text="What people wrote: 2").locator("li")
    expect(wrote).to_have_text(
        [
            "01:00, kim: pH calibration of reservoir/solution_ph: buffers pH 7 and 4.01 read −3.5 and 168.2 mV.",
            "02:00, kim: note. <b>Plug</b> of row 3 was loose.",
        ]
    )


def test_values_stand_with_what_they_may_be_off_by(visit):
    page = visit()
    air = page.locator("#zones").get_by_role("row").filter(has_text="Air temperature").first
    expect(air).to_contain_text("give or take ±\u00a00.3")  # the registry's own, as none is described


def test_a_data_set_is_chosen_and_taken_away(visit, tmp_path):
    page = visit()
    section = page.get_by_role("region", name="Data set")
    status = section.get_by_role("status")
    # room: air, humidity (an hour is missing), CO2, and a derived one; row: light and lights; outdoors: nothing yet
    expect(status).to_contain_text("series, as they arrived, from about")
    expect(status).to_contain_text("outdoors/air_temperature")
    section.get_by_label("First day").fill("2026-03-03")
    expect(section.get_by_role("alert")).to_have_text("The first day is after the last day.")
    assert section.get_by_role("link", name="Download").count() == 0
    section.get_by_label("First day").fill("2026-03-01")
    section.get_by_label("Last day").fill("2026-03-01")
    section.get_by_label("Zone").select_option("row")
    choices = section.get_by_label("Readings").locator("option").all_inner_texts()
    assert choices[1:3] == ["cleaned, one value every minute", "cleaned, one value every 10 minutes"]
    section.get_by_label("Readings").focus()
    page.keyboard.press("End")  # by keyboard alone: the last choice is the local day
    expect(status).to_contain_text("2 series, cleaned, 1 cell each")
    section.get_by_label("Parquet").check()
    section.get_by_label("Licence, if any").fill("CC-BY-4.0")
    with page.expect_download() as waiting:
        section.get_by_role("link", name="Download the data set").press("Enter")
    waiting.value.save_as(tmp_path / "set.zip")
    assert waiting.value.suggested_filename == "testfarm-cleaned-2026-02-28-to-2026-03-01.zip"
    with zipfile.ZipFile(tmp_path / "set.zip") as packed:
        names = [one.rsplit("/")[-1] for one in packed.namelist()]
        assert {"README.md", "readings.csv", "readings.parquet"} <= set(names)
        text = packed.read(next(one for one in packed.namelist() if one.endswith("readings.csv"))).decode()
    lines = [line.split(",") for line in text.splitlines()]
    row = dict(zip(lines[0], lines[1], strict=True))
    # Oslo's 1 March is 24 h, from 23:00 UTC; readings begin at 00:00 UTC: lit 16 h of the 23 that are covered
    assert float(row['"row__lights_on"']) == pytest.approx(16 / 23, rel=1e-6)


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_the_day_sheet_leads_to_its_reports(visit, size):
    page = visit("#day=2026-03-01", size)
    section = page.get_by_role("region", name="Day sheet")
    pdf = section.get_by_role("link", name="Report of its week, PDF")
    answer = page.request.get(page.url.split("#")[0].rstrip("/") + pdf.get_attribute("href"))
    assert answer.body().startswith(b"%PDF-")
    section.get_by_role("link", name="Report of this day, to print").press("Enter")
    page.get_by_role("heading", name="Day report: Sun 1 Mar 2026").wait_for()
    style = "getComputedStyle(document.querySelector('.n')).textAlign"
    assert page.evaluate(style) == "right", "the policy lets its own style in"
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    printed = page.pdf(prefer_css_page_size=True)
    assert b"/MediaBox [0 0 594.95996 841.91998]" in printed or b"/MediaBox [0 0 595 842]" in printed, "A4"
    page.evaluate(AXE)
    found = page.evaluate("axe.run()")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
    page.evaluate(
        "const one = document.createElement('script'); one.textContent = 'window.ran = 1'; document.body.append(one)"
    )
    assert page.evaluate("window.ran") is None
    assert all("Content Security Policy" in one for one in visit.complaints)
    visit.complaints.clear()


def test_what_the_server_refuses_is_told_in_its_own_words(visit):
    page = visit()
    section = page.get_by_role("region", name="Data set")
    section.get_by_label("First day").fill("2020-01-01")
    section.get_by_label("Last day").fill("2020-01-02")
    expect(section.get_by_role("alert")).to_contain_text("their readings run from 2026-03-01 01:00")
    assert [one for one in visit.complaints if "422" not in one] == []
    visit.complaints.clear()


def test_the_page_reads_no_key_that_a_day_sheet_has_not(visit):
    page = visit()
    sheet = copy.deepcopy(EXAMPLES["day"])
    assert science_of(page, sheet).missing == set()
    sheet["surfaces"][0]["lowest_margin"] = sheet["surfaces"][0].pop("lowest_margin_k")
    assert science_of(page, sheet).missing == {"surfaces[].lowest_margin_k"}


@pytest.mark.parametrize(
    ("standing", "told"),
    [
        ("near", "near the limit: 4970 ppm, give or take 50 ppm; limit 5000 ppm"),
        ("above", "above the limit: 4970 ppm, give or take 50 ppm; limit 5000 ppm"),
        ("unknown", "4970 ppm, give or take 50 ppm; limit 5000 ppm; not sure to be below it"),
    ],
)
def test_exposure_says_in_words_how_it_stands_against_its_limit(visit, standing, told):
    page = visit()
    sheet = copy.deepcopy(EXAMPLES["day"])
    sheet["carbon_dioxide"][0]["average_8h"] |= {"ppm": 4970.0, "standing": standing}
    assert f"Highest average over 8 h\t{told}\n" in science_of(page, sheet).text


def test_sheets_from_before_a_section_was_made_still_show(visit):
    page = visit()
    older = {name: EXAMPLES["day"][name] for name in ("zones", "light_days")}
    shown = science_of(page, older).text
    assert "Light days that began on this day" in shown
    assert "Energy" not in shown


def test_a_cause_that_began_before_the_day_stands_with_its_date(visit):
    page = visit()
    onsets = {"Before.": "2026-02-27T03:00:00Z", "That day.": "2026-03-01T11:00:00Z"}
    found = [{"id": name, "onset": onset, "headline": name} for name, onset in onsets.items()]
    older = {name: EXAMPLES["day"][name] for name in ("zones", "light_days")}
    sheet = older | {"start": "2026-02-28T23:00:00Z", "findings": found}
    shown = science_of(page, sheet).text
    assert "Likely causes\nFri 27 Feb, 04:00: Before.\n12:00: That day.\n" in shown


def test_a_day_tells_how_many_findings_are_alike_and_that_lamps_were_switched_on(visit):
    page = visit()
    one = {"id": "a", "onset": "2026-03-01T11:00:00Z", "headline": "Dark (90 %).", "series": "row/ppfd"}
    for other, counted in (
        ({"series": "row/air_temperature"}, "In 2 excursions."),
        ({"series": None}, "In 2 findings."),
    ):
        shown = science_of(page, EXAMPLES["day"] | {"findings": [one, one | {"id": "b"} | other]}).text
        assert f"Dark (90 %). {counted}" in shown
        assert "estimated from 16.0 h switched on, 2.0 h of it dark" in shown.replace("\u00a0", " ")


def test_it_says_so_when_the_server_no_longer_answers(visit, served):
    page = visit(clock=True)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")  # else its script is what cannot be reached
    served.stop()
    expect(page.locator("header [role=status]")).to_have_text("reconnecting", timeout=15_000)
    page.clock.fast_forward(120_000)
    expect(page.locator("header [role=status]")).to_contain_text("old", timeout=15_000)
    expect(page.locator("#zones .warning")).to_contain_text("the server does not answer")
    expect(page.get_by_role("row").filter(has_text="CO2").first).to_contain_text("silent")
    expect(page.get_by_role("row").filter(has_text="Relative humidity").first).to_contain_text("was above")
    assert visit.complaints
    assert all("ERR_CONNECTION_REFUSED" in one for one in visit.complaints), visit.complaints
    visit.complaints.clear()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_axe_finds_no_serious_violation(visit, scheme, size):
    page = visit(
        "#tracks=room/relative_humidity,room/air_temperature:outdoors/air_temperature,row/lights_on&day=2026-03-01",
        size,
        scheme,
    )
    page.locator("#day .stack").first.wait_for()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    page.evaluate(AXE)
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 20
    serious = [
        (one["id"], [node["html"][:120] for node in one["nodes"][:3]])
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []


@pytest.fixture
def with_alarms(house):
    """Give the house alarms: one on the open excursion, one that is over, and one that follows."""
    alarms = house.journal.alarms
    humid = AlarmEntry(
        "testfarm", "out_of_band/room/relative_humidity/high", OPEN.onset_us, OPEN.onset_us + HOUR_US // 12, None,
        Priority.MEDIUM, "g", detail={"excursion": OPEN.identity, "what": "Relative humidity", "where": "Room",
        "text": "Relative humidity in Room is too high."},
    )  # fmt: skip
    over = AlarmEntry(
        "testfarm", "door_open/room/door_open", T0_US, T0_US + HOUR_US, T0_US + 2 * HOUR_US, Priority.LOW, "h",
        detail={"what": "Door", "where": "Room", "text": "Door at Room stands open."},
    )  # fmt: skip
    follows = AlarmEntry(
        "testfarm", "out_of_band/room/vapour_pressure_deficit/low", OPEN.onset_us, OPEN.onset_us + 1, None,
        Priority.MEDIUM, "g", humid.condition, detail={"text": "Air VPD in Room is too low.", "what": "Air VPD"},
    )  # fmt: skip
    for one in (humid, over, follows):
        alarms.replace("testfarm", one.condition, 0, [one])
    yield humid
    for one in (humid, over, follows):
        alarms.replace("testfarm", one.condition, 0, [])


def test_an_alarm_is_acknowledged_and_shelved_with_the_keyboard_alone(with_alarms, visit):
    page = visit()
    need = page.locator("#needs .need", has_text="Relative humidity")
    need.get_by_text("Not acknowledged").wait_for()
    button = need.get_by_role("button", name=re.compile("^Acknowledge: Relative humidity in Room"))
    button.focus()
    page.keyboard.press("Enter")
    need.get_by_role("status").get_by_text("Give your name first.").wait_for()
    page.wait_for_function("document.activeElement.id.startsWith('who-')")
    assert not need.get_by_text("Shelve it").is_visible()  # nothing is shelved by mistake
    page.keyboard.type("Kim")
    page.keyboard.press("Enter")
    need.get_by_text("Acknowledged", exact=True).wait_for()
    need.get_by_role("button", name=re.compile("^Shelve: ")).focus()
    page.keyboard.press("Enter")
    need.get_by_label("Reason").focus()
    page.keyboard.type("filter change")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Shelve it"
    page.keyboard.press("Enter")
    need.wait_for(state="detached")
    page.locator("#alarms summary", has_text="Shelved or out of service: 1").click()
    page.locator("#alarms").get_by_text(re.compile("Shelved until")).wait_for()


def test_how_well_the_alarms_do_is_shown_to_who_opens_it(with_alarms, visit):
    page = visit(size=PHONE)
    section = page.locator("#alarms details", has_text="How well the alarms do")
    section.locator("summary").click()
    section.get_by_text("2 alarms in 30 days; 1 more were suppressed by design.").wait_for()
    shown = section.inner_text()
    for told in ("Alarms a day", "0.1", "acceptable up to 144, the most that can be managed 288", "0.00\u00a0%",
                 "low 1, medium 1", "Relative humidity, Room", "50\u00a0%", "Chattering: none."):  # fmt: skip
        assert told in shown, told
    assert "undefined" not in shown
    assert "NaN" not in shown
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_what_is_over_or_follows_stands_apart_with_its_state_in_words(with_alarms, visit):
    page = visit()
    assert page.locator("#needs .need").get_by_text("VPD").count() == 0
    page.locator("#alarms summary", has_text="Over, and not acknowledged: 1").wait_for()
    over = page.locator("#alarms details", has_text="Over, and not acknowledged: 1")
    assert over.get_attribute("open") is None
    page.locator("#needs").get_by_role("link", name="Over, and not acknowledged: Door in Room", exact=True).click()
    over.locator(".alarm").wait_for()
    page.locator("#alarms summary", has_text="Suppressed by design").click()
    page.locator("#alarms .alarm", has_text="Air VPD in Room").get_by_text("Suppressed by design").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document.getElementById('alarms'))")
    assert [one["id"] for one in found["violations"] if one["impact"] in ("serious", "critical")] == []
