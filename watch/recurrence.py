"""When a finding's cause was found before: what comes back asks for more than to be mended once more."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from farm.causes import NORMAL, SOMETHING_ELSE
from farm.readings import MICROSECONDS_PER_SECOND, microseconds
from store.entries import FindingEntry, FirstCause
from store.journal import Journal
from watch.finding_details import LEADS_SINCE
from watch.first_checks import LEADS_FROM

BACK_US = 90 * 86_400 * MICROSECONDS_PER_SECOND  # our choice, no source
APART_US = 3 * 3600 * MICROSECONDS_PER_SECOND  # findings farther apart are of two events; our choice, no source
MOST_TOLD = 5


class Event(NamedTuple):
    """When a cause was found, by one or several findings; ``identity`` is that of the first of them."""

    identity: str
    onset_us: int
    end_us: int | None
    place_labels: tuple[str, ...]


def began_us(one: FirstCause) -> int:
    """Return since when a finding tells of its cause: of what began while something else was unusual, not before."""
    return _instant_us(one.leads_since) or one.onset_us


def ended_us(one: FirstCause) -> int | None:
    """Return until when a finding tells of its cause; None while it does."""
    return _instant_us(one.last_seen) or one.end_us


def found_before(journal: Journal, entries: Iterable[FindingEntry]) -> dict[str, list[Event]]:
    """Return the earlier events of each finding's first cause, the newest first, under the findings' identities.

    Those of any place, of 90 days and five at most; none where no cause is likely enough to be looked for.

    Raises
    ------
    store.contract.StoreUnavailable
        If the journal cannot be read.
    """
    asked = {one.identity: one for one in entries if _cause(one.detail)}
    if not asked:
        return {}
    begin_us = {identity: _instant_us(one.detail.get(LEADS_SINCE)) or one.onset_us for identity, one in asked.items()}
    farm = next(iter(asked.values())).farm
    known = journal.findings.first_causes(farm, min(begin_us.values()) - BACK_US, max(begin_us.values()) + 1)
    by_cause: dict[str, list[FirstCause]] = {}
    for each in known:
        if each.probability >= LEADS_FROM:
            by_cause.setdefault(each.cause, []).append(each)
    events = {cause: _events(several) for cause, several in by_cause.items()}
    return {
        identity: _earlier(events.get(_cause(one.detail), []), begin_us[identity]) for identity, one in asked.items()
    }


def _cause(detail: dict[str, Any]) -> str:
    """Return the first cause, if there is one and it is likely enough; else an empty text."""
    first = (detail.get("causes") or [{}])[0]
    named = first.get("cause") not in (None, NORMAL, SOMETHING_ELSE)
    return str(first["cause"]) if named and (first.get("probability") or 0.0) >= LEADS_FROM else ""


def _events(several: list[FirstCause]) -> list[Event]:
    """Return what findings of one cause tell of, each event once, by its beginning."""
    found: list[Event] = []
    for one in sorted(several, key=began_us):
        begin_us, end_us = began_us(one), ended_us(one)
        if found and (found[-1].end_us is None or begin_us <= found[-1].end_us + APART_US):
            last = found[-1]
            ends = None if None in (last.end_us, end_us) else max(last.end_us or 0, end_us or 0)
            places = tuple(dict.fromkeys((*last.place_labels, *one.place_labels)))
            found[-1] = last._replace(end_us=ends, place_labels=places)
        else:
            found.append(Event(one.identity, begin_us, end_us, one.place_labels))
    return found


def _earlier(events: list[Event], begin_us: int) -> list[Event]:
    over = [one for one in events if one.end_us is not None and one.end_us + APART_US < begin_us]
    return [one for one in over if one.onset_us >= begin_us - BACK_US][: -MOST_TOLD - 1 : -1]


def _instant_us(text: str | None) -> int | None:
    return None if text is None else microseconds(datetime.fromisoformat(text))
