"""A load of the page is all of one version, whatever the server changes to meanwhile."""

from __future__ import annotations

import asyncio
import shutil
import threading

import pytest
from starlette.staticfiles import StaticFiles

from api import page_files
from api.page_files import PAGE
from tests.browsing import IN_BROWSER, expect
from tests.conftest import eventually
from tests.serving import Served

pytestmark = IN_BROWSER
VERSIONS = "[...(globalThis.loaded ?? [])].join()"
WAITING = "navigator.serviceWorker.getRegistration('/').then((one) => Boolean(one?.waiting))"
ACTIVE = "navigator.serviceWorker.ready.then((one) => one.active.state === 'activated')"
INSTALLING = "navigator.serviceWorker.getRegistration('/').then((one) => Boolean(one?.installing))"
CACHES = "caches.keys().then((names) => names.length)"


class Releases:
    """The same server's address with one version of the page's files after another, each module telling its own."""

    def __init__(self, house, folder, monkeypatch):
        self.house, self.folder, self.monkeypatch = house, folder, monkeypatch
        self.served = None

    def release(self, version):
        there = self.folder / version
        shutil.copytree(PAGE, there)
        for one in there.glob("*.js"):
            one.write_text(f'{one.read_text()}\n(globalThis.loaded ??= new Set()).add("{version}");\n')
        self.serve(there)
        return there

    def serve(self, there):
        self.monkeypatch.setattr(page_files, "PAGE", there)
        port = self.served.port if self.served else 0
        self.stop()
        self.served = Served(self.house, port)

    def stop(self):
        if self.served:
            self.served.stop()
        self.served = None


@pytest.fixture
def releases(house, tmp_path, monkeypatch):
    made = Releases(house, tmp_path, monkeypatch)
    yield made
    made.stop()


@pytest.fixture
def context(browser):
    context = browser.new_context()
    yield context
    context.close()


def opened(context, releases):
    page = context.new_page()
    page.goto(releases.served.url)
    page.get_by_text("Room", exact=True).first.wait_for()
    return page


def again(page):
    page.reload()
    page.get_by_text("Room", exact=True).first.wait_for()


def versions(page):
    try:
        return page.evaluate(VERSIONS)
    except Exception:  # it is being loaded again: what it was is gone
        return ""


def test_a_newer_version_comes_whole_once_no_page_of_the_older_is_open(context, releases):
    releases.release("one")
    page, other = opened(context, releases), opened(context, releases)
    eventually(lambda: page.evaluate(ACTIVE))
    again(page)
    again(other)
    assert (versions(page), versions(other)) == ("one", "one")
    releases.release("two")
    again(page)  # the older one, from the browser's store, while the newer one is fetched
    assert versions(page) == "one"
    eventually(lambda: page.evaluate(WAITING))
    expect(page.get_by_text("A newer version of this page is here.")).to_be_visible()
    again(page)
    page.wait_for_timeout(500)
    assert (versions(page), versions(other)) == ("one", "one")  # the other tab still rests on its files
    assert page.evaluate(CACHES) == 2
    other.close()

    def taken_over():  # by the first load after the browser has let go of the other tab
        again(page)
        return versions(page) == "two"

    eventually(taken_over)
    expect(page.get_by_text("A newer version of this page is here.")).to_have_count(0)
    eventually(lambda: page.evaluate(CACHES) == 1)
    releases.stop()
    page.reload()
    assert versions(page) == "two"


def test_a_page_opened_while_the_newer_version_comes_is_told_of_it_too(context, releases, monkeypatch):
    goes_on = threading.Event()

    class Slow(StaticFiles):
        async def get_response(self, path, scope):
            while path == "zones.js" and not goes_on.is_set():
                await asyncio.sleep(0.02)
            return await super().get_response(path, scope)

    releases.release("one")
    page, other = opened(context, releases), opened(context, releases)
    eventually(lambda: page.evaluate(ACTIVE))
    again(page)
    again(other)
    monkeypatch.setattr(page_files, "StaticFiles", Slow)
    releases.release("two")
    try:
        again(other)
        eventually(lambda: other.evaluate(INSTALLING))
        again(page)
    finally:
        goes_on.set()
    expect(page.get_by_text("A newer version of this page is here.")).to_be_visible()
    assert (versions(page), versions(other)) == ("one", "one")


def test_the_newer_version_is_loaded_by_a_press(context, releases):
    releases.release("one")
    page = opened(context, releases)
    eventually(lambda: page.evaluate(ACTIVE))
    again(page)
    releases.release("two")
    again(page)
    page.get_by_role("button", name="Load it").click()
    eventually(lambda: versions(page) == "two")


def test_a_server_that_changes_while_it_is_asked_gives_no_mixture(context, releases):
    releases.release("one")
    page = opened(context, releases)
    eventually(lambda: page.evaluate(ACTIVE))
    again(page)
    there = releases.release("two")
    (there / "zones.js").write_text((there / "zones.js").read_text().replace('"two"', '"three"'))
    again(page)
    eventually(lambda: not page.evaluate(INSTALLING))
    page.wait_for_timeout(1000)
    assert page.evaluate(WAITING) is False
    again(page)
    assert versions(page) == "one"
    eventually(lambda: page.evaluate(CACHES) == 1)  # this load tried the newer one too


def test_a_server_that_goes_back_to_the_version_before_and_breaks_off_leaves_its_kept_files(context, releases):
    one = releases.release("one")
    page, other = opened(context, releases), opened(context, releases)
    eventually(lambda: page.evaluate(ACTIVE))
    again(page)
    again(other)
    releases.release("two")
    again(page)
    eventually(lambda: page.evaluate(WAITING))
    before = page.evaluate("caches.keys()")
    zones = (one / "zones.js").read_text()
    releases.serve(one)
    (one / "zones.js").write_text(zones + "// not as it was told")
    page.evaluate("navigator.serviceWorker.getRegistration('/').then((one) => one.update().catch(() => {}))")
    eventually(lambda: not page.evaluate(INSTALLING))
    assert page.evaluate("caches.keys()") == before
    releases.stop()
    page.reload()
    assert versions(page) == "one"
