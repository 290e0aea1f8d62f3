"""Keeps derived series true to the readings, and to the description, that they follow from."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from types import MappingProxyType

from farm.description import Farm
from farm.readings import Series
from store.contract import Known, Origin, ReadingStore
from store.journal import Journal
from watch.basis import basis
from watch.daily import ZoneDailies, dailies, renew
from watch.derivation import Derived, different
from watch.derived import derivations
from watch.stretches import JOIN_US, Stretch, joined

logger = logging.getLogger(__name__)

FAR_US = 30 * 24 * JOIN_US  # over so long, it is looked at which derived readings a change did move
DERIVED = "derived"  # the kind of basis in the journal
FIRST = ""  # the basis that stands there from the first start on, whatever a farm derives

Alone = Callable[[str], AbstractContextManager[None]]


class Deriver:
    """Works derived series out over stretches in which what they rest on changed.

    ``alone`` lets one piece of work fail without the others.
    """

    def __init__(self, farm: Farm, store: ReadingStore, journal: Journal, alone: Alone) -> None:
        self._farm, self._store, self._journal, self._alone = farm, store, journal, alone
        self._renewed: set[Series] = set()
        self._derivations, self._dailies = derivations(farm), dailies(farm)
        self._inputs = {one.output: one.inputs for one in self._derivations}
        self._inputs |= {one.output: zone.inputs for zone in self._dailies for one in zone.series}

    def anew(self, known: list[Known]) -> dict[Series, list[Stretch]]:
        """Return the derived series that rest on something else than when they were worked out, and over what."""
        spans = {one.series: (one.first_us, one.last_us) for one in known}
        bases = self._journal.bases(self._farm.name, DERIVED)
        now = {output: basis(self._farm, output, inputs) for output, inputs in self._inputs.items()}
        if not bases and not any(one.origin is Origin.DERIVED for one in known):
            # Nothing was ever worked out: the store's notes lead to all there is.
            bases = {FIRST: ""} | {output.key: text for output, text in now.items()}
            self._journal.note_bases(self._farm.name, DERIVED, bases)
        found = {
            output: [spans[one] for one in self._inputs[output] if one in spans]
            for output, text in now.items()
            if bases.get(output.key) != text
        }
        if any(found.values()):
            logger.info("what %d derived series rest on has changed: they are worked out anew", len(found))
        return found

    def renew(
        self,
        changed: dict[Series, list[Stretch]],
        anew: Mapping[Series, list[Stretch]] = MappingProxyType({}),
        *,
        again: bool = False,
    ) -> None:
        """Renew derived series for changed readings, and add what changed in them to ``changed``.

        Those in ``anew`` are worked out over the given stretches too; `settle` notes what they rest on.
        ``again`` says that some of it may have been done before, and what follows not: then all that is
        reached counts as changed, also what is the same by now.
        """
        for derivation in self._derivations:
            with self._alone(derivation.output.key):
                self._renew(derivation, changed, anew.get(derivation.output, []), again=again)
                self._renewed |= {derivation.output} & anew.keys()
        for zone in self._dailies:
            with self._alone(f"the light days of {zone.zone}"):
                self._renew_light_days(zone, changed, anew, again=again)
                self._renewed |= {one.output for one in zone.series} & anew.keys()

    def settle(self) -> None:
        """Note what the series that were worked out anew rest on, now that all that follows is worked out too."""
        if self._renewed:
            texts = {one.key: basis(self._farm, one, self._inputs[one]) for one in self._renewed}
            self._journal.note_bases(self._farm.name, DERIVED, texts)
            self._renewed = set()

    def _renew(
        self, derivation: Derived, changed: dict[Series, list[Stretch]], anew: list[Stretch], *, again: bool
    ) -> None:
        output = derivation.output
        reached = joined(
            (first, last + derivation.reach_us(self._farm, series))
            for series in derivation.inputs
            for first, last in [*changed.get(series, []), *anew]
        )
        for first, last in reached:
            columns = derivation.columns(self._farm, self._store, first, last + 1)
            moved: Stretch | None = (first, last)
            if last - first >= FAR_US:
                if again:
                    moved = self._as_far_as_known(derivation, first, last)
                else:
                    moved = different(self._store.read(output, first, last + 1), columns)
            if moved:
                self._store.replace(output, first, last + 1, columns)
                changed[output].append(moved)

    def _as_far_as_known(self, derivation: Derived, first_us: int, last_us: int) -> Stretch | None:
        """Return a stretch up to the newest reading in it, of what is derived or of what that rests on."""
        newest = [self._store.last_before(one, last_us + 1) for one in (derivation.output, *derivation.inputs)]
        until_us = max((one.time_us for one in newest if one is not None), default=first_us - 1)
        return (first_us, until_us) if until_us >= first_us else None

    def _renew_light_days(
        self,
        zone: ZoneDailies,
        changed: dict[Series, list[Stretch]],
        anew: Mapping[Series, list[Stretch]],
        *,
        again: bool,
    ) -> None:
        touched = [stretch for one in zone.inputs for stretch in changed.get(one, [])]
        touched += [stretch for one in zone.series for stretch in anew.get(one.output, [])]
        for first, last in joined(touched):
            for output, moved in renew(self._farm, self._store, zone, first, last, again=again):
                changed[output].append(moved)
