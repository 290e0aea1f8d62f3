"""The timeline in a real browser: tracks on one axis of time, read, zoomed, shared and taken away."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product
from urllib.parse import parse_qs, urlsplit

import pyarrow as pa
import pytest
from PIL import Image

from api.examples import EXAMPLES
from handover.tables import harmless
from store.entries import DaySheetEntry
from store.journal import Journal
from store.log_entries import EcCalibration, Note
from tests.api.conftest import AIR, ENDED, HOUR_US, HUMIDITY, NOW_US, OPEN, T0_US
from tests.browsing import AXE, DESK, IN_BROWSER, NARROWEST, PHONE, expect
from tests.serving import Served

pytestmark = IN_BROWSER

# Pixels of the first line's own colour, #17558c, of one canvas: axes and text have another, shading is translucent.
LINE_PIXELS = """(canvas) => { const c = canvas;
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0;
  for (let i = 0; i < d.length; i += 4)
    if (d[i + 3] > 200 && Math.abs(d[i] - 23) + Math.abs(d[i + 1] - 85) + Math.abs(d[i + 2] - 140) < 30) n++;
  return n; }"""
WHOLE = "from=2026-03-01T00:00:00Z&to=2026-03-02T12:00:00Z"  # all 36 h that the house holds
ENTRY = '=HYPERLINK("http://x.invalid")'  # what a spreadsheet would run, were it a cell


@pytest.fixture(scope="module")
def busy(house, tmp_path_factory):
    """The same readings, with a journal of two excursions, two doses, and two entries of one day."""
    folder = tmp_path_factory.mktemp("busy")
    with Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        journal.replace_excursions("testfarm", HUMIDITY, T0_US, [OPEN])
        journal.replace_excursions("testfarm", AIR, T0_US, [ENDED])
        reservoir = EXAMPLES["day"]["root_zone"][0]
        times = (("2026-03-01T02:00:00Z", "2026-03-01T02:01:00Z"), ("2026-03-01T04:00:00Z", "2026-03-01T06:00:00Z"))
        doses = [one | {"start": at, "end": end} for one, (at, end) in zip(reservoir["doses"], times, strict=True)]
        given = reservoir | {"zone": "row", "label": "Row", "doses": doses}
        sheet = EXAMPLES["day"] | {"root_zone": [given]}
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), NOW_US, "f", sheet))
        calibration = EcCalibration(series="row/ppfd", standard_ms_cm=1.413, reading_ms_cm=1.38)
        for hour, detail in ((5, Note(note=ENTRY)), (8, calibration)):
            journal.log.add("testfarm", T0_US + hour * HOUR_US, "kim", detail, NOW_US)
        yield replace(house, journal=journal)


@pytest.fixture(scope="module")
def served(busy) -> Iterator[Served]:
    served = Served(busy)
    yield served
    served.stop()


@pytest.fixture
def visit(tabs, served):
    """Return how to open the page."""

    def visit(path: str = "", size: tuple[int, int] = DESK, scheme: str = "light", before=None, wait: bool = True):
        page = tabs.open(size, scheme)
        if before:
            before(page)
        page.goto(served.url + path)
        if wait:
            page.locator(".uplot canvas").first.wait_for()
            page.locator(".readout table").wait_for()
            page.locator(".tracks[aria-busy=false]").wait_for()
        return page

    visit.complaints = tabs.complaints
    return visit


def plain(locator):
    return locator.inner_text().replace("\u00a0", " ")


def headings(page):
    return [one.replace("\n", " ") for one in page.locator(".track h3").all_inner_texts()]


def hash_of(page):
    return {name: values[0] for name, values in parse_qs(urlsplit(page.url).fragment).items()}


def test_a_farm_begins_with_the_usual_tracks_each_with_its_unit_and_said_in_words(visit):
    page = visit(f"#{WHOLE}")
    assert headings(page) == ["Room, Air temperature [°C]", "Room, Relative humidity [%]", "Row, PPFD [µmol m⁻² s⁻¹]"]
    air, humidity, light = (plain(one) for one in page.locator(".track figcaption").all())
    # ten steps from 21.0 to 21.9 over and over
    assert "Lowest 21.0 °C" in air
    assert "highest 21.9 °C" in air
    # 60 % but for the last two hours, 82 %, above the band's 75 %: 33 of 35 h with readings are inside
    assert "mean 61.3 %, highest 82.0 %" in humidity
    assert "Inside its band for about 94 % of 35.0 h with readings and limits." in humidity
    assert "1 gap, 1 h in all." in humidity  # 10:00 to 11:00
    # 16 h of each day lit by 250: from 05:00 to 21:00, and from 05:00 to 12:00, of 36 h
    assert f"mean {250 * 23 / 36:.0f} µmol" in light
    assert "No limits are set for it." in light
    assert all(page.evaluate(LINE_PIXELS, one.element_handle()) > 800 for one in page.locator(".uplot canvas").all())


def test_tracks_are_added_joined_moved_and_taken_away_by_keyboard_and_the_address_keeps_them(visit):
    page = visit("#tracks=room/air_temperature")
    form = page.get_by_role("form", name="Add a track")
    form.get_by_role("combobox", name="Zone", exact=True).focus()
    page.keyboard.press("End")  # Outdoors
    form.get_by_role("combobox", name="Where", exact=True).select_option(label="beside Room, Air temperature")
    form.get_by_role("button", name="Add track").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".track h3")).to_have_text(["Air temperature: Room, Outdoors [°C]"])
    assert hash_of(page)["tracks"] == "room/air_temperature:outdoors/air_temperature"
    expect(page.locator(".track figcaption")).to_contain_text("Outdoors, Air temperature. No readings in this range.")
    expect(page.locator(".track figcaption")).to_contain_text("Shaded: the band of Room, Air temperature.")
    form.get_by_role("combobox", name="Zone", exact=True).select_option(label="Row")
    form.get_by_role("combobox", name="What", exact=True).select_option(label="Lights [off or on]")
    assert form.get_by_role("combobox", name="Where", exact=True).count() == 0, "a state joins nothing"
    page.keyboard.press("Tab")
    form.get_by_role("button", name="Add track").press("Enter")
    expect(page.locator(".track")).to_have_count(2)
    page.get_by_role("button", name="Move up: Row, Lights").press("Enter")
    assert hash_of(page)["tracks"] == "row/lights_on,room/air_temperature:outdoors/air_temperature"
    page.reload()
    expect(page.locator(".track")).to_have_count(2)
    page.get_by_role("button", name=re.compile("^Remove: Room, Air")).press("Enter")
    expect(page.locator(".track h3")).to_have_text(["Row, Lights [off or on]"])
    assert page.get_by_role("button", name=re.compile("^Remove")).count() == 0, "one track stays"


def test_a_key_moves_zooms_and_goes_back(visit):
    page = visit("#tracks=room/air_temperature&last=1d")
    tracks = page.get_by_role("group", name="Tracks on one axis of time")
    tracks.focus()
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none", "the focus is visible"

    def press(key):
        page.keyboard.press(key)
        return {name: value for name, value in hash_of(page).items() if name in ("from", "to", "last")}

    assert press("ArrowRight") == {"last": "1d"}, "there is nothing later than now"
    assert press("+") == {"last": "12h"}, "what shows the present goes on showing it"
    back = press("ArrowLeft")  # by a quarter: 3 h
    assert back["to"].startswith(("2026-03-02T08:59:5", "2026-03-02T09:00:0"))
    closer = press("+")  # 6 h about the middle, which is at 03:00
    assert closer["from"].startswith(("2026-03-01T23:59:5", "2026-03-02T00:00:0"))
    assert press("Escape") == back
    assert press("Home")["from"] == "2026-03-01T00:00:00Z", "the first reading"
    assert press("End") == {"last": "12h"}
    assert press("-") == {"last": "1d"}
    for _ in range(4):
        press("Escape")
    expect(page.get_by_role("radio", name="Day")).not_to_be_checked()
    page.get_by_role("button", name="Back").press("Enter")
    expect(page.get_by_role("radio", name="Day")).to_be_checked()
    page.locator("#cursor").press("+")  # another part has the focus: its keys are its own
    assert hash_of(page)["last"] == "1d"
    assert page.get_by_role("button", name="Back").is_disabled()


def test_pulling_across_one_track_zooms_all(visit):
    page = visit(f"#{WHOLE}")
    page.locator(".u-over").nth(1).scroll_into_view_if_needed()
    box = page.locator(".u-over").nth(1).bounding_box()
    at = lambda share: box["x"] + share * box["width"]  # noqa: E731
    middle = box["y"] + box["height"] / 2
    page.mouse.move(at(0.25), middle)
    page.mouse.down()
    page.mouse.move(at(0.4), middle)
    page.mouse.move(at(0.5), middle)
    page.mouse.up()
    # a quarter of 36 h is 09:00 of the first day, half is 18:00; a pixel is two and a half minutes
    expect(page.locator(".spanned")).to_contain_text(
        re.compile(r"Sun 1 Mar, (09:5|10:0).* to Sun 1 Mar 2026, (18:5|19:0)")
    )
    expect(page.locator(".track figcaption").nth(2)).to_contain_text("highest 250")
    page.get_by_role("button", name="Back").click()
    expect(page.locator(".spanned")).to_contain_text("Sun 1 Mar, 01:00 CET to Mon 2 Mar 2026, 13:00 CET")


def test_from_and_to_are_given_by_the_farms_clock(visit):
    page = visit("#last=1d")
    page.get_by_label("From", exact=True).fill("2026-03-01T12:00")
    page.get_by_label("To", exact=True).fill("2026-03-01T11:00")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.locator("#span-fault")).to_have_text("The beginning must lie before the end.")
    page.get_by_label("To", exact=True).fill("2026-03-01T14:30")
    page.get_by_label("To", exact=True).press("Enter")
    expect(page.locator("#span-fault")).to_have_text("")
    assert (hash_of(page)["from"], hash_of(page)["to"]) == ("2026-03-01T11:00:00Z", "2026-03-01T13:30:00Z")
    page.get_by_role("radio", name="Month").check(force=True)
    assert hash_of(page)["last"] == "30d", "it would reach beyond now"
    expect(page.locator(".track figcaption").first).to_contain_text("Readings begin Sun 1 Mar, 01:00.")


def test_a_moment_is_read_off_every_track_with_unit_quality_and_time(visit):
    page = visit(f"#tracks=room/air_temperature,room/relative_humidity,row/lights_on,room/co2_mole_fraction&{WHOLE}")
    slider = page.get_by_role("slider", name="Read a moment")

    def rows_at(minute):
        page.evaluate(
            "([n]) => { const c = document.getElementById('cursor'); c.value = n;"
            " c.dispatchEvent(new Event('input', { bubbles: true })); }",
            [minute // 2],  # 36 h on this screen are told every two minutes
        )
        table = page.locator(".readout tbody tr")
        return [
            [cell.replace("\u00a0", " ") for cell in row.locator("th, td").all_inner_texts()] for row in table.all()
        ]

    expect(slider).to_have_attribute("max", "1079")
    air, humidity, lights, co2 = rows_at(720)  # 12:00 UTC, of the stretch 720 and 721
    assert air == [
        "Room, Air temperature",
        "21.1 °C",
        "21.0 to 21.1",
        "inside: 20.0 to 24.0 °C, lights on",
        "good, Sun 1 Mar, 13:00",
    ]
    assert humidity[1:3] == ["60.0 %", "60.0 to 60.0"]
    assert lights[1] == "on"
    assert co2[1:] == ["no reading", "–", "–", "–"]
    assert plain(page.locator(".readout caption")) == "At Sun 1 Mar, 13:00 CET (Europe/Oslo)"
    assert rows_at(630)[1][1] == "no reading", "an hour is missing"
    failed = rows_at(33 * 60)[3]  # 09:00 UTC: the first of two readings failed, the second was 901
    assert failed[1] == "901 ppm"
    assert rows_at(35 * 60)[1][3] == "above: 50.0 to 75.0 %, lights on"
    told = slider.get_attribute("aria-valuetext")
    assert "Room, Relative humidity: 82.0\u00a0%, above its band" in told
    lines = page.locator(".u-cursor-x")
    places = [one.bounding_box()["x"] for one in lines.all()]
    assert max(places) - min(places) < 1, "one cursor through all tracks"
    page.set_viewport_size({"width": 1000, "height": 800})  # drawn anew: the cursor stays at its moment
    expect(page.locator(".lane canvas")).to_have_css("width", re.compile("[0-9.]+px"))
    page.wait_for_timeout(200)
    assert slider.get_attribute("aria-valuetext") == told
    assert all(one.bounding_box()["x"] < places[0] - 50 for one in lines.all())


def test_doubtful_and_silent_readings_are_told_and_never_look_fresh(visit):
    page = visit("#tracks=room/co2_mole_fraction&from=2026-03-02T09:00:00Z&to=2026-03-02T09:10:00Z")
    told = plain(page.locator(".track figcaption"))
    assert "Lowest 901 ppm, mean 905 ppm, highest 909 ppm." in told  # the first one failed: 901 to 909
    assert "1 reading failed or missing." in told
    page.get_by_role("button", name="To now").click()
    page.get_by_role("radio", name="Day").check(force=True)
    expect(page.locator(".track figcaption")).to_contain_text(
        "Silent for 2\u00a0h 51\u00a0min, since Mon 2 Mar, 10:09."
    )


def test_what_happened_is_marked_listed_and_numbered(visit):
    page = visit(f"#{WHOLE}")
    told = page.locator("details.happened")
    expect(told.locator("summary")).to_have_text("What happened meanwhile: 2 excursions, 2 doses, 2 entries")
    told.locator("summary").click()
    assert [plain(one) for one in told.locator("ol li").all()] == [
        f"Sun 1 Mar, 06:00: kim: note. {ENTRY}",
        "Sun 1 Mar, 09:00: kim: EC calibration of Row, PPFD: 1.413 mS/cm read 1.38 mS/cm.",
    ]
    listed = [plain(one) for one in told.locator("ul li").all()]
    assert listed[0].startswith("Sun 1 Mar, 02:00: Room, Air temperature below 16.0 °C, until Sun 1 Mar, 04:00")
    assert "Room, Relative humidity above 70.0 %, still open; furthest 82.0 %" in listed[1]
    assert listed[2] == "Sun 1 Mar, 03:00: Row: acid 6 mL; moved pH by −0.02"
    assert listed[3] == "Sun 1 Mar, 05:00: Row: nutrient-a 240 mL, nutrient-b 240 mL over 2 h"
    lane = page.locator(".lane canvas")
    assert lane.bounding_box()["height"] == 40  # a row for doses and a row for entries
    with_marks = page.evaluate(LINE_PIXELS, lane.element_handle())
    assert with_marks == 0, "marks have the ink's colour, not the line's"
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document.getElementById('timeline'))")
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []


def test_the_table_is_saved_with_units_offsets_and_no_formula(visit, tmp_path):
    page = visit(f"#tracks=room/air_temperature,room/relative_humidity&{WHOLE}")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save table (CSV)").press("Enter")
    assert waiting.value.suggested_filename == "testfarm_2026-03-01T01-00_to_2026-03-02T13-00.csv"
    waiting.value.save_as(tmp_path / "table.csv")
    text = (tmp_path / "table.csv").read_bytes().decode()
    head, *rows = list(csv.reader(io.StringIO(text)))
    assert head[0] == "start of each 2 min (clock of Europe/Oslo, with its offset from UTC)"
    assert head[1:4] == [f"room/air_temperature {what} [degC]" for what in ("mean", "lowest", "highest")]
    assert head[-3:] == ["room/relative_humidity band low [%]", "room/relative_humidity band high [%]", "what happened"]
    assert len(rows) == 36 * 30
    assert rows[0][0] == "2026-03-01T01:00:00+01:00"
    first = dict(zip(head, rows[360], strict=True))  # 12:00 UTC: minutes 720 and 721, 21.0 and 21.1
    assert float(first["room/air_temperature mean [degC]"]) == pytest.approx(21.05)
    assert (first["room/air_temperature readings"], first["room/relative_humidity band high [%]"]) == ("2", "75")
    gap = dict(zip(head, rows[310], strict=True))
    assert (gap["room/air_temperature readings"], gap["room/relative_humidity mean [%]"]) == ("2", "")
    cells = [cell for row in [head, *rows] for cell in row]
    assert [cell for cell in cells if re.match(r"[=+@\t\r]", cell) or re.match(r"-(?!\d)", cell)] == []
    assert any(ENTRY in cell for cell in cells)
    given = ["=1", " =1", "-x", "@a", 'a,"b', -1.5, "\uff1d1", "a;=1", 'a" =1', "a\n+1", "'tis", "a - b; Tom's", "\t=1"]
    told = page.evaluate("async (given) => given.map((await import('/page/as_csv.js')).cell)", given)
    assert told[:6] == ["'=1", "' =1", "'-x", "'@a", '"a,""b"', "-1.5"]
    assert told[6:] == ["'\uff1d1", "a;'=1", '"a""\' =1"', '"a\n\'+1"', "''tis", "a - b; Tom's", "'\t'=1"]
    texts = ["".join(one) for one in product("=;\t\"' a", repeat=4)]  # the rule of a data set's CSV, cell for cell
    told = page.evaluate("async (given) => given.map((await import('/page/as_csv.js')).cell)", texts)
    assert [next(csv.reader([one]))[0] if one.startswith('"') else one for one in told] == harmless(
        pa.array(texts)
    ).to_pylist()


def test_the_picture_shows_what_the_page_shows(visit, tmp_path):
    page = visit(f"#{WHOLE}")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save picture (PNG)").press("Enter")
    assert waiting.value.suggested_filename.endswith(".png")
    waiting.value.save_as(tmp_path / "picture.png")
    with Image.open(tmp_path / "picture.png") as picture:
        colours = picture.convert("RGB")
        plots = page.locator(".plot canvas").all()
        assert picture.width > plots[0].bounding_box()["width"]
        assert picture.height > sum(one.bounding_box()["height"] for one in plots)
    seen = {colour: count for count, colour in colours.getcolors(1 << 20)}
    assert seen[(23, 85, 140)] > 1500, "the lines"
    assert seen[(163, 68, 10)] > 50, "the excursions"
    assert (251, 250, 246) in seen, "its own paper, not transparent"


CLIPBOARD = """Object.defineProperty(navigator, 'clipboard', { value: { writeText: async (text) => {
  if (%s) throw new Error('not allowed');
  window.copied = text; } } });"""


@pytest.mark.parametrize("refused", [False, True])
def test_a_link_opens_the_same_view_again(visit, refused):
    def before(page):
        page.add_init_script(CLIPBOARD % str(refused).lower())  # a browser without a screen has no clipboard

    page = visit("#tracks=row/ppfd,room/air_temperature&last=6h", before=before)
    page.get_by_role("button", name="Copy link").click()
    status = page.locator(".taking [role=status]")
    expect(status).to_contain_text("Copy it from the field." if refused else "The link is copied.")
    address = page.get_by_label("Link", exact=True).input_value() if refused else page.evaluate("window.copied")
    assert re.search(r"#tracks=row/ppfd,room/air_temperature&from=2026-03-02T0\S+&to=2026-03-02T1\S+$", address)
    again = visit(address.split("/", 3)[3], PHONE)  # where parts are folded unless the address opens them
    assert headings(again) == headings(page)
    assert plain(again.locator(".spanned")) == plain(page.locator(".spanned"))


def test_links_from_before_tracks_still_open(visit):
    page = visit("#series=room/relative_humidity&range=6h&end=2026-03-01T12:00:00Z")
    assert headings(page) == ["Room, Relative humidity [%]"]
    expect(page.locator(".spanned")).to_contain_text("Sun 1 Mar, 07:00 CET to Sun 1 Mar 2026, 13:00 CET")
    page = visit("#tracks=room/nothing,../secret,room/air_temperature&from=2026-03-02&to=2020-01-01")
    expect(page.locator("#timeline")).to_contain_text("There is no series room/nothing.")
    assert headings(page) == ["Room, Air temperature [°C]"]


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_from_an_hour_to_a_year_no_more_points_are_asked_for_than_can_be_seen(visit, size):
    asked = []

    def listen(page):
        page.on("request", lambda one: "/readings?" in one.url and asked.append(one.url))

    page = visit("#tracks=room/air_temperature&last=1h&open=timeline", size, before=listen)
    for name in ("Day", "Week", "Month", "Year"):
        page.get_by_role("radio", name=name).check(force=True)
        expect(page.locator(".track")).to_have_attribute("aria-busy", "false")
    points = []
    for url in asked:
        query = parse_qs(urlsplit(url).query)
        start, end = (date_of(query[name][0]) for name in ("start", "end"))
        points.append((end - start) / float(query["every"][0].removesuffix("s")))
    assert len(points) >= 5
    assert max(points) <= max(300, 1.2 * size[0]) + 2


def date_of(text):
    from datetime import datetime

    return datetime.fromisoformat(text).timestamp()


def test_while_it_waits_it_says_for_what_and_afterwards_what_went_wrong(browser, house, visit):
    served = Served(house)
    context = browser.new_context(reduced_motion="reduce")
    page = context.new_page()
    held, flows = [], []
    page.route("**/readings?*", lambda route: route.continue_() if flows else held.append(route))
    page.goto(served.url)
    status = page.locator(".spanned [role=status]")
    expect(status).to_contain_text("Reading 3 of 3 tracks …")
    expect(page.locator(".track").first).to_contain_text("Reading …")
    assert page.get_by_role("button", name="Save table (CSV)").is_disabled()
    flows.append(True)
    for route in held:
        route.continue_()
    expect(page.locator(".readout tbody tr")).to_have_count(3)
    expect(status).to_have_text("")
    served.stop()
    page.get_by_role("button", name="Closer").click()
    expect(page.locator("#timeline [role=alert]").last).to_contain_text("What is drawn was read at 13:00 or later.")
    expect(page.locator(".track").first).to_contain_text(
        "Not read: The server cannot be reached. What is drawn is older."
    )
    assert page.locator(".track canvas").count() == 3
    context.close()


def test_readings_are_drawn_before_a_band_that_takes_its_time(visit):
    held = []

    def before(page):
        page.route("**/bands?*", lambda route: held.append(route))

    page = visit(f"#tracks=room/relative_humidity&{WHOLE}", before=before, wait=False)
    told = page.locator(".track figcaption")
    expect(told).to_contain_text("highest 82.0\u00a0%. Its band is still being read.")
    assert page.evaluate(LINE_PIXELS, page.locator(".uplot canvas").element_handle()) > 800
    assert page.get_by_role("button", name="Save table (CSV)").is_disabled()
    for route in held:
        route.continue_()
    expect(told).to_contain_text("Inside its band for about 94\u00a0%")
    expect(page.get_by_role("button", name="Save table (CSV)")).to_be_enabled()


def test_a_stretch_within_which_limits_change_is_neither_inside_nor_outside(visit):
    page = visit(f"#{WHOLE}")
    found = page.evaluate(
        """async () => { const { steadyBand } = await import('/page/summary.js');
        const of = (start, low, lit) => ({ start, end: start + 10, low, high: 9, lit });
        const bands = [of(0, 1, true), of(10, 1, false), of(20, 2, true), of(30, 1, true)];
        return [[0, 10], [0, 20], [5, 25], [0, 40], [32, 99]].map(([from, to]) => steadyBand(bands, from, to)); }"""
    )
    assert [one and (one["low"], one["lit"]) for one in found] == [(1, True), (1, None), None, None, (1, True)]
    page.get_by_role("radio", name="Year").check(force=True)
    air, humidity = (page.locator(".track figcaption").nth(n) for n in (0, 1))
    expect(air).to_contain_text(
        "Its limits change within each stretch: a shorter range tells of its band."
    )  # lit, dark
    expect(humidity).to_contain_text(re.compile("side its band"))  # the same in light and dark


def of_a_large_farm(count):
    row = EXAMPLES["series"]["series"][0]
    return [
        row
        | {
            "key": f"z-{n}/{quantity}",
            "zone": f"z-{n}",
            "zone_label": f"Zone {n}",
            "quantity": quantity,
            "label": label,
        }
        for n in range(count)
        for quantity, label in (("air_temperature", "Air temperature"), ("relative_humidity", "Relative humidity"))
    ]


@pytest.mark.parametrize("count", [0, 50])
def test_no_series_and_a_hundred(visit, count):
    def before(page):
        page.route("**/api/v1/series", lambda route: route.fulfill(json={"series": of_a_large_farm(count)}))
        page.route("**/api/v1/series/*/*/bands*", lambda route: route.fulfill(json=EXAMPLES["bands"]))
        empty = {"time": [], "value": [], "low": [], "high": [], "count": [], "flag": [], "every_s": 60}
        page.route("**/readings?*", lambda route: route.fulfill(json=empty))

    page = visit("#open=timeline", NARROWEST, before=before, wait=False)
    if count:
        form = page.get_by_role("form", name="Add a track")
        form.get_by_role("combobox", name="Zone", exact=True).select_option(label="Zone 49")
        form.get_by_role("button", name="Add track").click()
        expect(page.locator(".track h3").last).to_contain_text("Zone 49, Air temperature")
        expect(page.locator(".track").last).to_contain_text("No readings in this range.")
        assert form.get_by_role("combobox", name="Zone", exact=True).locator("option").count() == count
    else:
        expect(page.locator("#timeline")).to_contain_text("No series is described or has arrived yet.")
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROWEST[0]


def test_the_line_breaks_where_readings_are_missing(visit):
    page = visit(f"#{WHOLE}")
    drawn = page.evaluate(
        """async () => { const { withBreaks } = await import('/page/track_data.js');
        const times = [0, 60, 120, 300, 360, 600].map((s) => new Date(s * 1000).toISOString());
        return withBreaks({ time: times, value: [1, 2, 3, 4, 5, 6], flag: [1, 1, 1, 1, 1, 1] }, 60, [0, 900]); }"""
    )
    # 120 s to 300 s is three cadences: still one line; 360 s to 600 s is four: a break; so is 600 s to the end
    assert drawn["value"] == [1, 2, 3, 4, 5, None, 6]
    assert drawn["gaps"] == [[420, 600], [660, 900]]


def test_a_series_without_readings_draws_no_line_and_says_so(visit):
    page = visit("#tracks=outdoors/air_temperature&last=1d")
    expect(page.locator(".track figcaption")).to_contain_text("No readings in this range.")
    expect(page.locator(".track figcaption")).to_contain_text("Nothing has come yet.")
    assert page.evaluate(LINE_PIXELS, page.locator(".uplot canvas").element_handle()) == 0


def test_the_lowest_track_that_is_shown_carries_the_times_and_states_have_their_words(visit):
    page = visit(f"#tracks=row/lights_on,room/nothing&{WHOLE}")
    heights = [one.bounding_box()["height"] for one in page.locator(".uplot canvas").all()]
    assert heights == [56 + 14 + 26], "plot, margins and the axis of time"
    assert headings(page) == ["Row, Lights [off or on]"]
    assert "64 % of the readings say on." in plain(page.locator(".track figcaption"))  # 23 of 36 h
    told = page.evaluate(
        "async (one) => (await import('/page/tracks.js')).unitOf(one)",
        {"kind": "state", "quantity": "door_open", "display_unit": ""},
    )
    assert told == "closed or open"


def test_what_is_still_being_read_or_could_not_be_is_not_saved(visit):
    page = visit("#tracks=room/air_temperature&from=2026-03-01T06:00:00Z&to=2026-03-01T12:00:00Z&open=timeline")
    held, saved = [], []
    page.on("download", lambda one: saved.append(one))
    page.route("**/readings?*", lambda route: held.append(route))
    page.get_by_role("button", name="Earlier").click()
    expect(page.locator(".tracks")).to_have_attribute("aria-busy", "true")
    table, status = page.get_by_role("button", name="Save table (CSV)"), page.locator(".taking [role=status]")
    table.click()  # what is drawn is of the stretch before
    expect(status).to_contain_text("still being read")
    held[0].fulfill(status=503, json={"detail": "Busy."})
    expect(page.locator("#timeline [role=alert]").last).to_contain_text("What is drawn was read at")
    table.click()
    expect(status).to_contain_text("not all of this stretch could be read")
    assert saved == []
    visit.complaints[:] = [one for one in visit.complaints if "503" not in one]  # the browser notes the refusal


def test_what_happened_is_asked_for_page_by_page(visit):
    asked = []

    def before(page):
        def paged(route):
            asked.append(parse_qs(urlsplit(route.request.url).query))
            newest, oldest = route.fetch(url=route.request.url.partition("&before=")[0]).json()["excursions"]
            first = {"excursions": [newest], "next": "1-x/y"}
            route.fulfill(json={"excursions": [oldest], "next": None} if "before" in asked[-1] else first)

        page.route("**/api/v1/excursions?start=2026*", paged)

    page = visit(f"#tracks=room/air_temperature,room/relative_humidity&{WHOLE}", before=before)
    expect(page.locator(".happened summary")).to_contain_text("2 excursions")
    assert asked[1]["before"] == ["1-x/y"]
    page.locator(".happened summary").click()
    told = page.locator(".happened ul").first.locator("li")
    expect(told.first).to_contain_text("Air temperature")  # the older one first
    expect(told.last).to_contain_text("Relative humidity")
