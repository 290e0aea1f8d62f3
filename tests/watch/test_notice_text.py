"""What notices say: every fact that a person needs, and cautions where something can hurt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from farm.alarm_words import Priority
from store.notice_entries import NoticeKind
from tests.conftest import MINUTE_US
from tests.watch.telling import NOW_US, alarm
from watch.notice_plan import Draft
from watch.notice_text import SUBJECT_LENGTH, words, words_of_test
from watch.told import told_of

TOO_WARM = told_of(alarm())
CO2 = replace(
    TOO_WARM, condition="co2_danger/room/co2_mole_fraction", priority=Priority.HIGHEST, identity="c",
    facts=TOO_WARM.facts | {"what": "CO2", "worst": 6200.0, "limit": 5000.0, "unit": "ppm",
                            "series": "room/co2_mole_fraction", "likely": [], "caution": "",
                            "text": "CO2 in Room reads 6,200 ppm, above 5,000 ppm."},
)  # fmt: skip


def said(farm, *told, kind=NoticeKind.RAISED, group="heat", standing=1):
    return words(farm, Draft(kind, "ada", group, 0, told, standing), NOW_US)


def test_all_that_a_person_needs_to_know(small_farm):
    subject, text = said(small_farm, TOO_WARM)
    assert subject == "Room: Air temperature 31.3 °C"
    for part in (
        "Air temperature in Room is too high",  # what, where
        "Since Sunday 1 March, 12:45 CET, 15 min so far.",  # since when: the onset, in the farm's own time
        "How far: 31.3 °C at worst, the limit is 24.0 °C.",
        "Likely why: the air conditioner does not cool (72 %); lamps on too long (10 %).",
        "What to do first: Look at the air conditioner's display.",
        "Caution: Mains voltage kills.",
        "Priority high. 1 alarm of yours lasts now.",
        "Leafweather is not a life-safety device: where CO2, acids, bases or mains count",
        "Test farm",
    ):
        assert part in text, f"{part!r} is not in:\n{text}"
    assert text.isprintable() or set(text) - {"\n"} == {c for c in text if c.isprintable()}


def test_the_other_places_in_which_the_same_is_so_are_told(small_farm):
    """What follows from an alarm makes no notice of its own: one row alone is another matter than the whole room."""
    entry = alarm()
    _, text = said(small_farm, told_of(replace(entry, detail=entry.detail | {"also": ["Row 1", "Row 2"]})))
    assert "Air temperature in Room is too high" in text
    assert " Also in Row 1 and Row 2.\n" in text
    assert "Also in" not in said(small_farm, TOO_WARM)[1]
    light = {"what": "Light", "where": "Row 1", "also": ["Row 12"]}
    assert "Row 1: Light. Also in Row 12." in said(small_farm, replace(TOO_WARM, facts=light))[1]


def test_a_cause_that_is_none_too_likely_is_told_as_a_possible_one(small_farm):
    guess = [{"cause": "stuck", "label": "A sensor repeats one value", "probability": 0.16}]
    _, text = said(small_farm, replace(TOO_WARM, facts=TOO_WARM.facts | {"likely": guess}))
    assert "Why is not clear yet. Possible: A sensor repeats one value (16 %)." in text
    assert "Likely why" not in text


def test_a_worst_of_nought_and_one_below_are_told_like_others(small_farm):
    light = {"what": "PPFD", "series": "row/ppfd", "unit": "µmol m⁻² s⁻¹", "where": "Row"}
    assert said(small_farm, replace(TOO_WARM, facts=light | {"worst": 0.0}))[0].startswith("Row: PPFD 0")
    cold = replace(TOO_WARM, facts=TOO_WARM.facts | {"worst": -3.25})
    assert said(small_farm, cold)[0] == "Room: Air temperature −3.2 °C"
    assert said(small_farm, replace(TOO_WARM, facts=TOO_WARM.facts | {"worst": None}))[0] == "Room: Air temperature"


def test_danger_by_co2_says_first_to_leave_and_who_protects_people(small_farm):
    subject, text = said(small_farm, CO2)
    assert subject == "CO2 DANGER, leave: Room: CO2 6,200 ppm"
    assert text.startswith("LEAVE THE ROOM NOW")
    for part in ("ventilate", "certified gas detector", "local code", "do not enter alone", "not a life-safety device"):
        assert part in text
    over_subject, over = said(small_farm, replace(CO2, returned_us=NOW_US), kind=NoticeKind.RETURNED)
    assert over_subject == "Back to normal: Room: CO2, 6,200 ppm at worst"
    assert "LEAVE THE ROOM NOW" not in over
    assert "not a life-safety device" in over


@pytest.mark.parametrize("kind", list(NoticeKind))
def test_every_subject_fits_a_locked_telephone(small_farm, kind):
    long = replace(TOO_WARM, facts=TOO_WARM.facts | {"what": "Supply-air temperature of the left-hand duct " * 3})
    for told in ((TOO_WARM,), (long,), (long, CO2), (TOO_WARM,) * 3):
        group = "" if kind in (NoticeKind.STORM, NoticeKind.DIGEST) else "g"
        subject, text = said(small_farm, *told, kind=kind, group=group)
        assert 0 < len(subject) <= SUBJECT_LENGTH
        assert "\n" not in subject
        assert max(map(len, text.splitlines())) < 400


def test_a_group_tells_its_worst_at_length_and_the_others_in_a_line(small_farm):
    subject, text = said(small_farm, TOO_WARM, replace(CO2, condition="x/room"))
    assert subject == "Room: CO2 6,200 ppm (+1)"
    assert "Also:\n- Room: Air temperature 31.3 °C. Since Sunday 1 March" in text


def test_a_storm_says_how_many(small_farm):
    many = [replace(TOO_WARM, identity=str(n), condition=f"out_of_band/room/{n}/high") for n in range(499)]
    subject, text = said(small_farm, CO2, *many, kind=NoticeKind.STORM, group="", standing=612)
    assert subject == "500 alarms at once. Worst: Room: CO2 6,200 ppm"
    assert "500 alarms came at once or shortly after one another: 1 of highest priority, 499 of high priority." in text
    assert "612 alarms of yours last now." in text
    assert len(text) < 6000
    assert "more, on the page" in text


def test_what_is_over_says_when_and_what_late_readings_took_back_says_so(small_farm):
    _, text = said(small_farm, replace(TOO_WARM, returned_us=NOW_US), kind=NoticeKind.RETURNED)
    assert "From Sunday 1 March, 12:45 CET to Sunday 1 March, 13:00 CET, 15 min." in text
    back = replace(TOO_WARM, facts=TOO_WARM.facts | {"taken_back": True})
    assert "it was no alarm" in said(small_farm, back, kind=NoticeKind.RETURNED)[1]


def test_an_alarm_that_says_little_still_makes_a_notice(small_farm):
    bare = replace(TOO_WARM, facts={}, condition="mains_lost", since_us=NOW_US - 90 * MINUTE_US)
    subject, text = said(small_farm, bare)
    assert subject == "mains_lost"
    assert "1 h 30 min so far" in text


def test_a_test_notice_says_that_it_is_one(small_farm):
    subject, text = words_of_test(small_farm, "Ada", NOW_US)
    assert subject == "Test farm: test notice for Ada"
    assert "nothing is wrong" in text
