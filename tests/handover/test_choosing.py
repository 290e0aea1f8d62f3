"""What a request comes to: by range, zone, series, batch and light day; and what cannot be made, told in one error."""

from __future__ import annotations

import pandas as pd
import pytest

from farm.readings import Series, iso_time
from handover.asking import Imprint
from handover.choosing import column_names
from handover.refusals import Refused
from tests.handover.words import AIR, LIGHTS, START_US, STEP_US, made


def readings(folder):
    return pd.read_parquet(folder / "readings.parquet").astype({"series": "str"})


def test_a_range_zones_and_series_narrow(kept, tmp_path):
    made(kept, tmp_path / "one", start="2026-03-28T00:00:00Z", end="2026-03-28T01:00:00Z", zones=["room", "row-1"])
    found = readings(tmp_path / "one")
    assert set(found["series"].str.split("/").str[0]) == {"room", "row-1"}
    assert (found["time"].min().isoformat(), found["time"].max().isoformat()) == (
        "2026-03-28T00:00:00+00:00",
        "2026-03-28T00:50:00.001500+00:00",
    )
    made(kept, tmp_path / "two", series=[AIR.key, LIGHTS.key], zones=["room"])
    assert set(readings(tmp_path / "two")["series"]) == {AIR.key}
    made(kept, tmp_path / "three", origins="derived")
    assert set(readings(tmp_path / "three")["series"]) == {"room/vapour_pressure_deficit"}


def test_dates_are_local_midnights(kept, tmp_path):
    facts = made(kept, tmp_path / "day", start="2026-03-29", end="2026-03-30", series=[AIR.key])
    span = facts.choice.start_us, facts.choice.end_us
    assert list(map(iso_time, span)) == ["2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z"]


def test_a_batch_takes_each_zone_only_while_it_stood_there(kept, tmp_path):
    made(kept, tmp_path / "march", batch="march")
    found = readings(tmp_path / "march").groupby("series")["time"].agg(["min", "max"])
    assert set(found.index) == {"row-1/air_temperature", "row-1/lights_on", "row_1/air_temperature"}
    first, second = found.loc["row-1/air_temperature"], found.loc["row_1/air_temperature"]
    assert (first["min"].isoformat(), first["max"].isoformat()) == (
        "2026-03-27T23:00:00+00:00",
        "2026-03-28T22:50:00+00:00",
    )
    assert (second["min"].isoformat(), second["max"].isoformat()) == (
        "2026-03-29T12:00:00+00:00",
        "2026-03-30T23:50:00+00:00",
    )
    stays = pd.read_csv(tmp_path / "march" / "stays.csv")
    assert stays["phase"].tolist() == ["growing", "finishing"]
    made(kept, tmp_path / "wide", batch="march", cleaned=True, every="1h")
    wide = pd.read_parquet(tmp_path / "wide" / "readings.parquet").set_index("time")
    between = wide.loc["2026-03-28T23:00:00Z":"2026-03-29T11:00:00Z"]
    assert between.filter(like="air_temperature").isna().all(axis=None), "neither value nor flag where it did not stand"
    assert (wide["row_1__air_temperature"].dropna() == 21.0).all()
    assert wide["row_1__air_temperature"].notna().sum() == 24


def test_light_days_run_from_lights_on_to_lights_on(kept, tmp_path):
    facts = made(kept, tmp_path / "lit", light_days="2026-03-28/2026-03-29", zones=["row-1"])
    # Lights go on at 04:00 UTC, step 24 of each day: 05:00 in Oslo on the 28th, 06:00 on the 29th.
    assert facts.choice.start_us == START_US + (144 + 24) * STEP_US
    assert facts.choice.end_us == START_US + (3 * 144 + 24) * STEP_US
    days = pd.read_csv(tmp_path / "lit" / "light_days.csv")
    assert days["complete"].tolist() == [True, True]
    assert len(readings(tmp_path / "lit")) == 2 * 2 * 144


def test_names_never_clash():
    names = column_names(
        [
            Series("f", "a-b", "ppfd"),
            Series("f", "a_b", "ppfd"),
            Series("f", "a", "ppfd", "b"),
            Series("f", "a", "ppfd", "b_flag"),
            Series("f", "2nd", "ppfd"),
            Series("f", "a", "ppfd", "b-count"),
        ]
    )
    columns = [name + end for name in names.values() for end in ("", "_flag", "_count", "_coverage", "_time")]
    assert len(set(columns)) == len(columns)
    assert all(name[0].isalpha() for name in names.values())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"zones": ["rom"]}, "this farm has no zone 'rom'. Did you mean room?"),
        ({"zones": ["cellar"]}, "this farm has no zone 'cellar'. It has: outdoors, reservoir, room, row-1, row_1"),
        ({"series": ["room/air_temprature"]}, "no series 'room/air_temprature'. Did you mean room/air_temperature"),
        ({"batch": "mars"}, "no batch 'mars'. Did you mean march"),
        ({"batch": "april"}, "nothing is stored of .* stood in row-1 from 2026-04-02 00:00 .*Europe/Oslo"),
        ({"start": "2027-01-01"}, "nothing .* is stored from .* readings run from 2026-03-27 01:00 to .*Europe/Oslo"),
        ({"start": "2026-13-01"}, "start = '2026-13-01' cannot be used. Write a local date"),
        ({"start": "2026-03-01T00:00:00"}, "has no zone. Add one"),
        ({"start": "yesterday"}, "start = 'yesterday' cannot be used"),
        ({"start": "0001-01-01"}, "Times lie between 1970 and 2200"),
        ({"start": "2026-03-28", "end": "2026-03-28"}, "is not before end"),
        ({"series": ["room/co2_mole_fraction"]}, "no reading is stored of any of the 1 series asked for"),
        ({"series": [AIR.key], "start": "2026-03-27T17:00:00Z", "end": "2026-03-27T20:00:00Z"},
         "no reading in this range: nothing was written"),
        ({"series": [AIR.key], "zones": ["outdoors"]}, "no series in common"),
        ({"light_days": "2026-03-28"}, "light_days needs exactly one zone"),
        ({"light_days": "2026-03-28", "zones": ["row-1"], "start": "2026-03-28"}, "leave out batch, start and end"),
        ({"light_days": "2026-04-28", "zones": ["row-1"]}, "no light day of the zone 'row-1' begins on 2026-04-28"),
        ({"light_days": "march", "zones": ["row-1"]}, "light_days = 'march' cannot be used"),
        ({"light_days": "2026-03-29/2026-03-28", "zones": ["row-1"]}, "the first date is after the last"),
        ({"cleaned": True}, "cleaned readings need every"),
        ({"every": "1h"}, "belong to cleaned readings"),
        ({"cleaned": True, "every": "1w"}, "every = '1w' cannot be used. Write a whole number and a unit"),
        ({"cleaned": True, "every": "0m"}, "every = '0m' cannot be used"),
        ({"cleaned": True, "every": "1h", "flags": "fine"}, "flags = 'fine' cannot be used"),
        ({"cleaned": True, "every": "1h", "flags": "missing"}, "flags = 'missing' cannot be used"),
        ({"cleaned": True, "every": "1h", "aggregation": "mode"}, "aggregation = 'mode' cannot be used. Write mean"),
        ({"cleaned": True, "every": "1h", "layout": "square"}, "layout = 'square' cannot be used. Write long, wide"),
        ({"cleaned": True, "every": "1h", "least_coverage": 75.0}, "coverage = 75.0 cannot be used"),
        ({"cleaned": True, "every": "1d", "start": "2026-03-28T06:00:00Z", "end": "2026-03-29T06:00:00Z"},
         "no whole cell of 1d fits"),
        ({"cleaned": True, "every": "day", "start": "2026-03-28T06:00:00Z", "end": "2026-03-29T06:00:00Z"},
         "no whole cell of day fits"),
        ({"origins": "invented"}, "origin = 'invented' cannot be used"),
        ({"formats": ()}, "no format is asked for"),
    ],
)  # fmt: skip
def test_what_cannot_be_made_is_one_clear_error_and_leaves_nothing(kept, tmp_path, words, message):
    with pytest.raises(Refused, match=message):
        made(kept, tmp_path / "set", **words)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("creator", "licence"), [(None, "my own"), (None, "../x"), ("two\nlines", None), ("x" * 501, None)]
)
def test_an_imprint_that_cannot_stand_in_the_files_is_refused(creator, licence):
    with pytest.raises(Refused, match="cannot be used"):
        Imprint(creator, licence)
