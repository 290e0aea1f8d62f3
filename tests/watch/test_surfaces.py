"""Surfaces and the air beside them: phases, pressure, flags, and a mould index that no order of arrival changes."""

from __future__ import annotations

import random
from typing import get_args

import numpy as np
import psychrolib
import pytest

from analytics.mould import GROWTH_CLASSES
from farm.check import check_text
from farm.description import Surface
from farm.flags import Flag
from farm.readings import Columns, Reading, Series
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.derivation import different
from watch.derived import derivations
from watch.stale_days import StaleDays
from watch.surfaces import described_factor

psychrolib.SetUnitSystem(psychrolib.SI)

HOUR_US = 60 * MINUTE_US
STEP_US = 20 * MINUTE_US  # cadence of the readings below: three of them hold for an hour
WALLS = (
    SMALL_FARM.replace('quantity = "air_temperature"', 'quantity = "air_temperature"\ncadence_s = 1200').replace(
        'quantity = "relative_humidity"', 'quantity = "relative_humidity"\ncadence_s = 1200'
    )
    + """
[[series]]
zone = "room"
quantity = "surface_temperature"
sensor = "pane"
cadence_s = 1200
[[series]]
zone = "outdoors"
quantity = "relative_humidity"
[[surfaces]]
name = "frame"
label = "steel frame"
zone = "room"
outside = "outdoors"
temperature_factor = 0.75
mould_class = "very_sensitive"
mould_decline = 1.0
[[surfaces]]
name = "pane"
label = "pane"
zone = "room"
probe = "room/surface_temperature/pane"
"""
)
AIR, HUMIDITY, OUTDOORS = "room/air_temperature", "room/relative_humidity", "outdoors/air_temperature"
MOULD = "room/mould_index/frame"


def described(text):
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    return farm


@pytest.fixture(scope="module")
def walls():
    return described(WALLS)


@pytest.fixture
def house(walls, tmp_path):
    made = House(walls, tmp_path / "house")
    yield made
    made.close()


def flags(house, key):
    columns = house.store.read(house.series(key), 0, 2**62)
    return dict(zip(columns.time_us.tolist(), columns.flag.tolist(), strict=True))


def test_what_follows_from_a_humidity_over_100_is_suspect(house):
    rows = [(T0_US + n * MINUTE_US, value) for n, value in enumerate([99.0, 100.0, 100.5, 104.0, 98.0])]
    house.put(AIR, [(T0_US, 20.0)])
    house.put(OUTDOORS, [(T0_US, 0.0)])
    house.put(HUMIDITY, rows)
    house.work()
    for quantity in ("dew_point_temperature", "vapour_pressure_deficit", "humidity_ratio", "condensation_margin/frame",
                     "surface_relative_humidity/frame"):  # fmt: skip
        good, over = Flag.NOT_EVALUATED, Flag.SUSPECT
        found = list(flags(house, f"room/{quantity}").values())
        assert [one if one == over else good for one in found] == [good, good, over, over, good], quantity
        value = list(house.read(f"room/{quantity}").values())
        assert value[1] == value[2] == value[3], "worked with as 100 %"
    assert Flag.SUSPECT not in flags(house, "room/surface_temperature/frame").values(), "which humidity has no part in"


@pytest.mark.parametrize(
    ("over", "dew_point", "tolerance"),
    [("water", -24.088, 0.05), ("ice", -23.663, 6e-4)],  # MetPy 1.7.1 (another formula: 0.05 K); PsychroLib 2.5.0
)
def test_outdoor_dew_point_by_what_the_sensor_counts_over(tmp_path, over, dew_point, tolerance):
    text = SMALL_FARM + f'[[series]]\nzone = "outdoors"\nquantity = "relative_humidity"\nhumidity_over = "{over}"\n'
    house = House(described(text), tmp_path)
    house.put(OUTDOORS, [(T0_US, -20.0)])
    house.put("outdoors/relative_humidity", [(T0_US, 70.0)])
    house.work()
    [found] = house.read("outdoors/dew_point_temperature").values()
    assert found == pytest.approx(dew_point, abs=tolerance)
    [deficit] = house.read("outdoors/vapour_pressure_deficit").values()
    over_ice = psychrolib.GetSatVapPres(-20.0) / 1000
    assert deficit == pytest.approx(0.3 * over_ice * (1.220 if over == "water" else 1.0), rel=0.006)  # WMO's Magnus
    [ratio] = house.read("outdoors/humidity_ratio").values()
    by_ice = psychrolib.GetHumRatioFromRelHum(-20.0, 0.70, psychrolib.GetStandardAtmPressure(120))
    assert ratio == pytest.approx(by_ice * (1.220 if over == "water" else 1.0), rel=0.006)
    house.close()


@pytest.mark.parametrize("wall", ["r_value_m2k_w = 3.8744", "u_value_w_m2k = 0.2473"])  # R-22, bare
@pytest.mark.parametrize(
    ("film", "face", "factor"), [("", 20.007, 0.9679), ("internal_film_m2k_w = 0.25", 18.278, 0.94)]
)
def test_a_face_that_is_not_bare_is_colder(tmp_path, wall, film, face, factor):
    """The rows of -40 degC of tests/reference/wall_condensation.csv (ISO 13788's film for mould, from memory)."""
    walls = f'[[surfaces]]\nname = "panel"\nlabel = "Panel"\nzone = "room"\noutside = "outdoors"\n{wall}\n{film}\n'
    farm = described(SMALL_FARM + walls)
    [panel] = [one for one in farm.surfaces if one.name == "panel"]
    assert described_factor(panel) == pytest.approx(factor, abs=6e-5)
    house = House(farm, tmp_path)
    house.put(AIR, [(T0_US, 22.0)])
    house.put(OUTDOORS, [(T0_US, -40.0)])
    house.work()
    assert house.read("room/surface_temperature/panel")[T0_US] == pytest.approx(face, abs=4e-3)  # U has four digits
    house.close()


def test_most_sensors_count_over_water():
    [humidity] = [one for one in described(SMALL_FARM).series if one.quantity == "relative_humidity"]
    assert humidity.humidity_over == "water"


@pytest.mark.parametrize(("elevation", "pascals"), [(120, None), (1500, 84_555.9)])
def test_humidity_ratio_at_the_pressure_of_the_elevation(tmp_path, elevation, pascals):
    house = House(described(SMALL_FARM.replace("elevation_m = 120", f"elevation_m = {elevation}")), tmp_path)
    house.put(AIR, [(T0_US, 22.0)])
    house.put(HUMIDITY, [(T0_US, 60.0)])
    house.work()
    [ratio] = house.read("room/humidity_ratio").values()
    standard = psychrolib.GetStandardAtmPressure(elevation)
    assert pascals is None or standard == pytest.approx(pascals, abs=0.05)
    assert ratio == pytest.approx(psychrolib.GetHumRatioFromRelHum(22.0, 0.60, standard), rel=1e-6)
    house.close()


def test_humidity_ratio_at_the_measured_pressure_while_there_is_one(tmp_path):
    house = House(described(SMALL_FARM + '[[series]]\nzone = "outdoors"\nquantity = "air_pressure"\n'), tmp_path)
    house.put(AIR, [(T0_US, 22.0), (T0_US + HOUR_US, 22.0)])
    house.put(HUMIDITY, [(T0_US, 60.0), (T0_US + HOUR_US, 60.0)])
    house.put("outdoors/air_pressure", [(T0_US, 84.5559)])
    house.work()
    first, second = house.read("room/humidity_ratio").values()
    assert first == pytest.approx(0.011895, abs=6e-7)  # PsychroLib 2.5.0, the table of state points
    usual = psychrolib.GetStandardAtmPressure(120)
    assert second == pytest.approx(psychrolib.GetHumRatioFromRelHum(22.0, 0.60, usual), rel=1e-6)
    house.close()


def test_humidity_at_the_wall_and_at_a_thermal_bridge(house):
    house.put(AIR, [(T0_US, 22.0)])
    house.put(HUMIDITY, [(T0_US, 70.8)])
    house.put(OUTDOORS, [(T0_US, -40.0)])
    house.put("room/surface_temperature/pane", [(T0_US, 20.007)])
    house.work()
    # ISO 13788's table in tests/reference: R-22 at -40 degC, 70.8 % in the room is 80 % at the face.
    [panel] = house.read("room/surface_relative_humidity/north-wall").values()
    assert panel == pytest.approx(80.0, abs=0.1)
    [pane] = house.read("room/surface_relative_humidity/pane").values()
    assert pane == pytest.approx(80.0, abs=0.1)
    # f = 0.75 at -40 degC outdoors: 6.5 degC, wet above 36.6 % in the room
    [frame] = house.read("room/surface_temperature/frame").values()
    assert frame == pytest.approx(6.5)
    assert list(house.read("room/surface_relative_humidity/frame").values()) == [100.0]
    assert "room/surface_temperature/pane" not in [one.output.key for one in derivations(house.farm)]


def climate(words, start_us=T0_US, warm=22.0):
    """Return readings every 20 minutes of a room whose humidity is given as "97*504 _*3": ``_`` is a missing one.

    All waver by a hundredth, as no sensor that stands quite still is believed.
    """
    rows = []
    for at, value in samples(words, STEP_US, start_us):
        waver = 0.01 if at // STEP_US % 2 else -0.01
        rows += [(HUMIDITY, at, value + waver), (AIR, at, warm + waver), (OUTDOORS, at, warm + waver)]
    return rows


def put_all(house, rows):
    house.store.append([Reading(house.series(key), at, value, Flag.NOT_EVALUATED) for key, at, value in rows])


def test_a_week_of_damp_is_the_published_index(house):
    """Outdoors as warm as indoors, so the face has the room's 97 % at 22 degC: the first row of mould_index.csv."""
    put_all(house, climate("97*505"))  # the 505th reading begins the hour after the week
    house.work()
    for surface, after_7_days in (("frame", 0.719), ("north-wall", 0.416)):  # very sensitive; sensitive, the default
        index = house.read(f"room/mould_index/{surface}")
        assert len(index) == 7 * 24 + 1
        assert index[T0_US] == 0.0
        assert index[T0_US + 7 * 24 * HOUR_US] == pytest.approx(after_7_days, abs=0.01)
        assert flags(house, f"room/mould_index/{surface}")[T0_US] == Flag.SUSPECT, "nothing is known of before"


def test_an_hour_of_which_little_is_known_holds_the_index_and_says_so(house):
    put_all(house, climate("97*72 _*5 97 _*6 97*36"))  # 24 h, then 4 h with one reading in their second
    house.work()
    index = [value for at, value in sorted(house.read(MOULD).items())]
    shown = sorted(house.read(MOULD))
    last_wet = shown.index(T0_US + 23 * HOUR_US)
    before, alone, after, later = index[last_wet : last_wet + 4]
    assert [(at - T0_US) / HOUR_US for at in shown[last_wet : last_wet + 4]] == [23, pytest.approx(25 + 2 / 3), 28, 29]
    assert alone > before, "what the 24th hour did is told when there is a reading again"
    assert after == alone, "20 of 60 minutes and three hours of silence do nothing"
    assert later > after
    found = flags(house, MOULD)
    suspect = [found[at] == Flag.SUSPECT for at in shown[last_wet : last_wet + 4]]
    assert suspect == [False, True, True, False]


def wandering(seed, hours=24 * 5):
    """Return readings of five days that swing across the critical humidity, with gaps and odd times."""
    rng = random.Random(seed)
    rows = []
    for n in range(hours * 3):
        at = T0_US + n * STEP_US + rng.choice([0, 0, 1_234_567])
        if 120 < n < 131 or n % 61 == 0:
            continue
        rows.append((HUMIDITY, at, 82 + 14 * np.sin(n / 19) + rng.random()))
        rows.append((AIR, at + rng.choice([0, 500_000]), 20 + rng.random()))
        rows.append((OUTDOORS, at, 14 + rng.random()))
        rows.append(("room/surface_temperature/pane", at + 77, 16 + rng.random()))
    return rows


@pytest.mark.slow
def test_any_order_of_arrival_gives_the_same_index_to_the_bit(walls, tmp_path):
    rows = wandering(7)
    results = []
    for trial in range(3):
        house = House(walls, tmp_path / str(trial))
        rng = random.Random(trial)
        order = rows if trial == 0 else rng.sample(rows, len(rows))
        if trial == 2:  # in order, but for one reading of the first hour that comes last of all
            order = [*rows[:4], *rows[5:], rows[4]]
        place = 0
        while place < len(order):
            size = len(order) if trial == 0 else rng.randint(20, 400)
            put_all(house, order[place : place + size])
            house.work()
            place += size
        results.append({one: (house.read(f"room/mould_index/{one}"), flags(house, f"room/mould_index/{one}"))
                        for one in ("frame", "north-wall", "pane")})  # fmt: skip
        house.close()
    assert len(results[0]["frame"][0]) > 100
    assert max(results[0]["frame"][0].values()) > 0.05
    steps = np.diff(list(results[0]["frame"][0].values()))
    assert (steps > 0).any()
    assert (steps < 0).any(), "growth and decline both took part"
    assert results[1] == results[0]
    assert results[2] == results[0]


def test_any_stretch_by_itself_is_the_same_to_the_bit(house):
    put_all(house, wandering(8))
    house.work()
    [mould] = [one for one in derivations(house.farm) if one.output.key == MOULD]
    whole = house.store.read(mould.output, 0, 2**62)
    rng = random.Random(1)
    for _ in range(12):
        start, end = sorted(rng.sample(range(T0_US, T0_US + 5 * 24 * HOUR_US), 2))
        alone = mould.columns(house.farm, house.watch.readings, start, end)
        inside = slice(*np.searchsorted(whole.time_us, [start, end]))
        assert alone.time_us.tolist() == whole.time_us[inside].tolist()
        assert alone.value.tolist() == whole.value[inside].tolist()
        assert alone.flag.tolist() == whole.flag[inside].tolist()


@pytest.mark.parametrize(
    ("one", "other", "between"),
    [
        ([], [], None),
        ([(1, 5.0, 1), (3, 6.0, 1)], [(1, 5.0, 1), (3, 6.0, 1)], None),
        ([(1, 5.0, 1), (3, 6.0, 1)], [(1, 5.0, 1), (3, 6.5, 1)], (3, 3)),
        ([(1, 5.0, 1), (3, 6.0, 1), (9, 7.0, 1)], [(2, 5.0, 1), (3, 6.0, 3), (9, 7.0, 1)], (1, 3)),
        ([], [(4, 5.0, 1), (8, 5.0, 1)], (4, 8)),
    ],
)
def test_where_two_columns_differ(one, other, between):
    assert different(Columns.from_rows(one), Columns.from_rows(other)) == between


def test_a_late_reading_that_moves_no_index_is_followed_no_further(house, monkeypatch):
    """A dry room: the index is 0 and stays so, whatever a late reading of the first day says."""
    put_all(house, climate("60*300"))
    house.work()
    house.now_us += MINUTE_US * 60
    moved = []
    follow = StaleDays.mark

    def mark(stale, changed, *rest):
        moved.extend(one for series, several in changed.items() if series.quantity == "mould_index" for one in several)
        return follow(stale, changed, *rest)

    monkeypatch.setattr(StaleDays, "mark", mark)
    house.put(HUMIDITY, [(T0_US + 30 * MINUTE_US, 61.0)])
    house.work()
    assert moved == []
    # An hour of damp, late: the north wall grows by 0.003 (0.578 / 7 tm a day), and declines by 0.0008 on the first day
    # and 0.0016 on each after it. So its index moves for two or three days, and is 0 again as it was.
    house.put(HUMIDITY, [(T0_US + n * MINUTE_US, 99.0) for n in range(61, 120, 2)])
    house.work()
    day_us = 1440 * MINUTE_US
    assert 2 * day_us < max(last for _, last in moved) - T0_US < 4 * day_us


def test_another_class_works_the_index_out_anew(house):
    put_all(house, climate("97*505"))
    house.work()
    before = house.read(MOULD)[T0_US + 7 * 24 * HOUR_US]
    house.farm, house.sha256 = described(WALLS.replace('"very_sensitive"', '"resistant"')), "second"
    house.fresh_watch()
    after = house.read(MOULD)
    assert after[T0_US + 7 * 24 * HOUR_US] == pytest.approx(0.023, abs=0.01)
    assert before > 0.7
    assert len(after) == 169


def test_give_or_take_of_a_derived_value_is_that_of_its_sensors(house):
    """The wall shares the room's air sensor: its part cancels all but; the pane has a probe of its own."""
    house.put(AIR, [(T0_US, 22.0)])
    house.put(HUMIDITY, [(T0_US, 70.0)])
    house.put(OUTDOORS, [(T0_US, -20.0)])
    house.put("room/surface_temperature/pane", [(T0_US, 18.0)])
    house.work()
    made = {one.output.key: one for one in derivations(house.farm)}

    def give(key):
        at = np.array([T0_US, T0_US + 5 * HOUR_US])
        found = made[key].give_or_take(house.farm, house.store, at)
        assert np.isnan(found[1]), "nothing is known five hours later"
        return found[0]

    # By random draws (JCGM 101) with the usual accuracies of the trade: 0.3 K, 2 %, 0.3 K.
    draw = np.random.default_rng(3).normal
    n = 20_000
    air, rh, outside, probe = draw(22.0, 0.3, n), draw(70.0, 2.0, n), draw(-20.0, 0.3, n), draw(18.0, 0.3, n)
    dew = np.array([psychrolib.GetTDewPointFromRelHum(t, h / 100) for t, h in zip(air[:2000], rh[:2000], strict=True)])
    wall = outside + (1 - 0.13 / (0.13 + 3.8744 + 0.04)) * (air - outside)
    assert give("room/dew_point_temperature") == pytest.approx(dew.std(), rel=0.06)
    assert give("room/condensation_margin/north-wall") == pytest.approx((wall[:2000] - dew).std(), rel=0.06)
    assert give("room/condensation_margin/pane") == pytest.approx((probe[:2000] - dew).std(), rel=0.06)
    assert give("room/surface_temperature/frame") == pytest.approx(0.3 * np.hypot(0.75, 0.25))
    assert np.isnan(made["room/humidity_ratio"].give_or_take(house.farm, house.store, np.array([T0_US]))).all()


def test_classes_in_the_description_are_those_of_the_science():
    assert get_args(Surface.model_fields["mould_class"].annotation) == tuple(GROWTH_CLASSES)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('outside = "outdoors"', ["neither a probe nor a wall", "r_value_m2k_w, u_value_w_m2k and temperature_factor"]),
        ("temperature_factor = 0.8", ["neither a probe nor a wall", "probe; or outside"]),
        ('outside = "outdoors"\nr_value_m2k_w = 2\ntemperature_factor = 0.8', ["both r_value_m2k_w and temperature"]),
        ('outside = "outdoors"\ntemperature_factor = 1.8', ["1.8", "1"]),
        ('outside = "outdoors"\ntemperature_factor = 0.8\nmould_class = "steel"', ["'steel'", "very_sensitive"]),
        ('outside = "outdoors"\ntemperature_factor = 0.8\nmould_decline = 2', ["mould_decline", "2"]),
    ],
)
def test_mistakes_in_a_surface_are_told(keys, words):
    text = SMALL_FARM + f'[[surfaces]]\nname = "beam"\nlabel = "beam"\nzone = "room"\n{keys}\n'
    farm, mistakes = check_text(text)
    assert farm is None
    told = "\n".join(map(str, mistakes))
    assert all(word in told for word in words), told


def test_a_phase_belongs_to_a_humidity():
    text = SMALL_FARM + '[[series]]\nzone = "row"\nquantity = "air_temperature"\nhumidity_over = "ice"\n'
    _, [mistake] = check_text(text)
    assert "humidity_over" in mistake.key
    assert "relative_humidity" in mistake.allowed


def test_a_surface_without_sensors_has_no_series(small_farm):
    farm = described(SMALL_FARM.replace('zone = "outdoors"\nquantity = "air_temperature"', 'zone = "outdoors"\nquantity = "air_speed"').replace('wire = "yard-1"\nunit = "degF"\n', ""))  # fmt: skip  # noqa: E501
    assert not [one for one in derivations(farm) if isinstance(one.output, Series) and one.output.sensor]
