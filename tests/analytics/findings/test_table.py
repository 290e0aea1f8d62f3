from __future__ import annotations

import math
from importlib.resources import files

import numpy as np
import pytest

from analytics.findings.checks import CHECKS, moved_by, next_check
from analytics.findings.explaining import can_lie_behind
from analytics.findings.indicator import SPECS
from analytics.findings.model import LEVEL_NAMES, Table, signs_from_text, table_as_text, table_from_text
from analytics.findings.weighing import Hypothesis
from farm.causes import ANY, BY_NAME, CAUSES
from farm.quantities import QUANTITIES
from farm.readings import Series
from simulator.demo import demo_farm


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
    what, shows = next_check(["drying_lost", "cooling_at_dew_point"])
    assert "drain" in what
    assert shows["drying_lost"] != shows["cooling_at_dew_point"]


def test_the_next_check_says_what_it_shows_under_further_causes_too():
    what, shows = next_check(["nutrient_stock_empty", "ec_compensation_wrong", "doser_line_air", "circuit_lost"])
    assert "bottles" in what
    assert shows == {
        "nutrient_stock_empty": "a bottle is empty", "ec_compensation_wrong": "full bottles and lines",
        "doser_line_air": "bubbles in a line",
    }  # fmt: skip


# What has no say in a quantity, in words that any check of it would use: common practice, no source.
AIR_WORDS = ("coil", "supply air", "hygrometer", "thermometer", "compressor", "row's fan", "purge", "heater", "louvres")
SOLUTION_WORDS = (
    "bottles",
    "dose",
    "pH",
    "EC",
    "emitters",
    "pump",
    "sump",
    "filter",
    "top-up",
    "level",
    "feed water",
    "tray",
)
LIGHT_WORDS = ("lamps", "the light by hand", "crop plan")
GAS_WORDS = ("CO2",)
NOTHING_TO_DO_WITH = {
    "relative_humidity": (*SOLUTION_WORDS, *LIGHT_WORDS, *GAS_WORDS),
    "air_temperature": (*SOLUTION_WORDS, *LIGHT_WORDS, *GAS_WORDS, "hygrometer", "drain"),
    "solution_ec": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "pH probe", "hand meter pH", "emitters", "tray", "sump"),
    "solution_ph": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "EC probe", "emitters", "tray", "sump", "top-up", "drain"),
    "solution_level": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "bottles", "dose", "pH", "EC ", "emitters", "tray"),
    "flow_rate": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "bottles", "dose", "pH", "EC ", "tray", "sump", "feed water"),
    "normalised_output": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "bottles", "dose", "pH", "EC ", "emitters", "tray"),
    "ppfd": (*AIR_WORDS, *SOLUTION_WORDS, *GAS_WORDS),
    "co2_mole_fraction": (
        *SOLUTION_WORDS,
        *LIGHT_WORDS,
        "coil",
        "supply air",
        "hygrometer",
        "thermometer",
        "row's fan",
    ),
    "float_switch_closed": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "bottles", "dose", "pH", "EC ", "emitters"),
    "solution_temperature": (*AIR_WORDS, *LIGHT_WORDS, *GAS_WORDS, "bottles", "dose", "pH", "EC ", "emitters", "tray"),
}
SYMPTOMS = sorted({symptom for one in CAUSES for symptom in one.symptoms if symptom != "any"})


def leading(symptom):
    """Return the causes that can lead for an excursion."""
    return [one.name for one in CAUSES if symptom in one.symptoms or one.symptoms == ANY]


@pytest.mark.parametrize("symptom", [*SYMPTOMS, "solution_temperature high", "dissolved_oxygen low"])
def test_every_cause_that_can_lead_for_a_quantity_has_a_check_that_bears_on_it(symptom):
    quantity = symptom.split()[0]
    for first in leading(symptom):
        bearing = [one for one in CHECKS if one.bears({quantity}) and first in one.shows]
        assert bearing, first
        if BY_NAME[first].symptoms != ANY and first != "lights_off_surge":
            assert any(one.bears_on is not None for one in bearing), (first, "only what is true of any quantity")
        for second in [one for one in leading(symptom) if one != first]:
            what, shows = next_check([first, second], {quantity})
            told = [one for one in CHECKS if one.what == what]
            assert all(one.bears({quantity}) for one in told), (first, second, what)
            assert (told and shows[first] != shows[second]) or what == BY_NAME[first].check


@pytest.mark.parametrize("quantity", NOTHING_TO_DO_WITH)
def test_no_check_sends_anybody_to_what_has_no_say_in_the_quantity(quantity):
    for symptom in {one for one in (*SYMPTOMS, f"{quantity} high") if one.split()[0] == quantity}:
        for first in leading(symptom):
            for second in leading(symptom):
                what, _ = next_check([first, second], {quantity})
                if what != BY_NAME[first].check:
                    assert not any(word in what for word in NOTHING_TO_DO_WITH[quantity]), (first, second, what)


def test_nobody_is_sent_to_the_coil_for_a_low_ec():
    what, shows = next_check(["circuit_lost", "sensor_stuck"], {"solution_ec"})
    assert what == "Look at the breakers: is one off?"
    assert shows == {"circuit_lost": "one is off", "sensor_stuck": "all are on"}


@pytest.mark.parametrize(
    ("part", "key", "side", "can"),
    [
        ("doser", "reservoir/solution_ec", "low", True),
        ("lights", "reservoir/solution_ec", "low", False),
        ("air_conditioner", "reservoir/solution_ph", "high", False),
        ("air_conditioner", "room/relative_humidity", "high", True),
        ("doser", "room/relative_humidity", "high", False),
    ],
)
def test_a_lost_circuit_lies_behind_what_hangs_on_it(part, key, side, can):
    farm = demo_farm()
    hypothesis = Hypothesis("circuit_lost", part, "")
    assert can_lie_behind(farm, hypothesis, Series.parse(farm.name, key), side) is can


def test_a_lost_circuit_moves_what_hangs_on_it():
    assert "solution_ec" in moved_by("circuit_lost", "doser", "")
    assert "solution_ec" not in moved_by("circuit_lost", "air_conditioner", "")
    assert moved_by("sensor_stuck", "", "ppfd") == {"ppfd"}
    assert moved_by("mains_lost", "", "") is None


def test_without_a_rival_the_next_check_is_the_causes_own():
    assert next_check(["acid_empty"]) == (BY_NAME["acid_empty"].check, {})
