"""`leafweather store copy` as a person calls it: what it says, and its exit status."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.embedded import EmbeddedStore
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, StandIn
from tests.store.words import AIR, VPD, columns, everything, reading


def run(*arguments):
    return CliRunner().invoke(app, ["store", "copy", *arguments])


@pytest.fixture
def folders(tmp_path):
    """The URLs of a filled store and of an empty one."""
    for name in ("from", "to"):
        (tmp_path / name).mkdir()
    with EmbeddedStore(tmp_path / "from") as store:
        store.append([reading(time * 1_000_000) for time in range(10)])
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
    return (tmp_path / "from").as_uri(), (tmp_path / "to").as_uri()


def test_a_copy_says_what_it_did_and_ends_with_0(folders, tmp_path):
    done = run(*folders, "--farm", "north")
    assert done.exit_code == 0, done.output
    assert "room/air_temperature: 10 readings, 10 copied, 0 there already, 0 in conflict; the same" in done.stdout
    assert "11 readings of 2 series are the same on both sides." in done.stdout
    with EmbeddedStore(tmp_path / "to") as store:
        assert len(everything(store, AIR)) == 10


def test_start_and_end_bound_the_copy(folders):
    done = run(*folders, "--farm", "north", "--start", "1970-01-01T00:00:02Z", "--end", "1970-01-01T01:00:05+01:00")
    assert done.exit_code == 0, done.output
    assert "room/air_temperature: 3 readings, 3 copied" in done.stdout
    assert "vapour" not in done.stdout


def test_a_conflict_is_shown_and_ends_with_1(folders, tmp_path):
    with EmbeddedStore(tmp_path / "to") as store:
        store.append([reading(3_000_000, 99.0)])
    done = run(*folders, "--farm", "north")
    assert done.exit_code == 1, done.output
    assert "1 in conflict; NOT the same" in done.stdout
    assert "conflict at 1970-01-01T00:00:03Z: the source has 20.0 (flag 1), the target keeps" in done.stdout
    assert "source: 10 readings, checksum " in done.stdout
    assert "1 of 2 series differ." in done.stderr


def test_a_copy_to_a_server_and_back(folders, tmp_path, monkeypatch):
    monkeypatch.setenv("LEAFWEATHER_INFLUX_TOKEN", TOKEN)
    with StandIn() as server:
        bucket = f"influx+{server.url}/{ORG}/{BUCKET}"
        there, back = run(folders[0], bucket, "--farm", "north"), run(bucket, folders[1], "--farm", "north")
    assert (there.exit_code, back.exit_code) == (0, 0), there.output + back.output
    assert TOKEN not in there.output
    with EmbeddedStore(tmp_path / "from") as one, EmbeddedStore(tmp_path / "to") as other:
        assert everything(one, AIR) == everything(other, AIR)
        assert everything(one, VPD) == everything(other, VPD)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"farm": "east"}, "the source holds no readings of a farm 'east' in that range"),
        ({"start": "yesterday"}, "--start yesterday: "),
        ({"start": "2026-03-01T00:00:00"}, "has no time zone"),
        ({"start": "2026-03-01T00:00:00Z", "end": "2026-02-01T00:00:00Z"}, "is not before --end"),
        ({"source": "nowhere"}, "'nowhere' names no store"),
        ({"source": "file:///nowhere/at/all"}, "there is no such folder"),
        ({"target": "influx+http://127.0.0.1:1/org/bucket"}, "set LEAFWEATHER_INFLUX_TOKEN"),
        ({"target": "same"}, "SOURCE and TARGET are the same store"),
    ],
)
def test_a_bad_call_ends_with_2_and_one_message(folders, monkeypatch, change, message):
    monkeypatch.delenv("LEAFWEATHER_INFLUX_TOKEN", raising=False)
    source, target = change.get("source", folders[0]), change.get("target", folders[1])
    options = [word for name in ("start", "end") if name in change for word in (f"--{name}", change[name])]
    done = run(source, source if target == "same" else target, "--farm", change.get("farm", "north"), *options)
    assert done.exit_code == 2
    assert message in done.stderr
    assert "Traceback" not in done.output
    assert done.stdout == ""
