"""The columns of a data set's tables: name, type, unit and meaning of each, from which every description follows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analytics.regular_grid import Aggregation
from farm.description import Farm
from farm.flags import Flag
from farm.quantities import Kind
from handover.asking import Cleaning, Layout
from handover.choosing import Choice, Member
from handover.cleaning import aggregation_of

if TYPE_CHECKING:
    import pyarrow as pa

FLAG_MEANINGS = {
    Flag.GOOD: "passed the tests of quality",
    Flag.NOT_EVALUATED: "not tested",
    Flag.SUSPECT: "doubtful: use with care",
    Flag.FAIL: "not to be believed",
    Flag.MISSING: "no value",
}
FLAG_TEXT = ", ".join(f"{flag.value} {flag.name.lower()}" for flag in Flag)
AGGREGATION_TEXT = {
    Aggregation.MEAN: "mean of the readings in the cell",
    Aggregation.TIME_MEAN: "mean over the covered time of the cell, each reading holding until the next one",
    Aggregation.MEDIAN: "median of the readings in the cell",
    Aggregation.LOW: "lowest reading in the cell",
    Aggregation.HIGH: "highest reading in the cell",
    Aggregation.FIRST: "first reading in the cell",
    Aggregation.LAST: "last reading in the cell",
}


@dataclass(frozen=True, slots=True)
class Field:
    """One column: its type in the words of the Table Schema, and what it holds."""

    name: str
    type: str
    description: str
    unit: str = ""
    ucum: str = ""
    cf_name: str = ""
    series: str = ""
    required: bool = False
    whole: str = "int64"  # how a whole number is stored

    @property
    def arrow(self) -> pa.Field:
        """The column as Arrow has it."""
        import pyarrow as pa

        kinds = {
            "string": pa.string(),
            "number": pa.float64(),
            "integer": pa.type_for_alias(self.whole),
            "datetime": pa.timestamp("us", tz="UTC"),
            "boolean": pa.bool_(),
        }
        said = {"unit": self.unit, "ucum": self.ucum, "standard_name": self.cf_name, "series": self.series}
        metadata = {name: text for name, text in {"description": self.description, **said}.items() if text}
        return pa.field(self.name, kinds[self.type], nullable=not self.required, metadata=metadata)


def _flag(name: str, description: str, *, required: bool = True, series: str = "") -> Field:
    return Field(name, "integer", f"{description} ({FLAG_TEXT})", required=required, whole="uint8", series=series)


SERIES = Field("series", "string", "key of the series, as in series.csv: zone/quantity or zone/quantity/sensor",
               required=True)  # fmt: skip


def reading_fields(farm: Farm, choice: Choice) -> list[Field]:
    """Return the columns of the readings' table."""
    cleaning = choice.asked.cleaning
    if cleaning is None:
        return [
            SERIES,
            Field("time", "datetime", "time of the reading, UTC", required=True),
            Field("value", "number", "the reading as it arrived, in the unit that series.csv tells"),
            _flag("flag", "QARTOD flag: the worse of the one on arrival and that of the tests of quality"),
            _flag("arrival_flag", "QARTOD flag that the reading arrived with"),
        ]
    time = [Field("time", "datetime", "beginning of the cell, UTC", required=True)]
    if cleaning.every_us is None:
        time.append(Field("length_s", "integer", "length of the cell", "s", "s", required=True))
    if cleaning.layout is Layout.WIDE:
        return [*time, *(field for member in choice.members for field in _wide(farm, member, cleaning))]
    return [
        SERIES,
        *time,
        Field(
            "value", "number", "value of the cell, in the unit that series.csv tells; none where the gap rule says so"
        ),
        _flag("flag", "QARTOD flag: the worst of the readings that count; missing where there is no value"),
        Field("count", "integer", "readings that count in the cell", "1", "1", required=True, whole="int32"),
        Field("coverage", "number", "share of the cell's time that readings speak for", "1", "1", required=True),
    ]


def _wide(farm: Farm, member: Member, cleaning: Cleaning) -> list[Field]:
    quantity = member.series.registered
    named = named_in_full(farm, member)
    how = AGGREGATION_TEXT[aggregation_of(member, cleaning)]
    return [
        Field(member.column, "number", f"{named}: {how}", quantity.unit, quantity.ucum, quantity.cf_name or "",
              member.series.key),
        _flag(f"{member.column}_flag", f"{named}: QARTOD flag of the cell", required=False, series=member.series.key),
    ]  # fmt: skip


def named_in_full(farm: Farm, member: Member) -> str:
    """Return a series' name for people, with its zone."""
    return f"{farm.zone_label(member.series.zone)}, {farm.label_of(member.series)}"


SERIES_FIELDS = [
    SERIES,
    Field("column", "string", "its name in a wide table and in NetCDF", required=True),
    Field("zone", "string", "short name of the zone", required=True),
    Field("zone_label", "string", "the zone's name for people", required=True),
    Field("zone_kind", "string", "what sort of place the zone is; empty if it is not described any more"),
    Field("quantity", "string", "what is measured", required=True),
    Field("sensor", "string", "which sensor, where the zone has several of one quantity"),
    Field("label", "string", "the series' name for people", required=True),
    Field("unit", "string", "unit of value", required=True),
    Field("unit_ucum", "string", "the same as a UCUM code", required=True),
    Field("cf_standard_name", "string", "CF standard name, where one exists"),
    Field("kind", "string", f"how it behaves in time: {', '.join(Kind)}", required=True),
    Field("origin", "string", "measured, or derived from measured series", required=True),
    Field("aggregation", "string", "how readings became the value of a cell; empty where they stand as they are"),
    Field("cadence", "number", "time between readings, as described", "s", "s"),
    Field("accuracy", "number", "plus or minus at 95 %, as described or else usual, in unit"),
    Field("sensor_low", "number", "lowest value that is believed, in unit"),
    Field("sensor_high", "number", "highest value that is believed, in unit"),
    Field("readings", "integer", "readings in the range, under whatever flag", "1", "1", required=True),
    Field("first", "datetime", "time of the first of them, UTC"),
    Field("last", "datetime", "time of the last of them, UTC"),
    *(Field(f"flag_{flag.name.lower()}", "integer", f"readings with the flag {flag.value}", "1", "1", required=True)
      for flag in Flag),
    Field("values", "integer", "cells with a value; empty where readings stand as they are", "1", "1"),
    Field("gap_after", "number", "a silence longer than this is a gap: a reading speaks for no longer", "s", "s",
          required=True),
    Field("gaps", "integer", "gaps in the range; empty where nothing says how often the series reports", "1", "1"),
    Field("longest_gap", "number", "the longest of them", "s", "s"),
    Field("silent", "number", "all of them together", "s", "s"),
    Field("damaged_days", "integer", "UTC days left out because they are damaged at rest", "1", "1", required=True),
]  # fmt: skip

CORRECTION_FIELDS = [
    SERIES,
    Field("since", "datetime", "from when on it holds, until the next of the series, UTC", required=True),
    Field("scale", "number", "right value = scale * reading + offset", "1", "1", required=True),
    Field("offset", "number", "see scale; in the series' unit", required=True),
    Field("applied", "boolean", "whether the values of this data set are corrected by it", required=True),
]

STAY_FIELDS = [
    Field("batch", "string", "name of the batch", required=True),
    Field("zone", "string", "where it stood", required=True),
    Field("phase", "string", "phase of the crop plan that held", required=True),
    Field("start", "datetime", "from when on, as far as it lies in the data set, UTC", required=True),
    Field("end", "datetime", "until when, not included, UTC", required=True),
]

LIGHT_DAY_FIELDS = [
    Field("zone", "string", "whose lights", required=True),
    Field("start", "datetime", "lights on (local midnight where nothing tells of lights), UTC", required=True),
    Field("end", "datetime", "the next lights-on, not included, UTC", required=True),
    Field("complete", "boolean", "whether it was over when the newest reading came", required=True),
]

DICTIONARY_FIELDS = [
    Field("file", "string", "file that has the column", required=True),
    Field("column", "string", "name of the column", required=True),
    Field(
        "type",
        "string",
        "type in the words of the Table Schema; of a string, README.md says what apostrophes are for",
        required=True,
    ),
    Field("series", "string", "key of the series it belongs to, where it is one's own"),
    Field("unit", "string", "unit, where it has one"),
    Field("unit_ucum", "string", "the same as a UCUM code"),
    Field("cf_standard_name", "string", "CF standard name, where one exists"),
    Field("description", "string", "what it holds", required=True),
]
