"""Reports as files: which one is asked for, in which format, and putting it in its place whole."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from enum import StrEnum
from pathlib import Path

from handover.place import why_not
from handover.refusals import NotWritten, Refused
from handover.reports.batch_report import batch_report
from handover.reports.day_report import day_report
from handover.reports.document import Report
from handover.reports.sources import Sources
from handover.reports.web_page import web_page
from handover.reports.week_report import monday_of, week_report
from store.durable import synced_folder


class Shape(StrEnum):
    """What a report is written as: the ending of its file's name."""

    HTML = "html"
    PDF = "pdf"


class Of(StrEnum):
    """What a report is of."""

    DAY = "day"
    WEEK = "week"
    BATCH = "batch"


def report_of(sources: Sources, of: Of, name: str) -> Report:
    """Return the report of a day (2026-03-01), a week (2026-W09, or a day in it) or a batch (its name).

    Raises
    ------
    Refused
        If there is nothing to report of that name; the message says what there is.
    """
    match of:
        case Of.DAY:
            return day_report(sources, _day(name))
        case Of.WEEK:
            return week_report(sources, monday_of(name))
        case Of.BATCH:
            return batch_report(sources, name)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{text[:100]!r} is no day: write one as in 2026-03-01.") from None


def written_as(report: Report, shape: Shape) -> bytes:
    """Return a report as the bytes of a file."""
    if shape is Shape.HTML:
        return web_page(report)
    from handover.reports.paper import paper  # takes a while to load, and pages of HTML do without

    return paper(report)


def shape_of(target: Path) -> Shape:
    """Return what a file is to be written as, by its name's ending.

    Raises
    ------
    Refused
        If it ends otherwise.
    """
    try:
        return Shape(target.suffix.lower().removeprefix("."))
    except ValueError:
        raise Refused(
            f"{target}: a report is written as .html or .pdf: give the file's name one of these endings."
        ) from None


def put(target: Path, content: Callable[[], bytes], *, overwrite: bool) -> None:
    """Write a file whole or not at all; one that is there is only replaced where ``overwrite`` says so.

    Raises
    ------
    Refused
        If the file is there already.
    NotWritten
        If it cannot be written; nothing that looks whole is left behind.
    """
    if not overwrite and (target.is_symlink() or target.exists()):
        raise Refused(f"{target} is there already: name another file, or replace it with --overwrite.")
    if target.is_dir():
        raise Refused(f"{target} is a folder: name a file.")
    beside: Path | None = None
    made = content()
    try:
        number, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.absolute().parent)
        beside = Path(name)
        with os.fdopen(number, "wb") as out:
            out.write(made)
            out.flush()
            os.fsync(out.fileno())
        mask = os.umask(0)
        os.umask(mask)
        beside.chmod(0o666 & ~mask)
        beside.replace(target)
        synced_folder(target.absolute().parent)
    except OSError as error:
        if beside is not None:
            with suppress(OSError):
                beside.unlink(missing_ok=True)
        raise NotWritten(why_not(target, error)) from error
