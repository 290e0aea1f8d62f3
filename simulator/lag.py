"""The lag of a sensor behind what it measures."""

from __future__ import annotations

import numpy as np

from simulator.compiled import Floats, compiled


@compiled
def followed(truth: Floats, share: float, slower: Floats, remembered: Floats, out: Floats) -> None:
    """Follow the truth by first order: ``share`` of the distance a step, less where ``slower`` is above 0."""
    before = remembered[0]
    for minute in range(len(truth)):
        now = truth[minute]
        before = now if np.isnan(before) else before + (now - before) * (share / (1.0 + slower[minute]))
        out[minute] = before
    remembered[0] = before
