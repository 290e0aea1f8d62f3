"""Documentation is held to the code: what is named here must exist, and what exists must be named."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import textwrap
import time
from enum import StrEnum
from pathlib import Path
from typing import Literal, get_args, get_origin

import pytest
import typer

import analytics
from analytics import saturation
from analytics.findings.indicator import SPECS
from api.app import House, create_app
from farm.alarm_words import AlarmState
from farm.causes import CAUSES
from farm.check import check_text
from farm.description import Farm
from farm.model import Described
from farm.quantities import QUANTITIES
from leafweather.cli import app as cli
from leafweather.settings import Settings
from tests.conftest import SMALL_FARM
from watch.alarm_rules import BANDS, CHANGES, KINDS
from watch.webhook import SIGNATURE, TIMESTAMP, signature

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
    # their helpers take arrays by other names
    building_blocks = {"analytics.saturation", "analytics.alignment", "analytics.flagging"}
    formulas = [f for f in public_functions() if f.__module__ not in building_blocks]
    named = quoted("nomenclature.md")
    missing = {
        f"{f.__name__}({name})" for f in formulas for name in inspect.signature(f).parameters if name not in named
    }
    assert not missing


def test_findings_page_holds_every_cause_and_every_indicator():
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \|.*\| (.*?) \|$", text("findings.md"), re.MULTILINE)
    written = {name: (label, last) for name, label, last in rows}
    assert written.keys() == {one.name for one in CAUSES} | SPECS.keys()
    for cause in CAUSES:
        assert written[cause.name] == (cause.label, cause.check)
    for name, spec in SPECS.items():
        assert written[name] == (spec.label, "its own past" if spec.reference is None else f"{spec.reference:g}")


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


def test_settings_page_names_every_setting_with_its_default():
    rows = dict(re.findall(r"^\| `LEAFWEATHER_([A-Z_]+)` \| (.*?) \|", text("settings.md"), re.MULTILINE))
    fields = {name.upper(): field.default for name, field in Settings.model_fields.items()}
    assert rows.keys() == fields.keys()
    for name, default in fields.items():
        written = rows[name].strip("`")
        if default is not None:
            assert written == (str(default).lower() if isinstance(default, bool) else str(default)), name


def test_api_page_names_every_route():
    app = create_app(House(check_text(SMALL_FARM)[0], "hash", None, None, dict, lambda: 0))
    written = set(re.findall(r"^\| `(/api/v1/\S+)` \|", text("api.md"), re.MULTILINE))
    assert written == app.openapi()["paths"].keys()


def commands(group, name=""):
    if hasattr(group, "commands"):
        return [found for key, one in group.commands.items() for found in commands(one, f"{name} {key}")]
    return [name.strip()]


def test_commands_page_names_every_command_and_each_help_has_an_example():
    group = typer.main.get_command(cli)
    written = set(re.findall(r"^\| `leafweather ([a-z ]+)` \|", text("commands.md"), re.MULTILINE))
    assert written == set(commands(group))
    for name in written:
        command = group
        for part in name.split():
            command = command.commands[part]
        assert command.epilog, f"leafweather {name} --help shows no example"
        assert command.epilog.startswith(f"Example: leafweather {name}"), name


def test_readme_shows_the_two_commands_and_the_links_of_the_readme_lead_somewhere():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "make demo" in readme
    assert "make test" in readme
    for page in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#\s]+)\)", (ROOT / page).read_text(encoding="utf-8")):
            assert (ROOT / target).exists(), f"{page} links to {target}, which does not exist"


def test_the_first_farm_has_no_mistakes():
    farm, mistakes = check_text(text("first-farm.toml"))
    assert mistakes == []
    assert len(farm.series) == 6


def test_alarms_page_holds_every_rule_and_its_reason():
    rows = [re.split(r" *\| *", line)[1:-1] for line in text("alarms.md").splitlines() if line.startswith("| `")]
    bands = [["`" + quantity + "`", side, str(priority), why] for (quantity, side), (priority, why) in BANDS.items()]
    assert [row for row in rows if len(row) == 4 and row[1] in ("low", "high")] == bands
    kinds = {row[0].strip("`"): (row[1], row[-1]) for row in rows if len(row) == 5}
    assert kinds == {str(kind): (str(usual.priority), usual.why) for kind, usual in KINDS.items()}
    assert [state for state in AlarmState if f"| `{state}` |" not in text("alarms.md")] == []
    assert CHANGES.keys() <= {row[0].strip("`") for row in rows if len(row) == 4 and row[-1].endswith("min")}


def parts_of_the_description():
    """Return every part of farm.toml with its heading: walked from the whole, each once."""
    found, waiting = {}, [(Farm, "farm.toml")]
    while waiting:
        model, where = waiting.pop(0)
        if model in found:
            continue
        found[model] = where
        for name, field in model.model_fields.items():
            for inner in models_in(field.annotation):
                many = "[[{}]]" if "list" in str(field.annotation) else "[{}]"
                named = f"{name}.NAME" if "dict" in str(field.annotation) else name
                path = named if where == "farm.toml" else f"{where.strip('[]')}.{named}"
                waiting.append((inner, many.format(path)))
    return [(where, model) for model, where in found.items() if model is not Farm]


def models_in(annotation):
    if isinstance(annotation, type) and issubclass(annotation, Described):
        return [annotation]
    return [model for inner in get_args(annotation) for model in models_in(inner)]


def table_of_keys():
    lines = []
    for where, model in parts_of_the_description():
        lines += [
            f"## `{where}`",
            "",
            model.__doc__.strip().splitlines()[0],
            "",
            "| key | default | what it is |",
            "| --- | --- | --- |",
        ]
        for name, field in model.model_fields.items():
            default = (
                "needed"
                if field.is_required()
                else ""
                if field.default in (None, "") or field.default_factory
                else f"`{field.default}`"
            )
            inner = models_in(field.annotation)
            choices = (
                get_args(field.annotation)
                if get_origin(field.annotation) is Literal and len(get_args(field.annotation)) < 9
                else ()
            )
            if isinstance(field.annotation, type) and issubclass(field.annotation, StrEnum):
                choices = tuple(field.annotation)
            text = field.description or ("see below" if inner else "")
            if choices:
                text = ", ".join(f"`{one}`" for one in choices) + (f": {text}" if text else "")
            lines.append(f"| `{name}` | {default} | {text} |".replace("|  |", "| |"))
        lines.append("")
    return "\n".join(lines)


def test_every_key_of_the_description_is_on_its_page():
    assert table_of_keys().strip() in text("farm-keys.md"), f"docs/farm-keys.md should hold:\n{table_of_keys()}"


def blocks(name, language):
    return re.findall(rf"^ *```{language}\n(.*?)^ *```$", text(name), re.MULTILINE | re.DOTALL)


def test_the_notices_of_the_notices_page_have_no_mistakes():
    described = textwrap.dedent(blocks("notices.md", "toml")[0])
    zones = "".join(f'[zones.row-{n}]\nkind = "growing_row"\nlabel = "Row {n}"\n' for n in (1, 2))
    farm, mistakes = check_text(SMALL_FARM + zones + described)
    assert mistakes == []
    assert set(farm.notices.people) == {"ada", "bo"}


def test_a_receiver_that_follows_the_notices_page_tells_genuine_webhooks_from_others():
    here = {}
    exec(blocks("notices.md", "python")[0], here)
    now, body = str(int(time.time())), b'{"a": 1}'
    headers = {TIMESTAMP: now, SIGNATURE: signature("secret", now, body)}
    old = str(int(time.time()) - 301)
    assert here["genuine"](b"secret", headers, body)
    assert not here["genuine"](b"other", headers, body)
    assert not here["genuine"](b"secret", headers, body + b" ")
    assert not here["genuine"](b"secret", {TIMESTAMP: old, SIGNATURE: signature("secret", old, body)}, body)


def test_the_saturation_curves_on_the_page_are_those_of_the_code():
    rows = re.findall(r"^\| c\d \| (\S+) \| (\S+) \|$", text("science.md"), re.MULTILINE)
    on_the_page = [tuple(map(float, column)) for column in zip(*rows, strict=True)]
    assert on_the_page == [saturation.WATER.coefficients, saturation.ICE.coefficients]
