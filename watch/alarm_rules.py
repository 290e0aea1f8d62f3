"""When what is watched is an alarm, and how urgent: the usual rules with their reasons, and the farm's own over them.

Priority follows from the consequence and from how long a person has to respond. Every number here and every
priority is our choice, no source, unless it says otherwise.
"""

from __future__ import annotations

from typing import NamedTuple

from farm.alarm_words import AlarmKind, Priority
from farm.alarms import AlarmRule, ChangeLimit
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND

HIGHEST, HIGH, MEDIUM, LOW = Priority
MINUTE_S, HOUR_S = 60.0, 3600.0

# quantity, side -> priority and why. Others out of their band: MEDIUM, a day to respond.
BANDS: dict[tuple[str, str], tuple[Priority, str]] = {
    ("air_temperature", "high"): (HIGH, "a sealed room heats by degrees an hour: the crop is hurt in hours"),
    ("air_temperature", "low"): (MEDIUM, "growth slows; frost takes hours to come through insulated walls"),
    ("leaf_temperature", "high"): (HIGH, "leaves scorch in hours"),
    ("leaf_temperature", "low"): (MEDIUM, "growth slows"),
    ("relative_humidity", "high"): (MEDIUM, "disease needs wet leaves for half a day or more"),
    ("relative_humidity", "low"): (MEDIUM, "plants wilt within a day"),
    ("vapour_pressure_deficit", "low"): (MEDIUM, "as humidity that is too high"),
    ("vapour_pressure_deficit", "high"): (MEDIUM, "as humidity that is too low"),
    ("co2_mole_fraction", "low"): (LOW, "growth slows, nothing is hurt"),
    ("co2_mole_fraction", "high"): (MEDIUM, "gas is lost, and more may come: a limit for people lies above it"),
    ("ppfd", "low"): (MEDIUM, "a light day is lost by the evening"),
    ("ppfd", "high"): (LOW, "leaves tell before they are hurt"),
    ("solution_ec", "low"): (MEDIUM, "plants live on their reserves for a day or two"),
    ("solution_ec", "high"): (MEDIUM, "roots suffer within a day or two"),
    ("solution_ph", "low"): (MEDIUM, "roots suffer within a day"),
    ("solution_ph", "high"): (MEDIUM, "nutrients lock up over days"),
    ("solution_temperature", "high"): (MEDIUM, "less oxygen for the roots within a day"),
    ("solution_temperature", "low"): (LOW, "growth slows"),
    ("dissolved_oxygen", "low"): (HIGH, "roots suffocate within hours"),
    ("solution_level", "low"): (HIGH, "the pump runs dry, and then the roots within hours"),
    ("solution_volume", "low"): (HIGH, "the pump runs dry, and then the roots within hours"),
    ("solution_level", "high"): (MEDIUM, "it may overflow"),
    ("solution_volume", "high"): (MEDIUM, "it may overflow"),
    ("flow_rate", "low"): (HIGH, "roots dry within hours"),
    ("condensation_margin", "low"): (MEDIUM, "mould needs days of wet surfaces"),
    ("mould_index", "high"): (LOW, "it grows over weeks"),
    ("lamp_output", "low"): (LOW, "it fades over months"),
    ("photoperiod", "low"): (LOW, "told once a day, when the day is over"),
    ("photoperiod", "high"): (LOW, "told once a day, when the day is over"),
    ("daily_light_integral", "low"): (LOW, "told once a day, when the day is over"),
    ("daily_light_integral", "high"): (LOW, "told once a day, when the day is over"),
    ("filter_pressure_drop", "high"): (LOW, "it loads over days"),
    ("normalised_output", "low"): (LOW, "it tires over weeks"),
    ("air_change_rate", "high"): (LOW, "gas and warmth are lost over weeks"),
}  # fmt: skip
OTHER_BAND = (MEDIUM, "a band of your plan; a day to respond")


class Usual(NamedTuple):
    """The usual rule of a kind of alarm: priority and why, delays in seconds."""

    priority: Priority
    why: str
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0


KINDS: dict[AlarmKind, Usual] = {
    AlarmKind.OUT_OF_BAND: Usual(MEDIUM, "by quantity and side, see above; the band's own delays"),
    AlarmKind.CHANGE: Usual(MEDIUM, "as its band, CO2 high; it has broken, and goes on", 2 * MINUTE_S, 30 * MINUTE_S),
    AlarmKind.SILENCE: Usual(LOW, "one sensor; the others still tell", 10 * MINUTE_S, 0),
    AlarmKind.NO_DATA: Usual(HIGH, "nobody watches the farm any more", 5 * MINUTE_S, 2 * MINUTE_S),
    AlarmKind.CO2_DANGER: Usual(HIGHEST, "people may be hurt at once", 0, 10 * MINUTE_S),
    AlarmKind.MAINS_LOST: Usual(HIGHEST, "air, water and light all stand still", 30, 2 * MINUTE_S),
    AlarmKind.DOOR_OPEN: Usual(MEDIUM, "air, warmth and gas are lost until somebody shuts it", 20 * MINUTE_S, 30),
    AlarmKind.NO_WATER: Usual(HIGH, "roots dry within hours", 0, 0),
    AlarmKind.RUNNING_OUT: Usual(MEDIUM, "a day or so to fill it", 0, 0),
    AlarmKind.CONDENSATION_TONIGHT: Usual(LOW, "until the evening to dry and wipe", 0, 0),
    AlarmKind.SENSOR_FAULT: Usual(LOW, "what rests on it is not known; the others tell", 30 * MINUTE_S, HOUR_S),
    AlarmKind.FINDING: Usual(LOW, "a likely cause to look at, before a band is left", 0, 0),
}  # fmt: skip

# quantity -> how much it may change: fast enough that lamps, doors, doses and irrigation pass.
CHANGES: dict[str, ChangeLimit] = {
    "air_temperature": ChangeLimit(rise=8.0, fall=8.0, within_s=1800),
    "co2_mole_fraction": ChangeLimit(rise=1500.0, within_s=900),
    "solution_ph": ChangeLimit(rise=1.0, fall=1.0, within_s=1800),
    "solution_ec": ChangeLimit(rise=0.8, fall=0.8, within_s=1800),
    "solution_temperature": ChangeLimit(rise=4.0, fall=4.0, within_s=1800),
    "solution_level": ChangeLimit(fall=15.0, within_s=3600),
    "dissolved_oxygen": ChangeLimit(fall=2.5, within_s=1800),
}
NOTHING = AlarmRule()


class Rule(NamedTuple):
    """The rule of one condition, the farm's own over the usual one; ``off`` where it is never an alarm."""

    priority: Priority
    on_delay_us: int
    off_delay_us: int
    deadband: float | None
    off: bool


def rule_of(farm: Farm, kind: AlarmKind, quantity: str = "", side: str = "") -> Rule:
    """Return when a condition is an alarm and how urgent: the quantity's own rule, else the kind's, else the usual."""
    usual = KINDS[kind]
    priority = usual.priority
    if kind in (AlarmKind.OUT_OF_BAND, AlarmKind.CHANGE):
        priority = BANDS.get((quantity, side), OTHER_BAND)[0]
    if kind is AlarmKind.CHANGE and quantity == "co2_mole_fraction":
        priority = HIGH
    of_values = kind in (AlarmKind.OUT_OF_BAND, AlarmKind.CHANGE)
    by_quantity = farm.alarms.quantities.get(quantity, NOTHING) if of_values else NOTHING
    own = (by_quantity, farm.alarms.kinds.get(kind, NOTHING))
    sided = [getattr(one, f"priority_{side}") if side else None for one in own]
    chosen = next((one for one in (sided[0], own[0].priority, sided[1], own[1].priority) if one is not None), priority)
    on_s = next((one.on_delay_s for one in own if one.on_delay_s is not None), usual.on_delay_s)
    off_s = next((one.off_delay_s for one in own if one.off_delay_s is not None), usual.off_delay_s)
    deadband = next((one.deadband for one in own if one.deadband is not None), None)
    return Rule(
        chosen,
        int(on_s * MICROSECONDS_PER_SECOND),
        int(off_s * MICROSECONDS_PER_SECOND),
        deadband,
        any(one.off for one in own),
    )


def change_limit(farm: Farm, quantity: str) -> ChangeLimit | None:
    """Return how much a quantity may change within a time before that is an alarm; None where nothing says so."""
    return farm.alarms.change.get(quantity, CHANGES.get(quantity))
