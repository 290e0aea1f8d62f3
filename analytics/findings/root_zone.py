"""Indicators of the nutrient solution: drift, what doses do, and whether its salt adds up."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.scene import MINUTES, Mask, Scene, hourly, pace, per_minute, quiet_after
from farm.description import Stock

MIXING_MIN = 15  # after a dose or a top-up, until the probe shows it; our choice, no source
LOOK_MIN = 20  # of each hour's end, over which the probe is read; our choice, no source
MIXED_MIN = 10  # until half of a dose shows; our choice, no source
LEAST_PARTS = 12  # hours that a day's regression needs; our choice, no source


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
    given = {
        one.name: per_minute(dosed) for one in scene.farm.equipment.stocks if (dosed := _dosed(scene, one)) is not None
    }
    volume = volume_l(scene)
    water = topped_up(scene)
    busy = _busy([*given.values(), *([water] if water is not None else [])], scene.minutes)
    clear = quiet_after(busy, MIXING_MIN)
    if ec is not None:
        yield Indicator("ec_drift", "", pace(ec, clear & ~np.isnan(ec)))
        temperature = scene.of(zone, "solution_temperature")
        if temperature is not None:
            yield Indicator("ec_with_temperature", "", _with_temperature(ec, temperature, clear))
    if ph is not None:
        yield Indicator("ph_drift", "", pace(ph, clear & ~np.isnan(ph)))
    for role in ("nutrient", "acid", "base"):
        of_role = [given[one.name] for one in scene.farm.equipment.stocks if one.role == role and one.name in given]
        if of_role:
            yield Indicator(f"{role}_ml", "", hourly(np.sum(of_role, axis=0), least=MINUTES // 2) * MINUTES)
    if volume is not None or tank is not None:
        litres = volume if volume is not None else np.full(scene.minutes, tank.volume_l if tank else np.nan)
        yield from _responses(scene, given, ec, ph, litres, water)
        if ec is not None and volume is not None:
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


def _busy(amounts: list[Floats], minutes: int) -> Mask:
    busy = np.zeros(minutes, bool)
    for one in amounts:
        busy |= np.nan_to_num(one) > 0.0
    return busy


def _with_temperature(ec: Floats, temperature: Floats, clear: Mask) -> Floats:
    """Return by how much EC follows the temperature, hour to hour, as a regression over the last day. [%/K]."""
    x, y = hourly(temperature, clear), hourly(np.log(np.where(ec > 0, ec, np.nan)), clear)
    dx, dy = np.diff(x, prepend=np.nan), np.diff(y, prepend=np.nan)
    known = ~np.isnan(dx + dy) & (np.abs(dy) < 0.05)
    xy = _sum_of_day(np.where(known, dx * dy, 0.0))
    xx = _sum_of_day(np.where(known, dx * dx, 0.0))
    return np.where(xx > 0.05, 100.0 * xy / np.maximum(xx, 0.05), np.nan)


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
    """Yield what EC and pH do for each dose: a regression of their changes on all doses and top-ups of a day."""
    doses = {}
    for role in ("nutrient", "acid", "base"):
        of_role = [one for one in scene.farm.equipment.stocks if one.role == role and one.name in given]
        if of_role:
            strength = [one.ec_per_ml_l or 1.0 if role == "nutrient" else 1.0 for one in of_role]
            doses[role] = sum(
                (np.nan_to_num(given[one.name]) * each for one, each in zip(of_role, strength, strict=True)),
                start=np.zeros(scene.minutes),
            )
    columns = dict(doses)
    if water is not None:
        columns["water"] = np.nan_to_num(water)
    for name, probe, role, sign in (
        ("ec_response", ec, "nutrient", 1.0),
        ("acid_response", ph, "acid", -1.0),
        ("base_response", ph, "base", 1.0),
    ):
        if probe is None or role not in doses:
            continue
        yield Indicator(name, "", sign * _slope_of_day(probe, columns, role, litres))


def _slope_of_day(probe: Floats, columns: dict[str, Floats], asked: str, litres: Floats) -> Floats:
    """Return the change of a probe for each unit dosed in a litre, at each hour, by least squares over a day."""
    level = _ends(probe)
    shown = {
        name: _ends(np.cumsum(np.roll(np.where(litres > 0, one / litres, 0.0), MIXED_MIN)))
        for name, one in columns.items()
    }
    y = np.diff(level, prepend=np.nan)
    x = np.stack([np.ones(len(y)), *(np.diff(one, prepend=np.nan) for one in shown.values())], axis=1)
    good = ~np.isnan(y) & ~np.isnan(x).any(axis=1)
    x, y = np.where(good[:, None], x, 0.0), np.where(good, y, 0.0)
    squares = _sum_of_parts(x[:, :, None] * x[:, None, :])
    products = _sum_of_parts(x * y[:, None])
    place = 1 + list(shown).index(asked)
    spread = squares[:, place, place] - squares[:, 0, place] ** 2 / np.maximum(squares[:, 0, 0], 1.0)
    scale = np.einsum("nii->ni", squares)
    squares = squares + np.einsum("ni,ij->nij", 1e-6 * scale + 1e-12, np.eye(x.shape[1]))
    slopes = np.linalg.solve(squares, products[:, :, None])[:, :, 0]
    dosed = squares[:, 0, place] / np.maximum(squares[:, 0, 0], 1.0)
    told = (spread > 0.0) & (dosed > 0.0) & (squares[:, 0, 0] > LEAST_PARTS)
    found: Floats = np.where(told, slopes[:, place], np.nan)
    return found


def _ends(value: Floats) -> Floats:
    """Return the mean over the end of each hour; NaN where nothing is known there."""
    shaped = value.reshape(-1, MINUTES)[:, -LOOK_MIN:]
    known = ~np.isnan(shaped)
    return np.where(
        known.any(axis=1), np.where(known, shaped, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1), np.nan
    )


def _sum_of_parts(value: Floats) -> Floats:
    """Return sums over the hours of the last day, along the first axis."""
    total = np.concatenate([np.zeros((1, *value.shape[1:])), np.cumsum(value, axis=0)])
    at = np.arange(1, len(total))
    summed: Floats = total[at] - total[np.maximum(at - 24, 0)]
    return summed


def _salt(scene: Scene, given: dict[str, Floats], ec: Floats, volume: Floats) -> Iterator[Indicator]:
    """Yield how the salt in the tank changes beside what was dosed. [mS/cm/h in the present volume]."""
    strengths = {one.name: one.ec_per_ml_l for one in scene.farm.equipment.stocks if one.role == "nutrient"}
    if any(strength is None for name, strength in strengths.items() if name in given):
        return
    dosed = sum((given[name] * (strength or 0.0) for name, strength in strengths.items() if name in given),
                start=np.zeros(scene.minutes))  # fmt: skip
    salt = hourly(ec * volume)
    change = np.diff(salt - hourly(np.cumsum(np.nan_to_num(dosed))), prepend=np.nan)
    litres = hourly(volume)
    yield Indicator("salt_balance", "", change / np.where(litres > 0, litres, np.nan))
