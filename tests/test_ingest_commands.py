"""``leafweather ingest`` as a person calls it."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import cbor2
import pytest
from typer.testing import CliRunner

from farm.check import check_text
from leafweather.cli import app
from store.entries import UnknownName
from store.journal import Journal
from tests.conftest import SMALL_FARM

AT = "2026-03-01T12:00:00Z"
RULE = """
[[wire.rules]]
topic = "boxes/{zone}"
[[wire.rules.values]]
path = "t"
name = "{zone}/air_temperature"
unit = "K"
"""


@pytest.fixture
def call(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM + RULE)

    def call(topic, payload, *more, **kwargs):
        arguments = ["ingest", "try", str(file), "--topic", topic, "--payload", payload, "--at", AT, *more]
        return CliRunner().invoke(app, arguments, **kwargs)

    call.folder = tmp_path
    return call


def test_a_message_that_is_taken_shows_what_it_becomes_and_why(call):
    done = call("leafweather/x", '[{"n":"yard-1","v":14},{"n":"row/ppfd","u":"umol/m2/s","t":-60,"v":250}]')
    assert done.exit_code == 0, done.output
    for words in (
        "SenML JSON: its first byte says so",
        "taken    outdoors/air_temperature  -10 degC  2026-03-01T12:00:00Z",
        "unit not sent, taken as degF, × 0.555556 + -17.7778 is degC",
        "the time of arrival",
        "taken    row/ppfd  250 umol m-2 s-1  2026-03-01T11:59:00Z",
        "inside its range of 0 to 3000 umol m-2 s-1",
    ):
        assert words in done.output


def test_one_refused_record_makes_it_1_and_says_how_to_mend_it(call):
    done = call("leafweather/x", '[{"n":"row/ppfd","v":250},{"n":"row/pfd","v":1,"u":"V"},{"n":"row/ppfd","vs":"x"}]')
    assert done.exit_code == 1
    assert "taken    row/ppfd" in done.output
    assert "refused  row/pfd  1 V  unknown_name: did you mean row/ppfd?" in done.output
    assert "refused  row/ppfd  wrong_type" in done.output


def test_a_rule_is_named_and_a_topic_outside_the_subscription_is_told(call):
    done = call("boxes/room", '{"t": 293.15}')
    assert (done.exit_code, "JSON, by wire.rules[0], topic 'boxes/{zone}'" in done.output) == (0, True)
    assert "taken    room/air_temperature  20 degC" in done.output
    done = call("crates/room", '[{"n":"row/ppfd","v":250}]')
    assert (done.exit_code, "no message on 'crates/room' reaches us" in done.output) == (1, True)
    assert "taken    row/ppfd" in done.output


def test_the_payload_may_be_a_file_or_standard_input(call):
    (call.folder / "p.cbor").write_bytes(cbor2.dumps([{0: "row/ppfd", 2: 9}]))
    done = call("leafweather/x", f"@{call.folder / 'p.cbor'}")
    assert (done.exit_code, "SenML CBOR" in done.output, "row/ppfd  9 umol" in done.output) == (0, True, True)
    done = call("leafweather/x", "-", input=json.dumps([{"n": "row/ppfd", "v": 8}]))
    assert (done.exit_code, "row/ppfd  8 umol" in done.output) == (0, True)
    done = call("plain/co2", "700", "--content-type", "text/plain")
    assert (done.exit_code, "one bare number" in done.output, "room/co2_mole_fraction  700" in done.output) == (
        0,
        True,
        True,
    )


@pytest.mark.parametrize("payload", ["", "[]", "[{}]"])
def test_a_message_that_holds_nothing_is_not_called_taken(call, payload):
    assert call("leafweather/x", payload).exit_code == 1


@pytest.mark.parametrize(
    ("change", "words"), [("payload", "no-such-file"), ("at", "noon"), ("file", "no readable file")]
)
def test_a_bad_call_is_2_with_one_message(call, change, words):
    payload = "@no-such-file" if change == "payload" else "[]"
    arguments = ["ingest", "try", str(call.folder / ("none.toml" if change == "file" else "farm.toml")), "--topic", "x",
                 "--payload", payload, "--at", "noon" if change == "at" else AT]  # fmt: skip
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("topic", ["leafweather/#", "leafweather/+/x"])
def test_a_topic_on_which_nothing_can_be_published_is_a_bad_call(call, topic):
    done = call(topic, '[{"n":"row/ppfd","v":8}]')
    assert (done.exit_code, "nothing can be published on + or #" in done.stderr) == (2, True)


def test_the_folder_of_unknown_names_comes_from_the_environment_too(tmp_path, monkeypatch):
    (tmp_path / "farm.toml").write_text(SMALL_FARM)
    Journal(f"sqlite:///{tmp_path}/journal.sqlite").close()
    monkeypatch.setenv("LEAFWEATHER_DATA", str(tmp_path))
    done = CliRunner().invoke(app, ["ingest", "unknown", str(tmp_path / "farm.toml")])
    assert (done.exit_code, "no unknown names" in done.stdout) == (0, True)


def test_unknown_names_come_with_a_draft_and_those_described_since_are_left_out(tmp_path):
    file, data = tmp_path / "farm.toml", tmp_path / "data"
    file.write_text(SMALL_FARM)
    data.mkdir()
    call = ["ingest", "unknown", str(file), "--data", str(data)]
    done = CliRunner().invoke(app, call)
    assert (done.exit_code, "holds no journal" in done.stderr, list(data.iterdir())) == (2, True, [])
    with Journal(f"sqlite:///{data}/journal.sqlite") as journal:
        names = [
            UnknownName("row/temp", "leafweather/a", 20.5, "Cel", 1, 2, 1200),
            UnknownName("", "", 3, None, 1, 2, 9),
        ]
        journal.add_unknown_names("testfarm", [*names, UnknownName("yard-1", "leafweather/a", 20.5, "Cel", 1, 2)])
    done = CliRunner().invoke(app, call)
    assert done.exit_code == 0, done.output
    assert "# row/temp on leafweather/a: 1,200 times, last 20.5 Cel" in done.stdout
    assert "further names, not kept apart: 9 times" in done.stdout
    assert "yard-1" not in done.stdout
    farm, mistakes = check_text(SMALL_FARM + done.stdout)
    assert (mistakes, farm.series[-1].wire) == ([], "row/temp")


def test_the_example_of_the_help_is_taken_on_the_first_farm(call):
    first_farm = Path(__file__).parent.parent / "docs" / "first-farm.toml"
    shown = " ".join(CliRunner().invoke(app, ["ingest", "try", "--help"], terminal_width=200).output.split())
    example = shlex.split(shown.partition("Example: leafweather ")[2])
    done = CliRunner().invoke(app, [str(first_farm) if one == "farm.toml" else one for one in example])
    assert done.exit_code == 0, done.output


def test_a_file_of_the_payload_and_a_time_that_cannot_be_used_name_their_option(call):
    done = call("leafweather/x", "@no-such-file")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == "--payload: found '@no-such-file': No such file or directory; give a file that is there\n"
    assert call("leafweather/x", "@").stderr.startswith("--payload: found '@'")
    for wrong in ("2026-03-01T12:00:00", "noon"):
        done = call("leafweather/x", "[]", "--at", wrong)
        assert done.exit_code == 2
        assert done.stderr == f"--at: found {wrong!r}; write ISO 8601 with a zone, as in 2026-03-01T13:30:00Z\n"
