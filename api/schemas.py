"""Wire types: what each address answers. Units are named beside every number; absent is null."""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from farm.alarm_words import AlarmState
from farm.description import ZoneKind
from farm.moments import Moment
from farm.quantities import Kind
from store.contract import Origin
from store.entries import Reason, Side
from store.log_entries import Detail
from watch.outlook import Standing, Urgency


def finite(value: float | None) -> float | None:
    """Return a number that JSON can carry: null for none, not a number, or an open side."""
    return value if value is not None and math.isfinite(value) else None


class FarmAnswer(BaseModel):
    """Which farm this is."""

    name: str
    title: str
    timezone: str = Field(description="IANA time zone")
    locale: str = Field(description="how people write numbers here, as a language tag (BCP 47)")
    elevation_m: float
    invented: bool = Field(description="a demonstration farm: nothing it shows was measured")
    description_hash: str = Field(description="which version of the farm's description is in use")
    software_version: str
    time: datetime
    days: list[date] = Field(description="local days that have a day sheet")
    cautions: list[str]


class LastLightDayAnswer(BaseModel):
    """The last whole light day of a series, against the target that held then."""

    start: datetime
    end: datetime
    mol: float | None = Field(description="its light integral, mol m-2; null where it cannot be told")
    flag: int
    low: float | None
    high: float | None
    standing: Standing


class SeriesRow(BaseModel):
    """One series of a zone, now."""

    key: str
    label: str
    quantity: str
    kind: Kind
    unit: str
    display_unit: str = Field(description="the unit as people read it; empty for a state or a bare number")
    decimals: int = Field(description="decimals that are worth showing")
    value: float | None
    time: datetime | None
    age_s: float | None
    flag: int | None = Field(description="QARTOD: 1 good, 2 not evaluated, 3 suspect, 4 fail, 9 missing")
    standing: Standing
    low: float | None = Field(description="low limit that holds now; null where none or open")
    high: float | None = Field(description="high limit that holds now; null where none or open")
    excursion: str | None = Field(description="id of the excursion that is open on it")
    last_day: LastLightDayAnswer | None = Field(
        None, description="of a light integral, whose value is that of the light day so far: the last whole one"
    )


class AirAnswer(BaseModel):
    """Moist air, worked out at the zone's pressure."""

    time: datetime = Field(description="of the older of the two readings it follows from")
    air_pressure_kpa: float = Field(description="measured, else that of the farm's elevation")
    wet_bulb_degc: float
    absolute_humidity_g_m3: float
    enthalpy_kj_kg: float = Field(description="a kilogram of dry air; 0 is dry air at 0 degC")
    density_kg_m3: float


class ZoneAnswer(BaseModel):
    """One zone now."""

    zone: str
    label: str
    kind: ZoneKind
    crop: str | None
    phase: str | None
    lit: bool | None = Field(description="null where nothing tells")
    air: AirAnswer | None = Field(None, description="null without fresh temperature and humidity")
    series: list[SeriesRow]


class ZonesAnswer(BaseModel):
    """Every zone now."""

    time: datetime
    zones: list[ZoneAnswer]


class NeedAnswer(BaseModel):
    """One sentence on what needs a person."""

    urgency: Urgency
    sentence: str
    since: datetime | None
    zone: str | None
    series: list[str] = Field(description="keys of the series it rests on")
    excursion: str | None
    caution: str | None
    alarm: str | None = Field(description="id of its alarm; null where there is none")
    state: AlarmState | None = Field(description="the alarm's state: unacknowledged or acknowledged")
    finding: str | None = Field(
        None, description="id of the finding with its likely causes, whose first check the sentence names"
    )
    refused: bool = Field(False, description="it is about messages that were refused: /api/v1/rejects tells which")


class NeedsAnswer(BaseModel):
    """What needs a person, most urgent first."""

    time: datetime
    needs: list[NeedAnswer]


class SeriesAnswer(BaseModel):
    """One series that is described or holds readings."""

    key: str
    label: str
    zone: str
    zone_label: str
    quantity: str
    kind: Kind
    unit: str
    display_unit: str
    decimals: int
    origin: Origin
    first: datetime | None
    last: datetime | None
    cadence_s: float | None = Field(description="how often it should report; null where nothing described says it")
    silent_after_s: float | None = Field(description="without a reading for longer, it is silent")
    silent: bool | None = Field(description="now; null where nothing says how often it should report")
    described: bool


class GapRow(BaseModel):
    """A stretch without a reading, longer than the series may be silent; cut to the range."""

    start: datetime
    end: datetime
    duration_s: float
    missed: int = Field(description="about how many readings should have come")
    open: bool = Field(description="no reading has ended it yet")


class GapsAnswer(BaseModel):
    """When one series was silent."""

    series: str
    start: datetime
    end: datetime
    cadence_s: float
    silent_after_s: float
    last: datetime | None = Field(description="newest reading, at whatever time")
    count: int = Field(description="gaps in the range; gaps has the newest of them, oldest first")
    silent_s: float = Field(description="all of them together")
    gaps: list[GapRow]


class SeriesListAnswer(BaseModel):
    """Every series that is described or holds readings."""

    series: list[SeriesAnswer]


class LatestRow(BaseModel):
    """The newest reading of one series, by its own time.

    ``uncertainty`` is its plus or minus in the same unit: a sensor's accuracy, or what that leaves of a derived
    value; null where it is not known.
    """

    key: str
    time: datetime
    value: float | None
    unit: str
    uncertainty: float | None
    flag: int
    age_s: float


class LatestAnswer(BaseModel):
    """The newest readings."""

    time: datetime
    latest: list[LatestRow]


class EventData(BaseModel):
    """What an event of the stream of changes holds: when it was seen, and of readings the newest times by series."""

    time: datetime
    newest: dict[str, datetime] | None = None


class ReadingsAnswer(BaseModel):
    """Readings of one series as parallel columns; null where a value is missing.

    Without ``every``: ``time``, ``value``, ``flag``. With it: ``time`` is the start of each stretch,
    ``value`` the mean, and ``low``, ``high`` and ``count`` are there too; empty stretches are left out.
    """

    series: str
    unit: str
    start: datetime
    end: datetime
    every_s: float | None
    time: list[datetime]
    value: list[float | None]
    low: list[float | None] | None = None
    high: list[float | None] | None = None
    count: list[int] | None = None
    flag: list[int]


class BandRow(BaseModel):
    """A stretch over which one pair of limits held."""

    start: datetime
    end: datetime
    lit: bool | None
    low: float | None
    high: float | None


class BandsAnswer(BaseModel):
    """The band of one series over a range."""

    series: str
    unit: str
    start: datetime
    end: datetime
    bands: list[BandRow]


class ExcursionAnswer(BaseModel):
    """A stretch outside a band that lasted longer than its on-delay."""

    id: str
    series: str
    label: str
    zone: str
    zone_label: str
    side: Side
    onset: datetime
    end: datetime | None = Field(description="null while open")
    last: datetime = Field(description="newest reading that took part")
    duration_s: float = Field(description="onset to end; to the newest reading while open")
    extreme: float
    extreme_time: datetime
    limit: float = Field(description="the limit that held at the extreme")
    onset_limit: float | None = Field(
        description="the limit passed at the onset, another one where lights changed since; null where not known"
    )
    unit: str
    display_unit: str
    decimals: int
    dose: float = Field(description="integral of the deviation over time")
    dose_unit: str


class ExcursionsAnswer(BaseModel):
    """Excursions, oldest onset last."""

    excursions: list[ExcursionAnswer]
    next: str | None = Field(None, description="give it as before, to get older ones; null at the end")


class EvidenceRow(BaseModel):
    """One number that speaks for or against a cause."""

    sentence: str
    indicator: str = Field(description="its name, and after @ whether hours or weeks are looked at")
    place: str
    value: float | None
    usual: float | None = Field(description="on this farm, in earlier days")
    give_or_take: float | None = Field(description="of the usual, at two standard deviations")
    unit: str
    weight: float = Field(description="log odds: above 0 for, below against")


class CauseRow(BaseModel):
    """One possible cause."""

    cause: str = Field(description="as docs/findings.md lists them; as_usual and something_else are answers too")
    part: str | None
    label: str
    nature: str = Field(description="normal, plant, equipment, probe, outside or unknown")
    probability: float | None = Field(description="null for a second fault, which is told from 0.95 on")
    places: list[str]
    place_labels: list[str]
    speaks_for: list[EvidenceRow] = Field(alias="for")
    against: list[EvidenceRow]
    check: str | None


class FoundBefore(BaseModel):
    """An earlier time at which the same cause was found, by one or several findings."""

    id: str = Field(description="of the first of them")
    onset: datetime
    end: datetime
    place_labels: list[str]


class FindingAnswer(BaseModel):
    """What may be behind an excursion, something unusual, or a night to come."""

    id: str
    subject: Literal["excursion", "unusual", "night"]
    excursion: str | None = Field(description="id of the excursion it is about")
    series: str | None
    surface: str | None
    onset: datetime
    end: datetime | None = Field(description="null while it lasts")
    at: datetime = Field(description="the instant it was worked out for")
    leads_since: datetime | None = Field(
        None, description="since when its first cause leads, where something else was unusual before"
    )
    last_seen: datetime | None = Field(
        None,
        description="of something unusual that is over: the end of the last hour whose own readings show its first "
        "cause; evidence that looks back on a day lasts for up to two days longer",
    )
    headline: str
    causes: list[CauseRow] = Field(description="the likeliest first")
    also: list[CauseRow] = Field(description="a second fault that the evidence shows beside the first cause")
    cannot_tell_apart: list[str] = Field(description="causes that this farm's sensors hardly tell apart")
    first_check: str = Field("", description="what to check first, as the alarm and the first screen say it too")
    next_check: str | None = Field(description="the cheapest check that tells the first two causes apart")
    next_check_shows: dict[str, str] = Field(description="what it shows under each")
    found_before: list[FoundBefore] = Field(
        [],
        description="when the same cause was found in the 90 days before, at any place, the newest first; at most five",
    )
    shown_in: list[list[str]] = Field(
        [], description="tracks of the timeline, each of series, that show what speaks for its first cause"
    )
    urgent: bool
    cautions: list[str]


class FindingsAnswer(BaseModel):
    """Findings, oldest onset last."""

    findings: list[FindingAnswer]
    next: str | None = Field(None, description="give it as before, to get older ones; null at the end")


class DaysAnswer(BaseModel):
    """Local days that have a day sheet."""

    days: list[date]


class DaySheetAnswer(BaseModel):
    """The summary of one local day, as the watch wrote it."""

    model_config = ConfigDict(extra="allow")

    farm: str
    day: date
    start: datetime
    end: datetime
    complete: bool
    zones: list[dict[str, Any]]
    light_days: list[dict[str, Any]]
    light_evenness: list[dict[str, Any]] = Field([], description="how even light fell on the zones of each phase")
    lamps: list[dict[str, Any]] = Field([], description="output of each lamp group, its trend and its losses")
    surfaces: list[dict[str, Any]] = Field([], description="margin to wet, wet hours, mould, and the night to come")
    carbon_dioxide: list[dict[str, Any]] = Field([], description="CO2: exposure, leaks, and what became of the gas")
    energy: dict[str, Any] | None = Field(None, description="energy of the whole and by part, peaks and cost")
    climate: dict[str, Any] | None = Field(
        None, description="air conditioner, vapour balance, recovery after lights-on, evenness"
    )
    root_zone: list[dict[str, Any]] = Field([], description="drift, doses, water and salt of each reservoir; stocks")
    probes: list[dict[str, Any]] = Field([], description="calibrations, condition and samples by hand")
    irrigation: list[dict[str, Any]] = Field([], description="each line's cycles and litres, and what went wrong")
    filters: list[dict[str, Any]] = Field([], description="pressure drop of each filter, its growth and its limit")
    flood_shelves: list[dict[str, Any]] = Field([], description="floods of each shelf, and what went wrong")
    feed_water: list[dict[str, Any]] = Field([], description="what reverse osmosis made, against its rating")
    water_balance: list[dict[str, Any]] = Field([], description="what came in, left and stayed, by the meters")
    quality: dict[str, Any] | None = Field(None, description="how good each series' readings were; what cannot be")
    excursions: list[dict[str, Any]]
    findings: list[dict[str, Any]] = Field([], description="likely causes of what was unusual, with their evidence")
    totals: list[dict[str, Any]]
    cautions: list[str]
    computed: datetime
    description_hash: str


class BatchRow(BaseModel):
    """One batch of the description."""

    batch: str
    crop: str
    sown: str = Field(description="local date, or time, as the description has it")
    zones: list[str] = Field(description="where it stood, in order")


class BatchesAnswer(BaseModel):
    """The batches of the description."""

    batches: list[BatchRow]


class BatchLight(BaseModel):
    """Light that fell in a stay; the mean over the zone's sensors."""

    mol: float = Field(description="mol m-2 over the covered time")
    covered_h: float
    estimated: bool = Field(description="from the lamps' switch and commissioning PPFD: no sensor saw it")
    series: list[str]


class BatchWarmth(BaseModel):
    """Warmth of a stay above the crop's base temperature; the mean over the zone's air sensors."""

    degree_hours_k_h: float = Field(description="K h over the covered time")
    below_base_h: float
    above_cap_h: float
    covered_h: float
    series: list[str]


class BatchBand(BaseModel):
    """Time in band of one series in a stay."""

    key: str
    quantity: str
    label: str
    unit: str
    inside_h: float
    below_h: float
    above_h: float
    covered_h: float


class BatchStay(BaseModel):
    """What a batch had in one zone."""

    zone: str
    label: str
    phase: str
    start: datetime
    end: datetime = Field(description="when it left; now, while it stands there")
    complete: bool
    hours: float
    light: BatchLight | None = Field(description="null where nothing tells of light")
    warmth: BatchWarmth | None = Field(description="null without readings, or without a base temperature of the crop")
    bands: list[BatchBand]


class BatchBandTotal(BaseModel):
    """Time in band of one quantity over all stays; of several sensors in one stay, their mean."""

    quantity: str
    unit: str
    inside_h: float
    below_h: float
    above_h: float
    covered_h: float
    coverage: float | None = Field(description="share of the time in which a band held and readings spoke")


class BatchTotal(BaseModel):
    """Sums over all stays; with a coverage below 1 they are lower bounds."""

    hours: float
    mol: float | None = Field(description="mol m-2")
    mol_coverage: float | None
    mol_estimated: bool = Field(description="some of it was estimated from the lamps")
    degree_hours_k_h: float | None
    degree_hours_coverage: float | None
    bands: list[BatchBandTotal]


class BatchEnergy(BaseModel):
    """The share of the farm's energy that a batch bears."""

    kwh: float | None = Field(description="null where no meter tells of the whole farm, or plants are not counted")
    kwh_per_kg: float | None = Field(description="null until the harvest is weighed")
    coverage: float | None = Field(description="share of the batch's time that the meter tells about")
    convention: str = Field(description="how energy is shared between batches")


class BatchStock(BaseModel):
    """What a batch bears of one stock."""

    stock: str
    label: str
    used_ml: float | None
    coverage: float | None = Field(description="share of the batch's days whose sheet tells of it")


class BatchUse(BaseModel):
    """The share of the farm's water, stocks and CO2 that a batch bears; null where nothing tells of them."""

    water_l: float | None = Field(description="drunk by the plants")
    water_coverage: float | None = Field(description="share of the batch's days whose sheet tells of it")
    co2_g: float | None = Field(description="dosed")
    co2_coverage: float | None
    stocks: list[BatchStock]
    convention: str = Field(description="how use is shared between batches")


class BatchAnswer(BaseModel):
    """What one batch has had until now."""

    batch: str
    crop: str
    crop_label: str
    sown: str
    plants: int | None
    harvest_kg: float | None
    base_temperature_c: float | None
    cap_temperature_c: float | None
    stays: list[BatchStay]
    total: BatchTotal
    energy: BatchEnergy
    use: BatchUse


class RejectAnswer(BaseModel):
    """Arrivals that were refused for one reason, under one topic and name."""

    reason: Reason
    topic: str
    name: str
    detail: str = Field(description="what was wrong and how to mend it")
    raw: str = Field(description=r"first bytes of the newest; anything but plain ASCII as \xNN")
    first: datetime
    last: datetime
    count: int


class RejectsAnswer(BaseModel):
    """What was refused, newest first, and how often for each reason."""

    counts: dict[Reason, int]
    rejects: list[RejectAnswer]


class UnknownRow(BaseModel):
    """Records under one wire name that nobody has described."""

    name: str = Field(description="wire name; empty for bare numbers, which only their topic names")
    topic: str = Field(description="both empty: those beyond the number that is kept apart")
    value: float | None = Field(description="newest, in the unit it came in")
    unit: str | None = Field(description="null where none was sent")
    first: datetime
    last: datetime
    count: int
    suggestion: str | None = Field(description="a [[series]] block to start from, for farm.toml")


class UnknownAnswer(BaseModel):
    """Names that nobody has described, the most frequent first."""

    unknown: list[UnknownRow]


class ClockRow(BaseModel):
    """One way in which a device's clock was wrong, over all the times it was."""

    device: str = Field(description="topic that it publishes on")
    fault: str = Field(description="ahead, behind, jumped or stands_still")
    detail: str = Field(description="the newest occurrence, and what to do")
    behind_s: float = Field(description="how far behind our clock then, in seconds; negative: ahead")
    first: datetime
    last: datetime
    readings: int = Field(description="flagged suspect for it")


class ClocksAnswer(BaseModel):
    """Devices with a wrong clock, the newest first."""

    clocks: list[ClockRow]


class HealthAnswer(BaseModel):
    """Whether the house can do its work; the same body with 503 when it cannot."""

    model_config = ConfigDict(extra="allow")

    status: str = Field(description="ok, or what is wrong")


class DoubtRow(BaseModel):
    """Readings in a row that a quality test doubts; a longer stretch stands in pieces of at most an hour."""

    test: str
    flag: int = Field(description="QARTOD: 3 suspect, 4 fail")
    first: datetime
    last: datetime
    readings: int


class CorrectionRow(BaseModel):
    """How readings are corrected from an instant on: scale times the reading plus offset."""

    since: datetime
    scale: float
    offset: float = Field(description="in the quantity's unit")


class QualityAnswer(BaseModel):
    """What the quality tests and the calibrations say of a series' readings."""

    series: str
    start: datetime
    end: datetime
    doubts: list[DoubtRow]
    corrections: list[CorrectionRow] = Field(description="all of them; those before the range hold within it too")


class LogRow(BaseModel):
    """What a person wrote, as it stands."""

    id: str
    kind: str
    time: datetime = Field(description="when it happened")
    author: str
    written: datetime
    version: int
    withdrawn: bool
    detail: dict[str, Any]


class LogWriting(BaseModel):
    """What a person writes into the journal, or what an entry of theirs is to say from now on."""

    model_config = ConfigDict(extra="forbid")

    who: str = Field(min_length=1, max_length=80, description="who writes")
    time: Moment | None = Field(None, description="when it was, ISO 8601 with a zone; now, or as it was, without")
    detail: Detail


class Withdrawing(BaseModel):
    """Who makes an entry count for nothing."""

    model_config = ConfigDict(extra="forbid")

    who: str = Field(min_length=1, max_length=80, description="who withdraws it")


class LogAnswer(BaseModel):
    """Entries in order of time."""

    entries: list[LogRow]
    next: str | None = Field(None, description="give it as before, to get older ones; null at the end")


class LogVersionsAnswer(BaseModel):
    """Every version of one entry, the first one first."""

    versions: list[LogRow]


class StockGiven(BaseModel):
    """What was given of one stock."""

    stock: str
    label: str
    volume_ml: float


class DoseGiven(BaseModel):
    """One dose given to a reservoir, and what its readings show of it."""

    zone: str
    zone_label: str
    start: datetime
    end: datetime
    source: str = Field(description="what tells of it: counter, switch, or readings (a rise of EC)")
    stocks: list[StockGiven] = Field(description="empty where no counter tells the stock")
    ec_step_ms_cm: float | None = Field(description="by how much EC moved; null where that cannot be told")
    ph_step_ph: float | None


class DosesAnswer(BaseModel):
    """Doses given in a range, oldest first."""

    doses: list[DoseGiven]


class DoseAnswer(BaseModel):
    """How much stock or water brings a reservoir's EC to a target."""

    add: Literal["stock", "water"]
    added_l: float
    added_give_or_take_l: float
    each_l: float = Field(description="of each bottle, where several are given in equal volumes")
    first_l: float = Field(description="to add before measuring for the first time")
    final_volume_l: float
    advice: str
    caution: str | None


class DataSetSeries(BaseModel):
    """A series of a data set."""

    key: str
    label: str
    column: str = Field(description="its name in a wide table and in NetCDF")
    unit: str


class DataSetPlanAnswer(BaseModel):
    """What a data set would hold."""

    start: datetime
    end: datetime = Field(description="not included")
    form: Literal["raw", "cleaned"]
    cells: int | None = Field(description="of each series, where readings are laid on a grid")
    readings_about: int = Field(description="as many as there are if series report as often as described")
    series: list[DataSetSeries]
    nothing_stored: list[str] = Field(description="keys of series of which nothing is stored at all")
    formats: list[str]
