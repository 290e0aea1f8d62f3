"""Published starting bands: every value has its source, and every block is a good part of a farm.toml."""

from __future__ import annotations

import tomllib

import pytest
from typer.testing import CliRunner

from farm.check import check_text
from farm.crops import Crop
from farm.published_plans import published_plan, published_plans
from leafweather.cli import app

FARM = """
[farm]
name = "small"
title = "Small farm"
timezone = "Europe/Oslo"

[zones.row]
kind = "growing_row"
label = "Row"
crop = "{crop}"
phase = "{phase}"

[[series]]
zone = "row"
quantity = "air_temperature"

"""


def test_there_are_plans_for_the_common_crops():
    assert set(published_plans()) >= {"lettuce", "basil", "leafy-greens", "strawberry"}


@pytest.mark.parametrize("name", published_plans())
def test_a_block_pasted_into_a_farm_passes_its_check(name):
    block = published_plan(name)
    [(crop, described)] = tomllib.loads(block)["crops"].items()
    assert crop == name
    assert "starting point to be changed" in described["source"]
    [phase] = described["phases"]
    farm, mistakes = check_text(FARM.format(crop=crop, phase=phase) + block)
    assert mistakes == []
    assert isinstance(farm.crops[crop], Crop)
    assert farm.crops[crop].phases[phase].daily_light_integral is not None


@pytest.mark.parametrize("name", published_plans())
def test_no_value_stands_without_its_source(name):
    sourced, values = False, 0
    for line in published_plan(name).splitlines():
        if line.startswith("# source: "):
            sourced = True
        elif "=" in line and not line.startswith(("#", "label", "source")):
            assert sourced, f"{name}: {line} has no source above it"
            sourced, values = False, values + 1
        elif not line.startswith("#"):
            sourced = False
    assert values >= 2


@pytest.mark.parametrize("name", published_plans())
def test_what_is_not_published_is_not_shipped(name):
    # bands of VPD are in nobody's table that we could see
    assert "vapour_pressure_deficit" not in published_plan(name)


def test_figures_are_those_of_their_sources():
    """Horticulturae 6(1):7, Plants 13(5):652, Cornell handbook (secondary copies), Foods 11:1327, Ohio State."""
    crops = {name: tomllib.loads(published_plan(name))["crops"][name]["phases"] for name in published_plans()}
    lettuce = crops["lettuce"]["growing-on"]
    assert lettuce["daily_light_integral"] == [12.0, 17.0]
    assert lettuce["bands"]["solution_ec"]["always"] == [1.15, 1.25]
    assert lettuce["bands"]["solution_ph"]["always"] == [5.6, 6.0]
    for part, set_point in (("lit", 24.0), ("dark", 19.0)):
        low, high = lettuce["bands"]["air_temperature"][part]
        assert (low + high) / 2 == set_point
    assert lettuce["bands"]["co2_mole_fraction"]["lit"][1] == 1500
    basil = crops["basil"]["growing-on"]["bands"]
    for quantity, middle, either_way in (("solution_ec", 1.2, 0.2), ("solution_ph", 6.8, 0.4)):
        assert basil[quantity]["always"] == pytest.approx([middle - either_way, middle + either_way])
    assert basil["dissolved_oxygen"]["always"][0] == 6.5
    assert crops["leafy-greens"]["growing-on"]["daily_light_integral"][0] == 12.0
    strawberry = crops["strawberry"]["fruiting"]
    assert strawberry["daily_light_integral"] == [20.0, 25.0]
    assert strawberry["bands"]["air_temperature"] == {"lit": [20.0, 24.0], "dark": [10.0, 12.0]}


def test_the_command_lists_and_prints():
    listed = CliRunner().invoke(app, ["farm", "crops"])
    assert listed.exit_code == 0
    for name in published_plans():
        assert name in listed.output
    printed = CliRunner().invoke(app, ["farm", "crops", "lettuce"])
    assert printed.exit_code == 0
    assert printed.output.rstrip("\n") == published_plan("lettuce").rstrip("\n")


def test_an_unknown_crop_is_a_bad_call():
    result = CliRunner().invoke(app, ["farm", "crops", "letuce"])
    assert result.exit_code == 2
    assert "no published plan for the crop 'letuce'. Did you mean lettuce?" in result.stderr
    assert "Traceback" not in result.output
