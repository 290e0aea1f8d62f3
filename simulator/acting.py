"""The faults that act at one instant."""

from __future__ import annotations

from collections.abc import Mapping

from simulator.fault_kinds import FaultKind


class Active:
    """The faults that act at one instant, as the parts of the farm ask for them."""

    def __init__(self, severities: Mapping[tuple[FaultKind, str], float] | None = None) -> None:
        self._severity = severities or {}

    def severity(self, kind: FaultKind, target: str = "") -> float:
        """Return how severe a fault is for a target, 0 where there is none."""
        return self._severity.get((kind, target), 0.0)
