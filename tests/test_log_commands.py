"""``leafweather log`` as a person calls it."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.journal import Journal
from tests.conftest import SMALL_FARM

TANK = """
[zones.tank]
kind = "reservoir"
label = "Tank"
[[series]]
zone = "tank"
quantity = "solution_ph"
[[equipment.stocks]]
name = "a"
label = "Stock A"
role = "nutrient"
bottle_l = 10
[[batches]]
name = "b-1"
crop = "cress"
sown = 2026-02-01
"""
CALIBRATION = ("ph_calibration", "series=tank/solution_ph", "buffers=7.00,4.01", "readings=7.08,4.20")


@pytest.fixture
def call(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM + TANK)

    def call(action, *arguments):
        return CliRunner().invoke(app, ["log", action, str(file), *arguments, "--data", str(tmp_path)])

    call.folder = tmp_path
    return call


def entries(folder):
    with Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        return journal.log.entries("testfarm", withdrawn=True)


def test_a_calibration_is_written_listed_edited_and_withdrawn(call):
    done = call("add", *CALIBRATION, "temperature_c=21", "--at", "2026-03-01T14:30", "--by", "kim")
    assert done.exit_code == 0, done.output
    [entry] = entries(call.folder)
    assert entry.at_us == 1_772_371_800_000_000  # 13:30 UTC: Oslo is an hour ahead
    assert (entry.detail.buffers, entry.detail.readings, entry.detail.temperature_c) == ((7.0, 4.01), (7.08, 4.2), 21.0)
    assert call("list").output == done.output
    assert "2026-03-01 14:30" in done.output
    assert "by kim" in done.output
    edited = call("edit", entry.identity, "temperature_c=20", "note=buffers new", "--by", "lee")
    assert "version 2" in edited.output
    [now] = entries(call.folder)
    assert (now.detail.temperature_c, now.detail.readings, now.detail.note) == (20.0, (7.08, 4.2), "buffers new")
    assert call("withdraw", entry.identity).exit_code == 0
    assert call("list").output == "No entries.\n"
    assert "WITHDRAWN" in call("list", "--withdrawn").output


def test_the_day_it_was_on_is_written_again(call):
    call("add", "note", "note=door left open", "--at", "2026-03-01T23:30:00Z")
    with Journal(f"sqlite:///{call.folder}/journal.sqlite") as journal:
        assert [str(day) for day in journal.stale_days("testfarm")] == ["2026-03-02"]  # past midnight in Oslo


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("tea",), "'tea' is no kind of entry: one of ph_calibration"),
        (
            (*CALIBRATION[:2], "buffers=700,4.01", CALIBRATION[3]),
            "buffers: found '700'; Input should be less than or equal",
        ),
        ((*CALIBRATION[:3], "readings=7.08,420"), "readings from -1 to 15 pH: no electrode gives others"),
        (("drained",), "drained needs volume_l=...: L"),
        (("drained", "volume_l=lots"), "volume_l: found 'lots'"),
        (("note",), "note needs note=...\n"),
        (("drained", "20"), "'20': write NAME=VALUE"),
        (("drained", "volume_l=20", "colour=green"), "drained has no colour: it takes note, photos, volume_l"),
        (("refill", "stock=b", "holds_l=5"), "stock: found 'b', which is no stock of farm.toml"),
        (("refill", "stock=a", "holds_l=nan"), "holds_l: found 'nan'"),
        (("grab_sample", "series=tank/solution_hp", "value=6"), "did you mean tank/solution_ph?"),
        (
            ("grab_sample", "series=tank/solution_ph", "value=61"),
            "value: found 61 pH; pH can be 0 to 14: is it in another unit?",
        ),
        ((CALIBRATION[0], "series=room/air_temperature", *CALIBRATION[2:]), "which is no series of solution_ph"),
        ((*CALIBRATION[:3], "readings=7.0,7.0"), "a probe that gives the same in both buffers is broken"),
        ((*CALIBRATION[:2], "buffers=7.0,6.86", CALIBRATION[3]), "two buffers at least 1 pH apart"),
        (("harvest", "batch=b-2", "fresh_kg=3"), "batch: found 'b-2', which is no batch of farm.toml"),
        (
            ("moved", "batch=b-1", "to_zone=rwo"),
            "to_zone: found 'rwo', which is no zone of farm.toml; did you mean row?",
        ),
        (("note", "note=x", "photos=../secret"), "photos: found '../secret'"),
        (("planned_work", "what=door open"), "planned_work needs until=...: when it ends"),
        (("planned_work", "what=door open", "until=soon"), "until: found 'soon'"),
        (("planned_work", "what=x", "until=2026-03-01T10:00", "--at", "2026-03-01T11:00"), "not after the beginning"),
        (("planned_work", "what=x", "until=2026-06-01", "--at", "2026-03-01T11:00"), "lasts 31 days at most"),
        (("planned_work", "what=x", "until=2027-01-01", "zones=room,cellar"), "zones: found 'cellar'"),
        (("planned_work", "what=x", "until=2027-01-01", "series=room/air"), "series: found 'room/air'"),
        ((*CALIBRATION, "--at", "yesterday"), "--at: found 'yesterday'"),
        ((*CALIBRATION, "--at", "2999-01-01"), "is still to come"),
    ],
)
def test_a_mistake_says_what_is_wrong_and_writes_nothing(call, arguments, said):
    done = call("add", *arguments)
    assert done.exit_code == 2
    assert said in done.stderr
    assert "{" not in done.stderr  # words, not a program's own data
    assert "Traceback" not in done.stderr
    assert entries(call.folder) == []


def test_a_kind_that_does_not_exist_is_told_and_not_taken_for_an_empty_list(call):
    assert call("list", "--kind", "note").exit_code == 0
    done = call("list", "--kind", "notes")
    assert (done.exit_code, "--kind: 'notes' is no kind of entry: one of" in done.stderr) == (2, True)


def test_an_entry_that_is_not_there_and_a_folder_that_is_not_there(call):
    assert "leafweather log list shows their names" in call("edit", "0123456789", "note=x").stderr
    missing = CliRunner().invoke(app, ["log", "list", str(call.folder / "farm.toml"), "--data", "/nowhere"])
    assert missing.exit_code == 2
    assert "there is no folder /nowhere" in missing.stderr


def test_planned_work_may_be_to_come_and_is_local_time(call):
    done = call("add", "planned_work", "what=cleaning", "until=2998-01-02T12:00", "zones=room,row",
                "series=tank/solution_ph", "--at", "2998-01-02T09:00", "--by", "kim")  # fmt: skip
    assert done.exit_code == 0, done.output
    [entry] = entries(call.folder)
    assert entry.detail.until.isoformat() == "2998-01-02T11:00:00+00:00"
    assert (entry.detail.zones, entry.detail.series) == (("room", "row"), ("tank/solution_ph",))
    earlier = call("edit", entry.identity, "until=2998-01-02T10:00")
    assert earlier.exit_code == 0, earlier.output
    assert "version 2" in earlier.output
    assert "  2998-01-02 09:00  planned_work  what=cleaning  until=2998-01-02T10:00  zones=" in call("list").output


def test_a_harvest_and_a_move_with_photos(call):
    done = call("add", "harvest", "batch=b-1", "fresh_kg=12.5", "zone=row", "photos=row 1 (left).jpg,IMG_2.png")
    assert done.exit_code == 0, done.output
    assert call("add", "moved", "batch=b-1", "to_zone=row", "from_zone=room", "plants=40").exit_code == 0
    harvest, moved = entries(call.folder)
    assert (harvest.detail.fresh_kg, harvest.detail.photos) == (12.5, ("row 1 (left).jpg", "IMG_2.png"))
    assert (moved.detail.to_zone, moved.detail.plants) == ("row", 40)


def test_an_entry_is_not_written_into_the_journal_of_another_farm(call):
    with Journal(f"sqlite:///{call.folder}/journal.sqlite") as journal:
        journal.note_description("otherfarm", "hash", "its text", 0)
    refused = call("add", *CALIBRATION)
    assert refused.exit_code == 2
    assert "is that of otherfarm, not of testfarm" in refused.output
    assert entries(call.folder) == []
    with Journal(f"sqlite:///{call.folder}/journal.sqlite") as journal:
        journal.note_description("testfarm", "hash", "its text", 0)
    assert call("add", *CALIBRATION).exit_code == 0
