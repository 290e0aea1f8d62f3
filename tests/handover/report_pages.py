"""Reports read as a program would read them: tables, texts and pictures of a page."""

from __future__ import annotations

from html.parser import HTMLParser


class ReportPage(HTMLParser):
    """A report's tables under their captions, rows under their first cell; and whatever else a page could carry."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text, self._caption, self._cell, self._inside = "", "", "", ""
        self._row: list[str] = []
        self.feed(page.decode())
        self.text = self.text.replace("\u00a0", " ")

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "caption" or tag in ("td", "th"):
            self._inside, self._cell = tag, ""
        elif tag == "tr":
            self._row = []

    def handle_endtag(self, tag):
        if tag == "caption":
            self._caption = self._cell
            self.tables.setdefault(self._caption, [])
        elif tag in ("td", "th"):
            self._row.append(self._cell.replace("\u00a0", " "))
        elif tag == "tr":
            self.tables[self._caption].append(self._row)

    def handle_data(self, data):
        self.text += data
        self._cell += data

    def row(self, caption: str, name: str, number: int = 0) -> list[str]:
        """Return the cells after a row's name."""
        return [row for row in self.tables[caption] if row and row[0] == name][number][1:]

    def rows_of(self, caption: str) -> list[list[str]]:
        return self.tables[caption]
