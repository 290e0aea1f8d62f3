"""A stretch is pulled out of the timeline by a finger that was held still; one that moves at once scrolls the page."""

from __future__ import annotations

import re

import pytest

from tests.browsing import IN_BROWSER, PHONE

pytestmark = IN_BROWSER
SPAN = re.compile(r"from=([^&]+)&to=([^&]+)")
DAY = "from=2026-03-01T00:00:00Z&to=2026-03-02T00:00:00Z"
AT = f"#tracks=room/air_temperature,room/relative_humidity&{DAY}&open=timeline"


class Finger:
    """A finger on a touch screen, as the browser gets it from the device."""

    def __init__(self, page):
        self.page, self.device = page, page.context.new_cdp_session(page)

    def send(self, kind, *points):
        touches = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
        self.device.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def pull(self, begin, end, held_ms, steps=8):
        self.send("touchStart", begin)
        self.page.wait_for_timeout(held_ms)
        for step in range(1, steps + 1):
            self.send("touchMove", tuple(a + (b - a) * step / steps for a, b in zip(begin, end, strict=True)))
            self.page.wait_for_timeout(16)
        self.send("touchEnd")


@pytest.fixture
def page(browser, served):
    context = browser.new_context(
        viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True, is_mobile=True, reduced_motion="reduce"
    )
    page = context.new_page()
    page.goto(served.url + AT)
    page.locator(".uplot canvas").nth(1).wait_for()
    page.wait_for_timeout(500)
    page.locator(".u-over").first.scroll_into_view_if_needed()
    page.evaluate("document.querySelector('.u-over').scrollIntoView({ block: 'center' })")
    page.wait_for_timeout(300)
    yield page
    context.close()


def plot(page):
    box = page.locator(".u-over").first.bounding_box()
    return lambda share: (box["x"] + share * box["width"], box["y"] + box["height"] / 2)


def scrolled(page):
    return page.evaluate("scrollY")


def test_held_still_a_moment_it_pulls_a_stretch_and_the_page_stays(page):
    """A day from 00:00 UTC: from a quarter to three quarters of the plot are 06:00 to 18:00."""
    at, before = plot(page), scrolled(page)
    Finger(page).pull(at(0.25), at(0.75), held_ms=600)
    page.wait_for_function("location.hash.includes('T06') || location.hash.includes('T05:5')")
    begin, end = SPAN.search(page.url).groups()
    assert begin.startswith(("2026-03-01T05:5", "2026-03-01T06:0"))
    assert end.startswith(("2026-03-01T17:5", "2026-03-01T18:0"))
    assert scrolled(page) == before


def test_while_it_pulls_what_it_pulls_is_marked_even_when_it_goes_up_or_down(page):
    at, before, finger = plot(page), scrolled(page), Finger(page)
    finger.send("touchStart", at(0.6))
    page.wait_for_timeout(600)
    finger.send("touchMove", (at(0.3)[0], at(0.3)[1] - 120))
    page.wait_for_timeout(100)
    marked, whole = page.evaluate(
        "['.u-select', '.u-over'].map((one) => document.querySelector(one).getBoundingClientRect().width)"
    )
    assert marked == pytest.approx(0.3 * whole, abs=3)
    assert scrolled(page) == before
    finger.send("touchCancel")
    page.wait_for_timeout(100)
    assert SPAN.search(page.url).groups() == ("2026-03-01T00:00:00Z", "2026-03-02T00:00:00Z")


def test_a_finger_that_moves_at_once_scrolls_the_page_and_pulls_nothing(page):
    at, before = plot(page), scrolled(page)
    x, y = at(0.5)
    Finger(page).pull((x, y), (x, y - 250), held_ms=0, steps=15)
    page.wait_for_timeout(500)
    assert scrolled(page) > before + 100
    assert SPAN.search(page.url).groups() == ("2026-03-01T00:00:00Z", "2026-03-02T00:00:00Z")


def test_two_fingers_pull_nothing(page):
    at, finger = plot(page), Finger(page)
    finger.send("touchStart", at(0.4), at(0.6))
    page.wait_for_timeout(600)
    finger.send("touchMove", at(0.3), at(0.7))
    finger.send("touchEnd")
    page.wait_for_timeout(300)
    assert SPAN.search(page.url).groups() == ("2026-03-01T00:00:00Z", "2026-03-02T00:00:00Z")
