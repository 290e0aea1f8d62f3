"""A report as PDF on A4, set with ReportLab, which is pure Python; the same report gives the same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import as_file, files
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    LongTable,
    PageTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Paragraph as Set

from handover.reports.axes import WIDTH
from handover.reports.document import Chart, Item, Listing, Out, Paragraph, Part, Report, Table, Tone
from handover.reports.drawing import TEXT_SIZE, Box, Dot, Drawing, Line, Mark, Words

REGULAR, BOLD = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold"
MARGIN, FOOT = 15 * mm, 18 * mm
INK, GREY, RULE, TINT, WARM = "#1b1b1b", "#4a4a4a", "#dcdcdc", "#f1f5f3", "#8a3400"
OUT_SIGN = "\u25c6"
ROOM_FOR_A_HEADING, ROOM_FOR_A_TABLE = 45 * mm, 28 * mm


@cache
def _fonts() -> dict[int, int]:
    """Register the fonts that come with this package; return what their first has glyphs for."""
    for name in (REGULAR, BOLD):
        with as_file(files("handover.reports") / "fonts" / f"{name}.ttf") as file:
            pdfmetrics.registerFont(TTFont(name, file))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    glyphs: dict[int, int] = pdfmetrics.getFont(REGULAR).face.charToGlyph
    return glyphs


def shown(text: str) -> str:
    """Return a text in which what the font has no glyph for is written as its code point, so that none is lost."""
    glyphs = _fonts()
    return "".join(one if ord(one) in glyphs or one == "\n" else f"[U+{ord(one):04X}]" for one in text)


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:  # noqa: ANN401  # the library's own
    given = {"fontName": REGULAR, "textColor": INK, "leading": size * 1.28} | more
    return ParagraphStyle(name, fontSize=size, **given)


PLAIN = _style("plain", 9, spaceAfter=4)
NOTE = _style("note", 8, textColor=GREY, spaceAfter=4)
CAUTION = _style(
    "caution",
    8.5,
    spaceBefore=9,
    spaceAfter=8,
    leftIndent=5,
    rightIndent=5,
    backColor="#fdf3ea",
    borderColor="#b34700",
    borderWidth=0.8,
    borderPadding=4,
)
TITLE = _style("title", 17, fontName=BOLD, spaceAfter=2)
SUBTITLE = _style("subtitle", 10, textColor=GREY, spaceAfter=6)
HEADING = _style("heading", 12.5, fontName=BOLD, spaceBefore=12, spaceAfter=4)
CAPTION = _style("caption", 8.5, fontName=BOLD, spaceBefore=6, spaceAfter=2)
CELL, RIGHT = _style("cell", 7.6), _style("right", 7.6, alignment=2)
HEAD, HEAD_RIGHT = _style("head", 7.6, fontName=BOLD), _style("head right", 7.6, fontName=BOLD, alignment=2)
ENTRY = _style("entry", 9, leftIndent=10, bulletIndent=0, spaceAfter=2)
BELOW = _style("below", 8.2, leftIndent=20, bulletIndent=10, spaceAfter=1)


def paper(report: Report) -> bytes:
    """Return a report as PDF."""
    _fonts()
    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=FOOT,
        title=f"{report.title}, {report.subtitle}",
        author=report.subtitle,
        subject=report.citation,
        creator="Leafweather",
        lang="en-GB",
        invariant=1,
    )
    room = Frame(MARGIN, FOOT, WIDTH, A4[1] - MARGIN - FOOT, 0, 0, 0, 0)
    document.addPageTemplates(PageTemplate("page", [room]))
    line = shown(
        f"{report.title}, {report.subtitle}"
        + (" (invented farm)" if report.invented and "invented" not in report.subtitle else "")
    )
    document.build(list(_story(report)), canvasmaker=lambda *given, **more: _Numbered(line, *given, **more))
    return out.getvalue()


class _Numbered(Canvas):  # type: ignore[misc]  # the library has no types
    """A canvas whose pages say which of how many they are."""

    def __init__(self, line: str, *given: Any, **more: Any) -> None:  # noqa: ANN401  # passed on
        super().__init__(*given, **more)
        self._line = line
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802  # the library's name
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, state in enumerate(self._kept, 1):
            self.__dict__.update(state)
            self.setFont(REGULAR, 7.5)
            self.setFillColor(colors.HexColor(GREY))
            self.drawString(MARGIN, 10 * mm, self._line)
            self.drawRightString(A4[0] - MARGIN, 10 * mm, f"page {number} of {len(self._kept)}")
            super().showPage()
        super().save()


def _story(report: Report) -> Iterator[Flowable]:
    yield Set(_text(report.title), TITLE)
    yield Set(_text(report.subtitle), SUBTITLE)
    if report.invented:
        yield Set("The farm is invented: nothing in this report was measured in a real one.", CAUTION)
    yield _pairs(report.head)
    for part in report.parts:
        yield from _part(part)
    yield CondPageBreak(ROOM_FOR_A_HEADING)
    yield Set("What this rests on", HEADING)
    yield _pairs(report.origin)
    yield Set(f"<b>To cite it:</b> {_text(report.citation)}", PLAIN)
    for text in report.cautions:
        yield Set(_text(text), CAUTION)
    yield KeepTogether([Spacer(1, 30), _signature()])


def _signature() -> Flowable:
    names = [[Set(name, CELL) for name in ("Looked through by", "Date", "Signature")]]
    lines = [("LINEABOVE", (place, 0), (place, 0), 0.8, INK) for place in (0, 2, 4)]
    row = [names[0][0], "", names[0][1], "", names[0][2]]
    return LongTable(
        [row], colWidths=[WIDTH * share for share in (0.32, 0.04, 0.2, 0.04, 0.4)], style=TableStyle(lines)
    )


def _text(text: str) -> str:
    return escape(shown(text))


def _marked(text: str) -> str:
    return f'<font color="{WARM}"><b>{OUT_SIGN} {_text(text)}</b></font>' if isinstance(text, Out) else _text(text)


def _part(part: Part) -> Iterator[Flowable]:
    yield CondPageBreak(ROOM_FOR_A_HEADING)
    yield Set(_text(part.title), HEADING)
    for item in part.items:
        yield from _item(item)


def _item(item: Item) -> Iterator[Flowable]:
    match item:
        case Paragraph():
            yield Set(_marked(item.text), {Tone.NOTE: NOTE, Tone.CAUTION: CAUTION}.get(item.tone, PLAIN))
        case Listing():
            for entry in item.entries:
                yield Set(_marked(entry.text), ENTRY, bulletText="\u2022")
                for text in entry.below:
                    yield Set(_text(text), BELOW, bulletText="\u2013")
        case Table():
            yield CondPageBreak(ROOM_FOR_A_TABLE)
            yield Set(_text(item.caption), CAPTION)
            yield _table(item)
        case Chart():
            yield KeepTogether([Set(_text(item.caption), CAPTION), _Drawn(item.drawing), Spacer(1, 4)])


LOOK = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ("TOPPADDING", (0, 0), (-1, -1), 1.6),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
    ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.HexColor(RULE)),
]


def _pairs(lines: Sequence[tuple[str, str]]) -> Flowable:
    cells = [[Set(_text(name), HEAD), Set(_marked(text), CELL)] for name, text in lines]
    return LongTable(cells, colWidths=[WIDTH * 0.26, WIDTH * 0.74], style=TableStyle(LOOK), spaceAfter=6)


def _table(table: Table) -> Flowable:
    def head(place: int) -> ParagraphStyle:
        return HEAD_RIGHT if place in table.numeric else HEAD

    cells: list[list[Any]] = [[Set(_text(text), head(place)) for place, text in enumerate(table.heads)]]
    look: list[tuple[Any, ...]] = [*LOOK, ("LINEBELOW", (0, 0), (-1, 0), 0.9, colors.HexColor("#777777"))]
    for name, lines in table.groups:
        if name:
            row = len(cells)
            cells.append([Set(_text(name), HEAD), *[""] * (len(table.heads) - 1)])
            look += [("SPAN", (0, row), (-1, row)), ("BACKGROUND", (0, row), (-1, row), colors.HexColor(TINT))]
            look.append(("NOSPLIT", (0, row), (-1, row + 1)))
        cells += [
            [Set(_marked(text), RIGHT if place in table.numeric else CELL) for place, text in enumerate(line)]
            for line in lines
        ]
    return LongTable(cells, colWidths=_widths(table), repeatRows=1, style=TableStyle(look), spaceAfter=6)


def _widths(table: Table) -> list[float]:
    """Return the columns' widths: as told, else by the longest text in each, within reason."""
    if table.widths:
        return [WIDTH * share for share in table.widths]
    columns = zip(table.heads, *(line for _, lines in table.groups for line in lines), strict=True)
    needs = [min(40, max(8, *(len(text) for text in column))) for column in columns]
    return [WIDTH * need / sum(needs) for need in needs]


class _Drawn(Flowable):  # type: ignore[misc]  # the library has no types
    """A drawing on the page."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__()
        self.width, self.height, self._drawing = drawing.width, drawing.height, drawing

    def draw(self) -> None:
        for mark in self._drawing.marks:
            self._put(mark)

    def _put(self, mark: Mark) -> None:
        canvas: Canvas = self.canv
        canvas.saveState()
        match mark:
            case Box():
                canvas.setLineWidth(0.6)
                if mark.fill:
                    canvas.setFillColor(colors.HexColor(mark.fill))
                if mark.edge:
                    canvas.setStrokeColor(colors.HexColor(mark.edge))
                top = self.height - mark.y - mark.height
                canvas.rect(
                    mark.x, top, mark.width, mark.height, stroke=int(bool(mark.edge)), fill=int(bool(mark.fill))
                )
            case Line():
                canvas.setStrokeColor(colors.HexColor(mark.colour))
                canvas.setLineWidth(mark.width)
                canvas.setLineJoin(1)
                canvas.setDash(*([list(mark.dash)] if mark.dash else []))
                path = canvas.beginPath()
                (x, y), *others = mark.points
                path.moveTo(x, self.height - y)
                for x, y in others:
                    path.lineTo(x, self.height - y)
                canvas.drawPath(path)
            case Dot():
                canvas.setFillColor(colors.HexColor(mark.fill))
                canvas.circle(mark.x, self.height - mark.y, mark.radius, stroke=0, fill=1)
            case Words():
                canvas.setFont(BOLD if mark.bold else REGULAR, TEXT_SIZE)
                canvas.setFillColor(colors.HexColor(mark.colour))
                put = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
                put[mark.anchor](mark.x, self.height - mark.y, shown(mark.text))
        canvas.restoreState()
