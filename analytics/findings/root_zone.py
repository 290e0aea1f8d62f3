"""Indicators of the nutrient solution: drift, what doses do, and whether its salt adds up."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.scene import MINUTES, Mask, Scene, hourly, pace, per_minute, quiet_after
from farm.description import Stock

MIXING_MIN = 15  # after a dose or a top-up, until the probe shows it; our choice, no source
MIXED_MIN = 10  # until half of a dose shows; our choice, no source
PART_MIN = 20  # from one reading that is looked at to the next; our choice, no source
LATE_MIN, LATE_PARTS = 10, 3  # an answer is late after so many minutes, and whole after so many more times that
LEAST_ANSWER = 0.3  # of all that doses seem to do to and fro, below which nothing is told of when; our choice
LEAST_PARTS = 48  # that a day's regression needs; our choice, no source
LEAST_HOURS = 8  # the same of one hour by hour; our choice, no source
# One standard error, above which a day says nothing: of EC's rise against the stock's strength, and of how it follows
# the temperature [%/K]; our choice, no source.
MOST_UNSURE_RISE, MOST_UNSURE_PER_K = 0.15, 0.5
RIDGE = 1e-5  # of each sum of squares, so that what goes up together stays bounded; our choice, no source
DAY_H = 24


def root_zone(scene: Scene) -> Iterator[Indicator]:
    """Yield EC and pH, their drift between doses, the response to doses, and the balance of salt."""
    tank = scene.farm.equipment.reservoir
    zone = tank.zone if tank is not None else None
    ec, ph = scene.of(zone, "solution_ec"), scene.of(zone, "solution_ph")
    for name, found in (
        ("ec", ec),
        ("ph", ph),
        ("solution_temperature", scene.of(zone, "solution_temperature")),
        ("oxygen", scene.of(zone, "dissolved_oxygen")),
    ):
        if found is not None:
            yield Indicator(name, "", hourly(found))
    given = _given(scene)
    volume = volume_l(scene)
    water = topped_up(scene)
    clear = quiet_after(dosing(scene), MIXING_MIN)
    seen = doses_seen(scene)
    if ec is not None and seen:
        yield Indicator("ec_drift", "", pace(ec, clear & ~np.isnan(ec)))
        temperature = scene.of(zone, "solution_temperature")
        if temperature is not None:
            yield Indicator("ec_with_temperature", "", _with_temperature(ec, temperature, clear))
    if ph is not None and seen:
        yield Indicator("ph_drift", "", pace(ph, clear & ~np.isnan(ph)))
    for role in ("nutrient", "acid", "base"):
        of_role = [given[one.name] for one in scene.farm.equipment.stocks if one.role == role and one.name in given]
        if of_role:
            yield Indicator(f"{role}_ml", "", hourly(np.sum(of_role, axis=0), least=MINUTES // 2) * MINUTES)
    if volume is not None or tank is not None:
        litres = volume if volume is not None else np.full(scene.minutes, tank.volume_l if tank else np.nan)
        yield from _responses(scene, given, ec, ph, litres, water)
        if ec is not None and volume is not None and _all_counted(scene, "nutrient"):
            yield from _salt(scene, given, ec, volume)


def volume_l(scene: Scene) -> Floats | None:
    """Return the solution in the reservoir, from its volume or its level. [L]."""
    tank = scene.farm.equipment.reservoir
    if tank is None:
        return None
    if (volume := scene.of(tank.zone, "solution_volume")) is not None:
        return volume
    level = scene.of(tank.zone, "solution_level")
    return None if level is None else level / 100.0 * tank.volume_l


def topped_up(scene: Scene) -> Floats | None:
    """Return the water added in each minute. [L]."""
    tank, unit = scene.farm.equipment.reservoir, scene.farm.equipment.reverse_osmosis
    keys = list(tank.top_up) if tank is not None else []
    if unit is not None and unit.output is not None:
        keys.append(unit.output)
    meters = {key: meter for key in keys if (meter := scene.named(key)) is not None}
    found = [
        per_minute(meter) if key.split("/")[1] == "metered_volume" else np.maximum(meter, 0.0)
        for key, meter in meters.items()
    ]
    return np.sum(found, axis=0) if found else None


def _dosed(scene: Scene, stock: Stock) -> Floats | None:
    for one in scene.series(None, "dosed_volume"):
        if one.sensor == stock.name:
            return scene.value[one]
    return None


def _given(scene: Scene) -> dict[str, Floats]:
    """Return what was dosed of each stock in each minute. [mL]."""
    return {
        one.name: per_minute(dosed) for one in scene.farm.equipment.stocks if (dosed := _dosed(scene, one)) is not None
    }


def _all_counted(scene: Scene, *roles: str) -> bool:
    """Whether every stock of some roles has a counter."""
    given = _given(scene)
    return all(one.name in given for one in scene.farm.equipment.stocks if one.role in roles)


def doses_seen(scene: Scene) -> bool:
    """Whether it is known when anything is dosed: by a counter of every stock, or by the doser's state."""
    return _all_counted(scene, "nutrient", "acid", "base") or bool(scene.series(None, "doser_on"))


def doses_known(scene: Scene) -> bool:
    """Whether all that changes the solution at once is seen: doses, and the water topped up."""
    return doses_seen(scene) and topped_up(scene) is not None


def dosing(scene: Scene) -> Mask:
    """Return the minutes in which anything is dosed or topped up."""
    busy = np.zeros(scene.minutes, bool)
    water = topped_up(scene)
    amounts = [*_given(scene).values(), *([water] if water is not None else [])]
    if not _all_counted(scene, "nutrient", "acid", "base"):
        amounts += [scene.value[one] for one in scene.series(None, "doser_on")]
    for one in amounts:
        busy |= np.nan_to_num(one) > 0.0
    return busy


def _with_temperature(ec: Floats, temperature: Floats, clear: Mask) -> Floats:
    """Return by how much EC follows the temperature, hour to hour, as a regression over the last day. [%/K]."""
    x, y = hourly(temperature, clear), hourly(np.log(np.where(ec > 0, ec, np.nan)), clear)
    dx, dy = np.diff(x, prepend=np.nan), np.diff(y, prepend=np.nan)
    known = ~np.isnan(dx + dy) & (np.abs(dy) < 0.05)
    xx, xy, yy, n = (_sum_of_day(np.where(known, one, 0.0)) for one in (dx * dx, dx * dy, dy * dy, np.ones(len(dx))))
    slope = 100.0 * xy / np.maximum(xx, 0.05)
    left = np.maximum(yy - xy * xy / np.maximum(xx, 0.05), 0.0)
    error = 100.0 * np.sqrt(left / np.maximum(n - 1.0, 1.0) / np.maximum(xx, 0.05))
    return np.where((xx > 0.05) & (n >= LEAST_HOURS) & (error <= MOST_UNSURE_PER_K), slope, np.nan)


def _sum_of_day(value: Floats) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(value)])
    at = np.arange(1, len(total))
    summed: Floats = total[at] - total[np.maximum(at - 24, 0)]
    return summed


def _responses(
    scene: Scene,
    given: dict[str, Floats],
    ec: Floats | None,
    ph: Floats | None,
    litres: Floats,
    water: Floats | None,
) -> Iterator[Indicator]:
    """Yield what EC and pH do for each dose: a regression of a day's readings on all that was dosed and topped up."""
    given_l = {}
    unsure: dict[str, float] = {}
    for role in ("nutrient", "acid", "base"):
        of_role = [one for one in scene.farm.equipment.stocks if one.role == role and one.name in given]
        if of_role:
            strength = [one.ec_per_ml_l or 1.0 if role == "nutrient" else 1.0 for one in of_role]
            if role == "nutrient" and all(one.ec_per_ml_l for one in of_role):
                unsure[role] = MOST_UNSURE_RISE
            given_l[role] = sum(
                (np.nan_to_num(given[one.name]) * each for one, each in zip(of_role, strength, strict=True)),
                start=np.zeros(scene.minutes),
            )
    beside = {} if water is None else {"water": np.nan_to_num(water)}
    lit = [np.nan_to_num(scene.value[one]) for one in scene.series(None, "lights_on")]
    for name, probe, role, sign in (
        ("ec_response", ec, "nutrient", 1.0),
        ("acid_response", ph, "acid", -1.0),
        ("base_response", ph, "base", 1.0),
    ):
        if probe is None or role not in given_l:
            continue
        columns = {**({"nutrient": given_l["nutrient"]} if role == "nutrient" else given_l), **beside}
        added = {key: np.cumsum(np.roll(_in_a_litre(one, litres), MIXED_MIN)) for key, one in columns.items()}
        if lit:
            added["light"] = np.cumsum(np.mean(lit, axis=0)) / MINUTES
        slope, error = _slope_of_day(probe, added, role)
        yield Indicator(name, "", sign * np.where(error <= unsure.get(role, np.inf), slope, np.nan))
    for name, probe, role in (("ec_late", ec, "nutrient"), ("ph_late", ph, "acid")):
        if probe is not None and role in given_l:
            yield Indicator(name, "", _late(probe, _in_a_litre(given_l[role], litres)))


def _late(probe: Floats, dosed: Floats) -> Floats:
    """Return what part of the answer to doses comes later than within ten minutes, at each hour, over the last day."""
    ends = probe.reshape(-1, LATE_MIN)[:, -1]
    given = dosed.reshape(-1, LATE_MIN).sum(axis=1)
    steps = [given, *(np.concatenate([np.zeros(lag), given[:-lag]]) for lag in range(1, LATE_PARTS + 1))]
    y = np.diff(ends, prepend=np.nan)
    good = ~np.isnan(y)
    x = np.where(good[:, None], np.stack([np.ones(len(y)), *steps], axis=1), 0.0)
    slopes, _, count = _least_squares(x, np.where(good, y, 0.0), MINUTES // LATE_MIN)
    whole = slopes[:, 1:].sum(axis=1)
    size = np.abs(slopes[:, 1:]).sum(axis=1)
    told = (np.abs(whole) > LEAST_ANSWER * size) & (size > 1e-9) & (count >= LEAST_PARTS)
    return np.where(told, slopes[:, 2:].sum(axis=1) / np.where(told, whole, 1.0), np.nan)


def _in_a_litre(dosed: Floats, litres: Floats) -> Floats:
    return np.divide(dosed, litres, out=np.zeros(len(dosed)), where=litres > 0.0)


def _slope_of_day(probe: Floats, added: dict[str, Floats], asked: str) -> tuple[Floats, Floats]:
    """Return a probe's change for each unit of one of what was added, at each hour, over the last day; its error.

    By least squares of its changes from one third of an hour to the next on a steady drift and on what was added
    meanwhile (``added``: sums so far). NaN where nothing of what is asked for was added.
    """
    y = np.diff(_parts(probe), prepend=np.nan)
    x = np.stack([np.ones(len(y)), *(np.diff(_parts(one), prepend=np.nan) for one in added.values())], axis=1)
    good = ~np.isnan(y) & ~np.isnan(x).any(axis=1)
    x, y = np.where(good[:, None], x, 0.0), np.where(good, y, 0.0)
    place = 1 + list(added).index(asked)
    slopes, errors, count = _least_squares(x, y, MINUTES // PART_MIN)
    dosed = _sum_of_parts(x[:, place], MINUTES // PART_MIN)
    return np.where((dosed > 1e-9) & (count >= LEAST_PARTS), slopes[:, place], np.nan), errors[:, place]


def _least_squares(x: Floats, y: Floats, each: int) -> tuple[Floats, Floats, Floats]:
    """Return the slopes of ``y`` on the columns of ``x`` at each hour, over the last day's parts, errors and count.

    ``each`` parts are an hour; the first column is 1 where a part counts, else all of its row is 0.
    """
    squares = _sum_of_parts(x[:, :, None] * x[:, None, :], each)
    products = _sum_of_parts(x * y[:, None], each)
    count = squares[:, 0, 0].copy()
    size = np.einsum("nii->ni", squares)
    squares = squares + np.einsum("ni,ij->nij", RIDGE * size + 1e-12, np.eye(x.shape[1]))
    inverse = np.linalg.inv(squares)
    slopes: Floats = (inverse @ products[:, :, None])[:, :, 0]
    left = np.maximum(_sum_of_parts(y * y, each) - (slopes * products).sum(axis=1), 0.0)
    variance = left / np.maximum(count - x.shape[1], 1.0)
    return slopes, np.sqrt(variance[:, None] * np.maximum(np.einsum("nii->ni", inverse), 0.0)), count


def _parts(value: Floats) -> Floats:
    """Return the mean over each third of an hour; NaN where less than half of it is known."""
    shaped = value.reshape(-1, PART_MIN)
    known = ~np.isnan(shaped)
    count = known.sum(axis=1)
    total = np.where(known, shaped, 0.0).sum(axis=1)
    return np.where(count >= PART_MIN // 2, total / np.maximum(count, 1), np.nan)


def _sum_of_parts(value: Floats, each: int) -> Floats:
    """Return sums over the parts of the last day at each hour's end, ``each`` an hour, along the first axis."""
    total = np.concatenate([np.zeros((1, *value.shape[1:])), np.cumsum(value, axis=0)])
    at = np.arange(each, len(total), each)
    summed: Floats = total[at] - total[np.maximum(at - DAY_H * each, 0)]
    return summed


def _salt(scene: Scene, given: dict[str, Floats], ec: Floats, volume: Floats) -> Iterator[Indicator]:
    """Yield how the salt in the tank changes that no dose explains. [mS/cm/h in the present volume]."""
    strengths = {one.name: one.ec_per_ml_l for one in scene.farm.equipment.stocks if one.role == "nutrient"}
    if any(strength is None for name, strength in strengths.items() if name in given):
        return
    dosed = sum((given[name] * (strength or 0.0) for name, strength in strengths.items() if name in given),
                start=np.zeros(scene.minutes))  # fmt: skip
    salt = hourly(ec * volume)
    change = np.diff(salt - hourly(np.cumsum(np.nan_to_num(dosed))), prepend=np.nan)
    litres = hourly(volume)
    yield Indicator("salt_balance", "", change / np.where(litres > 0, litres, np.nan))
