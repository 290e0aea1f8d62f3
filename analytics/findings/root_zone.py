"""Indicators of the nutrient solution: drift, what doses do, and whether its salt adds up."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.events import Event, joined
from analytics.findings.indicator import Indicator
from analytics.findings.scene import MINUTE_US, MINUTES, Mask, Scene, hourly, pace, per_minute, quiet_after
from farm.description import Stock

MIXING_MIN = 15  # after a dose or a top-up, until the probe shows it; our choice, no source
LOOK_MIN = 10  # before and after, over which the probe is read
JOIN_US = 20 * MINUTE_US


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
    for stock in scene.farm.equipment.stocks:
        if stock.name in given:
            yield Indicator("stock_ml", stock.name, hourly(given[stock.name], least=MINUTES // 2) * MINUTES)
    if volume is not None or tank is not None:
        litres = volume if volume is not None else np.full(scene.minutes, tank.volume_l if tank else np.nan)
        yield from _responses(scene, given, ec, ph, litres)
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
    found = []
    for key in dict.fromkeys(keys):
        if (meter := scene.named(key)) is not None:
            found.append(per_minute(meter) if key.split("/")[1] == "metered_volume" else np.maximum(meter, 0.0))
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
    scene: Scene, given: dict[str, Floats], ec: Floats | None, ph: Floats | None, litres: Floats
) -> Iterator[Indicator]:
    """Yield what doses did against what they should, in the hour in which it shows."""
    hours = scene.minutes // MINUTES
    for role, probe, name, sign in (
        ("nutrient", ec, "ec_response", 1.0),
        ("acid", ph, "acid_response", -1.0),
        ("base", ph, "base_response", 1.0),
    ):
        stocks = [one for one in scene.farm.equipment.stocks if one.role == role and one.name in given]
        if probe is None or not stocks:
            continue
        total = np.sum([given[one.name] * (one.ec_per_ml_l or 1.0) for one in stocks], axis=0)
        together: list[list[float]] = [[] for _ in range(hours)]
        each: dict[str, list[list[float]]] = {one.name: [[] for _ in range(hours)] for one in stocks}
        disturbed = [
            given[other.name] for other in scene.farm.equipment.stocks if other.name in given and other.role != role
        ]
        for event in _events(total):
            first, last = int(event.start_us // MINUTE_US), int(event.end_us // MINUTE_US)
            after = last + MIXING_MIN
            if first < LOOK_MIN or after + LOOK_MIN > scene.minutes:
                continue
            if role != "nutrient" and any(np.nansum(one[first - LOOK_MIN : after + LOOK_MIN]) > 0 for one in disturbed):
                continue
            rise = _middle(probe[after : after + LOOK_MIN]) - _middle(probe[first - LOOK_MIN : first])
            amount = float(np.nansum(total[first : last + 1]))
            volume = _middle(litres[first - LOOK_MIN : first])
            if not amount > 0.0 or np.isnan(rise + volume):
                continue
            response = sign * rise * volume / amount
            hour = min((after + LOOK_MIN) // MINUTES, hours - 1)
            together[hour].append(response)
            for one in stocks:
                if np.nansum(given[one.name][first : last + 1]) > 0:
                    each[one.name][hour].append(response)
        yield Indicator(name, "", _means(together))
        for stock_name, found in each.items():
            yield Indicator("stock_response", stock_name, _means(found))


def _events(amount: Floats) -> list[Event]:
    """Return doses as events in minutes of the scene; those close together are one."""
    at = np.flatnonzero(np.nan_to_num(amount) > 0.0)
    return joined([Event(int(one) * MINUTE_US, int(one) * MINUTE_US) for one in at], JOIN_US)


def _middle(value: Floats) -> float:
    known = value[~np.isnan(value)]
    return float(np.median(known)) if len(known) > LOOK_MIN // 3 else float("nan")


def _means(by_hour: list[list[float]]) -> Floats:
    return np.array([np.mean(one) if one else np.nan for one in by_hour])


def _salt(scene: Scene, given: dict[str, Floats], ec: Floats, volume: Floats) -> Iterator[Indicator]:
    """Yield how the salt in the tank changes beside what was dosed. [mS/cm/h in the present volume]."""
    strengths = {one.name: one.ec_per_ml_l for one in scene.farm.equipment.stocks if one.role == "nutrient"}
    if any(strength is None for name, strength in strengths.items() if name in given):
        return
    dosed = sum((given[name] * (strength or 0.0) for name, strength in strengths.items() if name in given),
                start=np.zeros(scene.minutes))  # fmt: skip
    salt = hourly(ec * volume)
    # Means over an hour stand at its middle: what was dosed between two of them is half of each hour's.
    put = hourly(np.nan_to_num(dosed)) * MINUTES
    put_between = (put + np.concatenate([[np.nan], put[:-1]])) / 2
    change = np.diff(salt, prepend=np.nan) - put_between
    litres = hourly(volume)
    yield Indicator("salt_balance", "", change / np.where(litres > 0, litres, np.nan))
