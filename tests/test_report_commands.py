"""`leafweather report` as a person calls it: what it writes, what it refuses, and its exit status."""

from __future__ import annotations

from datetime import date

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.entries import DaySheetEntry
from tests.api.conftest import NOW_US, SHEET
from tests.conftest import SMALL_FARM

BATCH = """
[[batches]]
name = "cress-1"
crop = "cress"
sown = 2026-03-01
stays = [{ zone = "row", phase = "growing", entered = 2026-03-01T00:00:00Z, left = 2026-03-02T00:00:00Z }]
"""


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    from store.embedded import EmbeddedStore
    from store.journal import Journal
    from tests.api.conftest import fill

    folder = tmp_path_factory.mktemp("farm")
    (folder / "farm.toml").write_text(SMALL_FARM + BATCH)
    (folder / "data").mkdir()
    with EmbeddedStore(folder / "data") as store, Journal(f"sqlite:///{folder}/data/journal.sqlite") as journal:
        fill(store, journal)
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), NOW_US, "feedfacecafe", SHEET))
    return folder


def run(farm, of, name, out, *options, data="data"):
    command = ["report", of, str(farm / "farm.toml"), name, "--out", str(out), "--data", str(farm / data), *options]
    return CliRunner().invoke(app, command)


@pytest.mark.parametrize(("of", "name"), [("day", "2026-03-01"), ("week", "2026-W09"), ("batch", "cress-1")])
@pytest.mark.parametrize(("ending", "begins"), [("html", b"<!DOCTYPE html>"), ("pdf", b"%PDF-")])
def test_each_report_in_each_format(farm, tmp_path, of, name, ending, begins):
    out = tmp_path / f"report.{ending}"
    done = run(farm, of, name, out)
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith(f"{out}: {of.capitalize()} report: ")
    assert out.read_bytes().startswith(begins)
    assert [one.name for one in tmp_path.iterdir()] == [out.name], "nothing is left beside it"


def test_a_file_that_is_there_is_replaced_only_when_asked(farm, tmp_path):
    out = tmp_path / "day.html"
    out.write_text("mine")
    done = run(farm, "day", "2026-03-01", out)
    assert (done.exit_code, out.read_text()) == (2, "mine")
    assert "is there already: name another file, or replace it with --overwrite." in done.stderr
    assert run(farm, "day", "2026-03-01", out, "--overwrite").exit_code == 0
    assert out.read_text().startswith("<!DOCTYPE html>")


def test_one_clear_message_and_no_file(farm, tmp_path):
    for of, name, out, said in [
        ("day", "2026-03-01", "day.doc", "a report is written as .html or .pdf"),
        ("day", "2026-03-01", "day", "a report is written as .html or .pdf"),
        ("day", "1 March", "day.pdf", "'1 March' is no day"),
        ("day", "2025-03-01", "day.pdf", "There is no day sheet of 2025-03-01: this farm has 1"),
        ("day", "2999-03-01", "day.pdf", "2999-03-01 has not begun"),
        ("week", "march", "week.pdf", "'march' is no week"),
        ("batch", "cres-1", "batch.pdf", "Did you mean cress-1?"),
        ("day", "2026-03-01", "no/such/folder/day.pdf", "there is no folder"),
    ]:
        done = run(farm, of, name, tmp_path / out)
        assert done.exit_code == 2, (name, done.output)
        assert said in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_without_readings_is_named(farm, tmp_path):
    done = run(farm, "day", "2026-03-01", tmp_path / "day.pdf", data="elsewhere")
    assert done.exit_code == 2
    assert "no service has kept readings in this folder: name another one with --data" in done.stderr
