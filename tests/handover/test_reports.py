"""Reports hold what the interface tells, say what they rest on, and refuse in words."""

from __future__ import annotations

import base64
import hashlib
import math
import re
from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

import pytest

from farm.check import check_text
from handover.provenance import MadeBy
from handover.refusals import NothingThere, Refused
from handover.reports import paper as papers
from handover.reports.axes import ALERT, Plane
from handover.reports.document import Chart, Listing, Out, Paragraph, Table
from handover.reports.drawing import Box
from handover.reports.happened import _heading, sentence
from handover.reports.sources import Sources
from handover.reports.telling import Telling
from handover.reports.web_page import POLICY, STYLE, web_page
from handover.reports.week_report import monday_of
from handover.reports.writing import Of, Shape, report_of, written_as
from store.alarm_entries import ActKind, AlarmAct, AlarmEntry, Priority
from store.entries import DaySheetEntry
from store.log_entries import DETAIL, DETAIL_OF, LogEntry, Note
from tests.api.conftest import SHEET, Client, assert_problem, house  # noqa: F401  # a fixture
from tests.conftest import SMALL_FARM, T0_US, samples
from tests.handover.report_pages import ReportPage
from tests.watch.conftest import House as WatchHouse
from tests.watch.test_batches import BATCH, fill, rows
from watch import cautions
from watch.judged import JudgedReadings

DAY_US = 86_400_000_000
VERSION = MadeBy("1.2.3", "feedfacecafe")


def shown(value, decimals, unit=""):
    """A figure as a report is to show it, worked out without the report's own code."""
    text = str(Decimal(value).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP))
    return text.replace("-", "−") + (f" {unit}" if unit else "")


@pytest.fixture(scope="session")
def client(house):  # noqa: F811
    return Client(house)


def page_of(client, path):
    response = client(f"/api/v1/report/{path}")
    assert response.status_code == 200, response.text
    return ReportPage(response.content)


def test_a_day_report_has_the_figures_of_the_days_address(client):
    """The stored sheet is made up, so figures that were worked out anew from the readings would be others."""
    page, day = page_of(client, "day/2026-03-01"), client.json("days/2026-03-01")
    air = day["zones"][0]["series"][0]
    assert (air["mean"], air["band"]["above_h"]) == (21.45, 7.0), "made up"
    assert page.row("Time in band", "Air temperature") == [
        shown(air["mean"], 1, "°C"), "21.0 to 21.9", "0.3",  # what is usual for the quantity
        shown(air["band"]["inside_h"], 1, "h"),
        shown(air["band"]["below_h"], 1, "h"), shown(air["band"]["above_h"], 1, "h"), "96 %", "sensor",
    ]  # fmt: skip
    account = "Accounts"
    [balance], [gas], energy = day["water_balance"], day["carbon_dioxide"], day["energy"]
    for term in balance["terms"]:
        [found] = [row for row in page.tables[account] if row[0].lower().startswith(term["name"])]
        assert found[1:3] == [shown(term["litres_l"], 1, "L"), shown(term["give_or_take_l"], 1)], term
    drunk = balance["drunk"]
    assert page.row(account, "Drunk by plants, by the meters")[:2] == [
        shown(drunk["litres_l"], 1, "L"), shown(drunk["give_or_take_l"], 1)
    ]  # fmt: skip
    assert page.row(account, "Whole farm")[0] == shown(energy["kwh"], 1, "kWh")
    assert shown(energy["cost"], 2, "EUR") in page.row(account, "Whole farm")[3]
    assert page.row(account, "Lamps row-1")[0] == shown(energy["lamps"][0]["estimated_kwh"], 1, "kWh")
    assert page.row(account, "Lamps row-1")[3] == "estimate: 16.0 h switched on, 2.0 h of it dark, nameplate"
    assert page.row(account, "Share of batch lettuce-12")[0] == shown(energy["batches"][0]["kwh"], 1, "kWh")
    for name in ("dosed", "leaked"):
        grams = [shown(gas["enrichment"][f"{name}{part}_g"], 0) for part in ("", "_give_or_take")]
        assert page.row(account, name.capitalize())[:2] == [f"{grams[0]} g", grams[1]]
    for name, caption in (("average_8h", "Highest average over 8 h"), ("average_15min", "Highest average over 15 min"),
                          ("highest", "Highest reading")):  # fmt: skip
        one = gas[name]
        [told] = page.row("Room, CO2", caption)
        assert told.startswith(f"{shown(one['ppm'], 0, 'ppm')} ± {shown(one['give_or_take_ppm'], 0)}, ")
        assert f"limit {one['limit_ppm']:,.0f} ppm".replace("5,000", "5000") in told
    peak = energy["peaks"]["average_3h"]
    [told] = page.row("Highest electrical load", "Average over 3 h, against what may be carried for hours")
    assert told.startswith(shown(peak["power_w"] / 1000, 2, "kW") + ", Sat 28 Feb, 10:51")  # 09:51 UTC in Oslo
    [excursion] = day["excursions"]
    cells = page.row("Excursions: 1", "Room, Air temperature")
    assert cells[:5] == ["below 16.0 °C", "Sun 1 Mar, 02:00", "2 h", shown(excursion["extreme"], 1, "°C"), "2.5 K h"]
    [light] = day["light_days"]
    assert page.row("Light, by light days that began in this time", "Row, from Sun 1 Mar, 06:00")[:3] == [
        shown(light["mol"], 1), "12.0 to 17.0", "16.0 h",
    ]  # fmt: skip
    for surface in day["surfaces"]:
        [margin, *_] = page.row("Walls and other surfaces", surface["label"])
        assert shown(surface["lowest_margin_k"], 1, "K") in margin
    doubted = day["quality"]["series"][0]
    [caption] = [one for one in page.tables if "series with doubts or gaps" in one]
    assert page.row(caption, "Room, Relative humidity")[:3] == [
        shown(doubted["count"], 0), f"{doubted['missing_count']} (1 %)", f"{doubted['suspect_count']} (< 1 %)"
    ]  # fmt: skip


def test_another_sheet_makes_another_report(house, client):  # noqa: F811
    before = client("/api/v1/report/day/2026-03-01").content
    sheet = {**SHEET, "energy": {**SHEET["energy"], "kwh": 98.76}}
    entry = house.journal.day_sheet("testfarm", date(2026, 3, 1))
    try:
        house.journal.save_day_sheet("testfarm", replace(entry, sheet=sheet))
        page = page_of(client, "day/2026-03-01")
        assert page.row("Accounts", "Whole farm")[0] == "98.8 kWh"
    finally:
        house.journal.save_day_sheet("testfarm", entry)
    assert client("/api/v1/report/day/2026-03-01").content == before, "the same sheet gives the same bytes"


def test_limits_for_people_never_stand_without_the_caution(client):
    page = page_of(client, "day/2026-03-01")
    assert cautions.CO2 in page.text
    assert cautions.ADVICE_ONLY in page.text.split("CO2 against limits for people")[1].split("Walls")[0]


def test_a_report_says_what_it_rests_on(client):
    page = page_of(client, "day/2026-03-01")
    assert page.row("Origin", "SHA-256 of the farm's description") == ["feedfacecafe"]
    assert page.row("Origin", "Day sheet worked out") == ["Mon 2 Mar 2026, 13:00:00 UTC+01:00"]
    assert page.row("Origin", "Evidence chain")[0].startswith("none of the 2 UTC days of this time is sealed yet")
    assert "day report of 2026-03-01. Leafweather" in page.text
    assert "description feedfacecafe, not sealed yet." in page.text
    assert "The farm is invented: nothing in this report was measured in a real one." in page.text


def test_a_page_carries_itself_and_nothing_else(client):
    response = client("/api/v1/report/day/2026-03-01")
    page = ReportPage(response.content)
    names = [name for name, _ in page.tags]
    assert not {"script", "link", "img", "iframe", "a", "form"} & set(names)
    assert b"http" not in response.content
    assert b"url(" not in response.content
    assert all("style" not in attributes for _, attributes in page.tags), "what the policy would not let in"
    pictures = [attributes for name, attributes in page.tags if name == "svg"]
    assert pictures
    assert all(one["role"] == "img" and len(one["aria-label"]) > 40 for one in pictures)
    policy = response.headers["content-security-policy"]
    digest = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    assert policy == POLICY
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert f"<style>{STYLE}</style>" in response.text
    assert response.headers["content-disposition"] == 'inline; filename="testfarm-day-2026-03-01.html"'


def test_a_chart_tells_in_words_what_it_shows(client):
    """The readings run from 21.0 to 21.9, ten minutes each; humidity is 60.0 until the excursion of the second day."""
    page = page_of(client, "day/2026-03-01")
    words = [attributes["aria-label"].replace("\u00a0", " ") for name, attributes in page.tags if name == "svg"]
    [air] = [one for one in words if one.startswith("Room, Air temperature")]
    assert "from 21.0 °C about Sun 1 Mar, 01:00 to 21.9 °C about" in air
    assert "1 excursion." in air


def test_the_pdf_has_every_text_of_the_page(house, client, monkeypatch):  # noqa: F811
    sources = Sources(house.farm, house.store, house.journal, VERSION, house.clock())
    report = report_of(sources, Of.DAY, "2026-03-01")
    set_texts: list[str] = []
    monkeypatch.setattr(papers, "shown", lambda text: set_texts.append(str(text)) or text)
    made = papers.paper(report)
    assert made.startswith(b"%PDF-")
    assert made.rstrip().endswith(b"%%EOF")
    wanted = [text for pair in (*report.head, *report.origin) for text in pair] + [report.citation, *report.cautions]
    for part in report.parts:
        wanted.append(part.title)
        for item in part.items:
            match item:
                case Paragraph():
                    wanted.append(item.text)
                case Listing():
                    wanted += [text for one in item.entries for text in (one.text, *one.below)]
                case Chart():
                    wanted.append(item.caption)
                case Table():
                    wanted += [
                        item.caption,
                        *item.heads,
                        *(cell for _, lines in item.groups for row in lines for cell in row),
                    ]
    assert len(wanted) > 200
    assert {str(one) for one in wanted} <= set(set_texts)
    monkeypatch.undo()
    answer = client("/api/v1/report/day/2026-03-01?format=pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == 'inline; filename="testfarm-day-2026-03-01.pdf"'
    assert written_as(report, Shape.PDF) == written_as(report, Shape.PDF), "the same bytes"


def test_the_pdf_loses_no_character():
    assert papers.shown("Łódź, Ωμέγα, Ферма −5 °C ± µmol m⁻² ◆") == "Łódź, Ωμέγα, Ферма −5 °C ± µmol m⁻² ◆"
    assert papers.shown("水耕") == "[U+6C34][U+8015]"


def test_names_are_text_wherever_they_come_from(house):  # noqa: F811
    farm, _ = check_text(SMALL_FARM.replace('label = "Room"', 'label = "<b>A & B</b>"'))
    sources = Sources(farm, house.store, house.journal, VERSION, house.clock())
    report = report_of(sources, Of.DAY, "2026-03-01")
    assert "&lt;b&gt;A &amp; B&lt;/b&gt;" in web_page(report).decode()
    assert "<b>A" not in web_page(report).decode()
    assert papers.paper(report)


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("day/2026-02-27", 404, "this farm has 1, from 2026-03-01 to 2026-03-01"),
        ("day/2026-03-03", 404, "2026-03-03 has not begun: it is 2026-03-02 at the farm (Europe/Oslo)"),
        ("day/yesterday", 422, "'yesterday' is no day: write one as in 2026-03-01"),
        ("week/2026-W08", 404, "There is no day sheet of any day of week 2026-W08"),
        ("week/2026-W11", 404, "Week 2026-W11 has not begun"),
        ("week/2026-W60", 422, "is no week: write one as ISO 8601 has it, as in 2026-W09"),
        ("batch/nothing", 404, "this farm has no batch 'nothing'. It has: none"),
        ("day/2026-03-01?format=doc", 422, "format"),
    ],
)
def test_what_cannot_be_reported_is_refused_in_words(client, path, status, said):
    assert said in assert_problem(client(f"/api/v1/report/{path}"), status)["detail"]


def test_a_week_is_one_of_the_calendar():
    assert monday_of("2026-W09") == monday_of("2026W09") == monday_of("2026-03-01") == date(2026, 2, 23)
    assert monday_of("2021-01-03") == date(2020, 12, 28)  # ISO 8601: it belongs to week 53 of 2020
    with pytest.raises(Refused, match="is no week"):
        monday_of("2026-W00")


def test_a_week_names_the_days_without_a_sheet(client):
    page = page_of(client, "week/2026-W09")
    assert page.row("What this is", "Day sheets")[0].startswith("1 of 7; none of Mon 23 Feb, Tue 24 Feb")
    assert "sums leave those days out and are lower bounds" in page.text
    # 95.8 % of one of seven days of 24 h
    assert page.row("Time in band", "Air temperature")[-2] == f"{100 * 0.958 / 7:.0f} %"
    assert page.row("Each day", "Electricity")[-1] == shown(SHEET["energy"]["kwh"], 1, "kWh")
    assert page.row("Each day", "Electricity")[:-1] == ["–"] * 6
    assert page.row("Accounts", "Whole farm")[3].endswith("1 of 7 days")


def test_a_week_of_two_days_has_their_sums(house, client):  # noqa: F811
    """2026-02-28: 100.0 kWh and 30.0 L drunk, give or take 3.0; 2026-03-01 as the example has them."""
    other = {**SHEET, "day": "2026-02-28", "start": "2026-02-27T23:00:00Z", "end": "2026-02-28T23:00:00Z"}
    [balance] = SHEET["water_balance"]
    drunk = {"litres_l": 30.0, "give_or_take_l": 3.0, "coverage": 1.0}
    other |= {"energy": {**SHEET["energy"], "kwh": 100.0}, "water_balance": [{**balance, "drunk": drunk}]}
    entry = DaySheetEntry(date(2026, 2, 28), house.clock(), "feedfacecafe", other)
    journal = house.journal
    kept = {day: journal.day_sheet("testfarm", day) for day in journal.days("testfarm")}
    found = Sources(house.farm, house.store, _With(journal, {**kept, entry.day: entry}), VERSION, house.clock())
    page = ReportPage(web_page(report_of(found, Of.WEEK, "2026-W09")))
    assert SHEET["energy"]["kwh"] == 122.2
    assert page.row("Accounts", "Whole farm")[0] == "222.2 kWh"
    own = balance["drunk"]
    assert page.row("Accounts", "Drunk by plants, by the meters")[:2] == [
        shown(own["litres_l"] + 30.0, 1, "L"), shown(math.hypot(2 * 0.78, 2 * 0.05942, 3.394), 1)
    ]  # fmt: skip
    air = page.row("Time in band", "Air temperature")
    assert air[3:6] == ["32.0 h", "0.0 h", "14.0 h"]  # 16 and 7 h, twice
    assert "2 day sheets worked out" in page.text


class _With:
    """A journal with other day sheets."""

    def __init__(self, journal, sheets):
        self._journal, self._sheets = journal, sheets

    def __getattr__(self, name):
        return getattr(self._journal, name)

    def day_sheet(self, farm, day):
        return self._sheets.get(day)


@pytest.fixture
def empty(small_farm, tmp_path):
    made = WatchHouse(small_farm, tmp_path / "house")
    yield made
    made.close()


def sources_of(made, farm=None, now_us=None, sha256="first"):
    readings = JudgedReadings(made.farm.name, made.store, made.journal)
    return Sources(farm or made.farm, readings, made.journal, MadeBy("1.2.3", sha256), now_us or made.now_us)


def test_a_farm_without_any_sheet_says_how_to_get_one(empty):
    with pytest.raises(NothingThere, match="let leafweather serve run on this data folder"):
        report_of(sources_of(empty), Of.DAY, "2026-03-01")


def test_a_day_without_readings_is_honest(empty):
    from watch.day_sheet import day_sheet

    entry = day_sheet(empty.farm, "first", empty.store, empty.journal, date(2026, 3, 1), T0_US + 2 * DAY_US)
    empty.journal.save_day_sheet(empty.farm.name, entry)
    report = report_of(sources_of(empty), Of.DAY, "2026-03-01")
    page = ReportPage(web_page(report))
    assert "No reading came in this time: nothing here tells what the crop had." in page.text
    assert page.row("What this is", "Coverage") == ["no reading came"]
    assert "No series with a band has readings in this time." in page.text
    assert "came whole" not in page.text
    assert not [tag for tag, _ in page.tags if tag == "svg"]
    assert written_as(report, Shape.PDF).startswith(b"%PDF-")


def lit(made, days=2):
    made.put("row/lights_on", samples("0*300 1*960 0*180 " * days))
    made.put("row/ppfd", samples("0*300 250*960 0*180 " * days))
    made.put("room/air_temperature", samples("18*300 22*960 18*180 " * days))
    made.now_us = T0_US + days * DAY_US
    made.work()


def test_a_day_that_still_lasts_says_so_and_what_people_wrote_stands_in_it(empty):
    lit(empty)
    empty.journal.log.add(
        empty.farm.name, T0_US + DAY_US, "kim", Note(note="Changed the <door> seal."), empty.now_us, []
    )
    page = ReportPage(web_page(report_of(sources_of(empty), Of.DAY, "2026-03-02")))
    assert "midnight to midnight in Europe/Oslo" in page.row("What this is", "Day")[0]
    assert page.row("What people wrote", "Mon 2 Mar, 01:00") == ["kim", "Changed the <door> seal."]
    today = ReportPage(web_page(report_of(sources_of(empty), Of.DAY, "2026-03-03")))
    assert "so far, until" in today.row("What this is", "Day")[0]


def test_the_evidence_is_the_chains_last_line_for_the_days(empty):
    lit(empty)
    empty.store.seal_due(empty.farm.name, T0_US + 2 * DAY_US)
    page = ReportPage(web_page(report_of(sources_of(empty), Of.DAY, "2026-03-02")))
    manifest = next(empty.store.folder.rglob("manifest.txt"))
    *_, line = [one for one in manifest.read_text().splitlines(keepends=True) if " 2026-03-02 " in one]
    assert page.row("Origin", "Head of the chain there (SHA-256)") == [hashlib.sha256(line.encode()).hexdigest()]
    assert f"head {hashlib.sha256(line.encode()).hexdigest()[:16]}" in page.text


def test_old_figures_keep_the_labels_and_bands_they_were_made_with(empty):
    lit(empty)
    old = SMALL_FARM
    new = SMALL_FARM.replace('label = "Room"', 'label = "Hall"').replace("lit = [20, 24]", "lit = [10, 12]")
    empty.journal.note_description(empty.farm.name, "first", old, 1)
    farm, _ = check_text(new)
    page = ReportPage(web_page(report_of(sources_of(empty, farm, sha256="second"), Of.DAY, "2026-03-01")))
    assert page.row("The crop plan that held", "Air temperature") == ["20.0 to 24.0 °C", "16.0 to 20.0 °C"]
    assert "Hall" not in page.text
    assert page.row("Origin", "SHA-256 of the description in use now") == ["second"]


@pytest.mark.parametrize(
    ("locale", "value", "told"),
    [
        ("en-GB", 1e300, "1E300"),
        ("en-GB", -2.54e18, "\u22122.54E18"),
        ("nb-NO", -2.54e18, "\u22122,54E18"),
        ("en-GB", 1e14, "100,000,000,000,000.0"),
    ],
)
def test_a_number_written_down_by_mistake_keeps_nobody_from_the_report(locale, value, told):
    farm, mistakes = check_text(SMALL_FARM.replace("elevation_m", f'locale = "{locale}"\nelevation_m'))
    assert farm is not None, mistakes
    assert Telling(farm).number(value) == told


def test_numbers_are_written_as_the_farm_writes_them(empty):
    lit(empty)
    farm, mistakes = check_text(SMALL_FARM.replace("elevation_m", 'locale = "nb-NO"\nelevation_m'))
    assert farm is not None, mistakes
    page = ReportPage(web_page(report_of(sources_of(empty, farm), Of.DAY, "2026-03-02")))
    # 16 h of 24 at 22 degC, 8 h at 18; the mean of all readings
    assert page.row("Time in band", "Air temperature")[:2] == ["20,7 °C", "18,0 to 22,0"]


@pytest.mark.parametrize("tag", ["xx-YY", "norsk", "nb_NO", ""])
def test_a_locale_that_is_none_is_a_mistake(tag):
    farm, mistakes = check_text(SMALL_FARM.replace("elevation_m", f'locale = "{tag}"\nelevation_m'))
    assert farm is None
    assert any("locale" in str(one) for one in mistakes)


def test_alarms_are_those_of_their_own_address_and_what_was_done_stands_beside_them(empty):
    from api.app import House

    lit(empty)
    day_us, hour_us = T0_US - 3_600_000_000, 3_600_000_000  # 1 March begins at 23:00 UTC in Oslo
    door = AlarmEntry(
        "testfarm", "door_open/room/door_open", day_us + hour_us, day_us + 2 * hour_us, day_us + 3 * hour_us,
        Priority.LOW, "h",
        detail={"what": "Door", "where": "Room", "text": "Door at Room stands open."},
    )  # fmt: skip
    empty.journal.alarms.replace("testfarm", door.condition, 0, [door])
    empty.journal.alarms.add_act(AlarmAct("testfarm", ActKind.ACKNOWLEDGE, door.identity, day_us + 4 * hour_us, "kim"))
    sources = sources_of(empty)
    client = Client(House(sources.farm, "first", sources.store, sources.journal, dict, lambda: sources.now_us))
    told = client.json("alarms/performance?start=2026-02-28T23:00:00Z&end=2026-03-01T23:00:00Z")
    page = page_of(client, "day/2026-03-01")
    assert told["alarms"] >= 1
    assert page.row("Alarms", "Raised")[0].startswith(f"{told['alarms']} (")
    assert page.row("Alarms", "Raised a day, an hour") == [f"{told['per_day']:.1f}, {told['per_hour']:.2f}"]
    assert "Door, Room: 1 (" in page.row("Alarms", "Most frequent")[0]
    assert page.row("What people did about alarms", "Sun 1 Mar, 04:00")[:3] == ["Acknowledge", "Door, Room", "kim"]


WROTE = [
    ({"kind": "ph_calibration", "series": "room/air_temperature", "buffers": (7.0, 4.01), "readings": (6.96, 4.09)},
     "pH calibration of Room, Air temperature: buffers pH 7.0 and 4.01 read 6.96 and 4.09 pH."),
    ({"kind": "ec_calibration", "series": "room/air_temperature", "standard_ms_cm": 1.413, "reading_ms_cm": 1.40,
      "adjusted": True},
     "EC calibration of Room, Air temperature: 1.413 mS/cm read 1.4 mS/cm; the device was set by it."),
    ({"kind": "grab_sample", "series": "room/air_temperature", "value": 21.5, "plus_or_minus": 0.2},
     "sample by hand of Room, Air temperature: 21.5 ± 0.2."),
    ({"kind": "refill", "stock": "a", "holds_l": 20.0}, "refill of a: holds 20.0 L."),
    ({"kind": "drained", "volume_l": 12.0, "note": "Cleaning."}, "drained: 12.0 L. Cleaning."),
    ({"kind": "topped_up", "volume_l": 12.0, "ec_ms_cm": 0.3}, "topped up: 12.0 L of 0.3 mS/cm."),
    ({"kind": "cleaned", "what": "line filter"}, "cleaned: line filter."),
    ({"kind": "note", "note": "Rain."}, "Rain."),
    ({"kind": "harvest", "batch": "one", "fresh_kg": 12.5, "zone": "row", "plants": 80},
     "harvest of one: 12.50 kg fresh from Row, 80 plants."),
    ({"kind": "moved", "batch": "one", "to_zone": "row", "from_zone": "room"}, "moved one from Room to Row."),
    ({"kind": "planned_work", "what": "door open", "until": "2026-03-01T12:00:00Z", "zones": ("room",)},
     "planned work: door open, until Sun 1 Mar, 13:00, Room."),
]  # fmt: skip


@pytest.mark.parametrize(("detail", "told"), WROTE, ids=lambda one: one["kind"] if isinstance(one, dict) else "")
def test_each_kind_of_entry_is_told_in_a_sentence(small_farm, detail, told):
    entry = LogEntry("x", 1, T0_US, "kim", T0_US, DETAIL.validate_python(detail))
    assert sentence(Telling(small_farm), entry).replace("\u00a0", " ") == told


def test_every_kind_of_entry_is_tried():
    assert {detail["kind"] for detail, _ in WROTE} == DETAIL_OF.keys()


@pytest.mark.parametrize("of", [(Of.DAY, "2026-03-01"), (Of.WEEK, "2026-W09")])
def test_a_sheet_from_before_a_section_was_made_still_makes_a_report(house, of):  # noqa: F811
    kept = ("farm", "day", "start", "end", "complete", "zones", "light_days", "excursions", "totals", "cautions")
    old = {name: SHEET[name] for name in kept}
    entry = DaySheetEntry(date(2026, 3, 1), house.clock(), "before", old)
    sources = Sources(house.farm, house.store, _With(house.journal, {entry.day: entry}), VERSION, house.clock())
    page = ReportPage(web_page(report_of(sources, *of)))
    assert page.row("Time in band", "Air temperature")[3] == "16.0 h"
    assert "Nothing is known of how good the readings were." in page.text
    assert "No reading came" not in page.text


def test_a_light_day_that_is_hardly_covered_is_not_said_to_lack_light(house):  # noqa: F811
    [light] = SHEET["light_days"]
    days = [light, {**light, "mol": 2.2, "coverage": 0.2}, {**light, "mol": 11.0}]
    entry = DaySheetEntry(date(2026, 3, 1), house.clock(), "feedfacecafe", {**SHEET, "light_days": days})
    sources = Sources(house.farm, house.store, _With(house.journal, {entry.day: entry}), VERSION, house.clock())
    report = report_of(sources, Of.DAY, "2026-03-01")
    tables = [item for part in report.parts for item in part.items if isinstance(item, Table)]
    [table] = [one for one in tables if one.caption.startswith("Light, by light days")]
    cells = [row[1] for row in table.groups[0][1]]
    assert [cell.replace("\u00a0", " ") for cell in cells] == ["14.4", "2.2 (of 20 %)", "11.0"]
    assert [isinstance(cell, Out) for cell in cells] == [False, False, True], "the plan is 12 to 17"
    page = ReportPage(web_page(report))
    assert "1 of 3 light days are not covered enough" in page.text
    assert "Light: 1 of 2 light days within the plan" in page.text


@pytest.fixture
def batch_house(tmp_path):
    farm, mistakes = check_text(BATCH)
    assert farm is not None, mistakes
    made = WatchHouse(farm, tmp_path / "house")
    fill(made, rows())
    yield made
    made.close()


def test_a_batch_report_has_the_figures_of_the_batchs_address(batch_house):
    from api.app import House

    sources = sources_of(batch_house, now_us=T0_US + 5 * DAY_US)
    client = Client(House(sources.farm, "first", sources.store, sources.journal, dict, lambda: sources.now_us))
    page, told = page_of(client, "batch/cress-1"), client.json("batches/cress-1")
    shelf, row = told["stays"]
    assert page.row("Stays", "Shelf, growing")[2:4] == ["24", shown(shelf["light"]["mol"], 1) + " (estimate)"]
    assert page.row("Stays", "Row, growing")[2:5] == [
        "48", shown(row["light"]["mol"], 1), shown(row["warmth"]["degree_hours_k_h"], 0)
    ]  # fmt: skip
    total = told["total"]
    assert page.row("Stays", "In all")[2:5] == [
        "72", shown(total["mol"], 1), shown(total["degree_hours_k_h"], 0)
    ]  # fmt: skip
    assert page.row("Stays", "In all")[3:5] == ["35.3", "928"]  # 6.48 + 28.80 mol m-2; 2 x (352 + 112) K h
    [band] = row["bands"]
    assert page.row("Time in band", "Air temperature")[:3] == [
        shown(band["inside_h"], 1, "h"), "0.0 h", shown(band["above_h"], 1, "h")
    ]  # fmt: skip
    assert math.isclose(band["above_h"], 32, abs_tol=0.05)
    assert "not known" in page.row("Energy", "Its share of the farm's electricity")
    assert page.row("Its share of water, stocks and CO2", "Water drunk")[0] == "not known"
    # The documented day, of which 40.75 L were drunk and 633.3 g dosed: the first of four days, and alone
    sources.journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), T0_US, "first", SHEET))
    page = page_of(client, "batch/cress-1")
    assert page.row("Its share of water, stocks and CO2", "Water drunk")[0] == "41 L; 25 % of its days"
    assert page.row("Its share of water, stocks and CO2", "CO2 dosed")[0] == "633 g; 25 % of its days"
    assert_problem(client("/api/v1/report/batch/cress"), 404)


@pytest.mark.parametrize(
    ("name", "now_us", "said"),
    [
        ("cres-1", T0_US + 5 * DAY_US, "Did you mean cress-1"),
        ("cress-2", T0_US, "has not entered any zone yet: it first does on 2026-03-03T12:00:00Z"),
    ],
)
def test_a_batch_that_is_not_there_is_refused(batch_house, name, now_us, said):
    with pytest.raises(NothingThere, match=re.escape(said)):
        report_of(sources_of(batch_house, now_us=now_us), Of.BATCH, name)


def test_a_batch_that_goes_on_is_told_until_now_and_stands_out_where_it_was_outside(batch_house):
    report = report_of(sources_of(batch_house, now_us=T0_US + 3 * DAY_US), Of.BATCH, "cress-2")
    page = ReportPage(web_page(report))
    assert page.row("What this is", "Time") == [
        "Tue 3 Mar 2026, 13:00:00 UTC+01:00 to Wed 4 Mar 2026, 01:00:00 UTC+01:00, so far"
    ]
    assert page.row("Stays", "Row, growing")[1] == "still there"
    tables = [item for part in report.parts for item in part.items if isinstance(item, Table)]
    [bands] = [one for one in tables if one.caption == "Time in band"]
    above = bands.groups[0][1][0][3]
    assert isinstance(above, Out), "9 h at 26 degC, over a band up to 24"


def test_what_is_still_outside_is_drawn_until_the_last_reading_and_no_further(empty):
    at = samples("18*300 22*300 30*120")
    empty.put("room/air_temperature", at)
    empty.put("row/lights_on", samples("0*300 1*420"))
    empty.now_us = T0_US + 12 * 3_600_000_000
    empty.work()
    [still] = [one for one in empty.journal.excursions("testfarm") if one.end_us is None]
    assert still.series.quantity == "air_temperature"
    report = report_of(sources_of(empty), Of.DAY, "2026-03-01")
    charts = [item for part in report.parts for item in part.items if isinstance(item, Chart)]
    [air] = [one for one in charts if one.caption.startswith("Air temperature")]
    foot = [one for one in air.drawing.marks if isinstance(one, Box) and one.fill == ALERT and one.y > 20]
    plane = Plane(T0_US - 3_600_000_000, T0_US + 23 * 3_600_000_000, 0.0, 1.0, air.drawing.height)
    [bar] = foot  # from 10:00 UTC to the end of the ten minutes of the last reading, at 11:59
    assert bar.x == pytest.approx(plane.x(T0_US + 600 * 60_000_000), abs=0.1)
    assert bar.x + bar.width == pytest.approx(plane.x(T0_US + 720 * 60_000_000), abs=0.1)


@pytest.mark.parametrize(
    ("led", "told"), [(None, ""), ("2026-03-02T21:00:00Z", " (this cause leads since Mon 2 Mar, 22:00)")]
)
def test_a_cause_that_began_while_something_else_was_unusual_says_since_when_it_leads(small_farm, led, told):
    found = {"headline": "A pump is off (90 %).", "onset": "2026-03-02T13:00:00Z", "end": None, "leads_since": led}
    heading = _heading(Telling(small_farm), found, 1).replace("\u00a0", " ")
    assert heading == f"A pump is off (90 %). From Mon 2 Mar, 14:00{told}, still so."
    over = found | {"end": "2026-03-04T13:00:00Z", "last_seen": "2026-03-03T05:00:00Z"}
    heading = _heading(Telling(small_farm), over, 1).replace("\u00a0", " ")
    assert heading == f"A pump is off (90 %). From Mon 2 Mar, 14:00{told}, last seen about Tue 3 Mar, 06:00."
