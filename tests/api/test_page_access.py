"""Signing in on the page, in a real browser: with the keyboard alone, on a phone, and out again."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from api.house import Access
from farm.alarm_words import Priority
from farm.roles import Role
from store.alarm_entries import AlarmEntry
from store.journal import Journal
from tests.api.conftest import NOW_US, OPEN
from tests.browsing import AXE, DESK, IN_BROWSER, NARROWEST, PHONE, expect
from tests.serving import Served

pytestmark = IN_BROWSER

HUMID = AlarmEntry(
    "testfarm", "out_of_band/room/relative_humidity/high", OPEN.onset_us, OPEN.onset_us, None, Priority.MEDIUM, "g",
    detail={"excursion": OPEN.identity, "what": "Relative humidity", "where": "Room", "text": "Room is too humid."},
)  # fmt: skip


@pytest.fixture
def journal(tmp_path, house):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as opened:
        opened.alarms.replace("testfarm", HUMID.condition, 0, [HUMID])
        opened.replace_excursions("testfarm", OPEN.series, OPEN.onset_us, [OPEN])
        yield opened


@pytest.fixture
def served(house, journal):
    served = Served(replace(house, journal=journal, access=Access(required=True)))
    yield served
    served.stop()


@pytest.fixture
def visit(tabs, served):
    """Return how to open the page."""

    def visit(size=DESK, scheme="light"):
        page = tabs.open(size, scheme)
        page.goto(f"{served.url}#open=all")
        return page

    visit.complaints = tabs.complaints
    return visit


def token(journal, role, **more):
    return journal.tokens.make("testfarm", f"Ada's {role}", role, 1, "kim", **more)


def signed_in(page, text):
    page.get_by_label("Token", exact=True).fill(text)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text("Room", exact=True).first.wait_for()
    return page


def test_nothing_is_asked_for_or_shown_before_signing_in(visit, served):
    asked = []
    page = visit()
    page.on("request", lambda one: asked.append(one.url))
    page.get_by_role("heading", name="Sign in").wait_for()
    page.wait_for_timeout(300)
    assert [one for one in asked if "/api/" in one and not one.endswith("/api/v1/session")] == []
    assert page.title() == "Sign in · Leafweather"
    assert "Test farm" not in page.content()
    assert page.get_by_text("not a life-safety device").is_visible()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_one_signs_in_with_the_keyboard_alone_and_stays_so(visit, journal, size):
    _, text = token(journal, Role.TECHNICIAN)
    page = visit(size)
    page.get_by_role("heading", name="Sign in").wait_for()
    assert page.evaluate("document.activeElement.id") == "token"
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_have_text("Paste or type your token first.")
    page.keyboard.type("lw_0000000000_wrong")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("This token is not known here.")
    assert [one for one in visit.complaints if "401" not in one] == []
    visit.complaints.clear()
    assert page.evaluate("document.activeElement.id") == "token"
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    page.get_by_text("Room", exact=True).first.wait_for()
    assert page.get_by_text("Ada's technician, technician").is_visible()
    page.reload()
    page.get_by_text("Room", exact=True).first.wait_for()
    assert page.evaluate("document.cookie") == "", "scripts can read the cookie"
    kept = page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")
    assert text not in kept
    [cookie] = page.context.cookies()
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")


def test_signing_out_shows_nothing_any_more_also_to_who_goes_back(visit, journal):
    page = signed_in(visit(), token(journal, Role.VIEWER)[1])
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    assert "Test farm" not in page.content()
    assert page.context.cookies() == []
    page.reload()
    page.get_by_role("heading", name="Sign in").wait_for()
    visit.complaints[:] = [one for one in visit.complaints if "401" not in one]  # what was still being asked for


def test_a_token_that_is_revoked_shuts_the_page_that_is_open(visit, journal):
    made, text = token(journal, Role.VIEWER)
    page = signed_in(visit(), text)
    journal.tokens.revoke("testfarm", made.identity, NOW_US, "kim")
    page.get_by_role("heading", name="Sign in").wait_for(timeout=15_000)
    assert "Test farm" not in page.content()
    assert all("401" in one for one in visit.complaints)
    visit.complaints.clear()


@pytest.mark.parametrize(
    ("role", "buttons"),
    [
        (Role.VIEWER, []),
        (Role.TECHNICIAN, ["Acknowledge"]),
        (Role.KEEPER, ["Acknowledge", "Shelve …", "Shelve it", "Out of service"]),
    ],
)
def test_each_role_is_offered_what_it_may_do(visit, journal, role, buttons):
    page = signed_in(visit(), token(journal, role)[1])
    need = page.locator("#needs .need", has_text="humid")
    need.first.wait_for()
    assert need.locator("button").all_text_contents() == buttons


def test_what_is_done_carries_the_name_of_the_token(visit, journal):
    page = signed_in(visit(), token(journal, Role.TECHNICIAN)[1])
    need = page.locator("#needs .need", has_text="humid")
    need.get_by_role("button", name=re.compile("^Acknowledge")).click()
    need.get_by_text("Acknowledged", exact=True).wait_for()
    assert [act.who for act in journal.alarms.acts("testfarm")] == ["Ada's technician"]
    assert journal.audit.page("testfarm")[0].what.endswith("/acknowledge")


def test_a_page_of_another_site_gets_nowhere_with_the_cookie_of_who_is_signed_in(browser, visit, journal, served):
    page = signed_in(visit(), token(journal, Role.KEEPER)[1])
    evil = page.context.new_page()
    evil.route("http://localhost:9/", lambda route: route.fulfill(body="<p>evil</p>", content_type="text/html"))
    evil.goto("http://localhost:9/")
    url = f"{served.url}api/v1/alarms/{HUMID.identity}/acknowledge"
    sent = evil.evaluate(
        """async (url) => {
          const tries = [
            fetch(url, { method: "POST", credentials: "include", mode: "no-cors", body: '{"who":"evil"}' }),
            fetch(url, { method: "POST", credentials: "include", body: '{"who":"evil"}',
                         headers: { "Content-Type": "application/json" } }),
            fetch(new URL("/api/v1/farm", url), { credentials: "include" }).then((one) => one.text()),
          ];
          const all = await Promise.allSettled(tries);
          return all.map((one) => one.status === "fulfilled" && typeof one.value === "string" ? one.value : one.status);
        }""",
        url,
    )
    assert sent[1:] == ["rejected", "rejected"]
    assert journal.alarms.acts("testfarm") == []
    evil.close()


def test_who_is_signed_in_is_asked_until_the_server_answers(visit, journal):
    page = signed_in(visit(), token(journal, Role.TECHNICIAN)[1])
    tries = []

    def fails_once(route):
        tries.append(route)
        route.abort() if len(tries) == 1 else route.fallback()

    page.route("**/api/v1/session", fails_once)
    page.reload()
    page.get_by_text("Room", exact=True).first.wait_for()
    assert page.get_by_role("button", name="Sign out").count() == 0
    page.get_by_role("button", name="Sign out").wait_for(timeout=10_000)
    page.get_by_role("button", name=re.compile("^Acknowledge")).wait_for()
    assert len(tries) == 2
    assert all("ERR_FAILED" in one for one in visit.complaints)
    visit.complaints.clear()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK, NARROWEST])
def test_axe_finds_nothing_on_the_screen_and_it_fits(visit, size, scheme):
    page = visit(size, scheme)
    page.get_by_role("heading", name="Sign in").wait_for()
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("alert").get_by_text("Paste").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    for name in ("#token", "#sign-in button"):
        assert page.locator(name).bounding_box()["height"] >= 44  # WCAG 2.2, 2.5.5: our choice to hold to its size
    page.evaluate(AXE)
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 10
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []


def test_on_this_machine_no_sign_in_is_asked_for(browser, house):
    served = Served(house)
    try:
        page = browser.new_context().new_page()
        page.goto(served.url)
        page.get_by_text("Room", exact=True).first.wait_for()
        assert page.get_by_role("button", name="Sign out").count() == 0
    finally:
        page.context.close()
        served.stop()
