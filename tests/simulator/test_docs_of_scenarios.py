"""docs/simulate.md is held to the code: every kind of fault and every key of a scenario."""

from __future__ import annotations

import inspect
import json
import re
from pathlib import Path

import pytest

from simulator import building
from simulator.building import Climate, Lamps, Machines, Planting, Settings, Visits, Walls
from simulator.fault_kinds import NATURES, Aim
from simulator.scenario import DrawnFaults, FarmOf, FaultOf, Scenario, SensorsOf
from simulator.targets import CIRCUITS, DOOR, LOUVRE

PAGE = (Path(__file__).parents[2] / "docs" / "simulate.md").read_text(encoding="utf-8")
PARTS = {
    "walls": Walls, "machines": Machines, "settings": Settings, "planting": Planting, "lamps": Lamps, "visits": Visits,
    "weather": Climate,
}  # fmt: skip
LINE = re.compile(r"^    (\w+): [^=]+ = .+?(?:  # (.*))?$", re.MULTILINE)


def aim_of(nature):
    fixed = {Aim.OPENING: (LOUVRE, DOOR), Aim.CIRCUIT: CIRCUITS}.get(nature.aim, ())
    words = "" if nature.aim is Aim.NOTHING else str(nature.aim)
    if nature.of:
        words += " of " + " or ".join(f"`{one}`" for one in nature.of)
    if fixed:
        words += ": " + ", ".join(f"`{one}`" for one in fixed)
    return words + (", or all" if nature.all else "")


def span(seconds):
    for unit, name in ((86_400, "d"), (3600, "h"), (60, "min")):
        if seconds >= unit:
            return f"{seconds / unit:g} {name}"
    return ""


def table_of_faults():
    lines = [
        "| kind | what happens | target | size: what, and mild, usual, severe | grows over |",
        "| --- | --- | --- | --- | --- |",
    ]
    for kind, nature in NATURES.items():
        sizes = ", ".join(f"{size:g}" for size in nature.sizes)
        lines.append(
            f"| `{kind}` | {nature.does} | {aim_of(nature)} | {nature.size}: {sizes} | {span(nature.ramp_s)} |"
        )
    return "\n".join(lines).replace("|  |", "| |")


def table_of_the_building():
    lines = []
    for name, part in PARTS.items():
        lines += [f"### `[{name}]`", "", part.__doc__.strip().splitlines()[0], "", "| key | default | what it is |"]
        lines.append("| --- | --- | --- |")
        lines += [
            f"| `{key}` | `{json.dumps(getattr(part(), key))}` | {comment} |".replace("|  |", "| |")
            for key, comment in LINE.findall(inspect.getsource(part))
        ]
        lines.append("")
    return "\n".join(lines).strip()


def test_every_kind_of_fault_is_on_the_page():
    assert table_of_faults() in PAGE, f"docs/simulate.md should hold:\n{table_of_faults()}"


def test_every_part_of_the_building_is_on_the_page():
    found = {name for name in vars(building.Building()) if name in PARTS}
    assert found == set(PARTS) - {"weather"}
    assert table_of_the_building() in PAGE, f"docs/simulate.md should hold:\n{table_of_the_building()}"


@pytest.mark.parametrize("model", [Scenario, FarmOf, SensorsOf, FaultOf, DrawnFaults], ids=lambda model: model.__name__)
def test_every_key_of_a_scenario_is_on_the_page(model):
    named = set(re.findall(r"`([a-z_0-9]+)`", PAGE)) | set(re.findall(r"`\[+([a-z_]+)\]+`", PAGE))
    assert set(model.model_fields) <= named
