"""The give or take of the newest readings: of a sensor its accuracy, of a derived value what its sensors leave."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from farm.description import Farm
from farm.readings import Reading, Series
from watch.bands import max_age_us
from watch.derivation import Derivation, accuracy_at
from watch.derived import derivations


def give_or_take_of_newest(farm: Farm, newest: Mapping[Series, Reading]) -> dict[Series, float]:
    """Return the plus or minus of each newest reading, in its quantity's unit, where it is known.

    A derived value is looked up only where it rests on its inputs' own newest readings, which it does except
    while a round of the watch is under way: so nothing needs to be read.
    """
    known = {one: float(accuracy_at(farm, one, now.value)) for one, now in newest.items() if one in farm.described}
    for derivation in derivations(farm):
        if isinstance(derivation, Derivation) and derivation.uncertainty is not None and derivation.output in newest:
            known[derivation.output] = _of_newest(farm, derivation, newest)
    return {series: value for series, value in known.items() if math.isfinite(value)}


def _of_newest(farm: Farm, derivation: Derivation, newest: Mapping[Series, Reading]) -> float:
    at_us = newest[derivation.output].time_us
    inputs = [newest.get(one) for one in derivation.inputs]
    fresh = [one for one in inputs if one is not None and 0 <= at_us - one.time_us <= max_age_us(farm, one.series)]
    if derivation.uncertainty is None or len(fresh) < len(inputs):
        return math.nan
    return float(derivation.uncertainty(*(np.array([one.value]) for one in fresh))[0])
