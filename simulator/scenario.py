"""A scenario file: which farm, how its building and weather differ, and what goes wrong when."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, TypeAlias, get_type_hints

from pydantic import AfterValidator, Field, create_model, model_validator

from farm.check import DescriptionError, read_as, text_of
from farm.model import Described
from simulator import building
from simulator.fault_kinds import HOUR_S, NATURES, FaultKind
from simulator.faults import Fault

Level = Literal["mild", "usual", "severe"]
LEVELS: tuple[Level, ...] = ("mild", "usual", "severe")
ANY = "any"  # target: one that each farm's seed chooses


def _section(kind: type) -> type[Described]:
    """Return a table of a scenario that may set any field of a part of the building."""
    hints = get_type_hints(kind)
    keys: dict[str, Any] = {one.name: (hints[one.name], one.default) for one in fields(kind)}
    return create_model(kind.__name__, __base__=Described, __doc__=kind.__doc__, **keys)


if TYPE_CHECKING:
    Walls: TypeAlias = Described
    Machines: TypeAlias = Described
    Settings: TypeAlias = Described
    Planting: TypeAlias = Described
    Lamps: TypeAlias = Described
    Visits: TypeAlias = Described
    Weather: TypeAlias = Described
else:
    Walls = _section(building.Walls)
    Machines = _section(building.Machines)
    Settings = _section(building.Settings)
    Planting = _section(building.Planting)
    Lamps = _section(building.Lamps)
    Visits = _section(building.Visits)
    Weather = _section(building.Climate)


def _aware_minute(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError(f"a time with a zone, as in {moment.isoformat()}Z")
    if moment.second or moment.microsecond:
        raise ValueError("a whole minute")
    return moment.astimezone(UTC)


Moment = Annotated[datetime, AfterValidator(_aware_minute)]


class FarmOf(Described):
    """Which farm; one of the three."""

    description: str | None = Field(None, description="path of a farm.toml, from the scenario's own folder")
    demo: bool = Field(False, description="the demonstration's farm")
    invented: int | None = Field(
        None, ge=1, le=100_000, description="so many invented farms, one for each seed from the scenario's own on"
    )

    @model_validator(mode="after")
    def _one_of_three(self) -> Self:
        if (self.description is not None) + self.demo + (self.invented is not None) != 1:
            raise ValueError("one of description = FILE, demo = true, invented = NUMBER")
        return self


class SensorsOf(Described):
    """How good the sensors are."""

    noise: float = Field(1.0, ge=0, le=100, description="times the usual noise")
    bias: float = Field(1.0, ge=0, le=100, description="times the usual constant error")
    drift: float = Field(1.0, ge=0, le=100, description="times the usual slow drift")
    lost: float = Field(0.0, ge=0, le=1, description="share of readings that never come")


class FaultOf(Described):
    """One fault."""

    kind: FaultKind
    target: str = Field("", description='row, lamp group, stock, series ...; "any" lets the seed choose one')
    start: Moment | None = Field(None, description="when it begins; or after_h")
    after_h: float | None = Field(None, ge=0, description="hours after the scenario's start at which it begins")
    end: Moment | None = Field(None, description="when it is mended; never, if neither end nor lasts_h is given")
    lasts_h: float | None = Field(None, gt=0, description="hours until it is mended")
    size: float | None = Field(None, description="how much, as the kind says; the level's size if left out")
    level: Level = Field("usual", description="a usual size of the kind")
    ramp_h: float | None = Field(None, ge=0, description="hours in which it grows; the kind's own if left out")

    @model_validator(mode="after")
    def _times_and_size(self) -> Self:
        if (self.start is None) == (self.after_h is None):
            raise ValueError("either start or after_h")
        if self.end is not None and self.lasts_h is not None:
            raise ValueError("either end or lasts_h, not both")
        if self.size is not None and "level" in self.model_fields_set:
            raise ValueError("either size or level, not both")
        self.made(datetime(2000, 1, 1, tzinfo=UTC), "", self.size if self.size is not None else self._level_size())
        return self

    def _level_size(self) -> float:
        return NATURES[self.kind].sizes[LEVELS.index(self.level)]

    def made(self, begin: datetime, target: str, size: float) -> Fault:
        """Return the fault of a run that begins at an instant."""
        start = self.start or begin + timedelta(hours=self.after_h or 0.0)
        end = self.end or (start + timedelta(hours=self.lasts_h) if self.lasts_h is not None else None)
        ramp_s = NATURES[self.kind].ramp_s if self.ramp_h is None else self.ramp_h * HOUR_S
        return Fault(self.kind, start, end, size, target, ramp_s)


class DrawnFaults(Described):
    """Faults that each farm's seed draws."""

    per_farm: int = Field(1, ge=1, le=1000, description="how many")
    kinds: list[FaultKind] = Field(
        default_factory=lambda: list(FaultKind),
        min_length=1,
        description="of these kinds, as far as the farm has what they need",
    )
    levels: list[Level] = Field(
        default=["mild", "usual", "severe"], min_length=1, description="usual sizes to draw from"
    )
    from_day: float = Field(7.0, ge=0, description="none begins earlier: days from the start")
    lasts_h: tuple[float, float] = Field(
        (6.0, 72.0), description="[shortest, longest]; slow kinds last at least twice their ramp"
    )

    @model_validator(mode="after")
    def _shortest_below_longest(self) -> Self:
        if not 0.0 < self.lasts_h[0] <= self.lasts_h[1]:
            raise ValueError("lasts_h = [shortest, longest], both above 0")
        return self


class Scenario(Described):
    """A whole scenario, as its file says it."""

    seed: int = Field(1, ge=0, lt=2**63, description="decides weather, noise, invented farms and drawn faults")
    start: Moment | None = Field(
        None, description="first instant; an invented farm's own season, or days before now, if left out"
    )
    days: float = Field(30.0, gt=0, le=36_600, description="how long")
    farm: FarmOf
    weather: Weather = Field(default_factory=Weather)
    walls: Walls = Field(default_factory=Walls)
    machines: Machines = Field(default_factory=Machines)
    settings: Settings = Field(default_factory=Settings)
    planting: Planting = Field(default_factory=Planting)
    lamps: Lamps = Field(default_factory=Lamps)
    visits: Visits = Field(default_factory=Visits)
    sensors: SensorsOf = SensorsOf()
    faults: list[FaultOf] = Field(default_factory=list)
    drawn_faults: DrawnFaults | None = None

    @model_validator(mode="after")
    def _days_leave_room(self) -> Self:
        drawn = self.drawn_faults
        if drawn is not None and drawn.from_day >= self.days:
            raise ValueError(f"drawn_faults.from_day below days, which is {self.days:g}")
        return self


def read_scenario(path: Path) -> Scenario:
    """Return the scenario that a file holds.

    Raises
    ------
    DescriptionError
        If the file cannot be read or has mistakes; all of them are listed, with their lines.
    """
    scenario, mistakes = read_as(Scenario, text_of(path, "a scenario.toml"))
    if scenario is None:
        raise DescriptionError(path, mistakes)
    return scenario
