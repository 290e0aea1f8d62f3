"""A described series' limits of quality, as the tests of analytics take them."""

from __future__ import annotations

import math

from analytics.quality import QualityLimits
from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.quality_limits import Pair
from farm.readings import Series

SECONDS_PER_MINUTE = 60.0
NEVER: Pair = (math.inf, math.inf)


def quality_limits(farm: Farm) -> dict[Series, QualityLimits]:
    """Return what the readings of each described series are tested against."""
    return {series: limits_of(farm, series) for series in farm.described}


def limits_of(farm: Farm, series: Series) -> QualityLimits:
    """Return what a described series' readings are tested against, in seconds and the quantity's unit."""
    described, quality = farm.described[series], farm.quality_of(series)
    inside = described.limits if "gross_range" not in quality.skip else (-math.inf, math.inf)
    expected = quality.expected if "gross_range" not in quality.skip and quality.expected else (-math.inf, math.inf)
    spike = quality.spike if "spike" not in quality.skip and quality.spike else NEVER
    change = quality.change_per_min if "rate_of_change" not in quality.skip and quality.change_per_min else NEVER
    flat = quality.flat_line_s if "flat_line" not in quality.skip and quality.flat_line_s else NEVER
    allowance = described.plus_or_minus if quality.change_allowance is None else quality.change_allowance
    return QualityLimits(
        gap_s=quality.gap_s or SILENT_AFTER_CADENCES * described.cadence_s,
        fail_low=inside[0],
        fail_high=inside[1],
        suspect_low=expected[0],
        suspect_high=expected[1],
        spike_suspect=spike[0],
        spike_fail=spike[1],
        rate_suspect_per_s=change[0] / SECONDS_PER_MINUTE,
        rate_fail_per_s=change[1] / SECONDS_PER_MINUTE,
        rate_allowance=allowance or 0.0,
        flat_line_tolerance=quality.flat_line_tolerance or math.inf,
        flat_line_suspect_s=flat[0],
        flat_line_fail_s=flat[1],
        resting_value=quality.resting_value,
    )
