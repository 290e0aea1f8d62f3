"""The example of docs/ runs as it stands, with pandas and nothing else."""

from __future__ import annotations

import ast

from tests.handover.words import outside
from tests.store.words import ROOT

EXAMPLE = ROOT / "docs" / "read_a_data_set.py"


def test_the_example_needs_nothing_but_pandas():
    names = {
        (node.module if isinstance(node, ast.ImportFrom) else node.names[0].name).split(".")[0]
        for node in ast.walk(ast.parse(EXAMPLE.read_text()))
        if isinstance(node, ast.Import | ast.ImportFrom)
    }
    assert names == {"json", "sys", "pathlib", "pandas"}


def test_the_example_runs(raw, tmp_path):
    done = outside("python", "-I", "-W", "error", str(EXAMPLE), str(raw[0]), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Kim Hill (2026)." in done.stdout
    # outdoors: -5.25, -6.25, -7.25, -8.25 over and over; six readings an hour
    figures = [line.split() for line in done.stdout.splitlines() if line.startswith("outdoors/air_temperature")]
    assert ["96.0", "-6.75"] in [line[1:3] for line in figures], done.stdout
