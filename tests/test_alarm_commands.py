"""``leafweather alarms`` as a person calls it."""

from __future__ import annotations

import time

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.alarm_entries import AlarmEntry, Priority
from store.journal import Journal
from tests.conftest import SMALL_FARM

HOUR_US = 3_600_000_000
HOT = "out_of_band/room/air_temperature/high"


@pytest.fixture
def call(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM)
    onset_us = time.time_ns() // 1000 - 3 * HOUR_US
    detail = {"what": "Air temperature", "where": "Room", "text": "Air temperature in Room is too high.",
              "first_step": "Look at the cooling.", "also": ["Row"],
              "likely": [{"cause": "cooling_lost", "label": "The cooling is lost", "probability": 0.8}]}  # fmt: skip
    standing = AlarmEntry("testfarm", HOT, onset_us, onset_us + 60_000_000, None, Priority.HIGH, "g", detail=detail)
    gas = "co2_danger/room/co2_mole_fraction"
    over = AlarmEntry("testfarm", gas, onset_us, onset_us, onset_us + HOUR_US, Priority.HIGHEST, "h",
                      detail={"what": "CO2", "where": "Room", "text": "CO2 is dangerous."})  # fmt: skip
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.alarms.replace("testfarm", HOT, 0, [standing])
        journal.alarms.replace("testfarm", gas, 0, [over])

    def call(action, *arguments):
        return CliRunner().invoke(app, ["alarms", action, str(file), *arguments, "--data", str(tmp_path)])

    call.standing, call.over = standing.identity, over.identity
    return call


def test_what_stands_and_what_was(call):
    first, second = call("list").output.splitlines()
    assert call.standing in first
    assert "high, unacknowledged  Air temperature in Room is too high. Also in Row." in first
    assert "highest, returned unacknowledged  CO2 is dangerous." in second
    assert len(call("list", "--days", "1").output.splitlines()) == 2
    assert call("list", "--days", "0.01").output.splitlines()[0].startswith(call.standing)


def test_acts_are_written_with_their_name_and_shown(call):
    done = call("act", call.standing, "shelve", "--hours", "4", "--why", "filter change", "--by", "kim")
    assert done.exit_code == 0, done.output
    assert "shelved" in done.output
    shown = call("show", call.standing).output
    assert "First step: Look at the cooling." in shown
    assert "Likely, 80 %: The cooling is lost" in shown
    assert "by kim: filter change" in shown
    assert "unacknowledged" in call("act", call.standing, "unshelve", "--by", "kim").output
    assert "highest, normal" in call("act", call.over, "acknowledge", "--by", "kim").output
    assert call.over not in call("list").output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nothing", "acknowledge"), "there is no alarm 'nothing'"),
        (("STANDING", "shelve", "--hours", "4"), "Give the reason"),
        (("STANDING", "shelve", "--why", "x"), "Give the end of shelving"),
        (("STANDING", "shelve", "--why", "x", "--hours", "1000"), "within 7 days"),
        (("OVER", "out-of-service", "--why", "x"), "people's safety"),
        (("STANDING", "forget"), "forget"),
    ],
)
def test_a_mistake_says_what_is_wrong_and_writes_nothing(call, arguments, said):
    names = {"STANDING": call.standing, "OVER": call.over}
    done = call("act", *(names.get(one, one) for one in arguments), "--by", "kim")
    assert done.exit_code == 2
    assert said in done.stderr
    assert "unacknowledged" in call("list").output


def test_the_report(call):
    said = call("report", "--days", "10").output
    assert said.startswith("2 alarms in 10 days; 0 more were suppressed by design.")
    assert "A day: 0.2 (acceptable up to 144)." in said
    assert "By priority: high 1, highest 1." in said
    assert "1 times, 50 %: Air temperature, Room" in said
    assert "--end: found 'soon'" in call("report", "--end", "soon").stderr


def test_a_folder_without_a_journal(call, tmp_path):
    (tmp_path / "empty").mkdir()
    done = CliRunner().invoke(app, ["alarms", "list", str(tmp_path / "farm.toml"), "--data", str(tmp_path / "empty")])
    assert done.exit_code == 2
    assert "there is no journal in" in done.stderr


def test_what_shelving_lacks_is_told_by_its_option(call):
    assert call("act", call.standing, "shelve", "--hours", "4").stderr.startswith("--why: ")
    assert call("act", call.standing, "shelve", "--why", "x").stderr.startswith("--hours: ")
    assert call("act", call.standing, "shelve", "--why", "x", "--hours", "999").stderr.startswith("--hours: ")


def test_days_are_more_than_none(call):
    refused = call("list", "--days", "-1")
    assert refused.exit_code == 2
    assert "--days" in refused.stderr


def test_no_alarm_is_not_said_of_a_farm_that_the_folder_does_not_know(call, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text(SMALL_FARM.replace('name = "testfarm"', 'name = "elsewhere"'))
    for action in ("list", "report"):
        done = CliRunner().invoke(app, ["alarms", action, str(other), "--data", str(tmp_path)])
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr == (
            f"{tmp_path}: no service has watched the farm elsewhere in this folder: check [farm] name, or name another "
            "folder with --data\n"
        )
