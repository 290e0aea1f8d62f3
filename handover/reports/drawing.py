"""The few marks that charts are drawn with, in points from the upper left, so that each format can draw them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Anchor = Literal["start", "middle", "end"]
TEXT_SIZE = 7.5  # points


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle; ``edge`` is the colour of its outline, if it has one."""

    x: float
    y: float
    width: float
    height: float
    fill: str | None
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points; ``dash`` are the lengths of its strokes and gaps."""

    points: tuple[tuple[float, float], ...]
    colour: str
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled circle."""

    x: float
    y: float
    radius: float
    fill: str


@dataclass(frozen=True, slots=True)
class Words:
    """A short text on its base line."""

    x: float
    y: float
    text: str
    anchor: Anchor = "start"
    colour: str = "#333333"
    bold: bool = False


Mark = Box | Line | Dot | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks on a sheet, later ones over earlier ones."""

    width: float
    height: float
    marks: tuple[Mark, ...]
