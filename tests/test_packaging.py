"""What is installed, and what goes into the container's image, is all there is."""

from __future__ import annotations

import configparser
import re
import tomllib
from pathlib import Path

from leafweather.cli import app
from leafweather.settings import Settings

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
PACKAGES = PROJECT["tool"]["setuptools"]["packages"]
NOT_INSTALLED = {"bench", "tests", "docs"}


def files_of(folder):
    found = (one.relative_to(ROOT) for one in (ROOT / folder).rglob("*") if one.is_file())
    return [one for one in found if "__pycache__" not in one.parts]


def test_every_folder_with_code_is_a_package_that_is_installed():
    tops = {one.parent.name for one in ROOT.glob("*/__init__.py")} - NOT_INSTALLED
    assert {".".join(one.parent.parts) for top in tops for one in files_of(top) if one.suffix == ".py"} == set(PACKAGES)


def test_every_other_file_in_a_package_is_installed_with_it():
    data = PROJECT["tool"]["setuptools"]["package-data"]
    folders = {package: Path(*package.split(".")) for package in PACKAGES}
    installed = {
        found.relative_to(ROOT)
        for package, patterns in data.items()
        for pattern in patterns
        for found in (ROOT / folders[package]).glob(pattern)
    }
    inside = {one for folder in folders.values() for one in files_of(folder) if one.suffix != ".py"}
    assert inside - installed == set()


def test_the_image_is_made_of_every_package():
    copied = set(re.findall(r"^COPY (\w+) \1$", (ROOT / "Dockerfile").read_text(), re.MULTILINE))
    assert copied == {package.split(".")[0] for package in PACKAGES}


def test_the_systemd_unit_starts_what_there_is():
    unit = configparser.RawConfigParser(strict=True)
    unit.optionxform = str
    unit.read_string((ROOT / "docs" / "leafweather.service").read_text())
    program, command, file = unit["Service"]["ExecStart"].split()
    assert program.endswith("/leafweather")
    assert file == "/etc/leafweather/farm.toml"
    assert command in {one.callback.__name__ for one in app.registered_commands}
    name, _ = unit["Service"]["Environment"].split("=")
    assert name.removeprefix("LEAFWEATHER_").lower() in Settings.model_fields
