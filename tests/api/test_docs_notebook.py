"""The notebook of docs/ runs as it stands on a served farm, with pandas and nothing else, and finds what is right."""

from __future__ import annotations

import ast
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from api.house import Access
from farm.readings import Columns, Reading, Series
from farm.roles import Role
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.api.conftest import HOUR_US, LIGHTS, MINUTE_US, NOW_US
from tests.serving import Served
from watch.judged import JudgedReadings

NOTEBOOK = Path(__file__).parents[2] / "docs" / "ask_the_api.py"
VPD = Series("testfarm", "row", "vapour_pressure_deficit")
WEEK_US = 7 * 24 * HOUR_US
EVERY_US = 10 * MINUTE_US


def test_it_needs_nothing_but_pandas_and_has_cells():
    text = NOTEBOOK.read_text(encoding="utf-8")
    names = {
        (node.module if isinstance(node, ast.ImportFrom) else node.names[0].name).split(".")[0]
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Import | ast.ImportFrom)
    }
    assert names == {"sys", "pandas"}
    assert text.count("\n# %% ") >= 4


def lit(at_us):
    """On from 05:00 to 20:30 UTC, so that one hour a day is neither lit nor dark."""
    minute = at_us // MINUTE_US % 1440
    return 5 * 60 <= minute < 20 * 60 + 30


@pytest.fixture
def farm(house, tmp_path):
    """A week in which VPD is 1.25 kPa while lit and 0.5 while dark; an hour of it is missing."""
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        times = range(NOW_US - WEEK_US, NOW_US, EVERY_US)
        store.append([Reading(LIGHTS, at, float(lit(at)), 1) for at in times])
        missing = range(NOW_US - 30 * HOUR_US, NOW_US - 29 * HOUR_US)  # at 06:00 UTC, lit
        rows = [(at, 1.25 if lit(at) else 0.5, 1) for at in times if at not in missing]
        store.replace(VPD, NOW_US - WEEK_US, NOW_US, Columns.from_rows(rows))
        yield replace(house, store=JudgedReadings("testfarm", store, journal), journal=journal)


@pytest.mark.parametrize("signing_in", [False, True])
def test_it_finds_the_means_by_light_and_dark(farm, tmp_path, signing_in):
    _, token = farm.journal.tokens.make("testfarm", "a notebook", Role.VIEWER, 1, "kim")
    served = Served(replace(farm, access=Access(required=signing_in)))
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-W", "error", NOTEBOOK, served.url, "row", *([token] if signing_in else [])],
            capture_output=True, text=True, timeout=100, check=False, cwd=tmp_path,
        )  # fmt: skip
    finally:
        served.stop()
    assert done.returncode == 0, done.stderr
    words = [line.split() for line in done.stdout.splitlines()]
    # 24 x 7 hours; one is missing, seven are of the evening in which the lights go out at half past.
    assert "7 hours left out" in done.stdout
    assert ["lit", "1.25", str(15 * 7 - 1)] in words, done.stdout
    assert ["dark", "0.50", str(8 * 7)] in words, done.stdout
    assert "mean VPD [kPa]" in done.stdout
    [newest] = [row for row in words if row[0] == "row/vapour_pressure_deficit"]
    assert newest[1:3] == ["1.25", "kPa"]
