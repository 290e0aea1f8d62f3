"""With what each derived series is worked out: where that changes, the series is worked out anew."""

from __future__ import annotations

import json
from collections.abc import Sequence

from farm.description import Farm
from farm.readings import Series

# What a description says about how readings arrive and are called; no derived value rests on it.
COSMETIC_SERIES = {"label", "wire", "was", "topic", "unit", "range", "accuracy", "lux_per_ppfd", "per_count", "quality"}
COSMETIC_ZONE = {"label", "crop", "phase"}
COSMETIC_SURFACE = {"label"}


def basis(farm: Farm, output: Series, inputs: Sequence[Series]) -> str:
    """Return, as one text, what a derived series rests on besides readings: it is worked out anew when this changes.

    Kept on the safe side: a change of any nameplate figure counts for every series.
    """
    zones = {one.zone for one in (output, *inputs) if one.zone in farm.zones}
    surfaces = [one for one in farm.surfaces if one.name == output.sensor]
    return json.dumps(
        {
            "inputs": {one.key: _series(farm, one) for one in inputs},
            "zones": {zone: farm.zones[zone].model_dump(mode="json", exclude=COSMETIC_ZONE) for zone in sorted(zones)},
            "surfaces": [one.model_dump(mode="json", exclude=COSMETIC_SURFACE) for one in surfaces],
            "equipment": farm.equipment.model_dump(mode="json"),
            "elevation_m": farm.farm.elevation_m,
            "timezone": farm.farm.timezone,
        }
    )


def _series(farm: Farm, series: Series) -> object:
    described = farm.described.get(series)
    return described.model_dump(mode="json", exclude=COSMETIC_SERIES) if described else None
