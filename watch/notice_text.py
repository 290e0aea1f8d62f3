"""What a notice says: a subject that reads well on a locked telephone, and plain text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from farm.alarm_words import AlarmKind, Priority
from farm.description import Farm
from farm.quantities import QUANTITIES
from farm.readings import instant
from store.notice_entries import NoticeKind, Told
from watch import cautions
from watch.alarm_texts import sentence
from watch.first_checks import LEADS_FROM
from watch.notice_plan import Draft
from watch.telling import spoken_duration, with_unit

SUBJECT_LENGTH = 70  # characters; a locked telephone shows 40 to 80 of them (common practice, no source)
SPELLED_OUT = 3  # alarms told at length in one notice, the rest in a line each
LISTED = 40  # alarms listed at most
LEAVE = (
    "LEAVE THE ROOM NOW if you are in it. Do not go in, alone or to help, before it is ventilated from outside and a "
    "certified gas detector says that it is safe."
)
NO_LIFE_SAFETY = (
    "Leafweather is not a life-safety device: where CO2, acids, bases or mains count, certified detectors, protective "
    "equipment and licensed people protect you, and your local code holds. This notice can be late, wrong or missing."
)
_BEFORE = {
    NoticeKind.WORSE: "Worse: ",
    NoticeKind.ESCALATED: "Nobody has answered: ",
    NoticeKind.AGAIN: "Still open: ",
    NoticeKind.RETURNED: "Back to normal: ",
}
_WHY = {
    NoticeKind.WORSE: "This has become more urgent since you were told.",
    NoticeKind.ESCALATED: "You are told because nobody has acknowledged this yet.",
    NoticeKind.AGAIN: "Nobody has acknowledged this yet.",
    NoticeKind.RETURNED: "Back to normal. Nothing is left to do about it, unless the cause still needs mending.",
}


def words(farm: Farm, draft: Draft, now_us: int) -> tuple[str, str]:
    """Return the subject and the text of a notice."""
    told = sorted(draft.told, key=lambda one: (list(Priority).index(one.priority), one.since_us))
    lines = list(_lines(farm, draft, told, now_us))
    return _subject(farm, draft, told), "\n".join(lines) + "\n"


def _subject(farm: Farm, draft: Draft, told: list[Told]) -> str:
    worst = told[0]
    if draft.kind is NoticeKind.DIGEST:
        return _cut(f"{farm.farm.title}: {_count(len(told), 'thing')} that could wait")
    if draft.kind is NoticeKind.RETURNED and not draft.group:
        return _cut(f"{farm.farm.title}: {_count(len(told), 'alarm')} over")
    if draft.kind is NoticeKind.STORM:
        return _cut(f"{_count(len(told), 'alarm')} at once. Worst: {_short(worst)}")
    more = f" (+{len(told) - 1})" if len(told) > 1 else ""
    if worst.priority is Priority.HIGHEST and draft.kind is not NoticeKind.RETURNED and _is_co2(worst):
        return _cut(f"CO2 DANGER, leave: {_short(worst)}")
    return _cut(_BEFORE.get(draft.kind, "") + _short(worst), more)


def _cut(text: str, more: str = "") -> str:
    """Return one line that is not too long."""
    text = " ".join(text.split())
    room = SUBJECT_LENGTH - len(more)
    return (text if len(text) <= room else text[: room - 1].rstrip() + "…") + more


def _short(told: Told) -> str:
    """Return where, what and how far in a few words."""
    facts = told.facts
    where, what = (str(facts.get(name) or "") for name in ("where", "what"))
    if not what:
        return f"{where}: {_sentence(told)}" if where and where not in _sentence(told) else _sentence(told)
    value = f" {_value(facts, 'worst')}" if facts.get("worst") is not None else ""
    if value and told.returned_us is not None:
        value = f",{value} at worst"
    return f"{where}: {what}{value}" if where else f"{what}{value}"


def _sentence(told: Told) -> str:
    text = str(told.facts.get("text") or told.facts.get("what") or told.condition)
    return text.split(". ")[0].rstrip(".")


def _value(facts: dict[str, Any], name: str) -> str:
    """Return a number as people read it, with its unit."""
    found = facts.get(name)
    if not isinstance(found, int | float):
        return str(found)
    parts = str(facts.get("series") or "").split("/")
    if len(parts) > 1 and parts[1] in QUANTITIES:
        return with_unit(found, QUANTITIES[parts[1]])
    return f"{found:,.4g} {facts.get('unit') or ''}".strip().replace("-", "−")


def _is_co2(told: Told) -> bool:
    return told.condition.split("/")[0] == AlarmKind.CO2_DANGER


def _lines(farm: Farm, draft: Draft, told: list[Told], now_us: int) -> Iterator[str]:
    alarming = draft.kind is not NoticeKind.RETURNED
    if alarming and any(_is_co2(one) for one in told):
        yield LEAVE
        yield ""
    if draft.kind in _WHY:
        yield _WHY[draft.kind]
        yield ""
    if draft.kind is NoticeKind.DIGEST:
        yield "What could wait, and what came and went while you were not to be disturbed:"
        yield ""
    if draft.kind is NoticeKind.STORM:
        yield f"{_count(len(told), 'alarm')} came at once or shortly after one another: {_by_priority(told)}."
        yield ""
    at_length = told if draft.group and len(told) == 1 else told[: 1 if draft.group else 0]
    if draft.kind in (NoticeKind.STORM, NoticeKind.DIGEST):
        at_length = told[:SPELLED_OUT]
    for one in at_length:
        yield from _at_length(farm, one, now_us, alarming=alarming)
        yield ""
    rest = told[len(at_length) :]
    if rest:
        yield "Also:" if at_length else "Over:"
        yield from (f"- {_in_a_line(farm, one, now_us)}" for one in rest[:LISTED])
        if len(rest) > LISTED:
            yield f"- and {len(rest) - LISTED} more, on the page"
        yield ""
    if alarming:
        yield f"Priority {draft.priority}. {_count(draft.standing, 'alarm')} of yours {_last(draft.standing)} now."
    yield f"{farm.farm.title}, told {_clock(farm, now_us)}."
    if farm.farm.invented:
        yield "An invented demonstration farm: nothing here was measured in a real one."
    said = {caution for one in told if (caution := one.facts.get("caution"))} if alarming else set()
    if alarming and any(_is_co2(one) for one in told):
        said.add(cautions.CO2)
    for caution in sorted(said):
        yield ""
        yield f"Caution: {caution}"
    yield ""
    yield NO_LIFE_SAFETY


def _at_length(farm: Farm, told: Told, now_us: int, *, alarming: bool) -> Iterator[str]:
    facts = told.facts
    where, said = facts.get("where"), str(facts.get("text") or f"{facts.get('what') or told.condition}.")
    said = f"{where}: {said}" if where and str(where) not in said else said
    yield sentence(facts | {"text": said})
    yield _when(farm, told, now_us)
    if isinstance(facts.get("worst"), int | float) and isinstance(facts.get("limit"), int | float):
        yield f"How far: {_value(facts, 'worst')} at worst, the limit is {_value(facts, 'limit')}."
    if causes := "; ".join(_causes(facts.get("likely"))):
        leads = facts["likely"][0].get("probability", 1.0) >= LEADS_FROM
        yield f"Likely why: {causes}." if leads else f"Why is not clear yet. Possible: {causes}."
    if alarming and facts.get("first_step"):
        yield f"What to do first: {facts['first_step']}"


def _in_a_line(farm: Farm, told: Told, now_us: int) -> str:
    return f"{_short(told)}. {_when(farm, told, now_us)}"


def _when(farm: Farm, told: Told, now_us: int) -> str:
    if told.facts.get("taken_back"):
        return f"Later readings show that it was no alarm (told since {_clock(farm, told.since_us)})."
    if told.returned_us is not None:
        lasted = spoken_duration(told.returned_us - told.since_us)
        return f"From {_clock(farm, told.since_us)} to {_clock(farm, told.returned_us)}, {lasted}."
    return f"Since {_clock(farm, told.since_us)}, {spoken_duration(now_us - told.since_us)} so far."


def _causes(likely: object) -> Iterator[str]:
    """Yield causes with their probability."""
    for one in likely if isinstance(likely, list | tuple) else ():
        share = one.get("probability")
        yield f"{one['label']} ({share:.0%})".replace("%", " %") if isinstance(share, int | float) else one["label"]


def _by_priority(told: list[Told]) -> str:
    counts = {priority: sum(one.priority is priority for one in told) for priority in Priority}
    return ", ".join(f"{count} of {priority} priority" for priority, count in counts.items() if count)


def _clock(farm: Farm, at_us: int) -> str:
    local = instant(at_us).astimezone(farm.farm.zone_info)
    return f"{local:%A} {local.day} {local:%B}, {local:%H:%M} {local:%Z}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _last(number: int) -> str:
    return "lasts" if number == 1 else "last"


def words_of_test(farm: Farm, label: str, now_us: int) -> tuple[str, str]:
    """Return the subject and the text of a notice that only tries whether a person is reached."""
    text = (
        f"This is a test. {label} is reached by this channel; nothing is wrong because of it.\n"
        f"{farm.farm.title}, told {_clock(farm, now_us)}.\n\n{NO_LIFE_SAFETY}\n"
    )
    return _cut(f"{farm.farm.title}: test notice for {label}"), text
