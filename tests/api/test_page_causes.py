"""From what needs a person to its cause: the finding with its evidence first, the timeline one step further."""

from __future__ import annotations

import re

import pytest

from api.examples import EXAMPLES
from tests.api.conftest import HUMIDITY, OPEN
from tests.browsing import DESK, IN_BROWSER, PHONE, expect

pytestmark = IN_BROWSER

FINDING = EXAMPLES["findings"]["findings"][0] | {
    "id": "aaaaaaaaaa", "excursion": OPEN.identity, "series": HUMIDITY.key, "end": None,
    "headline": "Drying is lost (85 %).", "first_check": "Does water come from the drain?",
    "next_check": "Compare both probes.",
}  # fmt: skip
OTHER = FINDING | {"id": "bbbbbbbbbb", "excursion": "0000000000", "headline": "Another (60 %)."}


@pytest.fixture
def visit(tabs, served):
    def visit(path="", size=DESK, findings=(OTHER, FINDING)):
        page = tabs.open(size)
        answer = {"findings": list(findings), "next": None}
        page.route("**/api/v1/findings?*", lambda route: route.fulfill(json=answer))
        page.goto(served.url + path)
        page.locator("#needs .sentence a").first.wait_for()
        return page

    return visit


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_a_need_opens_its_cause_and_the_timeline_is_one_step_further(visit, size):
    page = visit(size=size)
    need = page.locator(".need").filter(has_text="Relative humidity in Room")
    need.locator(".sentence a").click()
    finding = page.locator(f"#found-{FINDING['id']}")
    expect(finding).to_have_attribute("open", "")
    expect(finding.locator("summary")).to_be_focused()
    expect(finding.locator("summary")).to_be_in_viewport()
    expect(finding).to_contain_text("Check first. Does water come from the drain?")
    expect(finding).to_contain_text("Then, to tell the causes apart. Compare both probes.")
    assert page.url.endswith(f"found={FINDING['id']}")
    finding.get_by_role("link", name="on the timeline").click()
    expect(page.locator("#timeline-title")).to_be_focused()
    assert f"tracks={HUMIDITY.key}," in page.url
    assert "found=" not in page.url
    need.get_by_role("link", name="on the timeline").click()
    expect(page.locator("#timeline-title")).to_be_focused()


def test_a_link_to_a_finding_opens_it_in_another_browser(visit):
    page = visit(f"#found={FINDING['id']}", size=PHONE)
    expect(page.locator(f"#found-{FINDING['id']} summary")).to_be_focused()
    expect(page.locator(f"#found-{FINDING['id']} summary")).to_be_in_viewport()
    page.get_by_text("Air", exact=True).last.click()  # whatever is changed next does not lead there again
    expect(page.locator("#fold-air")).to_have_attribute("open", "")
    assert "found=" not in page.url


def test_findings_of_one_headline_are_told_apart_by_what_they_are_about(visit):
    """One beside the excursions, of the whole farm, and one of an excursion: the headline stands above them once."""
    farms = OTHER | {"headline": FINDING["headline"], "excursion": None, "series": None}
    page = visit("#open=excursions", findings=(farms, FINDING))
    group = page.locator("#findings details.long").first
    expect(group.locator("summary").first).to_have_text(
        "Drying is lost (85\u00a0%). In 2 findings, from Sun 1 Mar, 03:10.", use_inner_text=True
    )
    members = group.locator("details summary")
    expect(members).to_have_text(
        [re.compile("^All readings together, from "), re.compile("^Room, Relative humidity, from ")]
    )


def test_a_finding_that_is_gone_leads_to_those_that_are_there(visit, tabs):
    page = visit("#found=cccccccccc")
    expect(page.locator("#findings-title")).to_be_focused()
    expect(page.locator("#findings [role=alert]")).to_contain_text("There is no finding 'cccccccccc'")
    [gone] = tabs.complaints
    assert "404" in gone
    tabs.complaints.clear()


def test_without_a_finding_a_need_opens_the_timeline(visit):
    page = visit(findings=())
    page.locator(".need .sentence a").filter(has_text="Relative humidity in Room").click()
    expect(page.locator("#timeline-title")).to_be_focused()


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_what_was_refused_is_one_tap_away(visit, size):
    page = visit(size=size)
    page.locator(".need .sentence a").filter(has_text="See what was refused").click()
    expect(page.locator("#rejects-title")).to_be_focused()
    expect(page.locator("#rejects")).to_be_in_viewport()
    expect(page.locator("#rejects")).to_contain_text("room/humidty")


def test_alike_findings_are_excursions_only_where_each_is_about_one(visit):
    page = visit("#open=excursions", findings=(OTHER, FINDING | {"headline": OTHER["headline"]}))
    expect(page.locator("#findings summary").first).to_have_text(
        f"{OTHER['headline']} In 2 excursions, from Sun 1 Mar, 03:10."
    )
    page = visit("#open=excursions", findings=(OTHER, FINDING | {"headline": OTHER["headline"], "excursion": None}))
    expect(page.locator("#findings summary").first).to_have_text(
        f"{OTHER['headline']} In 2 findings, from Sun 1 Mar, 03:10."
    )


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_a_day_sheet_leads_to_the_evidence_of_a_finding_that_is_older_than_the_list(visit, size):
    old = FINDING | {"id": "dddddddddd", "headline": "The lamps were dark (97 %).", "end": FINDING["onset"]}
    sheet = EXAMPLES["day"] | {"findings": [old]}
    page = visit(size=size)
    page.route("**/api/v1/findings/dddddddddd", lambda route: route.fulfill(json=old))
    page.route("**/api/v1/days/2026-02-28", lambda route: route.fulfill(json=sheet))
    page.evaluate("location.hash = '#day=2026-02-28&open=day'")
    if size == PHONE:
        page.locator("#day summary", has_text="Likely causes").click()
    page.locator("#day").get_by_role("link", name="The lamps were dark").click()
    finding = page.locator("#found-dddddddddd")
    expect(finding).to_have_attribute("open", "")
    expect(finding.locator("summary")).to_be_focused()
    expect(finding).to_contain_text("Check first. Does water come from the drain?")


def test_an_older_finding_is_brought_into_sight_once_and_not_with_each_answer(visit, served):
    old = FINDING | {"id": "dddddddddd", "headline": "The lamps were dark (97 %).", "end": FINDING["onset"]}
    page = visit()
    page.route("**/api/v1/findings/dddddddddd", lambda route: route.fulfill(json=old))
    page.clock.install()
    page.goto("about:blank")
    page.goto(f"{served.url}#found=dddddddddd")
    expect(page.locator("#found-dddddddddd summary")).to_be_focused()
    page.locator("#needs a").first.focus()
    with page.expect_response("**/api/v1/findings/dddddddddd") as again:
        page.clock.run_for(301_000)
    again.value.finished()
    page.clock.run_for(1_000)
    expect(page.locator("#needs a").first).to_be_focused()


def test_two_events_of_one_headline_are_two_groups_whatever_their_order(visit):
    def at(number, onset, end, **more):
        times = {"onset": f"2026-02-27T{onset}:00:00Z", "end": f"2026-02-27T{end}:00:00Z"}
        return OTHER | times | {"id": f"{number:010}"} | more

    early, late = [at(1, "01", "02"), at(2, "02", "03")], [at(3, "10", "11"), at(4, "15", "16")]
    spans = at(5, "03", "23", leads_since="2026-02-27T09:00:00Z", last_seen="2026-02-27T17:00:00Z")
    for several in ([*early, *late, spans], [spans, *late[::-1], *early[::-1]]):
        page = visit("#open=excursions", findings=several)
        page.locator("#findings summary").filter(has_text="Over by now").click()
        expect(page.locator("#findings summary").filter(has_text=" findings, from |excursions, from ")).to_have_count(0)
        heads = page.locator("#findings details.long details.long > summary").filter(has_text="Another (60")
        expect(heads).to_have_text(
            [
                re.compile("In 3 excursions, from Fri 27 Feb, 10:00"),
                re.compile("In 2 excursions, from Fri 27 Feb, 02:00"),
            ]
        )


def test_what_is_over_tells_when_it_was_seen_last_and_what_a_check_would_show(visit):
    told = FINDING | {
        "subject": "unusual", "series": None, "excursion": None,
        "onset": "2026-02-27T01:00:00Z", "end": "2026-02-28T20:00:00Z",
        "last_seen": "2026-02-27T05:00:00Z", "shown_in": [],
        "next_check_shows": {"drying_lost": "it is wet", "as_usual": "it is dry"},
    }  # fmt: skip
    page = visit(f"#found={FINDING['id']}", findings=[told])
    finding = page.locator(f"#found-{FINDING['id']}")
    expect(finding).to_contain_text(
        "last seen about Fri 27 Feb, 06:00; traces in a day\u2019s figures until Sat 28 Feb, 21:00"
    )
    expect(finding).to_contain_text("It is over. These checks may still show why it was.")
    expect(finding).to_contain_text("it is wet \u2013 then likelier: The coil's water does not leave the room")
    expect(finding).to_contain_text("it is dry \u2013 then likelier: As usual")
    finding.get_by_role("link", name="on the timeline").click()
    expect(page.locator("#timeline-title")).to_be_focused()
    assert "tracks=room/air_temperature,room/relative_humidity," in page.url  # those that were there
    assert "from=2026-02-2" in page.url


def test_what_no_hour_shows_by_itself_is_over_at_the_latest_when_it_ends(visit):
    slow = {"subject": "unusual", "series": None, "excursion": None, "end": "2026-02-28T20:00:00Z"}
    finding = visit(f"#found={FINDING['id']}", findings=[FINDING | slow]).locator(f"#found-{FINDING['id']}")
    expect(finding).to_contain_text("until Sat 28 Feb, 21:00 at the latest: its evidence looks back on a day or two")


def test_the_timeline_shows_the_excursion_and_below_it_what_its_evidence_is_read_from(visit):
    tracks = [["room/air_temperature", "row/ppfd"], ["room/relative_humidity", "row/lights_on"]]
    page = visit(f"#found={FINDING['id']}", findings=[FINDING | {"shown_in": tracks}])
    page.locator(f"#found-{FINDING['id']}").get_by_role("link", name="on the timeline").click()
    expect(page.locator("#timeline-title")).to_be_focused()
    assert "tracks=room/relative_humidity:row/lights_on,room/air_temperature:row/ppfd&" in page.url
    page.locator(".need").filter(has_text="Relative humidity in Room").get_by_role(
        "link", name="on the timeline"
    ).click()
    assert "tracks=room/relative_humidity:row/lights_on,room/air_temperature:row/ppfd&" in page.url
    page = visit(f"#found={FINDING['id']}", findings=[FINDING | {"shown_in": tracks[:1]}])
    page.locator(f"#found-{FINDING['id']}").get_by_role("link", name="on the timeline").click()
    expect(page.locator("#timeline-title")).to_be_focused()
    assert f"tracks={HUMIDITY.key},room/air_temperature:row/ppfd&" in page.url


def test_what_was_found_before_is_told_with_the_way_there(visit):
    lamps = FINDING["causes"][0] | {"place_labels": ["Row 3"]}
    before = [
        {"id": "cccccccccc", "onset": "2026-02-24T13:00:00Z", "end": "2026-02-24T19:00:00Z", "place_labels": ["Row 1"]},
        {"id": "dddddddddd", "onset": "2026-02-16T13:00:00Z", "end": "2026-02-16T19:00:00Z", "place_labels": ["Row 3"]},
    ]
    page = visit(f"#found={FINDING['id']}", findings=[FINDING | {"causes": [lamps], "found_before": before}])
    finding = page.locator(f"#found-{FINDING['id']}")
    expect(finding).to_contain_text("The same cause was found before: Tue 24 Feb, 14:00 (Row 1); Mon 16 Feb, 14:00.")
    old = FINDING | {"id": "dddddddddd", "headline": "The lamps were dark (97 %).", "found_before": []}
    page.route("**/api/v1/findings/dddddddddd", lambda route: route.fulfill(json=old))
    finding.get_by_role("link", name="Mon 16 Feb").click()
    expect(page.locator("#found-dddddddddd summary")).to_be_focused()
