"""What is held against a fixed limit: CO2 that is dangerous, mains, doors, and what changes too fast."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics import excursions
from analytics.alignment import hold_as_of
from analytics.irrigation_pauses import LOOK_BACK_US, dry_share, last_run_us
from farm.alarm_words import AlarmKind
from farm.alarms import ChangeLimit
from farm.description import Farm, ZoneKind
from farm.quantities import Kind
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.contract import ReadingStore
from watch import cautions
from watch.alarm_rules import Rule, change_limit, rule_of
from watch.alarm_texts import LEAVE, change_text, co2_text, detail_of
from watch.bands import longest_hold_us, usable
from watch.carbon_dioxide import AVERAGES, co2_limit
from watch.derivation import accuracy_at
from watch.derived import derived_series
from watch.irrigation_lines import Line, course, lines_of
from watch.pace import Pressing
from watch.telling import listed

DRY_LOOK_US = 300 * MICROSECONDS_PER_SECOND  # our choice, no source
DAY_US = 86_400 * MICROSECONDS_PER_SECOND
CHANGE_BY_DESIGN = (ZoneKind.SUPPLY_DUCT, ZoneKind.OUTDOORS)  # a compressor's every start is a step in its duct
Times = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Limited:
    """One condition of one series: what is held against which limit.

    ``values`` gives, over a range, what is held against the limits; ``reach_us`` how far before a reading what it
    gives rests on others. While all is normal it is looked at once in ``every_us`` of the readings' time, which is no
    longer than the machine starts before a change. ``pressing`` are limits of single readings beyond which nothing may
    wait.
    """

    condition: str
    kind: AlarmKind
    series: Series
    low: float
    high: float
    rule: Rule
    values: Callable[[ReadingStore, int, int], tuple[Times, Floats]]
    tell: Callable[[ReadingStore, excursions.Excursion], dict[str, Any]]
    gap_us: int
    reach_us: int = 0
    every_us: int = 0
    pressing: Pressing | None = None

    @property
    def machine(self) -> excursions.Rule:
        """The delays, deadband and gap by which readings are followed."""
        return excursions.Rule(
            self.rule.on_delay_us, self.rule.off_delay_us, self.rule.deadband or 0.0, max(self.gap_us, 1)
        )

    @property
    def back_us(self) -> int:
        """How long before a change the machine must start: whatever was pending then is decided since."""
        return self.rule.on_delay_us + self.rule.off_delay_us + 2 * self.gap_us + self.reach_us


def limited(farm: Farm) -> list[Limited]:
    """Return every condition with a fixed limit that a farm's description allows."""
    return [*_co2(farm), *_states(farm), *_changes(farm), *_dry_lines(farm)]


def _measured(series: Series, *, doubted: bool = False) -> Callable[[ReadingStore, int, int], tuple[Times, Floats]]:
    def values(store: ReadingStore, start_us: int, end_us: int) -> tuple[Times, Floats]:
        columns = store.read(series, start_us, end_us)
        return columns.time_us, columns.value if doubted else usable(columns)

    return values


def _co2(farm: Farm) -> Iterator[Limited]:
    """Yield CO2 at the occupational limits: any reading within its give or take of the 8-h limit, and averages.

    A reading that quality tests doubt counts like any other: however fast CO2 rises, it may be true.
    """
    rule = rule_of(farm, AlarmKind.CO2_DANGER)
    averages = [one for one in derived_series(farm) if one.quantity in AVERAGES]
    measured = [one for one in farm.described if one.quantity == "co2_mole_fraction"]
    for series in (*measured, *averages):
        limit = co2_limit(farm, series.quantity) if series in averages else farm.occupational_limits.eight_hours_ppm
        sensor = series._replace(quantity="co2_mole_fraction")
        if sensor not in farm.described:
            continue
        yield Limited(
            f"{AlarmKind.CO2_DANGER}/{series.key}", AlarmKind.CO2_DANGER, series, -np.inf, limit,
            rule._replace(deadband=rule.deadband if rule.deadband is not None else 0.05 * limit),
            _with_accuracy(farm, series, sensor), _tell_co2(farm, series, limit), longest_hold_us(farm, series),
            pressing=Pressing(high=limit - float(np.nan_to_num(accuracy_at(farm, sensor, limit)))),
        )  # fmt: skip


def _with_accuracy(
    farm: Farm, series: Series, sensor: Series
) -> Callable[[ReadingStore, int, int], tuple[Times, Floats]]:
    def values(store: ReadingStore, start_us: int, end_us: int) -> tuple[Times, Floats]:
        columns = store.read(series, start_us, end_us)
        return columns.time_us, columns.value + np.nan_to_num(accuracy_at(farm, sensor, columns.value))

    return values


def _tell_co2(farm: Farm, series: Series, limit: float) -> Callable[..., dict[str, Any]]:
    def tell(store: ReadingStore, one: excursions.Excursion) -> dict[str, Any]:
        reading = store.read(series, one.extreme_us, one.extreme_us + 1)
        worst = float(reading.value[0]) if len(reading) else one.extreme
        return detail_of(
            farm, AlarmKind.CO2_DANGER, one.onset_us, co2_text(farm, series, worst, limit), series=series, limit=limit,
            worst=worst, first_step=LEAVE, caution=cautions.CO2,
        )  # fmt: skip

    return tell


def _states(farm: Farm) -> Iterator[Limited]:
    for series in farm.described:
        if series.quantity == "power_present":
            text = f"The mains supply at {farm.zone_label(series.zone)} is lost."
            step = "Is there light next door? Then look at the main breaker, and ask a licensed electrician."
            yield _state(farm, AlarmKind.MAINS_LOST, series, text, step, cautions.MAINS, low=0.5)
        if series.quantity == "door_open":
            text = f"{farm.label_of(series)} at {farm.zone_label(series.zone)} stands open."
            yield _state(
                farm, AlarmKind.DOOR_OPEN, series, text, "Shut it, or see why it does not close.", "", high=0.5
            )


def _state(
    farm: Farm, kind: AlarmKind, series: Series, text: str, step: str, caution: str,
    *, low: float = -np.inf, high: float = np.inf,
) -> Limited:  # fmt: skip
    def tell(_: ReadingStore, one: excursions.Excursion) -> dict[str, Any]:
        return detail_of(farm, kind, one.onset_us, text, series=series, first_step=step, caution=caution)

    return Limited(
        f"{kind}/{series.key}", kind, series, low, high, rule_of(farm, kind, series.quantity), _measured(series), tell,
        longest_hold_us(farm, series), pressing=Pressing(low, high),
    )  # fmt: skip


def _changes(farm: Farm) -> Iterator[Limited]:
    for series in farm.described:
        limit = change_limit(farm, series.quantity)
        elsewhere = series.zone in farm.zones and farm.zones[series.zone].kind in CHANGE_BY_DESIGN
        if limit is None or series.registered.kind is not Kind.LEVEL:
            continue
        if elsewhere and series.quantity not in farm.alarms.change:
            continue
        for side, amount in (("high", limit.rise), ("low", limit.fall)):
            rule = rule_of(farm, AlarmKind.CHANGE, series.quantity, side)
            if amount is not None and not rule.off:
                yield _change(farm, series, side, amount, limit, rule)


def _change(farm: Farm, series: Series, side: str, amount: float, limit: ChangeLimit, rule: Rule) -> Limited:
    window_us = int(limit.within_s * MICROSECONDS_PER_SECOND)
    gap_us = longest_hold_us(farm, series)

    def values(store: ReadingStore, start_us: int, end_us: int) -> tuple[Times, Floats]:
        columns = store.read(series, start_us - window_us - gap_us, end_us)
        value = usable(columns)
        here = columns.time_us >= start_us
        at_us = columns.time_us[here]
        earlier = hold_as_of(columns.time_us, value, at_us - window_us, gap_us).value
        return at_us, value[here] - earlier

    def tell(_: ReadingStore, one: excursions.Excursion) -> dict[str, Any]:
        text, step = change_text(farm, series, side, one.extreme, limit)
        return detail_of(
            farm, AlarmKind.CHANGE, one.onset_us, text, series=series, first_step=step,
            what=f"Change of {farm.label_of(series)}", limit=amount if side == "high" else -amount, worst=one.extreme,
        )  # fmt: skip

    low, high = (-np.inf, amount) if side == "high" else (-amount, np.inf)
    return Limited(
        f"{AlarmKind.CHANGE}/{series.key}/{side}", AlarmKind.CHANGE, series, low, high,
        rule._replace(deadband=rule.deadband if rule.deadband is not None else 0.2 * amount),
        values, tell, gap_us, window_us,
    )  # fmt: skip


def _dry_lines(farm: Farm) -> Iterator[Limited]:
    """Yield each irrigation line that may stay dry for longer than usual."""
    for line in lines_of(farm):
        rule = rule_of(farm, AlarmKind.NO_WATER)
        if line.found_from in farm.described and not rule.off:
            yield _dry_line(farm, line, rule)


def _dry_line(farm: Farm, line: Line, rule: Rule) -> Limited:
    gap_us = longest_hold_us(farm, line.found_from)

    def values(store: ReadingStore, start_us: int, end_us: int) -> tuple[Times, Floats]:
        ran = course(farm, store, line.found_from, start_us - LOOK_BACK_US - DAY_US, end_us)
        share = dry_share(ran.time_us, ran.value, line.threshold, gap_us)
        here = ran.time_us >= start_us
        return ran.time_us[here], share[here]

    def tell(store: ReadingStore, one: excursions.Excursion) -> dict[str, Any]:
        ran = course(farm, store, line.found_from, one.onset_us - LOOK_BACK_US, one.onset_us)
        last_us = last_run_us(ran.time_us, ran.value, line.threshold)
        where = listed([farm.zone_label(row.zone) for row in line.rows])
        local = instant(last_us if last_us is not None else one.onset_us).astimezone(farm.farm.zone_info)
        return detail_of(
            farm, AlarmKind.NO_WATER, one.onset_us,
            f"{where} had no water since {local:%H:%M} ({local:%d %b}): longer than any pause of the days before.",
            series=line.found_from, what="Irrigation",
            first_step="Is the pump on when it is commanded? Look at its breaker, its inlet and the filter.",
        )  # fmt: skip

    return Limited(
        f"{AlarmKind.NO_WATER}/{line.found_from.key}", AlarmKind.NO_WATER, line.found_from, -np.inf, 1.0, rule, values,
        tell, gap_us, every_us=min(DRY_LOOK_US, gap_us),
    )  # fmt: skip
