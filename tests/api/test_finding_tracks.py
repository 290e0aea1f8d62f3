"""The tracks that show a finding's evidence."""

from __future__ import annotations

import pytest

from analytics.findings.indicator import SPECS
from api.finding_tracks import MOST_TRACKS, SEEN_IN, tracks
from farm.causes import Place
from farm.quantities import QUANTITIES
from simulator.demo import demo_farm

DERIVED = [
    "room/humidity_ratio", "supply/humidity_ratio", "room/dew_point_temperature", "room/flow_rate/condensate",
    "row-1/humidity_ratio", "row-2/humidity_ratio", "row-3/humidity_ratio", "row-4/humidity_ratio",
]  # fmt: skip


def found(*indicators):
    farm = demo_farm()
    known = [*(one.key for one in farm.series), *DERIVED]
    pieces = [{"indicator": f"{name}@now", "place": place} for name, place in indicators]
    return tracks(farm, known, {"causes": [{"for": pieces}, {"for": [{"indicator": "ph@now", "place": ""}]}]})


def test_every_indicator_has_its_tracks_of_quantities_that_there_are():
    assert SEEN_IN.keys() == SPECS.keys()
    for name, text in SEEN_IN.items():
        own = "own" in {line.split("/")[0] for track in text.split() for line in track.split(":")}
        assert own == (SPECS[name].place is not Place.FARM), name
        for line in (line for track in text.split() for line in track.split(":") if line != "own"):
            assert line.split("/")[0] in {"room", "rows", "supply", "outdoors", "own", "others", "any"}, name
            assert line.split("/")[1] in QUANTITIES, name


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
    ],
)
def test_evidence_is_seen_on_the_tracks_of_what_it_is_made_from(name, place, told):
    assert found((name, place)) == told


def test_a_track_of_which_another_shows_all_is_left_out():
    told = found(("dark_commanded", "row-2"), ("light_sibling", "row-2"))
    assert told == [["row-2/lights_on"], ["row-2/ppfd", "row-1/ppfd", "row-3/ppfd"]]


def test_each_track_is_told_once_the_strongest_evidence_first_and_not_too_many():
    several = [("ec", ""), ("ec_drift", ""), ("co2", ""), ("level", ""), ("oxygen", ""), ("ph", ""), ("power", "")]
    told = found(*several)
    assert told[:3] == [["reservoir/solution_ec"], ["room/co2_mole_fraction"], ["reservoir/solution_level"]]
    assert len(told) == MOST_TRACKS
