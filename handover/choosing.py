"""Which series a data set holds, over which stretches of time, and what each is called in its files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from farm.crops import Batch, Stay
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant, microseconds
from handover.asking import LATEST_US, Asked, Origins
from handover.refusals import Refused, unknown
from store.contract import Known, Origin, ReadingStore
from watch.bands import longest_hold_us
from watch.derived import derived_series
from watch.light_days import LightDay, light_days

SECOND_US = MICROSECONDS_PER_SECOND
DAY_US = 86_400 * SECOND_US
COMPANIONS = ("", "_flag", "_time", "_arrival_flag", "_count", "_coverage")  # what a column's name goes before
TAKEN = {"time", "time_bounds", "bounds", "length_s", "series"}


@dataclass(frozen=True, slots=True)
class Member:
    """A series of a data set: its name in the files, what is stored of it, and how long a reading speaks for."""

    series: Series
    column: str
    origin: Origin
    known: Known | None
    hold_us: int
    described: bool


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of time, half-open, over which one series is wanted; ``member`` counts from 0."""

    member: int
    start_us: int
    end_us: int


@dataclass(frozen=True, slots=True)
class StayRow:
    """A stretch of a batch's life in one zone, as far as it lies in the data set."""

    batch: str
    zone: str
    phase: str
    start_us: int
    end_us: int


@dataclass(frozen=True, slots=True)
class Choice:
    """What a request comes to on one farm: everything but the readings. Pieces stand in order of series and time."""

    asked: Asked
    start_us: int
    end_us: int
    members: tuple[Member, ...]
    pieces: tuple[Piece, ...]
    stays: tuple[StayRow, ...] = ()
    light_days: tuple[LightDay, ...] = ()


def choose(farm: Farm, store: ReadingStore, asked: Asked) -> Choice:
    """Return what a request comes to.

    Raises
    ------
    Refused
        If it names something that does not exist, or nothing is stored that it could mean.
    """
    members = _members(farm, store, asked)
    first_us = min((one.known.first_us for one in members if one.known), default=None)
    last_us = max((one.known.last_us for one in members if one.known), default=None)
    if first_us is None or last_us is None:
        raise Refused(f"no reading is stored of any of the {len(members)} series asked for: nothing to export.")
    days: tuple[LightDay, ...] = ()
    if asked.light_days is not None:
        days = tuple(_light_days(farm, store, asked))
        start_us, end_us = days[0].start_us, days[-1].end_us
    else:
        # Where an end is left open: the whole second before the first reading, or after the last one.
        start_us = first_us - first_us % SECOND_US if asked.start_us is None else asked.start_us
        end_us = last_us - last_us % SECOND_US + SECOND_US if asked.end_us is None else asked.end_us
    stays: tuple[StayRow, ...] = ()
    if asked.batch is not None:
        stays = _stays(farm, _batch(farm, asked.batch), asked, start_us, end_us)
        start_us, end_us = min(one.start_us for one in stays), max(one.end_us for one in stays)
    if not (start_us <= last_us and first_us < end_us):
        raise Refused(
            f"nothing of the {len(members)} series asked for is stored from {farm.clock(start_us)} to "
            f"{farm.clock(max(start_us, end_us))}: their readings run from {farm.clock(first_us)} to "
            f"{farm.clock(last_us)} (times: {farm.farm.timezone})."
        )
    return Choice(asked, start_us, end_us, members, _pieces(members, stays, start_us, end_us), stays, days)


def _members(farm: Farm, store: ReadingStore, asked: Asked) -> tuple[Member, ...]:
    """Return the series that are wanted, in order of their keys, with or without readings."""
    known = {one.series: one for one in store.known(farm.name)}
    derived = set(derived_series(farm))
    everything = sorted({*farm.described, *known, *derived & known.keys()}, key=lambda one: one.key)
    keys, zones = {one.key for one in everything}, {one.zone for one in everything} | farm.zones.keys()
    for key in asked.series:
        if key not in keys:
            raise unknown("series", key, keys)
    for zone in asked.zones:
        if zone not in zones:
            raise unknown("zone", zone, zones)
    wanted_zones = set(asked.zones) or zones
    if asked.batch is not None:
        wanted_zones &= {stay.zone for stay in _batch(farm, asked.batch).stays}
    chosen = [
        one
        for one in everything
        if one.zone in wanted_zones
        and (not asked.series or one.key in asked.series)
        and (asked.origins is Origins.ALL or _origin(known.get(one), one, derived) == asked.origins.value)
    ]
    if not chosen:
        raise Refused("the zones, series, batch and origin asked for have no series in common: ask for fewer of them.")
    columns = column_names(chosen)
    return tuple(
        Member(
            one,
            columns[one],
            _origin(known.get(one), one, derived),
            known.get(one),
            longest_hold_us(farm, one),
            one in farm.described,
        )
        for one in chosen
    )


def _origin(known: Known | None, series: Series, derived: set[Series]) -> Origin:
    if known is not None:
        return known.origin
    return Origin.DERIVED if series in derived else Origin.MEASURED


def column_names(several: Sequence[Series]) -> dict[Series, str]:
    """Return a name for each series that every format takes: letters, digits and underscores, a letter first.

    Between zone, quantity and sensor stand two underscores. Where two names would be one, the later series by key
    gets a number.

    Examples
    --------
    >>> column_names([Series("north", "row-1", "air_temperature", "top")])
    {Series(farm='north', zone='row-1', quantity='air_temperature', sensor='top'): 'row_1__air_temperature__top'}
    """
    taken, names = set(TAKEN), {}
    for series in sorted(several, key=lambda one: one.key):
        plain = series.key.replace("/", "__").replace("-", "_")
        plain = plain if plain[0].isalpha() else f"zone_{plain}"
        name, number = plain, 1
        while taken & {name + companion for companion in COMPANIONS}:
            number += 1
            name = f"{plain}_{number}"
        taken |= {name + companion for companion in COMPANIONS}
        names[series] = name
    return names


def _batch(farm: Farm, name: str) -> Batch:
    named = {one.name: one for one in farm.batches}
    if name not in named:
        raise unknown("batch", name, named)
    if not named[name].stays:
        raise Refused(f"the batch {name!r} stood in no zone: give it stays in farm.toml.")
    return named[name]


def _stays(farm: Farm, batch: Batch, asked: Asked, start_us: int, end_us: int) -> tuple[StayRow, ...]:
    """Return where a batch stood and when, cut to the range asked for; while it still stands, to the last reading."""
    rows = []
    for stay in batch.stays:
        first_us, last_us = _span(farm, stay)
        begin_us = first_us if asked.start_us is None else max(first_us, asked.start_us)
        until_us = min(last_us, end_us)
        if begin_us < until_us and (not asked.zones or stay.zone in asked.zones):
            rows.append(StayRow(batch.name, stay.zone, stay.phase, begin_us, until_us))
    if not rows:
        spans = [_span(farm, stay) for stay in batch.stays]
        first_us, last_us = min(one for one, _ in spans), max(one for _, one in spans)
        until = "" if last_us == LATEST_US else f" to {farm.clock(last_us)}"
        raise Refused(
            f"nothing is stored of the batch {batch.name!r} in what was asked for, up to {farm.clock(end_us)}: "
            f"it stood in {', '.join(dict.fromkeys(stay.zone for stay in batch.stays))} "
            f"from {farm.clock(first_us)}{until} (times: {farm.farm.timezone})."
        )
    return tuple(sorted(rows, key=lambda one: (one.start_us, one.zone)))


def _span(farm: Farm, stay: Stay) -> tuple[int, int]:
    left_us = LATEST_US if stay.left is None else microseconds(farm.moment(stay.left))
    return microseconds(farm.moment(stay.entered)), left_us


def _light_days(farm: Farm, store: ReadingStore, asked: Asked) -> list[LightDay]:
    """Return the light days of a zone that begin on the local dates asked for."""
    assert asked.light_days is not None  # noqa: S101  # the caller looked
    (zone,), (first, last) = asked.zones, asked.light_days
    if zone not in farm.zones:
        raise unknown("described zone", zone, farm.zones)
    start_us, end_us = microseconds(farm.moment(first)), microseconds(farm.moment(last)) + 2 * DAY_US
    found = [
        day
        for day in light_days(farm, store, zone, start_us, end_us)
        if first <= instant(day.start_us).astimezone(farm.farm.zone_info).date() <= last
    ]
    if not found:
        raise Refused(
            f"no light day of the zone {zone!r} begins on {first} to {last}, as far as its lights tell: "
            "name other dates, or a range by start and end."
        )
    return found


def _pieces(members: Sequence[Member], stays: Sequence[StayRow], start_us: int, end_us: int) -> tuple[Piece, ...]:
    if not stays:
        return tuple(Piece(number, start_us, end_us) for number in range(len(members)))
    return tuple(
        Piece(number, *stretch)
        for number, member in enumerate(members)
        for stretch in _joined((one.start_us, one.end_us) for one in stays if one.zone == member.series.zone)
    )


def _joined(stretches: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return stretches in order and apart: those that touch or overlap are one."""
    joined: list[tuple[int, int]] = []
    for start_us, end_us in sorted(stretches):
        if joined and start_us <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_us))
        else:
            joined.append((start_us, end_us))
    return joined


def on_whole_cells(choice: Choice, start_us: int, end_us: int) -> Choice:
    """Return a choice whose range is that of its grid; pieces that reach to the ends of the range do so still."""
    pieces = tuple(
        replace(
            one,
            start_us=start_us if one.start_us == choice.start_us else max(one.start_us, start_us),
            end_us=end_us if one.end_us == choice.end_us else min(one.end_us, end_us),
        )
        for one in choice.pieces
        if one.start_us < end_us and one.end_us > start_us
    )
    return replace(choice, start_us=start_us, end_us=end_us, pieces=pieces)
