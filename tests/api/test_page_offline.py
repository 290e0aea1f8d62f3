"""The page on a home screen: installed, opened where nothing answers, and never keeping what somebody else was told."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from api.house import Access
from api.page_files import PAGE
from farm.roles import Role
from store.journal import Journal
from tests.api.conftest import NOW_US, OPEN
from tests.api.icons import ICONS, drawn
from tests.browsing import AXE, IN_BROWSER, PHONE, expect
from tests.conftest import eventually
from tests.serving import Served

pytestmark = IN_BROWSER


@pytest.fixture
def context(browser):
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, reduced_motion="reduce")
    yield context
    context.close()


ACTIVE = "navigator.serviceWorker.ready.then((one) => one.active.state === 'activated')"
KEPT = "localStorage.getItem('leafweather-kept')"


def kept(page):
    """What is kept, once it is, and the page can be opened without the server."""
    eventually(lambda: page.evaluate(ACTIVE) and page.evaluate(KEPT))
    return json.loads(page.evaluate(KEPT))


def opened(context, url):
    """The page, once it could be opened again without the server."""
    page = context.new_page()
    page.goto(url)
    page.get_by_text("Room", exact=True).first.wait_for()
    assert kept(page)
    return page


def test_opened_where_nothing_answers_it_shows_what_it_was_told_last_and_says_so_and_is_live_again(context, house):
    first = Served(house)
    page = opened(context, first.url)
    assert page.locator("#unanswered").count() == 0
    first.stop()
    page.reload()
    alert = page.get_by_role("alert").filter(has_text="No connection")
    # The house's clock stands still at 13:00 in Oslo: that is when it was known.
    expect(alert).to_have_text(re.compile(r"^No connection: as last known at 13:0\d\. Nothing below is of now\."))
    assert page.get_by_role("heading", name="Test farm").is_visible()
    assert page.get_by_text("Invented demonstration farm.").is_visible()
    expect(page.locator("header [role=status]")).to_contain_text("old")
    humidity = page.get_by_role("row").filter(has_text="Relative humidity").first
    expect(humidity).to_contain_text("82.0")
    expect(humidity).to_contain_text("was above")  # it was told seconds ago, and is not fresh all the same
    assert page.locator(".zones.stale").count() == 1
    row = page.locator("article.zone", has=page.locator("#zone-row"))
    row.locator("details").first.evaluate("(one) => { one.open = true; }")
    expect(row.locator(".states b").first).to_have_css("font-style", "italic")
    assert page.locator("svg.mark .dot, article svg.mark .out").count() == page.locator(".key svg.mark .dot").count()
    expect(page.locator("#needs")).to_contain_text("Relative humidity in Room is too high")
    expect(page.locator("#needs .warning")).to_contain_text("it may be different now")
    # Nobody answered on these: that is not the same as none.
    for part in ("Excursions", "Day sheet", "Batches", "Sensors"):
        line = page.locator("summary, h2").filter(has=page.get_by_text(part, exact=True)).locator("xpath=..")
        expect(line.first).to_contain_text("not known yet")
    page.evaluate(AXE)
    assert page.evaluate("axe.run().then((found) => found.violations.map((one) => one.id))") == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    second = Served(house, first.port)
    try:
        expect(page.locator("header [role=status]")).to_have_text("live", timeout=30_000)
        expect(alert).to_have_count(0)
        expect(page.locator(".zones.stale")).to_have_count(0)
        expect(humidity).to_contain_text("above")
        expect(humidity).not_to_contain_text("was above")
    finally:
        second.stop()


def test_nothing_that_needed_nobody_is_said_of_now(context, house):
    served = Served(house)
    context.route("**/api/v1/needs", lambda route: route.fulfill(json={"time": "2026-03-02T12:00:00Z", "needs": []}))
    page = opened(context, served.url)
    expect(page.locator("#needs")).to_contain_text("Nothing needs a person now.")
    served.stop()
    context.unroute("**/api/v1/needs")
    page.reload()
    expect(page.locator("#needs")).to_contain_text("Nothing needed a person when the server last answered.")


@pytest.fixture
def guarded(house, tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.replace_excursions("testfarm", OPEN.series, OPEN.onset_us, [OPEN])
        yield replace(house, journal=journal, access=Access(required=True))


def sign_in(page, text):
    page.get_by_label("Token", exact=True).fill(text)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("Room", exact=True).first.wait_for()


def token(house):
    return house.journal.tokens.make("testfarm", "Ada", Role.VIEWER, 1, "kim")


CACHED = """caches.keys().then((names) => Promise.all(names.map((name) => caches.open(name).then((one) => one.keys()))))
  .then((all) => all.flat().map((one) => new URL(one.url).pathname))"""


def test_after_signing_out_nothing_that_was_told_is_in_the_browser(context, guarded):
    served = Served(guarded)
    try:
        page = context.new_page()
        page.goto(served.url)
        sign_in(page, token(guarded)[1])
        told = kept(page)
        assert (told["who"], told["answers"]["farm"]["data"]["name"]) == ("Ada", "testfarm")
        assert "csrf" not in json.dumps(told)
        page.get_by_role("button", name="Sign out").click()
        page.get_by_role("heading", name="Sign in").wait_for()
        assert page.evaluate(KEPT) is None
        assert page.evaluate("Object.values(localStorage).join() + Object.values(sessionStorage).join()") == ""
        assert not [one for one in page.evaluate(CACHED) if not one.startswith("/page/") and one != "/"]
    finally:
        served.stop()
    page.reload()
    page.get_by_text("Not known yet: the server has not answered.").first.wait_for()
    assert "Test farm" not in page.content()
    assert "82.0" not in page.content()


def test_a_revoked_token_and_somebody_else_clear_what_was_kept(context, guarded):
    served = Served(guarded)
    try:
        page = context.new_page()
        page.goto(served.url)
        made, text = token(guarded)
        sign_in(page, text)
        assert kept(page)
        guarded.journal.tokens.revoke("testfarm", made.identity, NOW_US - 1, "kim")
        page.get_by_role("heading", name="Sign in").wait_for(timeout=20_000)
        assert page.evaluate(KEPT) is None
        page.evaluate("localStorage.setItem('leafweather-kept', JSON.stringify({who: 'Kim', answers: {farm: {}}}))")
        page.reload()
        page.get_by_role("heading", name="Sign in").wait_for()
        assert page.evaluate(KEPT) is None
    finally:
        served.stop()


def test_what_was_kept_for_a_session_that_is_over_is_not_shown(context, house):
    served = Served(house)
    page = opened(context, served.url)
    page.evaluate(
        """() => { const one = JSON.parse(localStorage.getItem('leafweather-kept'));
        localStorage.setItem('leafweather-kept', JSON.stringify({ ...one, until: '2026-01-01T00:00:00Z' })); }"""
    )
    served.stop()
    page.reload()
    page.get_by_text("Not known yet: the server has not answered.").first.wait_for()
    assert page.evaluate(KEPT) is None
    assert "82.0" not in page.content()


@pytest.mark.parametrize("name", ICONS)
def test_the_icons_are_drawn_from_the_one_that_is_ours(browser, name):
    now = np.asarray(Image.open(io.BytesIO(drawn(browser, name))).convert("RGBA"), float)
    there = np.asarray(Image.open(PAGE / name).convert("RGBA"), float)
    assert now.shape == there.shape == (ICONS[name][0], ICONS[name][0], 4)
    assert np.abs(now - there).mean() < 1, "python -m tests.api.icons writes them anew"  # browsers smooth differently
    assert there[..., :3].std() > 20, "it shows something"
