from __future__ import annotations

import math
from importlib.resources import files

import numpy as np
import pytest

from analytics.findings.checks import CHECKS, next_check
from analytics.findings.indicator import SPECS
from analytics.findings.model import LEVEL_NAMES, Table, signs_from_text, table_as_text, table_from_text
from farm.causes import BY_NAME, CAUSES
from farm.quantities import QUANTITIES


def shipped(name):
    return files("analytics.findings").joinpath(name).read_text("utf-8")


def test_every_cause_has_a_name_of_its_own_and_something_to_check():
    assert len(BY_NAME) == len(CAUSES)
    assert all(one.label and one.check and one.symptoms for one in CAUSES)


def test_symptoms_name_quantities_of_the_registry_and_a_side():
    for cause in CAUSES:
        for symptom in cause.symptoms:
            if symptom != "any":
                quantity, side = symptom.split()
                assert quantity in QUANTITIES, (cause.name, symptom)
                assert side in ("low", "high")


def test_signs_speak_of_causes_and_indicators_that_exist():
    signs = signs_from_text(shipped("signs.toml"))
    assert {cause for cause, _ in signs} <= BY_NAME.keys()
    without = BY_NAME.keys() - {cause for cause, _ in signs}
    assert without == {"lights_off_surge"}  # told from the lights, not from indicators
    for features in signs.values():
        for feature, likelihood in features.items():
            assert feature.split("@")[0] in SPECS
            assert sum(likelihood) == pytest.approx(1.0, abs=1e-9)


def test_the_shipped_table_is_whole():
    table = table_from_text(shipped("likelihoods.csv"))
    assert table.of.keys() == signs_from_text(shipped("signs.toml")).keys()
    for likelihood in [*table.usual.values(), *(one for features in table.of.values() for one in features.values())]:
        assert len(likelihood) == len(LEVEL_NAMES)
        assert math.isclose(sum(likelihood), 1.0, rel_tol=1e-9)
        assert min(likelihood) > 0.0


def test_a_table_survives_being_written_and_read():
    usual = {"ec@now": (0.01, 0.04, 0.05, 0.1, 0.6, 0.1, 0.05, 0.04, 0.01)}
    of = {("dilution_leak", ""): {"ec@now": (0.3, 0.2, 0.2, 0.1, 0.12, 0.02, 0.02, 0.02, 0.02)}}
    weights = {("dilution_leak", ""): {"ec@now": 0.25}}
    read = table_from_text(table_as_text(Table(usual, of, 0.002, 0.7, weights), ["about"]))
    assert (read.prior, read.temper, read.weights) == (0.002, 0.7, weights)
    assert read.usual["ec@now"] == pytest.approx(usual["ec@now"], abs=1e-5)
    assert read.of["dilution_leak", ""]["ec@now"] == pytest.approx(of["dilution_leak", ""]["ec@now"], abs=1e-5)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("dilution_leak,,nonsense@now,.1,.1,.1,.1,.2,.1,.1,.1,.1,1", "no indicator"),
        ("dilution_leak,,ec@now,.1,.1,.1,.1,.9,.1,.1,.1,.1,1", "adding up"),
    ],
)
def test_a_table_with_a_mistake_is_refused(row, told):
    head = ",".join(("cause", "part", "feature", *LEVEL_NAMES))
    with pytest.raises(ValueError, match=told):
        table_from_text(f"{head}\n{row}\n")


def test_ratios_are_logarithms_of_likelihood_over_usual_and_nothing_for_what_is_not_known():
    usual = {"ec@now": (0.1, 0.1, 0.1, 0.1, 0.2, 0.1, 0.1, 0.1, 0.1)}
    leak = {"ec@now": (0.2, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1)}
    table = Table(usual, {("dilution_leak", ""): leak}, 1e-3, 1.0)
    ratios = table.log_ratios(("dilution_leak", ""))["ec@now"]
    assert ratios.tolist() == pytest.approx([math.log(2), 0, 0, 0, math.log(0.5), 0, 0, 0, 0, 0])
    assert np.isfinite(ratios).all()


def test_a_weight_is_a_factor_of_the_logarithm():
    usual = {"ec@now": (0.1, 0.1, 0.1, 0.1, 0.2, 0.1, 0.1, 0.1, 0.1)}
    kind, leak = ("dilution_leak", ""), {"ec@now": (0.2, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1)}
    table = Table(usual, {kind: leak}, 1e-3, 1.0, {kind: {"ec@now": 0.25}})
    assert table.log_ratios(kind)["ec@now"].tolist() == pytest.approx(
        [0.25 * math.log(2), 0, 0, 0, 0.25 * math.log(0.5), 0, 0, 0, 0, 0]
    )


def test_checks_speak_of_causes_that_exist_and_tell_at_least_two_apart():
    for check in CHECKS:
        assert check.shows.keys() <= BY_NAME.keys(), check.what
        assert len(set(check.shows.values())) > 1, check.what


def test_the_next_check_shows_something_else_under_each_of_two_causes():
    what, shows = next_check("drying_lost", "cooling_at_dew_point")
    assert "drain" in what
    assert shows["drying_lost"] != shows["cooling_at_dew_point"]


def test_without_a_rival_the_next_check_is_the_causes_own():
    assert next_check("acid_empty", None) == (BY_NAME["acid_empty"].check, {})
