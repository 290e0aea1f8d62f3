"""What findings say of alarms: likely causes beside them, and alarms of their own where no band is left."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import time
from typing import Any

from farm.alarm_words import AlarmKind
from farm.causes import BY_NAME, NORMAL, SOMETHING_ELSE, Nature
from farm.description import Farm
from farm.readings import Series, instant, microseconds
from store.alarm_entries import AlarmEntry
from store.entries import FindingEntry
from store.journal import Journal
from watch.alarm_rules import rule_of
from watch.alarm_texts import detail_of
from watch.finding_details import UNUSUAL, cause_label
from watch.first_checks import SURE, first_check, leading_check, leads
from watch.night_findings import NIGHT

HOUR_US = 3_600_000_000
LOOK_BACK_US = 48 * HOUR_US  # findings that were over earlier stay as they were told
TOLD_FROM = 0.1  # probability from which a cause is told beside an alarm; our choice, no source
LIKELY_NIGHT = 0.5  # probability from which a wet surface in the night to come is an alarm; our choice, no source
LEARNT_US = 7 * 24 * HOUR_US  # before that a farm's usual is not known well enough; our choice, no source
STALE_US = 24 * HOUR_US  # a finding that was last sure of longer ago is none any more
TO_LOOK_AT = (Nature.EQUIPMENT, Nature.PROBE, Nature.OUTSIDE)

Of = Callable[[str], list[AlarmEntry]]
Proposal = tuple[str, int, list[AlarmEntry]]


@dataclass(frozen=True)
class Told:
    """What a finding says of one excursion."""

    series: Series | None
    onset_us: int
    likely: tuple[tuple[str, str, float], ...]
    leads: bool
    check: str
    cautions: tuple[str, ...]
    finding: str

    def over(self, detail: dict[str, Any]) -> dict[str, Any]:
        """Return what it changes in the detail of an alarm: a cause that is none too likely gives no first step."""
        return {
            "likely": [{"cause": cause, "label": label, "probability": p} for cause, label, p in self.likely],
            "first_step": self.check if self.leads and self.check else detail["first_step"],
            "caution": detail["caution"] or (" ".join(self.cautions) if self.leads else ""),
            "finding": self.finding,
        }


@dataclass
class FindingsTold:
    """All that findings say: by an excursion's identity, and as conditions of their own."""

    of_excursions: dict[str, Told] = field(default_factory=dict)
    conditions: list[Proposal] = field(default_factory=list)


def findings_told(farm: Farm, journal: Journal, first_us: int, until_us: int, of: Of) -> FindingsTold:
    """Return what the findings of the last days say, as of an instant; ``first_us`` is the farm's first reading."""
    found = FindingsTold()
    unusual: list[FindingEntry] = []
    for one in journal.findings.between(farm.name, until_us - LOOK_BACK_US):
        if one.subject == UNUSUAL:
            if until_us - first_us >= LEARNT_US:
                unusual.append(one)
        elif one.subject.startswith(NIGHT):
            found.conditions += _night(farm, one, until_us, of)
        else:
            found.of_excursions[one.subject] = _told(farm, one)
    found.conditions += _unusual(farm, unusual, until_us, of)
    return found


def told_of(farm: Farm, journal: Journal, excursion: str) -> Told | None:
    """Return what is found about one excursion; None where nothing is."""
    found = journal.findings.of(farm.name, excursion)
    return None if found is None else _told(farm, found)


def _likely(one: FindingEntry) -> tuple[tuple[str, str, float], ...]:
    causes = [cause for cause in one.detail.get("causes", []) if cause.get("probability") is not None]
    return tuple(
        (str(cause["cause"]), cause_label(cause), round(float(cause["probability"]), 2))
        for cause in causes
        if cause["probability"] >= TOLD_FROM and cause["cause"] != NORMAL
    )


def _told(farm: Farm, one: FindingEntry) -> Told:
    key = one.detail.get("series")
    return Told(
        Series.parse(farm.name, key) if key else None, one.onset_us, _likely(one), leads(one.detail),
        leading_check(one.detail), tuple(one.detail.get("cautions", ())), one.identity,
    )  # fmt: skip


def _unusual(farm: Farm, several: Sequence[FindingEntry], until_us: int, of: Of) -> list[Proposal]:
    """Return alarms for causes that are sure enough, told as of the hour they were found."""
    rule = rule_of(farm, AlarmKind.FINDING)
    told: dict[str, FindingEntry] = {}
    for one in several:
        first = (one.detail.get("causes") or [{}])[0]
        is_sure = (first.get("probability") or 0.0) >= SURE and until_us - one.at_us < STALE_US
        if one.end_us is None and is_sure and first.get("nature") in TO_LOOK_AT and first["cause"] != SOMETHING_ELSE:
            told[f"{AlarmKind.FINDING}/{first['cause']}"] = one
    proposals: list[Proposal] = []
    for condition in [f"{AlarmKind.FINDING}/{name}" for name in sorted(BY_NAME)]:  # what nothing tells any more is over
        kept = of(condition)
        standing = kept[-1] if kept and kept[-1].returned_us is None else None
        finding = told.get(condition)
        if finding is None:
            if standing is not None:
                ended = replace(standing, returned_us=max(until_us, standing.alarm_us + 1))
                proposals.append((condition, standing.onset_us, [ended]))
        elif not rule.off:
            onset_us = standing.onset_us if standing is not None else max(finding.onset_us, finding.at_us - HOUR_US)
            told_one = _told(farm, finding)
            detail = detail_of(
                farm, AlarmKind.FINDING, onset_us, str(finding.detail["headline"]),
                what=f"Likely cause: {finding.detail['causes'][0]['label']}", finding=finding.identity,
            )  # fmt: skip
            alarm_us = standing.alarm_us if standing is not None else min(onset_us + HOUR_US, finding.at_us)
            entry = AlarmEntry(
                farm.name, condition, onset_us, alarm_us, None, rule.priority, "", detail=detail | told_one.over(detail)
            )
            proposals.append((condition, onset_us, [entry]))
    return proposals


def _night(farm: Farm, one: FindingEntry, until_us: int, of: Of) -> list[Proposal]:
    """Return the alarm of a surface that may get wet in a night to come: from noon until the night is over."""
    rule = rule_of(farm, AlarmKind.CONDENSATION_TONIGHT)
    condition = f"{AlarmKind.CONDENSATION_TONIGHT}/{one.subject.removeprefix(NIGHT)}"
    evening = instant(one.onset_us).astimezone(farm.farm.zone_info)
    noon_us = microseconds(evening.replace(hour=time(12).hour, minute=0, second=0, microsecond=0))
    first = (one.detail.get("causes") or [{}])[0]
    likely = (first.get("probability") or 0.0) >= LIKELY_NIGHT
    standing = next((kept for kept in of(condition) if kept.onset_us == noon_us), None)
    if rule.off or (standing is None and not likely):
        return []
    ends_us = one.end_us if one.end_us is not None else until_us
    if standing is not None and standing.returned_us is not None:
        returned_us: int | None = standing.returned_us
    else:
        returned_us = ends_us if until_us >= ends_us else None if likely else max(until_us, noon_us + 1)
    detail = detail_of(
        farm, AlarmKind.CONDENSATION_TONIGHT, noon_us, str(one.detail["headline"]), what="Condensation in the night",
        first_step=first_check(one.detail), finding=one.identity,
    )  # fmt: skip
    entry = AlarmEntry(farm.name, condition, noon_us, noon_us, returned_us, rule.priority, "", detail=detail)
    later = [kept for kept in of(condition) if kept.onset_us > noon_us]
    return [(condition, noon_us, [entry, *later])]
