"""Documentation is held to the code: what is named here must exist, and what exists must be named."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from pathlib import Path

import pytest

import analytics
from farm.quantities import QUANTITIES

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"


def text(name):
    return (DOCS / name).read_text(encoding="utf-8")


def quoted(name):
    """Return every name that a page sets in backticks, also those of a call: ``f(x)`` names ``f``."""
    return {re.split(r"\W", code, maxsplit=1)[0] for code in re.findall(r"`([^`]+)`", text(name))}


def public_functions():
    modules = [importlib.import_module(f"analytics.{one.name}") for one in pkgutil.iter_modules(analytics.__path__)]
    return [
        function
        for module in modules
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if not name.startswith("_") and function.__module__ == module.__name__
    ]


def test_nomenclature_is_the_registry():
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \| (.*?) \| (.*?) \| (level|state|counter)(, derived)? \|$",
                      text("nomenclature.md"), re.MULTILINE)  # fmt: skip
    written = [
        (name, label, unit, cf.strip().strip("`"), kind, bool(derived)) for name, label, unit, cf, kind, derived in rows
    ]
    registry = [(q.name, q.label, q.unit, q.cf_name or "", str(q.kind), q.derived) for q in QUANTITIES.values()]
    assert written == registry


def test_there_are_functions_to_document():
    assert len(public_functions()) > 20


@pytest.mark.parametrize("function", public_functions(), ids=lambda function: function.__name__)
def test_science_names_every_function(function):
    assert function.__name__ in quoted("science.md"), f"docs/science.md does not name {function.__name__}"


def test_nomenclature_names_every_input_of_the_formulas():
    building_blocks = {"analytics.saturation", "analytics.alignment"}  # their helpers take arrays by other names
    formulas = [f for f in public_functions() if f.__module__ not in building_blocks]
    named = quoted("nomenclature.md")
    missing = {
        f"{f.__name__}({name})" for f in formulas for name in inspect.signature(f).parameters if name not in named
    }
    assert not missing


def test_science_names_every_reference_table():
    tables = {table.name for table in (ROOT / "tests" / "reference").glob("*.csv")}
    named = set(re.findall(r"`(\w+\.csv)`", "\n".join(page.read_text(encoding="utf-8") for page in DOCS.rglob("*.md"))))
    assert tables
    assert tables <= named, f"no page names {sorted(tables - named)}"


@pytest.mark.parametrize("page", sorted(DOCS.rglob("*.md")), ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if "://" not in target and not target.startswith("mailto:"):
            assert (page.parent / target).exists(), f"{page.name} links to {target}, which does not exist"
