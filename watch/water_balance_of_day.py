"""The day's water balance: what came in, what left, what the reservoir gained, and what that says the plants drank."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.amounts import Amount, sum_of_amounts
from analytics.water_balance import water_balance
from farm.description import Reservoir
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.at_rest import level_at_rest
from watch.bands import max_age_us, usable
from watch.day_data import DayData
from watch.derivation import accuracy_at
from watch.figures import known_or_none
from watch.tracks import Track
from watch.water import amount_of

AROUND_US = 5 * 60 * MICROSECONDS_PER_SECOND  # readings this near to an instant are its level; our choice, no source
DRUNK = "drunk"
UNKNOWN = Amount(math.nan, math.nan)


def water_balance_of_day(data: DayData) -> list[dict[str, Any]]:
    """Return the day's balance of the reservoir; empty where none is described."""
    reservoir = data.farm.equipment.reservoir
    return [] if reservoir is None else [_balance(data, reservoir)]


def _balance(data: DayData, reservoir: Reservoir) -> dict[str, Any]:
    assumed: list[str] = []
    entered = _entered(data, reservoir, assumed)
    left = {DRUNK: UNKNOWN} | {f"drained, {key}": _metered(data, key) for key in reservoir.drained}
    if not reservoir.drained:
        assumed.append("nothing is drained: no meter of it is described")
    gained = {"reservoir": _gained(data, reservoir)}
    balance = water_balance(entered, left, gained)
    drunk = balance.remainder if balance.unknown == (DRUNK,) and balance.remainder else UNKNOWN
    recovered = _condensate(data)
    lost = sum_of_amounts(drunk, recovered._replace(value=-recovered.value))
    return {
        "terms": [
            {"side": side, "name": name, **_columns(amount)}
            for side, terms in (("in", entered), ("out", left), ("gained", gained))
            for name, amount in terms.items()
            if name != DRUNK
        ],
        "drunk": _columns(drunk),
        "condensate": _columns(recovered),
        "drunk_less_condensate": _columns(lost),
        "unknown": [name for name in balance.unknown if name != DRUNK],
        "assumed": assumed,
    }


def _columns(amount: Amount) -> dict[str, float | None]:
    known = math.isfinite(amount.value)
    return {
        "litres_l": known_or_none(amount.value),
        "give_or_take_l": known_or_none(amount.give_or_take),
        "coverage": known_or_none(amount.coverage) if known else None,
    }


def _entered(data: DayData, reservoir: Reservoir, assumed: list[str]) -> dict[str, Amount]:
    equipment = data.farm.equipment
    entered: dict[str, Amount] = {}
    if equipment.reverse_osmosis is not None:
        output = equipment.reverse_osmosis.output
        entered["feed water"] = UNKNOWN if output is None else _metered(data, output)
    for key in reservoir.top_up:
        entered[f"top-up, {key}"] = _metered(data, key)
    if not entered:
        entered["feed water"] = UNKNOWN
    if equipment.condensate is None:
        assumed.append("no condensate is returned: the description does not say")
    elif equipment.condensate.returned:
        entered["condensate"] = _condensate(data)
    doses = data.farm.series_of(reservoir.zone, "dosed_volume")
    if doses:
        amounts = [_metered(data, one.key, millilitres=True) for one in doses]
        entered["doses"] = sum_of_amounts(*amounts)
    elif equipment.stocks:
        assumed.append("doses add no water: none is measured")
    return entered


def _metered(data: DayData, key: str, *, millilitres: bool = False) -> Amount:
    series = Series.parse(data.farm.name, key)
    amount = amount_of(data.farm, data.store, series, data.start_us, data.until_us)
    scale = 1e-3 if millilitres else 1.0
    return amount._replace(value=amount.value * scale, give_or_take=amount.give_or_take * scale)


def _condensate(data: DayData) -> Amount:
    equipment = data.farm.equipment
    keys = [one.volume for one in [equipment.condensate] if one] + [
        one.condensate for one in [equipment.air_conditioner] if one
    ]
    key = next((key for key in keys if key), None)
    return UNKNOWN if key is None else _metered(data, key)


def _gained(data: DayData, reservoir: Reservoir) -> Amount:
    """Return the reservoir's change; give or take two readings of its sensor, taken as independent."""
    for quantity, scale in (("solution_volume", 1.0), ("solution_level", reservoir.volume_l / 100.0)):
        for series in data.farm.series_of(reservoir.zone, quantity):
            before, after = (_level(data, series, at_us) for at_us in (data.start_us, data.until_us))
            accuracies = accuracy_at(data.farm, series, [before, after])
            return Amount((after - before) * scale, math.hypot(*accuracies) * scale)
    return UNKNOWN


def _level(data: DayData, series: Series, at_us: int) -> float:
    """Return the mean of the readings around an instant, at rest where some were; NaN where there is none."""
    read = data.store.read(series, at_us - AROUND_US, at_us + AROUND_US)
    value = usable(read)
    rests = level_at_rest(data.farm, data.store, series.zone, Track(read.time_us, value, max_age_us(data.farm, series)))
    value = rests.value if np.isfinite(rests.value).any() else value
    return float(np.mean(value[~np.isnan(value)])) if np.isfinite(value).any() else math.nan
