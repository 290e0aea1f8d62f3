"""What may be behind an excursion, or anything unusual: ranked causes with their evidence."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query

from api import examples, schemas
from api.finding_tracks import EvidenceTracks
from api.house import House, TheHouse
from api.pages import AskedPlace, Limit, Place
from api.problems import Problem
from api.spans import AskedOpenSpan
from farm.readings import instant
from store.entries import FindingEntry
from watch.first_checks import first_check
from watch.recurrence import Before, found_before

router = APIRouter(tags=["findings"])


@router.get("/findings", responses=examples.of("findings"))
def findings(
    house: TheHouse,
    span: AskedOpenSpan,
    open_: Annotated[bool, Query(alias="open", description="only those that still hold")] = False,
    excursion: Annotated[str | None, Query(description="only the one about this excursion")] = None,
    limit: Limit = 500,
    before: AskedPlace = None,
) -> schemas.FindingsAnswer:
    """Tell the findings that hold at some time of a range, the newest onset first; all of them by default."""
    found = house.journal.findings.page(
        house.farm.name, *span, before, limit + 1, subject=excursion, open_at_us=house.clock() if open_ else None
    )
    shown = found[:limit]
    last = Place(shown[-1].onset_us, shown[-1].identity) if len(found) > limit else None
    return schemas.FindingsAnswer(findings=_told(house, shown), next=None if last is None else str(last))


@router.get("/findings/{id}", response_model=schemas.FindingAnswer, responses=examples.of("finding"))
def finding(
    house: TheHouse, identity: Annotated[str, Path(alias="id", description="a finding's or an excursion's id")]
) -> schemas.FindingAnswer:
    """Tell one finding, by its own id or by that of the excursion it is about."""
    found = house.journal.findings.of(house.farm.name, identity)
    if found is None:
        raise Problem(404, f"There is no finding {identity[:200]!r}. /api/v1/findings lists every one.")
    return _told(house, [found])[0]


def _told(house: House, entries: Sequence[FindingEntry]) -> list[schemas.FindingAnswer]:
    before = found_before(house.journal, entries)
    tracks = EvidenceTracks(house.farm, (one.series for one in house.known().values()))
    return [_finding(one, before.get(one.identity, []), tracks) for one in entries]


def _finding(one: FindingEntry, before: Sequence[Before], tracks: EvidenceTracks) -> schemas.FindingAnswer:
    detail: dict[str, Any] = one.detail
    excursion = one.subject if "series" in detail else None
    return schemas.FindingAnswer(
        id=one.identity,
        subject="excursion" if excursion else one.subject.split("/")[0],
        excursion=excursion,
        series=detail.get("series"),
        surface=detail.get("surface"),
        onset=instant(one.onset_us),
        end=instant(one.end_us) if one.end_us is not None else None,
        at=instant(one.at_us),
        first_check=first_check(detail),
        found_before=[
            schemas.FoundBefore(
                id=each.identity,
                onset=instant(each.onset_us),
                end=instant(each.end_us),
                place_labels=list(each.place_labels),
            )
            for each in before
        ],
        shown_in=tracks.of(detail),
        **{name: detail[name] for name in schemas.FindingAnswer.model_fields if name in _TOLD and name in detail},
    )


_TOLD = {"headline", "causes", "also", "cannot_tell_apart", "next_check", "next_check_shows", "urgent", "cautions",
         "leads_since", "last_seen"}  # fmt: skip
