"""The page's icons as a browser draws them from icon.svg; ``python -m tests.api.icons`` writes them anew."""

from __future__ import annotations

from api.page_files import PAGE

# Name -> side in pixels, and how much of it the icon takes: phones cut a maskable one as they like, within a circle
# of 80 % (W3C, Web Application Manifest, "Icon masks and safe zone").
ICONS = {
    "icon-180.png": (180, 1.0),
    "icon-192.png": (192, 1.0),
    "icon-512.png": (512, 1.0),
    "icon-maskable-512.png": (512, 0.8),
}
BACKGROUND = "#1a5a96"


def drawn(browser, name: str) -> bytes:
    side, share = ICONS[name]
    context = browser.new_context(viewport={"width": side, "height": side})
    page = context.new_page()
    svg = (PAGE / "icon.svg").read_text(encoding="utf-8")
    ground = (
        f"background:{BACKGROUND}" if share < 1 or name == "icon-180.png" else ""
    )  # the latter is shown on black else
    page.set_content(
        f"<style>body{{margin:0;{ground}}}svg{{display:block;width:{share:%};margin:{(1 - share) / 2:%}}}</style>{svg}"
    )
    picture = page.screenshot(omit_background=True)
    context.close()
    return picture


if __name__ == "__main__":
    from tests.browsing import launched

    with launched() as browser:
        for name in ICONS:
            (PAGE / name).write_bytes(drawn(browser, name))
