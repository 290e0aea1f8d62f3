"""Every example in the docstrings of analytics and farm runs and shows what it says."""

import doctest
import importlib
import pkgutil

import pytest

import analytics
import farm

MODULES = sorted(
    module.name
    for package in (analytics, farm)
    for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
)
SCIENCE = [
    "air_change",
    "alignment",
    "carbon_dioxide",
    "carbon_dioxide_exposure",
    "condensation",
    "drift",
    "demand",
    "energy",
    "humidity",
    "integrals",
    "light",
    "outliers",
    "persistence",
    "plausibility",
    "psychrometrics",
    "quality",
    "quality_tests",
    "rolling",
    "saturation",
    "siblings",
    "time_in_band",
    "tracer_decays",
    "vapour_pressure_deficit",
]


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0


def test_there_are_examples():
    tried = {name: doctest.testmod(importlib.import_module(f"analytics.{name}")).attempted for name in SCIENCE}
    assert all(tried.values()), tried
    assert sum(doctest.testmod(importlib.import_module(name)).attempted for name in MODULES if "farm" in name) > 0
