"""The page while things change: told by the server, asking where it is not, and what it shows while nothing answers."""

from __future__ import annotations

import re

import pytest

from farm.alarm_words import Priority
from store.alarm_entries import AlarmEntry
from tests.api.conftest import NOW_US
from tests.browsing import DESK, IN_BROWSER, expect
from tests.serving import Served

pytestmark = IN_BROWSER

DOOR = AlarmEntry(
    "testfarm", "door_open/room", NOW_US, NOW_US, None, Priority.HIGH, "door",
    detail={"what": "Door", "where": "Room", "text": "The door stands open."},
)  # fmt: skip


@pytest.fixture
def page(browser):
    context = browser.new_context(viewport={"width": DESK[0], "height": DESK[1]}, reduced_motion="reduce")
    yield context.new_page()
    context.close()


def link(page):
    return page.locator("header .link")


def test_what_changes_is_shown_at_once_and_not_when_it_is_asked_for_next(page, served, house):
    page.goto(served.url)
    expect(link(page)).to_contain_text("told of changes")
    asked = []
    page.on("request", lambda one: asked.append(one.url))
    try:
        house.journal.alarms.replace("testfarm", DOOR.condition, 0, [DOOR], NOW_US)
        expect(page.locator("#needs")).to_contain_text("The door stands open.", timeout=4000)
        page.wait_for_timeout(6000)
    finally:
        house.journal.alarms.replace("testfarm", DOOR.condition, 0, [], NOW_US)
    expect(page.locator("#needs")).not_to_contain_text("The door stands open.", timeout=4000)
    zones = [one for one in asked if one.endswith("/zones")]
    assert len(zones) <= 1, "no readings came: the page does not ask for them each 5 s"


def test_where_it_is_told_nothing_it_asks_and_says_so(page, served):
    page.route("**/api/v1/events", lambda route: route.fulfill(status=503, content_type="application/problem+json"))
    asked = []
    page.on("request", lambda one: asked.append(one.url))
    page.goto(served.url)
    expect(link(page)).to_have_text(re.compile(r"^live.*, asking every 5\s+s$"))
    page.wait_for_timeout(11_000)
    assert len([one for one in asked if one.endswith("/zones")]) >= 3
    assert len([one for one in asked if one.endswith("/events")]) == 1, "it does not ask a full house again and again"
    expect(link(page)).to_have_text(re.compile(r"^live"))


def test_a_stream_that_breaks_off_is_known_at_once_and_taken_up_again(page, house):
    first = Served(house)
    page.goto(first.url)
    expect(link(page)).to_contain_text("told of changes")
    first.stop()
    expect(link(page)).to_contain_text("reconnecting", timeout=3000)
    second = Served(house, first.port)
    try:
        expect(link(page)).to_contain_text("told of changes", timeout=40_000)
        expect(link(page)).to_contain_text("live")
    finally:
        second.stop()


def test_an_answer_that_is_still_the_same_does_not_travel_twice(page, served):
    page.goto(served.url)
    expect(link(page)).to_contain_text("told of changes")
    found = []
    page.on("response", lambda one: found.append((one.url.rpartition("/")[2], one.status)))
    told = page.evaluate(
        """async () => { const { Feed } = await import('/page/feed.js'); const feed = new Feed(() => {});
        for (let n = 0; n < 2; n++) await feed.fetchOne('days', { of: [] });
        return feed.data('days'); }"""
    )
    assert told == {"days": ["2026-03-01"]}
    assert [status for name, status in found if name == "days"] == [200, 304]
