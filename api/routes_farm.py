"""The farm, its zones, what needs a person, its series and their newest readings."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import Annotated

import msgspec
from fastapi import APIRouter, Query, Response

from api import examples, schemas
from api.access_schemas import AliveAnswer
from api.house import House, TheHouse
from farm.readings import MICROSECONDS_PER_SECOND, instant
from store.contract import Origin
from watch import cautions
from watch.air_now import AirNow, air_now
from watch.give_or_take import give_or_take_of_newest
from watch.outlook import LastLightDay, SeriesNow, ZoneNow
from watch.overview import needs, zones_now
from watch.silence import expected_cadence_s, silent_after_s

router = APIRouter(tags=["now"])


@router.get("/farm", responses=examples.of("farm"))
def farm(house: TheHouse) -> schemas.FarmAnswer:
    """Tell which farm this is, and what to keep in mind about all it shows."""
    place = house.farm.farm
    return schemas.FarmAnswer(
        name=place.name,
        title=place.title,
        timezone=place.timezone,
        locale=place.locale,
        elevation_m=place.elevation_m,
        invented=place.invented,
        description_hash=house.description_hash,
        software_version=software_version(),
        time=instant(house.clock()),
        days=house.journal.days(house.farm.name),
        cautions=list(cautions.STANDING),
    )


@router.get("/zones", responses=examples.of("zones"))
def zones(house: TheHouse) -> schemas.ZonesAnswer:
    """Tell each zone against its band, now."""
    now_us = house.clock()
    found = zones_now(house.farm, house.store, house.journal, now_us)
    latest = house.store.latest(house.farm.name)
    return schemas.ZonesAnswer(
        time=instant(now_us),
        zones=[_zone(house, one, now_us, air_now(house.farm, house.store, latest, one.zone, now_us)) for one in found],
    )


@router.get("/needs", responses=examples.of("needs"))
def what_needs_a_person(house: TheHouse) -> schemas.NeedsAnswer:
    """Tell what needs a person, most urgent first."""
    now_us = house.clock()
    found = needs(house.farm, house.store, house.journal, now_us)
    return schemas.NeedsAnswer(
        time=instant(now_us),
        needs=[
            schemas.NeedAnswer(
                urgency=one.urgency,
                sentence=one.sentence,
                since=instant(one.since_us) if one.since_us is not None else None,
                zone=one.zone,
                series=[series.key for series in one.series],
                excursion=one.excursion,
                caution=one.caution,
                alarm=one.alarm,
                state=one.state,
                finding=one.finding,
                refused=one.refused,
            )
            for one in found
        ],
    )


@router.get("/series", responses=examples.of("series"))
def series_list(house: TheHouse) -> schemas.SeriesListAnswer:
    """List every series that is described or holds readings."""
    known = house.known()
    described = {series.key: series for series in house.farm.described}
    every = described | {key: one.series for key, one in known.items()}
    rows, now_us = [], house.clock()
    for key, series in every.items():
        held, quantity = known.get(key), series.registered
        derived = held.origin is Origin.DERIVED if held else quantity.derived
        rows.append(
            schemas.SeriesAnswer(
                key=key,
                label=house.farm.label_of(series),
                zone=series.zone,
                zone_label=house.farm.zone_label(series.zone),
                quantity=series.quantity,
                kind=quantity.kind,
                unit=quantity.unit,
                display_unit=quantity.display_unit,
                decimals=quantity.decimals,
                origin=Origin.DERIVED if derived else Origin.MEASURED,
                first=instant(held.first_us) if held else None,
                last=instant(held.last_us) if held else None,
                cadence_s=expected_cadence_s(house.farm, series),
                silent_after_s=(silent := silent_after_s(house.farm, series)),
                silent=None if silent is None else held is None or _age_s(now_us, held.last_us) > silent,
                described=key in described,
            )
        )
    return schemas.SeriesListAnswer(series=rows)


@router.get("/latest", responses=examples.of("latest"))
def latest(
    house: TheHouse,
    zone: Annotated[str | None, Query(description="only series of this zone")] = None,
    series: Annotated[list[str] | None, Query(description="only these series; may be given several times")] = None,
) -> schemas.LatestAnswer:
    """Tell the newest reading of each series, by its own time, with its give or take."""
    now_us = house.clock()
    newest = house.store.latest(house.farm.name)
    give_or_take = give_or_take_of_newest(house.farm, newest)
    if zone is not None:
        house.zone_named(zone)
    wanted = None if series is None else {house.series_named(key) for key in series}
    rows = [
        schemas.LatestRow(
            key=one.key,
            time=instant(reading.time_us),
            value=schemas.finite(reading.value),
            unit=one.registered.unit,
            uncertainty=give_or_take.get(one),
            flag=reading.flag,
            age_s=_age_s(now_us, reading.time_us),
        )
        for one, reading in sorted(newest.items())
        if (zone is None or one.zone == zone) and (wanted is None or one in wanted)
    ]
    return schemas.LatestAnswer(time=instant(now_us), latest=rows)


@router.get(
    "/health",
    response_model=schemas.HealthAnswer,
    responses=examples.of("health") | {503: {"model": schemas.HealthAnswer, "description": "something is wrong"}},
)
def health(house: TheHouse) -> Response:
    """Tell whether the house can do its work: 200 when it can, 503 with the same body when not."""
    state = house.health()
    status = 200 if state.get("status") == "ok" else 503
    return Response(msgspec.json.encode(state), status, media_type="application/json")


@router.get(
    "/alive",
    response_model=AliveAnswer,
    responses=examples.of("alive") | {503: {"model": AliveAnswer, "description": "something is wrong"}},
)
def alive(house: TheHouse) -> Response:
    """Tell whether the house can do its work, and nothing else: for what watches over the service without a token."""
    status = house.health().get("status", "")
    return Response(msgspec.json.encode({"status": status}), 200 if status == "ok" else 503, None, "application/json")


def software_version() -> str:
    """Return the version of this software, as installed."""
    try:
        return version("leafweather")
    except PackageNotFoundError:
        return "not installed"


def _zone(house: House, now: ZoneNow, now_us: int, air: AirNow | None) -> schemas.ZoneAnswer:
    described = house.farm.zones[now.zone]
    crop = house.farm.crops.get(now.crop) if now.crop else None
    return schemas.ZoneAnswer(
        zone=now.zone,
        label=described.label,
        kind=described.kind,
        crop=crop.label if crop else now.crop,
        phase=now.phase,
        lit=now.lit,
        air=_air(air) if air else None,
        series=[_row(house, one, now_us) for one in now.series],
    )


def _air(air: AirNow) -> schemas.AirAnswer:
    return schemas.AirAnswer(
        time=instant(air.time_us),
        air_pressure_kpa=air.air_pressure_kpa,
        wet_bulb_degc=air.wet_bulb_degc,
        absolute_humidity_g_m3=air.absolute_humidity_g_m3,
        enthalpy_kj_kg=air.enthalpy_kj_kg,
        density_kg_m3=air.density_kg_m3,
    )


def _row(house: House, now: SeriesNow, now_us: int) -> schemas.SeriesRow:
    series, quantity = now.series, now.series.registered
    return schemas.SeriesRow(
        key=series.key,
        label=house.farm.label_of(series),
        quantity=series.quantity,
        kind=quantity.kind,
        unit=quantity.unit,
        display_unit=quantity.display_unit,
        decimals=quantity.decimals,
        value=schemas.finite(now.value),
        time=instant(now.time_us) if now.time_us is not None else None,
        age_s=_age_s(now_us, now.time_us) if now.time_us is not None else None,
        flag=now.flag,
        standing=now.standing,
        low=schemas.finite(now.low),
        high=schemas.finite(now.high),
        excursion=now.excursion,
        last_day=_last_day(now.last_day) if now.last_day else None,
    )


def _last_day(last: LastLightDay) -> schemas.LastLightDayAnswer:
    return schemas.LastLightDayAnswer(
        start=instant(last.start_us),
        end=instant(last.end_us),
        mol=last.mol,
        flag=last.flag,
        low=last.low,
        high=last.high,
        standing=last.standing,
    )


def _age_s(now_us: int, time_us: int) -> float:
    return (now_us - time_us) / MICROSECONDS_PER_SECOND
