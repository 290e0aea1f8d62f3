"""A report as one page of HTML: no script, nothing from elsewhere, made to be printed on A4."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from html import escape
from importlib.resources import files

from handover.reports.document import Chart, Item, Listing, Out, Paragraph, Part, Report, Table, Tone
from handover.reports.drawing import TEXT_SIZE, Box, Dot, Drawing, Line, Mark, Words

STYLE = (files("handover.reports") / "page.css").read_text("utf-8").strip()

STYLE_SOURCE = f"'sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}'"
# What a browser lets the page do: show itself, with its own style and nothing else.
POLICY = f"default-src 'none'; style-src {STYLE_SOURCE}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def web_page(report: Report) -> bytes:
    """Return a report as HTML; the same report gives the same bytes."""
    return "\n".join(_page(report)).encode()


def _page(report: Report) -> Iterator[str]:
    title = f"{report.title}, {report.subtitle}"
    yield "<!DOCTYPE html>"
    yield '<html lang="en-GB"><head><meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{escape(title)}</title>"
    yield f"<style>{STYLE}</style></head><body><main>"
    yield f'<h1>{escape(report.title)}</h1><p class="subtitle">{escape(report.subtitle)}</p>'
    if report.invented:
        yield '<p class="invented">The farm is invented: nothing in this report was measured in a real one.</p>'
    yield from _pairs("What this is", report.head)
    for part in report.parts:
        yield from _part(part)
    yield "<h2>What this rests on</h2>"
    yield from _pairs("Origin", report.origin)
    yield f'<p><strong>To cite it:</strong> <span class="hash">{escape(report.citation)}</span></p>'
    for text in report.cautions:
        yield f'<p class="caution">{escape(text)}</p>'
    yield '<p class="sign"><span>Looked through by</span><span>Date</span><span>Signature</span></p>'
    yield "</main></body></html>"


def _pairs(caption: str, lines: object) -> Iterator[str]:
    yield f"{_wide(caption)}<table><caption>{escape(caption)}</caption><tbody>"
    for name, text in lines:  # type: ignore[attr-defined]  # pairs
        kind = "hash" if "SHA-256" in name else "out" if isinstance(text, Out) else ""
        yield f'<tr><th scope="row">{escape(name)}</th><td{_class(kind)}>{escape(text)}</td></tr>'
    yield "</tbody></table></div>"


def _wide(caption: str) -> str:
    """Return the beginning of what scrolls sideways on a narrow screen, by the keyboard too."""
    return f'<div class="wide" role="region" tabindex="0" aria-label="{escape(caption)}">'


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""


def _part(part: Part) -> Iterator[str]:
    yield f"<section><h2>{escape(part.title)}</h2>"
    for item in part.items:
        yield from _item(item)
    yield "</section>"


def _item(item: Item) -> Iterator[str]:
    match item:
        case Paragraph():
            kind = {Tone.NOTE: "note", Tone.CAUTION: "caution"}.get(item.tone, "")
            yield f"<p{_class(kind)}>{_text(item.text)}</p>"
        case Listing():
            yield "<ul>"
            for entry in item.entries:
                below = "".join(f"<li>{escape(text)}</li>" for text in entry.below)
                yield f"<li>{_text(entry.text)}{f'<ul>{below}</ul>' if below else ''}</li>"
            yield "</ul>"
        case Table():
            yield from _table(item)
        case Chart():
            yield f"<figure><figcaption>{escape(item.caption)}</figcaption>{svg(item.drawing, item.text)}</figure>"


def _text(text: str) -> str:
    return f'<strong class="out">{escape(text)}</strong>' if isinstance(text, Out) else escape(text)


def _table(table: Table) -> Iterator[str]:
    def numeric(place: int) -> str:
        return _class("n" if place in table.numeric else "")

    yield f"{_wide(table.caption)}<table><caption>{escape(table.caption)}</caption>"
    heads = "".join(f'<th scope="col"{numeric(place)}>{escape(head)}</th>' for place, head in enumerate(table.heads))
    yield f"<thead><tr>{heads}</tr></thead>"
    for name, lines in table.groups:
        yield "<tbody>"
        if name:
            yield f'<tr class="group"><th scope="rowgroup" colspan="{len(table.heads)}">{escape(name)}</th></tr>'
        for first, *others in lines:
            cells = "".join(f"<td{numeric(place)}>{_text(cell)}</td>" for place, cell in enumerate(others, 1))
            yield f'<tr><th scope="row">{escape(first)}</th>{cells}</tr>'
        yield "</tbody>"
    yield "</table></div>"


def svg(drawing: Drawing, text: str) -> str:
    """Return a drawing as SVG that tells in words what it shows."""
    marks = "".join(map(_mark, drawing.marks))
    size = f'viewBox="0 0 {drawing.width:g} {drawing.height:g}"'
    return f'<svg {size} role="img" aria-label="{escape(text)}" font-size="{TEXT_SIZE:g}">{marks}</svg>'


def _mark(mark: Mark) -> str:
    match mark:
        case Box():
            edge = f' stroke="{mark.edge}" stroke-width="0.6"' if mark.edge else ""
            fill = mark.fill or "none"
            place = f'x="{mark.x:g}" y="{mark.y:g}" width="{mark.width:g}" height="{mark.height:g}"'
            return f'<rect {place} fill="{fill}"{edge}/>'
        case Line():
            points = " ".join(f"{x:g},{y:g}" for x, y in mark.points)
            dash = f' stroke-dasharray="{" ".join(f"{one:g}" for one in mark.dash)}"' if mark.dash else ""
            return (
                f'<polyline points="{points}" fill="none" stroke="{mark.colour}" stroke-width="{mark.width:g}"{dash}/>'
            )
        case Dot():
            return f'<circle cx="{mark.x:g}" cy="{mark.y:g}" r="{mark.radius:g}" fill="{mark.fill}"/>'
        case Words():
            bold = ' font-weight="700"' if mark.bold else ""
            place = f'x="{mark.x:g}" y="{mark.y:g}" text-anchor="{mark.anchor}" fill="{mark.colour}"'
            return f"<text {place}{bold}>{escape(mark.text)}</text>"
