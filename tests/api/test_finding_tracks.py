"""The tracks that show a finding's evidence."""

from __future__ import annotations

import pytest

from analytics.findings.indicator import SPECS
from api.finding_tracks import MOST_TRACKS, SEEN_IN, EvidenceTracks
from farm.causes import Place
from farm.quantities import QUANTITIES
from farm.readings import Series
from simulator.demo import demo_farm

DERIVED = [
    "room/humidity_ratio", "supply/humidity_ratio", "room/dew_point_temperature", "room/flow_rate/condensate",
    "row-1/humidity_ratio", "row-2/humidity_ratio", "row-3/humidity_ratio", "row-4/humidity_ratio",
]  # fmt: skip


WORDS = {"own", "own_drip", "drip", "return", "feed_temperature", "top_up", "nutrient", "acid", "base"}
WHERE = {"room", "rows", "supply", "outdoors", "tank", "elsewhere", "own", "others", "any"}


def found(*indicators, places=()):
    farm = demo_farm()
    known = [Series.parse(farm.name, key) for key in (*(one.key for one in farm.series), *DERIVED, "feed/solution_ec")]
    pieces = [{"indicator": f"{name}@now", "place": place} for name, place in indicators]
    other = {"for": [{"indicator": "ph@now", "place": ""}]}
    return EvidenceTracks(farm, known).of({"causes": [{"for": pieces, "places": places}, other]})


def test_every_indicator_has_its_tracks_of_quantities_that_there_are():
    assert SEEN_IN.keys() == SPECS.keys()
    for name, text in SEEN_IN.items():
        lines = [line for track in text.split() for line in track.split(":")]
        assert any(line.startswith("own") for line in lines) == (SPECS[name].place is not Place.FARM), name
        for line in lines:
            where, _, quantity = line.partition("/")
            assert where in WHERE and quantity.split("/")[0] in QUANTITIES if quantity else where in WORDS, name


@pytest.mark.parametrize(
    ("name", "place", "told"),
    [
        ("coil_drying", "", [["room/humidity_ratio", "supply/humidity_ratio"]]),
        (
            "supply_above_dew_point",
            "",
            [["supply/air_temperature", "room/dew_point_temperature"], ["room/compressor_on"]],
        ),
        ("condensate", "", [["room/flow_rate/condensate"]]),
        ("row_temperature", "row-3", [["row-3/air_temperature", "row-1/air_temperature", "row-2/air_temperature"]]),
        ("dark_commanded", "row-2", [["row-2/ppfd"], ["row-2/lights_on"]]),
        ("series_step", "room/air_temperature", [["room/air_temperature"]]),
        ("series_step", "room/not_there", []),
        ("purge_share", "", []),
        ("heard", "", []),
        ("nutrient_ml", "", [["reservoir/dosed_volume/nutrient-a", "reservoir/dosed_volume/nutrient-b"]]),
        ("acid_response", "", [["reservoir/solution_ph"], ["reservoir/dosed_volume/acid"]]),
        ("flow", "", [["reservoir/flow_rate"], ["reservoir/pump_on"]]),
        ("topped_up", "", [["feed/metered_volume"]]),
        ("feed_temperature", "", [["feed/solution_temperature"]]),
        ("solution_temperature", "", [["reservoir/solution_temperature"]]),
        ("feed_ec", "", [["feed/solution_ec"]]),
    ],
)
def test_evidence_is_seen_on_the_tracks_of_what_it_is_made_from(name, place, told):
    assert found((name, place)) == told


def test_of_doses_those_of_the_findings_own_bottle_come_first():
    told = found(("nutrient_ml", ""), places=["nutrient-b"])
    assert told == [["reservoir/dosed_volume/nutrient-b", "reservoir/dosed_volume/nutrient-a"]]


def test_a_track_of_which_another_shows_all_is_left_out():
    told = found(("dark_commanded", "row-2"), ("light_sibling", "row-2"))
    assert told == [["row-2/lights_on"], ["row-2/ppfd", "row-1/ppfd", "row-3/ppfd"]]


def test_each_track_is_told_once_the_strongest_evidence_first_and_not_too_many():
    several = [("ec", ""), ("ec_drift", ""), ("co2", ""), ("level", ""), ("oxygen", ""), ("ph", ""), ("power", "")]
    told = found(*several)
    assert told[:3] == [["reservoir/solution_ec"], ["room/co2_mole_fraction"], ["reservoir/solution_level"]]
    assert len(told) == MOST_TRACKS
