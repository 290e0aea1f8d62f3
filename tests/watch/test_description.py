"""A description that changes while history is stored."""

from __future__ import annotations

import pytest

from farm.check import check_text
from tests.conftest import SMALL_FARM, T0_US, samples
from watch.deriving import DERIVED

HUMIDITY = "room/relative_humidity"


def change(house, text):
    farm, mistakes = check_text(text)
    assert not mistakes
    house.farm, house.sha256 = farm, "second"
    house.now_us += 1_000_000
    house.fresh_watch()


def test_derived_series_follow_a_changed_description_over_all_history(house):
    house.put("room/air_temperature", [(T0_US, 22.0)])
    house.put(HUMIDITY, [(T0_US, 60.0)])
    house.put("outdoors/air_temperature", [(T0_US, -20.0)])
    house.work()
    [before] = house.read("room/surface_temperature/north-wall").values()
    # check book: R-22 (3.8744) at -20 degC outside and 22 degC inside gives 20.650 degC
    assert before == pytest.approx(20.650, abs=0.002)
    change(house, SMALL_FARM.replace("r_value_m2k_w = 3.8744", "u_value_w_m2k = 1.0"))
    [after] = house.read("room/surface_temperature/north-wall").values()
    # ISO 13788: f = 1 - U Rsi = 0.87, so 22 - 0.13 x 42
    assert after == pytest.approx(22 - 0.13 * 42, abs=1e-6)
    assert house.journal.description_in_force("testfarm") == "second"


def test_what_was_worked_out_anew_is_synced_before_it_is_noted_as_done(house, monkeypatch):
    house.put("room/air_temperature", [(T0_US, 22.0)])
    house.put("outdoors/air_temperature", [(T0_US, -20.0)])
    house.work()
    noted, keep = [], type(house.journal).note_bases

    def note_bases(journal, farm, kind, texts):
        noted.append((kind, house.store._connections.unsynced))
        keep(journal, farm, kind, texts)

    monkeypatch.setattr(type(house.journal), "note_bases", note_bases)
    change(house, SMALL_FARM.replace("r_value_m2k_w = 3.8744", "u_value_w_m2k = 1.0"))
    assert (DERIVED, False) in noted
    assert (DERIVED, True) not in noted


def test_the_same_description_works_nothing_out_anew(house, monkeypatch):
    house.put("room/air_temperature", samples("22*3"))
    house.work()
    monkeypatch.setattr(type(house.store), "replace", lambda *_: pytest.fail("worked out anew"))
    house.fresh_watch()


def test_a_changed_description_works_out_anew_only_what_it_touches(house, monkeypatch):
    house.put("room/air_temperature", samples("22*3"))
    house.put(HUMIDITY, samples("60*3"))
    house.put("outdoors/air_temperature", samples("-20*3"))
    house.work()
    replaced = []
    keep = type(house.store).replace
    monkeypatch.setattr(
        type(house.store),
        "replace",
        lambda store, series, *rest: (replaced.append(series.key), keep(store, series, *rest)),
    )
    change(house, SMALL_FARM.replace("r_value_m2k_w = 3.8744", "u_value_w_m2k = 1.0"))
    assert {key.rpartition("/")[2] for key in replaced} == {"north-wall"}
    replaced.clear()
    change(house, SMALL_FARM.replace("r_value_m2k_w = 3.8744", "u_value_w_m2k = 1.0").replace("[50, 75]", "[45, 75]"))
    assert replaced == []  # another band is no other air


def test_an_open_excursion_ends_when_its_band_is_taken_away(house):
    house.put(HUMIDITY, samples("60*3 80*10"))
    house.work()
    [before] = house.journal.excursions("testfarm", open_only=True)
    change(house, SMALL_FARM.replace("relative_humidity = { always", "# relative_humidity = { always"))
    assert house.journal.excursions("testfarm", open_only=True) == []
    [after] = house.journal.excursions("testfarm")
    assert (after.identity, after.end_us) == (before.identity, before.last_us)


def test_an_open_excursion_ends_when_its_series_is_taken_away(house):
    house.put(HUMIDITY, samples("60*3 80*10"))
    house.work()
    text = SMALL_FARM.replace('[[series]]\nzone = "room"\nquantity = "relative_humidity"\n', "")
    change(house, text)
    house.work()
    assert house.journal.excursions("testfarm", open_only=True) == []
