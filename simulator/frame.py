"""What drives the physical farm and what comes out of it, in blocks of whole minutes.

A block has n rows. Row k holds what is outdoors, commanded, done and wrong at the instant
``time_s[k]``; the model moves from the instant before to this one under the former row, lets the
controls decide by this one, and records the truth. Rows are a minute apart, also across blocks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm, ZoneKind
from simulator.fault_kinds import CIRCUITS, OF_THE_DATA, OPENINGS, TARGETS, FaultKind, Target

STEP_S = 60

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Forcing(NamedTuple):
    """What acts on the farm, one row a minute.

    ``fault`` has a column a slot (``slots_of``), 0 where nothing is wrong; ``act`` a column a keeper's act
    (``acts_of``), 0 where nothing is done.
    """

    time_s: Integers  # (n,) seconds since 1970 UTC
    minute_of_day: Integers  # (n,) local time
    weekday: Integers  # (n,) local, Monday is 0
    outdoor_temperature: Floats  # (n,) [degC]
    outdoor_humidity: Floats  # (n,) over water [%]
    outdoor_co2: Floats  # (n,) [umol mol-1]
    solar: Floats  # (n,) on the roof [W m-2]
    feed_temperature: Floats  # (n,) raw water to the feed unit [degC]
    people: Floats  # (n,) inside
    door: Floats  # (n,) how far the keeper has the door open, 0..1
    lit: Floats  # (n, lamp groups) commanded on (1) or off (0)
    act: Floats  # (n, acts)
    fault: Floats  # (n, slots) severity, as the kind means it; ramps are already in it


class Slot(NamedTuple):
    """A column of ``Forcing.fault``: a kind, on a target ("" for a kind without targets)."""

    kind: FaultKind
    target: str


def rows_of(farm: Farm) -> tuple[str, ...]:
    """Return the zones that plants stand in, in the description's order."""
    kinds = (ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF)
    return tuple(name for name, zone in farm.zones.items() if zone.kind in kinds)


def targets_of(farm: Farm, kind: FaultKind) -> tuple[str, ...]:
    """Return what a kind of fault may name as its target on a farm; nothing for a kind without targets."""
    target = TARGETS.get(kind)
    equipment = farm.equipment
    if target == Target.SERIES:
        return tuple(one.key for one in farm.series)
    if target == Target.ROW:
        return rows_of(farm)
    if target == Target.GROUP:
        return tuple(group.name for group in equipment.lamp_groups)
    if target == Target.STOCK:
        return tuple(stock.name for stock in equipment.stocks)
    if target == Target.OPENING:
        return OPENINGS
    return CIRCUITS if target == Target.CIRCUIT else ()


def slots_of(farm: Farm) -> tuple[Slot, ...]:
    """Return the columns of ``Forcing.fault``: every kind that acts physically, on each of its targets."""
    return tuple(
        Slot(kind, target)
        for kind in FaultKind
        if kind not in OF_THE_DATA
        for target in (targets_of(farm, kind) if kind in TARGETS else ("",))
    )


def first_slots(farm: Farm) -> dict[FaultKind, int]:
    """Return the first column of each kind that acts physically; its targets follow in order.

    A kind that has targets, none of which this farm has, gets the column after the last.
    """
    first: dict[FaultKind, int] = {}
    column = 0
    for kind in FaultKind:
        if kind not in OF_THE_DATA:
            first[kind] = column
            column += len(targets_of(farm, kind)) if kind in TARGETS else 1
    return first


# What the keeper does, beside visits: one column each, and one a row or stock where it says so.
FILTER_CLEANED = "filter_cleaned"
EMITTERS_CLEANED = "emitters_cleaned"
CO2_BOTTLE_CHANGED = "co2_bottle_changed"
BOTTLE_CHANGED = "bottle_changed/"  # followed by a stock's name
HARVESTED = "harvested/"  # followed by a row's: the share of its plants cut and replaced by young ones


def acts_of(farm: Farm) -> tuple[str, ...]:
    """Return the columns of ``Forcing.act``."""
    return (
        FILTER_CLEANED,
        EMITTERS_CLEANED,
        CO2_BOTTLE_CHANGED,
        *(BOTTLE_CHANGED + stock.name for stock in farm.equipment.stocks),
        *(HARVESTED + row for row in rows_of(farm)),
    )


@dataclass(frozen=True)
class Truth:
    """What was physically true at each instant of a block, under named columns.

    A name is a place and what is true there: ``room.air_temperature``, ``row/row-1.ppfd``,
    ``group/row-1.lights_on``, ``stock/acid.dosed_volume``, ``tank.solution_ec``, ``feed.metered_volume``,
    ``supply.air_temperature``, ``outdoors.air_temperature``, ``farm.electrical_power``, and sums since the start
    under ``ledger.``. Names of measured quantities are the registry's, in its units. Row k is the state at
    ``time_s[k]``; commands are those that hold from then on.
    """

    time_s: Integers
    names: Mapping[str, int]
    values: Floats  # (n, names)

    def __getitem__(self, name: str) -> Floats:
        return self.values[:, self.names[name]]

    def __len__(self) -> int:
        return len(self.time_s)
