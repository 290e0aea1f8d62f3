"""What a report is made of, whatever it is written as: parts with text, tables and charts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from handover.reports.drawing import Drawing


class Out(str):
    """The text of a cell that is to stand out: outside of what the plan or a limit allows."""

    __slots__ = ()


class Tone(StrEnum):
    """How a paragraph is said."""

    PLAIN = "plain"
    NOTE = "note"
    CAUTION = "caution"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A few sentences."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a list, with what belongs below it."""

    text: str
    below: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """A list of short texts."""

    entries: Sequence[Entry]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads, the first cell of each naming it; ``groups`` are rows under a heading of their own.

    ``numeric`` are the places of columns that are set to the right, ``widths`` shares of the page.
    """

    caption: str
    heads: tuple[str, ...]
    groups: Sequence[tuple[str, Sequence[Sequence[str]]]]
    numeric: frozenset[int] = frozenset()
    widths: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture with what it shows in words: ``text`` is for those who do not see it."""

    caption: str
    text: str
    drawing: Drawing


Item = Paragraph | Listing | Table | Chart


@dataclass(frozen=True, slots=True)
class Part:
    """What stands under one heading."""

    title: str
    items: Sequence[Item]


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report: ``head`` says what it is of, ``origin`` what it rests on, so that it can be cited."""

    title: str
    subtitle: str
    file_name: str
    invented: bool
    head: Sequence[tuple[str, str]]
    parts: Sequence[Part]
    origin: Sequence[tuple[str, str]]
    citation: str
    cautions: Sequence[str] = field(default=())


def rows(caption: str, heads: tuple[str, ...], lines: Sequence[Sequence[str]], **more: object) -> Table:
    """Return a table without groups."""
    return Table(caption, heads, [("", lines)], **more)  # type: ignore[arg-type]  # passed on as it comes


def facts(caption: str, lines: Sequence[tuple[str, str] | None]) -> Table:
    """Return a table of what was found, a row a fact; rows that do not apply are left out."""
    return Table(caption, ("What", "Found"), [("", [one for one in lines if one is not None])], widths=(0.42, 0.58))
