"""A round, or a start, that is cut off: the next one finds what still follows from the work that was done."""

from __future__ import annotations

import pytest

from farm.check import check_text
from store.contract import StoreUnavailable
from tests.conftest import MINUTE_US, SMALL_FARM, samples
from tests.watch.conftest import House

HUMIDITY, TEMPERATURE = "room/relative_humidity", "room/air_temperature"
HOUR_US = 60 * MINUTE_US
BANDS = SMALL_FARM + ("vapour_pressure_deficit = { always = [0.4, 1.3], on_delay_s = 0 }\n")


@pytest.fixture
def houses(tmp_path):
    farm, mistakes = check_text(BANDS)
    assert not mistakes
    made = [House(farm, tmp_path / name) for name in ("whole", "cut")]
    yield made
    for one in made:
        one.close()


def cut_off(monkeypatch, kind, method, quantity):
    """Make a method fail once, as a locked disk does, when it comes to a quantity; return what tells that it did."""
    real, failed = getattr(kind, method), []

    def failing(one, *arguments, **named):
        if not failed and any(getattr(value, "quantity", None) == quantity for value in arguments):
            failed.append(quantity)
            raise StoreUnavailable("locked for now")
        return real(one, *arguments, **named)

    monkeypatch.setattr(kind, method, failing)
    return failed


@pytest.mark.slow
def test_a_long_stretch_worked_out_before_the_cut_still_gets_its_excursions(houses, monkeypatch):
    whole, cut = houses
    for house in houses:
        house.now_us += 40 * 24 * HOUR_US
        house.put(TEMPERATURE, samples("22 22.1 " * 15000, 2 * MINUTE_US))
        house.put(HUMIDITY, samples("60 60.5 " * 12000 + "90 90.5 " * 60 + "60 60.5 " * 2940, 2 * MINUTE_US))
    whole.work()
    failed = cut_off(monkeypatch, type(cut.journal), "replace_excursions", "vapour_pressure_deficit")
    with pytest.raises(StoreUnavailable):
        cut.work()
    assert failed
    cut.fresh_watch()
    cut.work()
    found = whole.journal.excursions("testfarm")
    assert {one.series.key for one in found} >= {"room/vapour_pressure_deficit"}
    assert cut.journal.excursions("testfarm") == found


NARROW = BANDS.replace(
    'quantity = "relative_humidity"', 'quantity = "relative_humidity"\nquality = { expected = [3, 85] }'
)


def change(house, text):
    farm, mistakes = check_text(text)
    assert not mistakes
    house.farm, house.sha256 = farm, "second"
    house.fresh_watch()


def flags(house, key):
    return house.store.read(house.series(key), 0, 2**62).flag.tolist()


@pytest.mark.parametrize("quantity", ["vapour_pressure_deficit", "dew_point_temperature"])
def test_a_start_cut_off_after_readings_were_tested_anew_still_works_out_what_follows(houses, monkeypatch, quantity):
    whole, cut = houses
    for house in houses:
        house.put(TEMPERATURE, samples("22 22.1 " * 20))
        house.put(HUMIDITY, samples("60 60.5 " * 15 + "90 90.5 " * 5))
        house.work()
    before = flags(whole, "room/vapour_pressure_deficit")
    change(whole, NARROW)
    failed = cut_off(monkeypatch, type(cut.store), "replace", quantity)
    with pytest.raises(StoreUnavailable):
        change(cut, NARROW)
    assert failed
    change(cut, NARROW)
    for derived in ("vapour_pressure_deficit", "dew_point_temperature"):
        assert flags(cut, f"room/{derived}") == flags(whole, f"room/{derived}") != before


@pytest.mark.slow
def test_a_start_cut_off_after_a_long_stretch_still_marks_the_days(houses, monkeypatch):
    whole, cut = houses
    for house in houses:
        house.now_us += 40 * 24 * HOUR_US
        house.put(TEMPERATURE, samples("22 22.1 " * 500, 60 * MINUTE_US))
        house.put("outdoors/air_temperature", samples("-5 -5.1 " * 500, 60 * MINUTE_US))
        house.work()
        house.now_us += 120_000_000
    warmer = BANDS.replace("r_value_m2k_w = 3.8744", "r_value_m2k_w = 2.0")
    change(whole, warmer)
    failed = []
    with monkeypatch.context() as patch:

        def failing(*_):
            failed.append(1)
            raise StoreUnavailable("locked for now")

        patch.setattr(type(cut.journal), "mark_days_stale", failing)
        with pytest.raises(StoreUnavailable):
            change(cut, warmer)
    assert failed
    change(cut, warmer)
    assert len(whole.journal.stale_days("testfarm")) > 40
    assert {*cut.journal.stale_days("testfarm")} >= {*whole.journal.stale_days("testfarm")}


def test_a_damaged_day_holds_no_start_up(houses):
    house, _ = houses
    house.put(TEMPERATURE, samples("22 22.1 " * 20))
    house.put(HUMIDITY, samples("60 60.5 " * 15 + "90 90.5 " * 5))
    house.work()
    [file, *_] = [one for one in house.store.seal_due("testfarm", house.now_us) if one.part.origin == "measured"]
    path = file.part.path(house.store.folder)
    sound = path.read_bytes()
    path.unlink()
    change(house, NARROW)
    assert "the quality of room/relative_humidity" in house.watch.counts.broken
    path.write_bytes(sound)
    house.fresh_watch()  # what could not be tested is tested by the next start
    assert 3 in flags(house, "room/vapour_pressure_deficit")
