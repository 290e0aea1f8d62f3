"""What every engine refuses, in the same words."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from farm.flags import Flag
from farm.readings import Columns, Series, iso_time

_FLAGS = frozenset(int(flag) for flag in Flag)


def refuse_values_not_finite(series: Iterable[Series], time_us: NDArray[np.int64], value: NDArray[np.float64]) -> None:
    """Raise ValueError for the first measured value that is NaN or infinite."""
    finite = np.isfinite(value)
    if not finite.all():
        index = int(np.argmin(finite))
        where = list(series)[index]
        raise ValueError(
            f"{where.farm}/{where.key} at {iso_time(int(time_us[index]))} has the value {value[index]}: "
            "a measured reading must be a finite number; leave it out, and nothing is stored of this call"
        )


def refuse_flags_unknown(flags: Iterable[int]) -> None:
    """Raise ValueError unless all flags are QARTOD's."""
    unknown = set(flags) - _FLAGS
    if unknown:
        raise ValueError(f"{sorted(unknown)} are not quality flags: use {sorted(_FLAGS)}")


def refuse_columns_unfit(series: Series, start_us: int, end_us: int, columns: Columns) -> None:
    """Raise ValueError unless columns are of one length, strictly ascending and inside ``[start_us, end_us)``."""
    name, time_us = f"{series.farm}/{series.key}", columns.time_us
    if not len(time_us) == len(columns.value) == len(columns.flag):
        raise ValueError(
            f"{name}: {len(time_us)} times, {len(columns.value)} values and {len(columns.flag)} flags "
            "do not belong together: give as many of each"
        )
    refuse_flags_unknown(columns.flag.tolist())
    if not len(time_us):
        return
    steps = np.diff(time_us)
    if (steps <= 0).any():
        before = int(time_us[int(np.argmax(steps <= 0))])
        raise ValueError(
            f"{name}: times must be strictly ascending, but one at or before {iso_time(before)} follows it"
        )
    for outside in (int(time_us[0]), int(time_us[-1])):
        if not start_us <= outside < end_us:
            raise ValueError(
                f"{name}: the reading at {iso_time(outside)} is outside [{iso_time(start_us)}, {iso_time(end_us)})"
            )
