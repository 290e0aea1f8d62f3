"""Two faults at once: which pairs, and how often both are named; and how often a second is named that is not there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from analytics.findings.episodes import SMOOTH_H
from analytics.findings.explaining import second_faults
from bench.diagnosis.farms import SLOW_S
from bench.diagnosis.levels import KINDS, farm_of
from bench.diagnosis.scoring import weighed_run
from farm.causes import BY_NAME
from simulator.fault_kinds import NATURES, FaultKind

EACH = 12  # pairs a farm
# What takes the record away leaves nothing to tell two faults by.
NOT_PAIRED = (FaultKind.LINK_CUT, FaultKind.CLOCK_JUMP)


class Named(NamedTuple):
    """What was named at the hour of reading: causes in order, and those told as second faults."""

    truth: tuple[str, ...]
    answers: list[str]
    seconds: list[str]

    @property
    def told(self):
        """The first cause and the second faults beside it."""
        return {self.answers[0], *self.seconds}


def pairs_for(seed):
    """Return pairs of fast faults of different families, drawn for a farm."""
    random = np.random.default_rng([seed, 77])
    fast = [one for one in KINDS if NATURES[FaultKind(one)].ramp_s <= SLOW_S and one not in NOT_PAIRED]
    found = []
    while len(found) < EACH:
        one, other = (fast[int(at)] for at in random.integers(len(fast), size=2))
        if BY_NAME[one].family is not BY_NAME[other].family:
            found.append((one, other))
    return found


def named(run, table):
    """Return what is named of a run where it is read."""
    weighing = weighed_run(farm_of(run.seed, run.drawn), run, table)
    hour = min(run.read_h, run.hours - 1)
    answers = weighing.answers(weighing.probabilities(SMOOTH_H)[:, hour])
    seconds = second_faults(weighing, answers[0].places[0], hour) if answers[0].places else []
    truth = tuple(one for one in (run.kind, run.second) if one)
    return Named(truth, [one.cause for one in answers[:10]], [one.cause for one in seconds])


def shares(found):
    """Return shares of runs: one named first, both told, both among first three and seconds, a second that is none."""
    return {
        "one of them first": np.mean([one.answers[0] in one.truth for one in found]),
        "all of them told": np.mean([set(one.truth) <= one.told for one in found]),
        "all among three and seconds": np.mean([set(one.truth) <= {*one.answers[:3], *one.seconds} for one in found]),
        "a second that is none": np.mean([bool(set(one.seconds) - set(one.truth)) for one in found]),
    }
