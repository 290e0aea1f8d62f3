"""A farm's own description: ``farm.toml`` as typed data."""

from __future__ import annotations

from datetime import UTC, date, datetime
from enum import StrEnum
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator

from farm.alarms import Alarms
from farm.crops import Batch, Crop, Phase
from farm.limits import OccupationalLimits, ProbeLimits
from farm.model import Described, Name, WireName, ZoneName
from farm.notices import Notices
from farm.quality_limits import Quality, usual_quality
from farm.quantities import QUANTITIES, Quantity
from farm.readings import ESTIMATED, Series, instant
from farm.topics import fewest, filter_of
from farm.units import COUNT_UNITS, PPFD_UNIT, SAME, WIRE_UNITS, Conversion, ppfd_from_illuminance
from farm.water_equipment import Condensate, Filter, FloodShelf, IrrigationPlan
from farm.wire import Wire

SILENT_AFTER_CADENCES = 3  # a device quiet for longer is shown as silent


class ZoneKind(StrEnum):
    """What sort of place a zone is."""

    ROOM_AIR = "room_air"
    GROWING_ROW = "growing_row"
    SEEDLING_SHELF = "seedling_shelf"
    SUPPLY_DUCT = "supply_duct"
    RESERVOIR = "reservoir"
    OUTDOORS = "outdoors"
    WORK_AREA = "work_area"


class Place(Described):
    """Which farm this is and where it stands."""

    name: Name = Field(description="short name, used in topics and file names")
    title: str = Field(description="name for people")
    timezone: str = Field(description="IANA time zone, e.g. Europe/Oslo")
    locale: str = Field(
        "en-GB",
        pattern="^[a-z]{2,3}(-[A-Z][a-z]{3})?(-([A-Z]{2}|[0-9]{3}))?$",
        description="how the page and reports write numbers, as a language tag (BCP 47): nb-NO writes 21,5, en-GB 21.5",
    )
    elevation_m: float = Field(
        0.0, ge=-430, le=5500, description="height above the sea: gives the air's pressure where no sensor does"
    )
    currency: str | None = Field(None, pattern="^[A-Z]{3}$", description="of every price here, by ISO 4217: EUR")
    invented: bool = Field(False, description="true for a demonstration farm: every screen then says so")

    @field_validator("locale")
    @classmethod
    def _locale_is_known(cls, tag: str) -> str:
        from babel import Locale, UnknownLocaleError  # only here: the description of most farms does without

        try:
            Locale.parse(tag, sep="-")
        except (UnknownLocaleError, ValueError):
            raise ValueError("a language tag that is in use, such as en-GB, nb-NO, de or fr-CA") from None
        return tag

    @cached_property
    def zone_info(self) -> ZoneInfo:
        """The time zone, for local midnights and times of day."""
        return ZoneInfo(self.timezone)


class Zone(Described):
    """A place with its own conditions."""

    kind: ZoneKind
    label: str
    crop: Name | None = Field(None, description="crop whose bands hold here")
    phase: Name | None = Field(None, description="phase whose bands hold here, unless a batch says otherwise")
    lights: str | None = Field(None, description="key of the lights_on series that lights this zone")
    leaf_offset_k: float | None = Field(
        None, ge=-10, le=10, description="leaf minus air temperature, where no leaf sensor is; gives leaf VPD"
    )


class Was(Described):
    """A wire name that a series had, so that a renamed or replaced sensor keeps one history."""

    wire: str = Field(min_length=1, description="the SenML name it had on the wire")
    unit: str | None = Field(None, description="unit it had on the wire, where that was another")
    since: date | datetime | None = Field(None, description="readings from then on; all earlier ones if left out")
    until: date | datetime | None = Field(None, description="readings before then; still taken if left out")


class DescribedSeries(Described):
    """One quantity at one zone, from one sensor."""

    zone: ZoneName
    quantity: Literal[tuple(QUANTITIES)]  # type: ignore[valid-type]  # the registry is the list
    sensor: Name | Literal[""] = Field("", description="needed where a zone has several of one quantity")
    label: str | None = None
    wire: WireName | None = Field(None, description="SenML name on the wire; the series' key by default")
    was: list[Was] = Field(default_factory=list, description="wire names it had before")
    topic: str | None = Field(None, description="topic that carries this series as a bare number")
    unit: str | None = Field(None, description="unit on the wire where the message states none")
    cadence_s: float = Field(60.0, gt=0, le=31 * 86_400, description="expected time between readings")
    range: tuple[float, float] | None = Field(None, description="[low, high] the sensor can report")
    accuracy: float | None = Field(
        None,
        gt=0,
        description="plus or minus in the quantity's unit, at 95 % (two standard deviations); carried into dew point, "
        "deficits and margins; "
        "what is usual for the quantity if left out",
    )
    humidity_over: Literal["water", "ice"] = Field(
        "water", description="of a relative_humidity: what its 100 % means below 0 degC; most sensors count over water"
    )
    calibrate_every_days: float | None = Field(
        None, gt=0, le=3660, description="days between calibrations of its probe; the day sheet counts down to the next"
    )
    calibrated_at_kpa: float | None = Field(
        None,
        ge=50,
        le=110,
        description="of a CO2 sensor that does not correct for air pressure itself: the pressure it was calibrated at, "
        "101.325 for sea level",
    )
    lux_per_ppfd: float | None = Field(
        None, gt=0, description="lets a lux sensor stand for PPFD under one light: 54 for sunlight; see docs/wire.md"
    )
    per_count: float | None = Field(None, gt=0, description="of a counter that sends counts: its unit per count")
    rolls_over_at: float | None = Field(
        None,
        gt=0,
        description="of a counter: where it begins again at 0, in what it sends (counts, if per_count is given)",
    )
    quality: Quality | None = None

    @property
    def registered(self) -> Quantity:
        """The registry's entry for this series' quantity."""
        return QUANTITIES[self.quantity]

    @property
    def key(self) -> str:
        """``zone/quantity`` or ``zone/quantity/sensor``."""
        return "/".join(part for part in (self.zone, self.quantity, self.sensor) if part)

    @property
    def wire_name(self) -> str:
        """The SenML name it has on the wire now."""
        return self.wire or self.key

    @property
    def wire_units(self) -> dict[str, Conversion]:
        """Every unit that this series may have on the wire, and how it becomes the one inside."""
        inside = self.registered.unit
        units = {inside: SAME, **WIRE_UNITS[inside]}
        if self.lux_per_ppfd is not None and inside == PPFD_UNIT:
            units |= ppfd_from_illuminance(self.lux_per_ppfd)
        if self.per_count is not None:
            units |= dict.fromkeys(COUNT_UNITS, Conversion(self.per_count))
        return units

    @property
    def sent_unit(self) -> str:
        """The unit of what comes without one."""
        return (
            self.unit if self.unit is not None else self.registered.unit if self.per_count is None else COUNT_UNITS[1]
        )

    @property
    def rolls_over(self) -> float | None:
        """Where a counter begins again at 0, in the quantity's unit; None for one that does not."""
        if self.rolls_over_at is None:
            return None
        conversion = self.wire_units[self.sent_unit]
        return self.rolls_over_at * conversion.scale

    @property
    def limits(self) -> tuple[float, float]:
        """The range a reading must lie in: the sensor's, else what is plausible."""
        return self.range or (self.registered.low, self.registered.high)

    @property
    def plus_or_minus(self) -> float | None:
        """The sensor's accuracy, else what is usual for its quantity at its usual levels."""
        return self.accuracy or self.registered.accuracy


class Surface(Described):
    """A wall, roof, floor, bridge or window on which water could condense."""

    name: Name
    label: str
    zone: ZoneName = Field(description="zone on its warm side")
    outside: ZoneName | None = Field(None, description="zone on its cold side")
    r_value_m2k_w: float | None = Field(None, gt=0, description="thermal resistance without surface films")
    u_value_w_m2k: float | None = Field(None, gt=0, description="transmittance with surface films")
    heat_flow: Literal["horizontal", "upward", "downward"] = Field(
        "horizontal",
        description="direction heat leaves: horizontal for a wall, upward for a roof, downward for a floor",
    )
    internal_film_m2k_w: float | None = Field(
        None,
        gt=0,
        le=1,
        description="resistance of the air on its warm face where that is not bare: 0.25 behind plants, shelves and in "
        "corners; by heat_flow if left out",
    )
    temperature_factor: float | None = Field(
        None, ge=0, le=1, description="of a thermal bridge, instead: share of the indoor-outdoor difference it keeps"
    )
    probe: str | None = Field(None, description="key of a surface_temperature series on it")
    mould_class: Literal["very_sensitive", "sensitive", "medium_resistant", "resistant"] = Field(
        "sensitive", description="how its material lets mould grow; see docs/science.md"
    )
    mould_decline: float = Field(
        0.1, ge=0, le=1, description="how much of timber's decline in dry times it shows: 1, 0.5, 0.25 or 0.1"
    )


class Reservoir(Described):
    """The nutrient tank."""

    zone: ZoneName
    volume_l: float = Field(gt=0, description="what it holds when its level is 100 %")
    feed_ec_ms_cm: float = Field(0.0, ge=0, le=5, description="EC of the water that tops it up, at 25 degC")
    top_up: list[str] = Field(default_factory=list, description="keys of metered_volume series of other water added")
    drained: list[str] = Field(default_factory=list, description="keys of metered_volume series of water let out")


class Stock(Described):
    """One bottle the doser draws from."""

    name: Name
    label: str
    role: Literal["nutrient", "acid", "base"]
    bottle_l: float = Field(gt=0)
    ec_per_ml_l: float | None = Field(None, gt=0, description="rise in EC by 1 mL of stock in 1 L of solution, mS/cm")


class DripRow(Described):
    """Drip emitters of one growing row."""

    zone: ZoneName
    emitters: int = Field(gt=0)
    emitter_flow_l_h: float = Field(gt=0)
    plant_sites: int | None = Field(None, gt=0, description="plants that these emitters water")
    flow: str | None = Field(
        None, description="key of the flow_rate or metered_volume series of its line; rows may share one"
    )
    pressure: str | None = Field(None, description="key of a line pressure of its line")
    pump: str | None = Field(None, description="key of the pump_on or electrical_power series of its pump")
    return_flow: str | None = Field(None, description="key of the flow_rate series of what comes back from its line")
    running_above: float | None = Field(
        None,
        gt=0,
        description="it runs from this on, in L/min with flow, else kPa or W; a fifth of the rating by default",
    )
    irrigation: IrrigationPlan = IrrigationPlan()


class LampGroup(Described):
    """Lamps that switch together."""

    name: Name
    zones: list[ZoneName] = Field(min_length=1)
    commissioning_ppfd: float = Field(gt=0, description="umol m-2 s-1 measured when new")
    commissioned: date | datetime | None = Field(
        None, description="when that was; earlier light is of other lamps and is not compared with it"
    )
    power_w: float = Field(gt=0)


class ReverseOsmosis(Described):
    """The unit that makes feed water."""

    rated_l_per_day: float = Field(gt=0, description="at 25 degC feed")
    output: str | None = Field(None, description="key of the metered_volume or flow_rate series of what it makes")
    output_step_l: float = Field(0.1, gt=0, description="step in which that meter counts")
    feed_temperature: str | None = Field(
        None, description="key of the solution_temperature series of its feed, best in a zone of its own"
    )
    clean_below_percent: float | None = Field(
        None, gt=0, lt=100, description="output, of the rating at 25 degC, at which it is to be cleaned or renewed"
    )


class AirConditioner(Described):
    """What cools and dries the room."""

    cooling_w: float = Field(gt=0, description="rated total capacity")
    power_w: float = Field(gt=0, description="rated electrical input")
    compressor: str | None = Field(
        None, description="key of its compressor_on series, or of an electrical_power series of the unit alone"
    )
    running_above_w: float | None = Field(
        None, gt=0, description="from this power on it runs; needed where compressor is an electrical_power series"
    )
    return_zone: Name | None = Field(None, description="zone whose air it draws in")
    supply_zone: Name | None = Field(None, description="zone of kind supply_duct that its air leaves into")
    air_flow_m3_h: float | None = Field(None, gt=0, description="volume of return air that passes its coil")
    air_flow_accuracy_m3_h: float | None = Field(
        None, ge=0, description="plus or minus of that; a tenth of it if left out"
    )
    condensate: str | None = Field(None, description="key of the condensate_volume series of its drain")
    min_off_s: float | None = Field(None, gt=0, description="shortest rest that its maker allows the compressor")


class CarbonDioxide(Described):
    """CO2 enrichment, and the air it is dosed into."""

    zone: ZoneName = Field(description="zone whose CO2 series stands for this air")
    air_volume_m3: float = Field(gt=0, description="air in the room, without what stands in it")
    valve_flow_g_h: float | None = Field(
        None, gt=0, description="what the open valve gives, by its nameplate or a scale"
    )
    flow_accuracy_pct: float = Field(10.0, ge=0, le=100, description="plus or minus of that; our choice, no source")
    price_per_kg: float | None = Field(None, ge=0, description="of the gas, in the farm's currency")
    background_ppm: float | None = Field(
        None, ge=250, le=2000, description="CO2 outdoors, where no co2_mole_fraction series of an outdoor zone tells"
    )


class Mains(Described):
    """The electrical service."""

    voltage_v: float = Field(
        gt=0, description="between two phases of a three-phase service, between the two legs of a split-phase one"
    )
    breaker_a: float = Field(gt=0)
    phases: Literal[1, 3] = 1
    continuous_share: float = Field(
        0.8,
        gt=0,
        le=1,
        description="share of the breaker that may be drawn for 3 h or more: 0.8 by North America's NEC, regional; "
        "ask a licensed electrician",
    )
    power_factor: float = Field(
        1.0,
        gt=0,
        le=1,
        description="watts for each volt-ampere at the highest load, as measured: a breaker goes by current, so that 1 "
        "flatters the margin",
    )
    meter: str | None = Field(
        None, description="key of the electrical_energy or electrical_power series that measures the whole farm"
    )
    price_per_kwh: float | None = Field(None, ge=0, description="in the farm's currency")


class Equipment(Described):
    """Nameplate figures."""

    reservoir: Reservoir | None = None
    stocks: list[Stock] = Field(default_factory=list)
    drip_rows: list[DripRow] = Field(default_factory=list)
    filters: list[Filter] = Field(default_factory=list)
    flood_shelves: list[FloodShelf] = Field(default_factory=list)
    condensate: Condensate | None = None
    lamp_groups: list[LampGroup] = Field(default_factory=list)
    reverse_osmosis: ReverseOsmosis | None = None
    air_conditioner: AirConditioner | None = None
    carbon_dioxide: CarbonDioxide | None = None
    mains: Mains | None = None


class Farm(Described):
    """The whole description of one farm."""

    farm: Place
    wire: Wire = Wire()
    zones: dict[Name, Zone] = Field(min_length=1)
    series: list[DescribedSeries] = Field(default_factory=list)
    surfaces: list[Surface] = Field(default_factory=list)
    equipment: Equipment = Equipment()
    occupational_limits: OccupationalLimits = OccupationalLimits()
    probe_limits: ProbeLimits = ProbeLimits()
    alarms: Alarms = Alarms()
    crops: dict[Name, Crop] = Field(default_factory=dict)
    batches: list[Batch] = Field(default_factory=list)
    notices: Notices = Notices()

    @property
    def name(self) -> str:
        """The farm's short name."""
        return self.farm.name

    @cached_property
    def described(self) -> dict[Series, DescribedSeries]:
        """Every described series under its identity."""
        return {Series(self.name, one.zone, one.quantity, one.sensor): one for one in self.series}

    def has_on_the_wire(self, name: str, topic: str) -> bool:
        """Whether a wire name, or where it is empty a topic of bare numbers, belongs to a series."""
        if name == "":
            return any(one.topic == topic for one in self.series)
        return any(name == one.wire_name or any(name == was.wire for was in one.was) for one in self.series)

    @property
    def topic_filters(self) -> list[str]:
        """The MQTT topic filters that bring all of this farm's messages, each once."""
        rules = [filter_of(rule.topic) for rule in self.wire.rules]
        return fewest([self.wire.topic, *rules, *(one.topic for one in self.series if one.topic)])

    def series_of(self, zone: str, quantity: str) -> list[Series]:
        """Return the described series of one quantity in one zone, in the description's order."""
        return [one for one in self.described if one.zone == zone and one.quantity == quantity]

    def lamps_over(self, zone: str) -> list[LampGroup]:
        """Return the lamp groups that light a zone."""
        return [group for group in self.equipment.lamp_groups if zone in group.zones]

    def quality_of(self, series: Series) -> Quality:
        """Return what a described series' readings are tested against: its own limits over the usual ones."""
        in_a_duct = series.zone in self.zones and self.zones[series.zone].kind is ZoneKind.SUPPLY_DUCT
        usual = usual_quality(series.quantity, in_a_duct=in_a_duct)
        own = self.described[series].quality
        return usual if own is None else usual.model_copy(update=own.model_dump(exclude_unset=True))

    def label_of(self, series: Series) -> str:
        """Return a series' name for people: its own label, else its quantity's and its sensor's or surface's."""
        described = self.described.get(series)
        if described is not None and described.label:
            return described.label
        surfaces = {surface.name: surface.label for surface in self.surfaces} | {ESTIMATED: "estimated from the lamps"}
        sensor = surfaces.get(series.sensor, series.sensor)
        return f"{series.registered.label}, {sensor}" if sensor else series.registered.label

    def zone_label(self, zone: str) -> str:
        """Return a zone's name for people; its short name if the description no longer has it."""
        return self.zones[zone].label if zone in self.zones else zone

    def phase_at(self, zone: str, at: datetime) -> Phase | None:
        """Return the phase whose bands hold in a zone at an instant; None where no plan says so.

        A batch standing in the zone decides (the one that entered last, where there are several);
        else the zone's own ``crop`` and ``phase``.
        """
        standing = [
            (self.moment(stay.entered), batch.crop, stay.phase)
            for batch in self.batches
            for stay in batch.stays
            if stay.zone == zone
            and self.moment(stay.entered) <= at
            and (stay.left is None or at < self.moment(stay.left))
        ]
        if standing:
            _, crop, phase = max(standing)
        elif self.zones[zone].crop and self.zones[zone].phase:
            crop, phase = str(self.zones[zone].crop), str(self.zones[zone].phase)
        else:
            return None
        return self.crops[crop].phases[phase]

    def moment(self, day: date | datetime) -> datetime:
        """Return the instant a date of the description means: its local midnight, or itself, in UTC."""
        if not isinstance(day, datetime):
            day = datetime(day.year, day.month, day.day, tzinfo=self.farm.zone_info)
        elif day.tzinfo is None:
            day = day.replace(tzinfo=self.farm.zone_info)
        return day.astimezone(UTC)

    def clock(self, at_us: int) -> str:
        """Return an instant as the farm's clock shows it, to the minute: 2026-03-01 14:05."""
        return f"{instant(at_us).astimezone(self.farm.zone_info):%Y-%m-%d %H:%M}"
