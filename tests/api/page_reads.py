"""What the page reads of a day sheet, watched in the browser: a key that the sheet does not have is a renamed one."""

from __future__ import annotations

from typing import Any, NamedTuple

_WATCHED = """async (sheet) => {
  const { html, render } = await import('/page/html.js');
  const { Science } = await import('/page/science.js');
  const { readView } = await import('/page/view.js');
  const read = new Set(), missing = new Set();
  const watched = (value, path) => value === null || typeof value !== 'object' ? value : new Proxy(value, {
    get(object, key) {
      if (typeof key === 'symbol') return object[key];
      if (Array.isArray(object)) return /^[0-9]+$/.test(key) ? watched(object[key], path + '[]') : object[key];
      const place = path ? path + '.' + key : key;
      (key in object ? read : missing).add(place);
      return watched(object[key], place);
    },
  });
  const shown = document.createElement('div');
  document.body.append(shown);
  const asked = { sheet: watched(sheet, ''), list: [], zone: 'Europe/Oslo', wide: true, view: readView('') };
  render(html`<${Science} ...${asked} />`, shown);
  const text = shown.innerText;
  shown.remove();
  return { read: [...read], missing: [...missing], text };
}"""


class Read(NamedTuple):
    """The keys that the page read and found, those it did not find, and what it shows."""

    found: set[str]
    missing: set[str]
    text: str


def science_of(page: Any, sheet: dict[str, Any]) -> Read:
    """Show the science of a day sheet on an open page and return what was read for it."""
    seen = page.evaluate(_WATCHED, sheet)
    return Read(set(seen["read"]), set(seen["missing"]), seen["text"].replace("\u00a0", " "))
