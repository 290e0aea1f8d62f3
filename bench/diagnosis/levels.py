"""Levels of many simulated farms with known faults, made once and kept, for counting and for scoring."""

from __future__ import annotations

import pickle
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

from analytics.findings.deviation import NOT_KNOWN, Deviation, levels_at
from bench.diagnosis.farms import LEVELS, full_farm, healthy, with_fault, with_two_faults, without_fault
from simulator.farms import invented_farm
from simulator.fault_kinds import FaultKind

HEALTHY_MONTH_D = 30
KINDS = tuple(str(kind) for kind in FaultKind)
NOTHING = np.empty(0)
FARTHEST = 1000.0  # standard deviations that are told apart from more


class Levels(NamedTuple):
    """The levels of one run from the last healthy hour on; those of a healthy month from its start.

    ``level`` has a row for each (feature, place) of ``names`` and a column an hour; ``fault_h``, ``full_h`` and
    ``read_h`` count in its columns.
    """

    seed: int
    drawn: bool
    kind: str
    part: str
    target: str
    severity: str
    names: list[tuple[str, str]]
    level: np.ndarray
    fault_h: int
    full_h: int
    read_h: int
    slow: bool
    begin_h: float  # of the fault, to the minute
    looks: np.ndarray = np.empty((0, 0, 0), np.int8)  # between whole hours: by lateness, (feature, place) and hour
    looks_h: int = 0  # the first of those hours
    second: str = ""  # the kind of another fault that began the same day

    @property
    def hours(self):
        return self.level.shape[1]

    def found(self):
        """Return the deviations that a weighing takes, without their values."""
        return _as_deviations(self.names, self.level)

    def looked(self):
        """Return the same of what was seen between whole hours, by how late."""
        return [_as_deviations(self.names, level) for level in self.looks]


def _as_deviations(names, levels):
    return [Deviation(name, place, NOTHING_OF(levels.shape[1]), NOTHING, NOTHING, row)
            for (name, place), row in zip(names, levels, strict=True)]  # fmt: skip


def NOTHING_OF(hours):  # noqa: N802  # a stand-in for values nobody asks for
    return np.broadcast_to(np.nan, hours)


def farm_of(seed, drawn):
    """Return the farm that a run was made on."""
    return invented_farm(seed).farm if drawn else full_farm(seed)[1]


def compact(run, drawn):
    """Return what is kept of a run: in place of levels, how far each stands from the usual in standard deviations."""
    kept = [one for one in run.deviations if (one.level != NOT_KNOWN).any()]
    names = [(one.name, one.place) for one in kept]
    looks = [{(one.name, one.place): one.score() for one in several} for several in run.looks]
    return Levels(
        run.seed, drawn, run.kind, run.part, run.target, run.level, names,
        _kept([one.score() for one in kept]), run.fault_h, run.full_h,
        run.read_h, run.slow, run.begin_h,
        _kept([[one[name] for name in names] for one in looks]) if looks else np.empty((0, 0, 0), np.float16),
        run.looks_h, run.second,
    )  # fmt: skip


def _kept(scores):
    return np.clip(np.array(scores), -FARTHEST, FARTHEST).astype(np.float16)


def _levelled(kept):
    """Return runs as they are kept with their levels."""
    return [one._replace(level=levels_at(one.level), looks=levels_at(one.looks)) for one in kept]


def pairs_of(folder, seed, pairs):
    """Return the levels of pairs of faults, of usual severity, that began the same day on one farm."""
    file = Path(folder) / f"pairs-{seed}.pickle"
    if not file.is_file():
        file.parent.mkdir(parents=True, exist_ok=True)
        before = healthy(seed)
        runs = [with_two_faults(before, pair, "usual") for pair in pairs]
        file.write_bytes(pickle.dumps([compact(run, False) for run in runs if run is not None], protocol=5))
    return _levelled(pickle.loads(file.read_bytes()))


def levels_of(folder, seed, *, drawn=False, severities=LEVELS, kinds=KINDS, repeats=1, month=True, looks=False):
    """Return the levels of every fault on one farm and of a healthy month, from a folder or made now.

    With ``looks`` those between whole hours too.
    """
    what = ("" if kinds == KINDS else "-some") + ("-looks" if looks else "")
    file = Path(folder) / f"{'drawn' if drawn else 'full'}{'-all' if severities else ''}{what}-{seed}.pickle"
    if file.is_file():
        return _levelled(pickle.loads(file.read_bytes()))
    file.parent.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    before = healthy(seed, drawn=drawn, looks=looks)
    found = []
    for number_of_kind, kind in enumerate(kinds):
        for severity in severities or [LEVELS[(seed + number_of_kind) % len(LEVELS)]]:
            for number in range(repeats):
                run = with_fault(before, kind, severity, number)
                if run is not None:
                    found.append(compact(run, drawn))
    if month:
        found.append(compact(without_fault(before, HEALTHY_MONTH_D), drawn))
    file.write_bytes(pickle.dumps(found, protocol=5))
    print(f"farm {seed}: {len(found)} runs in {time.monotonic() - began:.0f} s", flush=True)
    return _levelled(found)
