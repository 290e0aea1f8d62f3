"""What the journal holds: excursions, day sheets, and what was refused."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query

from api import examples, schemas
from api.house import House, TheHouse
from api.pages import AskedPlace, Limit, Place
from api.problems import Problem
from api.spans import AskedOpenSpan
from farm.moments import Day
from farm.readings import MICROSECONDS_PER_SECOND, instant, iso_time
from farm.suggestion import suggested_series
from store.entries import ExcursionEntry
from store.log_entries import LogEntry

router = APIRouter(tags=["journal"])


@router.get("/excursions", responses=examples.of("excursions"))
def excursions(
    house: TheHouse,
    span: AskedOpenSpan,
    open_: Annotated[bool, Query(alias="open", description="only those that are open")] = False,
    series: Annotated[str | None, Query(description="only those of this series")] = None,
    limit: Limit = 500,
    before: AskedPlace = None,
) -> schemas.ExcursionsAnswer:
    """Tell the stretches outside a band that overlap a range, the newest onset first; all of them by default."""
    start_us, end_us = span
    found = house.journal.excursions(
        house.farm.name,
        start_us=start_us,
        end_us=end_us,
        series=house.series_named(series) if series is not None else None,
        open_only=open_,
        before=before,
        most=limit + 1,
    )[::-1]
    shown = found[:limit]
    last = Place(shown[-1].onset_us, shown[-1].identity) if len(found) > limit else None
    return schemas.ExcursionsAnswer(
        excursions=[_excursion(house, one) for one in shown], next=None if last is None else str(last)
    )


@router.get("/excursions/{id}", responses=examples.of("excursion"))
def excursion(
    house: TheHouse, identity: Annotated[str, Path(alias="id", description="as the excursions tell it")]
) -> schemas.ExcursionAnswer:
    """Tell one stretch outside a band."""
    found = house.journal.excursion(house.farm.name, identity)
    if found is None:
        raise Problem(404, f"There is no excursion {identity[:200]!r}. /api/v1/excursions lists every one.")
    return _excursion(house, found)


@router.get("/days", responses=examples.of("days"))
def days(house: TheHouse) -> schemas.DaysAnswer:
    """List the local days that have a day sheet."""
    return schemas.DaysAnswer(days=house.journal.days(house.farm.name))


@router.get("/days/{date}", response_model=schemas.DaySheetAnswer, responses=examples.of("day"))
def day_sheet(
    house: TheHouse, day: Annotated[Day, Path(alias="date", description="local day, as in 2026-03-01")]
) -> dict[str, Any]:
    """Tell the summary of one local day."""
    entry = house.journal.day_sheet(house.farm.name, day)
    if entry is None:
        raise Problem(404, f"There is no day sheet of {day}. /api/v1/days lists the days that have one.")
    return entry.sheet | {"computed": iso_time(entry.computed_us), "description_hash": entry.description_hash}


@router.get("/rejects", responses=examples.of("rejects"))
def rejects(
    house: TheHouse, limit: Annotated[int, Query(ge=1, le=2000, description="at most so many rows")] = 200
) -> schemas.RejectsAnswer:
    """Tell what was refused and why: how a misnamed sensor is found."""
    return schemas.RejectsAnswer(
        counts=house.journal.reject_counts(house.farm.name),
        rejects=[
            schemas.RejectAnswer(
                reason=one.reason,
                topic=one.topic,
                name=one.name,
                detail=one.detail,
                raw=plain_text(one.raw),
                first=instant(one.first_us),
                last=instant(one.last_us),
                count=one.count,
            )
            for one in house.journal.rejects(house.farm.name, limit=limit)
        ],
    )


@router.get("/clocks", responses=examples.of("clocks"))
def clocks(house: TheHouse) -> schemas.ClocksAnswer:
    """Tell which devices' clocks were wrong, why, and how many readings are flagged for it."""
    return schemas.ClocksAnswer(
        clocks=[
            schemas.ClockRow(
                device=one.device,
                fault=one.fault,
                detail=one.detail,
                behind_s=one.offset_s,
                first=instant(one.first_us),
                last=instant(one.last_us),
                readings=one.readings,
            )
            for one in house.journal.clock_faults(house.farm.name)
        ]
    )


@router.get("/unknown", responses=examples.of("unknown"))
def unknown_names(
    house: TheHouse, limit: Annotated[int, Query(ge=1, le=2000, description="at most so many rows")] = 200
) -> schemas.UnknownAnswer:
    """Tell the wire names that nobody has described, with a draft of each for farm.toml."""
    found = [
        one
        for one in house.journal.unknown_names(house.farm.name)
        if not house.farm.has_on_the_wire(one.name, one.topic)
    ]
    return schemas.UnknownAnswer(
        unknown=[
            schemas.UnknownRow(
                name=one.name,
                topic=one.topic,
                value=schemas.finite(one.value),
                unit=one.unit,
                first=instant(one.first_us),
                last=instant(one.last_us),
                count=one.count,
                suggestion=suggested_series(house.farm, one.name, one.topic, one.unit)
                if one.name or one.topic
                else None,
            )
            for one in found[:limit]
        ]
    )


@router.get("/log", responses=examples.of("log"))
def log(
    house: TheHouse,
    span: AskedOpenSpan,
    kind: Annotated[str | None, Query(description="only entries of this kind")] = None,
    withdrawn: Annotated[bool, Query(description="withdrawn ones too")] = False,
    limit: Annotated[int, Query(ge=1, le=10_000, description="at most so many, the newest")] = 1000,
    before: AskedPlace = None,
) -> schemas.LogAnswer:
    """Tell what people wrote of a range, the newest last: calibrations, samples, refills, notes; all by default."""
    start_us, end_us = span
    found = house.journal.log.entries(
        house.farm.name, start_us=start_us, end_us=end_us, kinds=[kind] if kind else (), withdrawn=withdrawn
    )
    if before is not None:
        found = [one for one in found if (one.at_us, one.identity) < before]
    shown = found[-limit:]
    last = str(Place(shown[0].at_us, shown[0].identity)) if len(found) > limit else None
    return schemas.LogAnswer(entries=[log_row(one) for one in shown], next=last)


@router.get("/log/{id}", responses=examples.of("log_versions"))
def log_versions(
    house: TheHouse, identity: Annotated[str, Path(alias="id", description="as the log tells it")]
) -> schemas.LogVersionsAnswer:
    """Tell every version of one entry, with who wrote it."""
    found = house.journal.log.versions(house.farm.name, identity)
    if not found:
        raise Problem(404, f"There is no entry {identity[:200]!r}. /api/v1/log lists every one.")
    return schemas.LogVersionsAnswer(versions=[log_row(one) for one in found])


def log_row(one: LogEntry) -> schemas.LogRow:
    """Return an entry as the interface tells it."""
    return schemas.LogRow(
        id=one.identity,
        kind=one.detail.kind,
        time=instant(one.at_us),
        author=one.author,
        written=instant(one.written_us),
        version=one.version,
        withdrawn=one.withdrawn,
        detail=one.detail.model_dump(mode="json"),
    )


def plain_text(raw: bytes) -> str:
    r"""Return bytes as harmless text: plain ASCII as it is, anything else as ``\xNN``.

    Examples
    --------
    >>> print(plain_text(b'{"t": 21}\x00\xff'))
    {"t": 21}\x00\xff
    """
    return "".join(chr(byte) if 32 <= byte < 127 and byte != 92 else f"\\x{byte:02x}" for byte in raw)


def _excursion(house: House, entry: ExcursionEntry) -> schemas.ExcursionAnswer:
    series, quantity = entry.series, entry.series.registered
    until_us = entry.end_us if entry.end_us is not None else entry.last_us
    return schemas.ExcursionAnswer(
        id=entry.identity,
        series=series.key,
        label=house.farm.label_of(series),
        zone=series.zone,
        zone_label=house.farm.zone_label(series.zone),
        side=entry.side,
        onset=instant(entry.onset_us),
        end=instant(entry.end_us) if entry.end_us is not None else None,
        last=instant(entry.last_us),
        duration_s=(until_us - entry.onset_us) / MICROSECONDS_PER_SECOND,
        extreme=entry.extreme,
        extreme_time=instant(entry.extreme_us),
        limit=entry.limit,
        onset_limit=entry.onset_limit,
        unit=quantity.unit,
        display_unit=quantity.display_unit,
        decimals=quantity.decimals,
        dose=entry.dose,
        dose_unit=f"{quantity.unit} h",
    )
