"""What people write into the journal: calibrations, samples, refills, work done, and notes."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, model_validator

from farm.description import Farm
from farm.moments import Moment
from farm.readings import Series, microseconds
from farm.references import one_of

READING_RANGES = {"pH": (-1.0, 15.0), "mV": (-1000.0, 1000.0)}  # some 59 mV a pH, and offsets; our choice, no source
LEAST_APART_PH = 1.0  # of two buffers; closer ones give no slope worth having; our choice, no source


def _name_of_a_file(name: str) -> str:
    if not re.fullmatch(r"\w[\w .()-]*\.\w{1,5}", name):
        raise ValueError("a file's name such as row-1.jpg, without folders")
    return name


PhotoName = Annotated[str, Field(max_length=120), AfterValidator(_name_of_a_file)]


_Ph = Annotated[float, Field(ge=0, le=14)]


class Written(BaseModel):
    """What every kind has: a remark of the writer's."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    note: str = Field("", max_length=2000, description="a remark in the writer's words")
    photos: tuple[PhotoName, ...] = Field(
        (), max_length=20, description="names of photos that belong to it; the files stay where you keep them"
    )


class PhCalibration(Written):
    """A pH probe held into buffers: what each buffer is at 25 degC, and what the probe gave."""

    kind: Literal["ph_calibration"] = "ph_calibration"
    series: str = Field(description="key of the solution_ph series")
    buffers: tuple[_Ph, _Ph] = Field(description="nominal pH of the two buffers, at 25 degC")
    readings: tuple[float, float] = Field(description="what the probe gave in them, in the same order")
    reading_unit: Literal["pH", "mV"] = Field("pH", description="unit of the readings")
    temperature_c: float = Field(25.0, ge=0, le=60, description="temperature of the buffers, degC")
    adjusted: bool = Field(False, description="true if the device was set by it, so that it reads true from then on")

    @model_validator(mode="after")
    def _two_points(self) -> Self:
        if abs(self.buffers[0] - self.buffers[1]) < LEAST_APART_PH:
            raise ValueError(f"two buffers at least {LEAST_APART_PH:g} pH apart, such as 7.00 and 4.01")
        low, high = READING_RANGES[self.reading_unit]
        if not all(low <= one <= high for one in self.readings):
            raise ValueError(f"readings from {low:g} to {high:g} {self.reading_unit}: no electrode gives others")
        if self.readings[0] == self.readings[1]:
            raise ValueError("two different readings: a probe that gives the same in both buffers is broken")
        return self


class EcCalibration(Written):
    """An EC probe held into a standard solution."""

    kind: Literal["ec_calibration"] = "ec_calibration"
    series: str = Field(description="key of the solution_ec series")
    standard_ms_cm: float = Field(gt=0, le=200, description="the standard's EC at 25 degC, mS/cm")
    reading_ms_cm: float = Field(gt=0, le=200, description="what the probe gave in it, at 25 degC, mS/cm")
    temperature_c: float = Field(25.0, ge=0, le=60, description="temperature of the standard, degC")
    adjusted: bool = Field(False, description="true if the device was set by it, so that it reads true from then on")


class GrabSample(Written):
    """The same thing measured by hand at the same time, with another instrument."""

    kind: Literal["grab_sample"] = "grab_sample"
    series: str = Field(description="key of the series it is compared with")
    value: float = Field(description="what the other instrument gave, in the quantity's unit")
    plus_or_minus: float | None = Field(None, gt=0, description="that instrument's give or take")


class Refill(Written):
    """A stock bottle filled or changed."""

    kind: Literal["refill"] = "refill"
    stock: str = Field(description="name of the stock in farm.toml")
    holds_l: float = Field(gt=0, description="what it holds after it, L")


class Drained(Written):
    """Solution let out of the reservoir."""

    kind: Literal["drained"] = "drained"
    volume_l: float = Field(gt=0, description="L")


class ToppedUp(Written):
    """Water or solution put into the reservoir by hand."""

    kind: Literal["topped_up"] = "topped_up"
    volume_l: float = Field(gt=0, description="L")
    ec_ms_cm: float | None = Field(None, ge=0, le=200, description="its EC at 25 degC, mS/cm")


class Cleaned(Written):
    """Something cleaned or its filter changed."""

    kind: Literal["cleaned"] = "cleaned"
    what: str = Field(min_length=1, max_length=200, description="what was cleaned: a zone, a filter, a probe")


class Note(Written):
    """Anything else worth keeping."""

    kind: Literal["note"] = "note"
    note: str = Field(min_length=1, max_length=2000)


class Harvest(Written):
    """Plants of a batch cut and weighed."""

    kind: Literal["harvest"] = "harvest"
    batch: str = Field(description="name of the batch in farm.toml")
    fresh_kg: float = Field(gt=0, le=100_000, description="fresh weight, kg")
    zone: str = Field("", description="where they were cut; the whole batch if left out")
    plants: int | None = Field(None, gt=0, description="how many plants")


class Moved(Written):
    """A batch, or part of it, moved from one zone to another."""

    kind: Literal["moved"] = "moved"
    batch: str = Field(description="name of the batch in farm.toml")
    to_zone: str = Field(description="zone it moved into")
    from_zone: str = Field("", description="zone it left")
    plants: int | None = Field(None, gt=0, description="how many plants, where not all")


class PlannedWork(Written):
    """Work that makes readings unusual: door open, cleaning, calibrating, maintenance. No alarm comes of it.

    What is reached is recorded as always, and alarms on people's safety and the mains come all the same.
    """

    kind: Literal["planned_work"] = "planned_work"
    what: str = Field(min_length=1, max_length=200, description="what is done: door open, cleaning, maintenance")
    until: Moment = Field(description="when it ends, ISO 8601; edit the entry to end it earlier or later")
    zones: tuple[str, ...] = Field(
        (), description="zones it reaches; a room reaches all that shares its air; the whole farm if nothing is named"
    )
    series: tuple[str, ...] = Field((), description="keys of single series it reaches: a device that is worked on")


Detail = Annotated[
    PhCalibration
    | EcCalibration
    | GrabSample
    | Refill
    | Drained
    | ToppedUp
    | Cleaned
    | Harvest
    | Moved
    | PlannedWork
    | Note,
    Field(discriminator="kind"),
]
DETAIL: TypeAdapter[Detail] = TypeAdapter(Detail)
DETAIL_OF: dict[str, type[Written]] = {
    str(kind.model_fields["kind"].default): kind
    for kind in (
        PhCalibration, EcCalibration, GrabSample, Refill, Drained, ToppedUp, Cleaned, Harvest, Moved, PlannedWork, Note
    )
}  # fmt: skip
PAIRS = ("buffers", "readings")  # fields of two numbers
LISTS = (*PAIRS, "photos", "zones")  # fields of several values, and ``series`` of planned work
LONGEST_WORK_DAYS = 31  # our choice, no source
QUANTITY_OF = {"ph_calibration": "solution_ph", "ec_calibration": "solution_ec"}


def loose_end(farm: Farm, detail: Detail) -> str | None:
    """Return what an entry names that the farm does not have, and what it has; None where all is there."""
    if isinstance(detail, PhCalibration | EcCalibration | GrabSample):
        wanted = QUANTITY_OF.get(detail.kind)
        keys = [one.key for one in farm.described if wanted in (None, one.quantity)]
        if detail.series not in keys:
            what = f"series of {wanted}" if wanted else "series"
            return f"series: found {detail.series!r}, which is no {what} of farm.toml; {one_of(detail.series, keys)}"
    if isinstance(detail, GrabSample):
        quantity = farm.described[Series.parse(farm.name, detail.series)].registered
        if not quantity.low <= detail.value <= quantity.high:
            return (
                f"value: found {detail.value:g} {quantity.unit}; {quantity.label} can be {quantity.low:g} to "
                f"{quantity.high:g}: is it in another unit?"
            )
    if isinstance(detail, Refill):
        stocks = [one.name for one in farm.equipment.stocks]
        if detail.stock not in stocks:
            return f"stock: found {detail.stock!r}, which is no stock of farm.toml; {one_of(detail.stock, stocks)}"
    if isinstance(detail, Harvest | Moved):
        batches = [one.name for one in farm.batches]
        if detail.batch not in batches:
            return f"batch: found {detail.batch!r}, which is no batch of farm.toml; {one_of(detail.batch, batches)}"
    for name, zone in _zones_of(detail):
        if zone not in farm.zones:
            return f"{name}: found {zone!r}, which is no zone of farm.toml; {one_of(zone, farm.zones)}"
    if isinstance(detail, PlannedWork):
        keys = [one.key for one in farm.described]
        for key in detail.series:
            if key not in keys:
                return f"series: found {key!r}, which is no series of farm.toml; {one_of(key, keys)}"
    return None


def _zones_of(detail: Detail) -> list[tuple[str, str]]:
    match detail:
        case Harvest():
            named = [("zone", detail.zone)]
        case Moved():
            named = [("to_zone", detail.to_zone), ("from_zone", detail.from_zone)]
        case PlannedWork():
            named = [("zones", zone) for zone in detail.zones]
        case _:
            named = []
    return [(name, zone) for name, zone in named if zone]


def wrong_time(detail: Detail, at_us: int) -> str | None:
    """Return what is wrong with when something is said to be, beyond what each field tells; None if nothing is."""
    if not isinstance(detail, PlannedWork):
        return None
    lasts_us = microseconds(detail.until) - at_us
    if lasts_us <= 0:
        return f"until: found {detail.until.isoformat()}, which is not after the beginning; give when the work ends"
    if lasts_us > LONGEST_WORK_DAYS * 86_400_000_000:
        return f"until: found {detail.until.isoformat()}; planned work lasts {LONGEST_WORK_DAYS} days at most"
    return None


@dataclass(frozen=True, slots=True)
class LogEntry:
    """One entry as it stands: what happened at ``at_us``, who wrote it and when.

    An edit is a new version under the same identity; ``withdrawn`` entries count for nothing, but stay.
    """

    identity: str
    version: int
    at_us: int
    author: str
    written_us: int
    detail: Detail
    withdrawn: bool = False


def identity_of(farm: str, at_us: int, author: str, written_us: int, detail: Detail) -> str:
    """Return a short name for a new entry."""
    name = f"{farm}/{at_us}/{author}/{written_us}/{detail.model_dump_json()}"
    return hashlib.sha256(name.encode()).hexdigest()[:10]
