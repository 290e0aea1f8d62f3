"""All that is to be said of a data set once its readings are written: what every description of it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analytics.probes import Correction
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, iso_time
from handover.asking import Format, Imprint
from handover.choosing import Choice, Member
from handover.cleaning import Grid, aggregation_of
from handover.fields import (
    CORRECTION_FIELDS,
    DICTIONARY_FIELDS,
    LIGHT_DAY_FIELDS,
    SERIES_FIELDS,
    STAY_FIELDS,
    Field,
)
from handover.provenance import Evidence, MadeBy
from handover.reading import Damage, Tally


@dataclass(frozen=True, slots=True)
class File:
    """A file of a data set. ``fields`` are its columns, where it is a table."""

    name: str
    title: str
    media_type: str
    fields: tuple[Field, ...] = ()
    rows: int | None = None
    size: int = 0
    sha256: str = ""

    @property
    def is_csv(self) -> bool:
        """Whether it is a table that needs nothing but a text reader."""
        return self.name.endswith(".csv")


@dataclass(frozen=True)
class Facts:
    """One data set: what it holds, where it comes from, and what is missing in it."""

    farm: Farm
    choice: Choice
    grid: Grid | None
    formats: tuple[Format, ...]
    imprint: Imprint
    made_by: MadeBy
    evidence: Evidence | None
    tallies: Sequence[Tally]
    damages: Sequence[Damage]
    corrections: dict[int, Sequence[Correction]]
    pressure_corrected: Sequence[int]
    query: dict[str, Any]

    @property
    def cleaned(self) -> bool:
        """Whether readings were laid on a grid."""
        return self.grid is not None

    @property
    def title(self) -> str:
        """The data set's name for people."""
        form = "Cleaned readings" if self.cleaned else "Raw readings"
        of = f", batch {self.choice.asked.batch}" if self.choice.asked.batch else ""
        span = f"{iso_time(self.choice.start_us)} to {iso_time(self.choice.end_us)}"
        return f"{form} of {self.farm.farm.title}{of}, {span}"

    @property
    def span_in_name(self) -> str:
        """The range as it stands in a file's name: UTC dates, the last one included."""
        first, last = iso_time(self.choice.start_us)[:10], iso_time(self.choice.end_us - 1)[:10]
        form = "cleaned" if self.cleaned else "raw"
        return f"{form}-{first}" if first == last else f"{form}-{first}-to-{last}"

    @property
    def valueless(self) -> list[Member]:
        """Series that have readings, but no value on the grid."""
        pairs = zip(self.choice.members, self.tallies, strict=True)
        return [one for one, tally in pairs if self.cleaned and tally.readings and not tally.values]

    @property
    def silent(self) -> list[Member]:
        """Series without a reading in the range."""
        return [one for one, tally in zip(self.choice.members, self.tallies, strict=True) if not tally.readings]

    def citation(self, identity: str) -> str:
        """Return how the data set is cited. The year is that of its last reading's day: no clock is asked."""
        who = self.imprint.creator or self.farm.farm.title
        year = iso_time(self.choice.end_us - 1)[:4]
        return (
            f"{who} ({year}). {self.title} [data set]. Made with Leafweather {self.made_by.version}. "
            f"Identifier sha256:{identity}."
        )

    def series_rows(self) -> list[list[Any]]:
        """Return the rows of ``series.csv``."""
        return [
            self._series_row(member, tally) for member, tally in zip(self.choice.members, self.tallies, strict=True)
        ]

    def _series_row(self, member: Member, tally: Tally) -> list[Any]:
        series, quantity = member.series, member.series.registered
        described, zone = self.farm.described.get(series), self.farm.zones.get(series.zone)
        cleaning = self.choice.asked.cleaning
        return [
            series.key,
            member.column,
            series.zone,
            self.farm.zone_label(series.zone),
            str(zone.kind) if zone else None,
            series.quantity,
            series.sensor,
            self.farm.label_of(series),
            quantity.unit,
            quantity.ucum,
            quantity.cf_name,
            str(quantity.kind),
            str(member.origin),
            None if cleaning is None else str(aggregation_of(member, cleaning)),
            described.cadence_s if described else None,
            described.plus_or_minus if described else quantity.accuracy,
            *(described.limits if described else (quantity.low, quantity.high)),
            tally.readings,
            tally.first_us,
            tally.last_us,
            *(tally.by_flag[flag] for flag in Flag),
            tally.values if self.cleaned else None,
            member.hold_us / MICROSECONDS_PER_SECOND,
            *self._gaps(member, tally),
            sum(damage.series == series for damage in self.damages),
        ]

    @staticmethod
    def _gaps(member: Member, tally: Tally) -> list[Any]:
        """Return number, longest and sum of gaps; nothing of a series of which nothing says how often it reports."""
        if not member.described:
            return [None, None, None]
        return [tally.gaps, *(one / MICROSECONDS_PER_SECOND for one in (tally.longest_gap_us, tally.silent_us))]

    def correction_rows(self) -> list[list[Any]]:
        """Return the rows of ``corrections.csv``."""
        return [
            [self.choice.members[member].series.key, one.from_us, one.scale, one.offset, self.cleaned]
            for member, several in self.corrections.items()
            for one in several
        ]

    def stay_rows(self) -> list[list[Any]]:
        """Return the rows of ``stays.csv``."""
        return [[one.batch, one.zone, one.phase, one.start_us, one.end_us] for one in self.choice.stays]

    def light_day_rows(self) -> list[list[Any]]:
        """Return the rows of ``light_days.csv``."""
        return [[self.choice.asked.zones[0], one.start_us, one.end_us, one.complete] for one in self.choice.light_days]

    def small_tables(self) -> list[tuple[File, list[list[Any]]]]:
        """Return the tables that say what the readings are."""
        tables = [
            ("series.csv", "what each series is, and what there is of it", SERIES_FIELDS, self.series_rows()),
            ("corrections.csv", "corrections that calibrations make", CORRECTION_FIELDS, self.correction_rows()),
        ]
        if self.choice.stays:
            tables.append(("stays.csv", "where the batch stood", STAY_FIELDS, self.stay_rows()))
        if self.choice.light_days:
            tables.append(("light_days.csv", "the light days", LIGHT_DAY_FIELDS, self.light_day_rows()))
        return [(File(name, title, "text/csv", tuple(fields), len(rows)), rows) for name, title, fields, rows in tables]


def dictionary(files: Sequence[File]) -> tuple[File, list[list[Any]]]:
    """Return the data dictionary: every column of every table."""
    own = File("dictionary.csv", "every column of every table", "text/csv", tuple(DICTIONARY_FIELDS))
    rows = [
        [file.name, one.name, one.type, one.series, one.unit, one.ucum, one.cf_name, one.description]
        for file in (*files, own)
        for one in file.fields
    ]
    return own, rows
