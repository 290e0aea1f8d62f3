"""A real browser that can reach nothing but this machine, for tests of the page."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = playwright.expect

CHROMIUM = next((path for path in map(Path, ("/usr/bin/chromium", "/usr/bin/chromium-browser")) if path.exists()), None)
IN_BROWSER = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium in /usr/bin: the page is not tried in a browser"),
]
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]  # fmt: skip
AXE = (Path(__file__).parent / "api" / "vendor" / "axe.min.js").read_text()
PHONE, SMALL_PHONE, NARROWEST, DESK = (390, 844), (360, 740), (320, 640), (1280, 900)


@contextmanager
def launched() -> Iterator[playwright.Browser]:
    """Yield a browser."""
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


class Tabs:
    """Opens pages of one server, and keeps what stood on their consoles and what they asked others for."""

    def __init__(self, browser: playwright.Browser, url: str) -> None:
        self.complaints: list[str] = []
        self._browser, self._url = browser, url
        self._contexts: list[playwright.BrowserContext] = []

    def open(self, size: tuple[int, int] = DESK, scheme: str = "light") -> playwright.Page:
        """Return an empty page, in a browser that nobody has used."""
        context = self._browser.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce"
        )
        self._contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda one: self._is_ours(one.url) or self.complaints.append(f"asked for {one.url}"))
        return page

    def _is_ours(self, address: str) -> bool:
        return address.startswith((self._url, f"blob:{self._url}"))

    def close(self) -> None:
        """Close them all; nothing may stand on the console or have left this machine that was not taken out."""
        for context in self._contexts:
            context.close()
        assert self.complaints == []
