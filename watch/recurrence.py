"""When a finding's cause was found before: what comes back asks for more than to be mended once more."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from farm.causes import NORMAL, SOMETHING_ELSE
from farm.readings import MICROSECONDS_PER_SECOND, microseconds
from store.entries import FindingEntry, FirstCause
from store.journal import Journal
from watch.finding_details import LEADS_SINCE
from watch.first_checks import is_likely
from watch.night_findings import NIGHT

BACK_US = 90 * 86_400 * MICROSECONDS_PER_SECOND  # our choice, no source
APART_US = 3 * 3600 * MICROSECONDS_PER_SECOND  # findings farther apart are of two events; our choice, no source
MOST_TOLD = 5


class Before(NamedTuple):
    """When a cause was found before, by one or several findings; ``identity`` is that of the first of them."""

    identity: str
    onset_us: int
    end_us: int
    place_labels: tuple[str, ...]


def began_us(one: FirstCause) -> int:
    """Return since when a finding tells of its cause: of what began while something else was unusual, not before."""
    return _instant_us(one.leads_since) or one.onset_us


def ended_us(one: FirstCause) -> int | None:
    """Return until when a finding tells of its cause; None while it does."""
    return _instant_us(one.last_seen) or one.end_us


def found_before(journal: Journal, entries: Iterable[FindingEntry]) -> dict[str, list[Before]]:
    """Return when each finding's first cause was found before, the newest first, under the findings' identities.

    At any place, in the 90 days before it and five times at most; of nights to come, and where no cause is likely
    enough to be looked for, nothing.

    Raises
    ------
    store.contract.StoreUnavailable
        If the journal cannot be read.
    """
    asked = {one.identity: one for one in entries if _cause(one)}
    if not asked:
        return {}
    begin_us = {identity: _instant_us(one.detail.get(LEADS_SINCE)) or one.onset_us for identity, one in asked.items()}
    farm = next(iter(asked.values())).farm
    known: defaultdict[str, list[FirstCause]] = defaultdict(list)
    for each in journal.findings.first_causes(farm, min(begin_us.values()) - BACK_US, max(begin_us.values()) + 1):
        if is_likely(each.probability) and not each.subject.startswith(NIGHT):
            known[each.cause].append(each)
    return {identity: _earlier(known[_cause(one)], begin_us[identity]) for identity, one in asked.items()}


def _cause(one: FindingEntry) -> str:
    """Return the first cause of a finding, if there is one and it is likely enough; else an empty text."""
    first: Mapping[str, Any] = (one.detail.get("causes") or [{}])[0]
    named = first.get("cause") not in (None, NORMAL, SOMETHING_ELSE) and not one.subject.startswith(NIGHT)
    return str(first["cause"]) if named and is_likely(first.get("probability")) else ""


def _earlier(several: Sequence[FirstCause], begin_us: int) -> list[Before]:
    """Return the events of one cause that were over before an instant and not long before it, each once."""
    found: list[tuple[Before, int | None]] = []  # each with when it is over, as far as is known
    for one in sorted(several, key=began_us):
        since_us, until_us = began_us(one), ended_us(one)
        if since_us >= begin_us or (until_us is not None and until_us < begin_us - BACK_US):
            continue
        place = next((at for at, (each, over_us) in enumerate(found) if _is_of(one, each, over_us)), None)
        if place is None:
            found.append((Before(one.identity, since_us, until_us or since_us, one.place_labels), until_us))
            continue
        each, over_us = found[place]
        labels = tuple(dict.fromkeys((*each.place_labels, *one.place_labels)))
        over_us = None if over_us is None or until_us is None else max(over_us, until_us)
        found[place] = each._replace(end_us=over_us or each.end_us, place_labels=labels), over_us
    over = [each for each, over_us in found if over_us is not None and over_us + APART_US < begin_us]
    return over[: -MOST_TOLD - 1 : -1]


def _is_of(one: FirstCause, event: Before, over_us: int | None) -> bool:
    """Whether a finding is of an event: at a place of it, and not long after it."""
    apart = one.place_labels and event.place_labels and not {*one.place_labels} & {*event.place_labels}
    return not apart and (over_us is None or began_us(one) <= over_us + APART_US)


def _instant_us(text: str | None) -> int | None:
    return None if text is None else microseconds(datetime.fromisoformat(text))
