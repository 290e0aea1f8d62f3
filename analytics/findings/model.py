"""The table that weighs levels into causes: for each cause, how often each indicator shows each level."""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from analytics.findings.deviation import NOW, SLOW
from analytics.findings.indicator import SPECS
from farm.causes import NORMAL

LEVEL_NAMES = (
    "far_lower", "much_lower", "lower", "a_little_lower", "usual",
    "a_little_higher", "higher", "much_higher", "far_higher",
)  # fmt: skip
HEAD = ("cause", "part", "feature", *LEVEL_NAMES, "weight")

Likelihood = tuple[float, ...]  # one of each level; they add up to 1

# What a sign of signs.toml says of the levels; our choice, no source.
SIGNS: dict[str, Likelihood] = {
    "++": (0.004, 0.006, 0.01, 0.02, 0.06, 0.09, 0.18, 0.25, 0.38),
    "+": (0.004, 0.006, 0.02, 0.05, 0.20, 0.24, 0.24, 0.16, 0.08),
    "0": (0.0003, 0.0037, 0.016, 0.12, 0.72, 0.12, 0.016, 0.0037, 0.0003),
    "-": (0.08, 0.16, 0.24, 0.24, 0.20, 0.05, 0.02, 0.006, 0.004),
    "--": (0.38, 0.25, 0.18, 0.09, 0.06, 0.02, 0.01, 0.006, 0.004),
    "~": (0.13, 0.14, 0.13, 0.07, 0.06, 0.07, 0.13, 0.14, 0.13),
    "?": (0.04, 0.07, 0.12, 0.13, 0.28, 0.13, 0.12, 0.07, 0.04),
}
# The same where nothing is wrong; our choice, no source.
USUALLY: Likelihood = (0.0005, 0.004, 0.03, 0.13, 0.671, 0.13, 0.03, 0.004, 0.0005)

PRIOR = "prior"  # stands for a feature in the rows that give a cause's own prior

Kind = tuple[str, str]  # a cause and its part, empty where it has none


@dataclass(frozen=True)
class Table:
    """Likelihoods by cause, part and feature; a feature that a cause does not name behaves as usual.

    ``prior`` is how likely each cause is before anything is seen, against "as usual", and ``priors`` the same where a
    cause has its own. ``weights`` are factors of a
    feature's evidence for a cause, below 1 for one that repeats what others tell; ``temper`` where none is given.
    """

    usual: Mapping[str, Likelihood]
    of: Mapping[Kind, Mapping[str, Likelihood]]
    prior: float
    temper: float
    weights: Mapping[Kind, Mapping[str, float]] = field(default_factory=dict)
    priors: Mapping[Kind, float] = field(default_factory=dict)

    def prior_of(self, kind: Kind) -> float:
        """Return how likely a cause is before anything is seen, against "as usual", at all its places together."""
        return self.priors.get(kind, self.prior)

    def weight(self, kind: Kind, feature: str) -> float:
        """Return the factor of a feature's evidence for a cause."""
        return self.weights.get(kind, {}).get(feature, self.temper)

    @property
    def kinds(self) -> list[Kind]:
        """Every cause and part that it knows."""
        return list(self.of)

    def log_ratios(self, kind: Kind) -> dict[str, NDArray[np.float64]]:
        """Return, by feature, the logarithm of how much likelier each level is than usually, times its weight.

        0 for "not known".
        """
        return self._ratios[kind]

    def telling(self, kind: Kind) -> dict[str, NDArray[np.float64]]:
        """Return the same of features that say anything."""
        return self._telling[kind]

    @cached_property
    def _ratios(self) -> dict[Kind, dict[str, NDArray[np.float64]]]:
        return {kind: self._log_ratios(kind) for kind in self.of}

    @cached_property
    def _telling(self) -> dict[Kind, dict[str, NDArray[np.float64]]]:
        return {kind: {name: one for name, one in of.items() if one.any()} for kind, of in self._ratios.items()}

    def _log_ratios(self, kind: Kind) -> dict[str, NDArray[np.float64]]:
        found = {}
        for feature, likelihood in self.of[kind].items():
            usual = self.usual.get(feature, USUALLY)
            ratios = [math.log(one / other) for one, other in zip(likelihood, usual, strict=True)]
            found[feature] = self.weight(kind, feature) * np.array([*ratios, 0.0])
        return found

    def apart(self, one: Kind, other: Kind, features: Iterable[str]) -> float:
        """Return by how many log odds some features would tell two causes apart on average. [nats]."""
        total = 0.0
        ratios, others = self.log_ratios(one), self.log_ratios(other)
        nothing = np.zeros(len(LEVEL_NAMES) + 1)
        for feature in features:
            usual = self.usual.get(feature, USUALLY)
            p, q = np.array(self.of[one].get(feature, usual)), np.array(self.of[other].get(feature, usual))
            total += float((p - q) @ (ratios.get(feature, nothing) - others.get(feature, nothing))[:-1]) / 2
        return total


def table_from_text(text: str) -> Table:
    """Return the table of a CSV text.

    Raises
    ------
    ValueError
        If a row names an unknown feature or its likelihoods do not add up.
    """
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    settings = {"prior": 1e-3, "temper": 0.5}
    for line in text.splitlines():
        if line.startswith("#") and "=" in line:
            name, _, value = line.lstrip("# ").partition("=")
            if name.strip() in settings:
                settings[name.strip()] = float(value)
    usual: dict[str, Likelihood] = {}
    of: dict[Kind, dict[str, Likelihood]] = {}
    weights: dict[Kind, dict[str, float]] = {}
    priors: dict[Kind, float] = {}
    for row in csv.DictReader(lines):
        feature = row["feature"]
        if feature == PRIOR:
            priors[row["cause"], row["part"]] = float(row["weight"])
            continue
        if feature.split("@")[0] not in SPECS:
            raise ValueError(f"likelihoods of {row['cause']}: there is no indicator {feature!r}")
        shares = [float(row[name]) for name in LEVEL_NAMES]
        total = sum(shares)
        if not math.isclose(total, 1.0, abs_tol=0.02) or min(shares) <= 0.0:
            raise ValueError(f"likelihoods of {row['cause']}, {feature}: above 0 and adding up to 1, not {total:g}")
        likelihood = tuple(one / total for one in shares)
        if row["cause"] == NORMAL:
            usual[feature] = likelihood
        else:
            kind = row["cause"], row["part"]
            of.setdefault(kind, {})[feature] = likelihood
            if row.get("weight"):
                weights.setdefault(kind, {})[feature] = float(row["weight"])
    return Table(usual, of, settings["prior"], settings["temper"], weights, priors)


def table_as_text(table: Table, about: Iterable[str]) -> str:
    """Return a table as CSV with a few lines of comment before it; the inverse of ``table_from_text``."""
    lines = [f"# {line}" for line in (*about, f"prior = {table.prior:g}", f"temper = {table.temper:g}")]
    lines.append(",".join(HEAD))
    rows = [(NORMAL, "", feature, likelihood) for feature, likelihood in sorted(table.usual.items())]
    for (cause, part), features in table.of.items():
        if (cause, part) in table.priors:
            prior = f"{table.priors[cause, part]:.4g}"
            lines.append(",".join((cause, part, PRIOR, *([""] * len(LEVEL_NAMES)), prior)))
        rows += [(cause, part, feature, likelihood) for feature, likelihood in sorted(features.items())]
    lines += [
        ",".join((cause, part, feature, *(f"{one:.6f}" for one in likelihood), _weight(table, (cause, part), feature)))
        for cause, part, feature, likelihood in rows
    ]
    return "\n".join(lines) + "\n"


def _weight(table: Table, kind: Kind, feature: str) -> str:
    own = table.weights.get(kind, {}).get(feature)
    return "" if own is None else f"{own:g}"


@cache
def named_by_physics() -> Mapping[Kind, frozenset[str]]:
    """Return the features that the shipped signs say something of, by cause: what a person can follow."""
    signs = signs_from_text(files("analytics.findings").joinpath("signs.toml").read_text("utf-8"))
    return {kind: frozenset(one for one, sign in of.items() if sign != SIGNS["?"]) for kind, of in signs.items()}


def signs_from_text(text: str) -> dict[Kind, dict[str, Likelihood]]:
    """Return what physics says of each cause, from signs.toml: features with both horizons where none is named."""
    found: dict[Kind, dict[str, Likelihood]] = {}
    for cause, entries in tomllib.loads(text).items():
        parts = {part: one for part, one in entries.items() if isinstance(one, dict)} or {"": entries}
        for part, signs in parts.items():
            features: dict[str, Likelihood] = {}
            for name, sign in signs.items():
                indicator = name.split("@")[0]
                if indicator not in SPECS:
                    raise ValueError(f"signs of {cause}: there is no indicator {indicator!r}")
                horizons = [name] if "@" in name else [f"{name}@{NOW}", f"{name}@{SLOW}"]
                for feature in horizons:
                    if feature.endswith(SLOW) and (not SPECS[indicator].slow or SPECS[indicator].reference is not None):
                        continue
                    features[feature] = SIGNS[sign]
            found[cause, part] = features
    return found
