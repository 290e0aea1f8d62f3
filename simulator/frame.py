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
from simulator.compiled import Floats

STEP_S = 60

Integers = NDArray[np.int64]


class Forcing(NamedTuple):
    """What acts on the farm, one row a minute.

    ``fault`` has the columns of ``faults.FaultSlots``, 0 where nothing is wrong; ``act`` a column a keeper's act
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
    fault: Floats  # (n, slots) size as the kind means it, ramps included


def rows_of(farm: Farm) -> tuple[str, ...]:
    """Return the zones that plants stand in, in the description's order."""
    kinds = (ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF)
    return tuple(name for name, zone in farm.zones.items() if zone.kind in kinds)


# What the keeper does, beside visits: one column each, and one a row.
FILTER_CLEANED = "filter_cleaned"
BOTTLES_CHANGED = "bottles_changed"  # every stock bottle that is nearly empty, and the CO2 bottle if it is
HARVESTED = "harvested/"  # followed by a row's zone; its values:
#   above 0 to 1: that share of the plants is cut and replaced by young ones
ALL_CUT = -1.0  # everything is cut and nothing planted
OLDEST_CUT = 2.0  # the oldest are cut and replaced, down to the stand's usual size


def acts_of(farm: Farm) -> tuple[str, ...]:
    """Return the columns of ``Forcing.act``."""
    return (
        FILTER_CLEANED,
        BOTTLES_CHANGED,
        *(HARVESTED + row for row in rows_of(farm)),
    )


@dataclass(frozen=True)
class Truth:
    """What was physically true at each instant of a block, under named columns.

    A name is a place and what is true there, such as ``room.air_temperature`` or ``row/row-1.ppfd``: ``air_columns``
    and ``water_columns`` list them. What is measured has the registry's name and unit; sums since the start stand
    under ``ledger.``. Row k is the state at ``time_s[k]``; commands are those that hold from then on.
    """

    time_s: Integers
    names: Mapping[str, int]
    values: Floats  # (n, names)

    def __getitem__(self, name: str) -> Floats:
        return self.values[:, self.names[name]]

    def __len__(self) -> int:
        return len(self.time_s)
