"""farm.toml: every mistake is found, on its line, with what is allowed."""

from __future__ import annotations

import hashlib

import pytest

from farm.check import DescriptionError, check_text, read_description
from farm.positions import lines_by_location
from tests.conftest import SMALL_FARM

ONE_OF_EACH = """\
[farm]
name = "Bad Name"
title = "x"
timezone = "Mars/Olympus"
elevaton_m = 12
[zones.room]
kind = "rooom"
label = "Room"
crop = "lettuce"
phase = "growin"
[[series]]
zone = "rom"
quantity = "air_temprature"
[[series]]
zone = "room"
quantity = "relative_humidity"
unit = "degF"
cadence_s = -1
[[series]]
zone = "room"
quantity = "relative_humidity"
range = [50, 10]
[[series]]
zone = "room"
quantity = "dew_point_temperature"
[[surfaces]]
name = "wall"
label = "Wall"
zone = "room"
[crops.lettuce]
label = "L"
[crops.lettuce.phases.growing.bands]
air_temperature = { always = [20, 10] }
humidity = { always = [1, 2] }
[[batches]]
name = "b"
crop = "lettuce"
sown = "yesterday"
[[batches.stays]]
zone = "room"
phase = "sprouting"
entered = 2026-01-01
"""


def test_every_mistake_is_found_at_once_on_its_line():
    farm, mistakes = check_text(ONE_OF_EACH)
    assert farm is None
    assert [(mistake.line, mistake.key) for mistake in mistakes] == [
        (2, "farm.name"),
        (4, "farm.timezone"),
        (5, "farm.elevaton_m"),
        (7, "zones.room.kind"),
        (10, "zones.room.phase"),
        (12, "series[0].zone"),
        (13, "series[0].quantity"),
        (17, "series[1].unit"),
        (18, "series[1].cadence_s"),
        (21, "series[2].quantity"),
        (22, "series[2].range"),
        (25, "series[3].quantity"),
        (26, "surfaces[0]"),
        (33, "crops.lettuce.phases.growing.bands.air_temperature.always"),
        (34, "crops.lettuce.phases.growing.bands.humidity"),
        (38, "batches[0].sown"),
        (41, "batches[0].stays[0].phase"),
    ]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (4, ["'Mars/Olympus'", "IANA"]),
        (5, ["did you mean elevation_m?"]),
        (7, ["did you mean room_air?"]),
        (10, ["no phase of crop lettuce", "did you mean growing?"]),
        (12, ["no zone", "did you mean room?"]),
        (13, ["did you mean air_temperature?"]),
        (17, ["'degF'", "%RH"]),
        (18, ["-1", "greater than 0"]),
        (21, ["room/relative_humidity", "first in series[1]", "sensor"]),
        (25, ["derives this one itself"]),
        (26, ["probe; or outside and one of"]),
        (33, ["low below high"]),
        (38, ["'yesterday'", "2026-03-01"]),
    ],
)
def test_a_mistake_says_what_was_found_and_what_is_allowed(line, words):
    _, mistakes = check_text(ONE_OF_EACH)
    [text] = [str(mistake) for mistake in mistakes if mistake.line == line]
    assert all(word in text for word in words), text


def test_a_good_description_has_no_mistakes():
    farm, mistakes = check_text(SMALL_FARM)
    assert mistakes == []
    assert farm is not None
    assert [series.key for series in farm.described][:2] == ["room/air_temperature", "room/relative_humidity"]


def test_an_empty_file_names_what_is_needed():
    _, mistakes = check_text("")
    assert [mistake.key for mistake in mistakes] == ["farm", "zones"]
    assert all("needed" in mistake.allowed for mistake in mistakes)


def test_broken_toml_names_line_and_column():
    _, [mistake] = check_text('[farm]\nname = "x"\ntitle = \n')
    assert mistake.line == 3
    assert "column" in mistake.key
    assert "TOML" in mistake.allowed


@pytest.mark.parametrize("text", ["zones = 3\n", "series = 1\n", '[[zones]]\nname="x"\n', "crops = [1]\n"])
def test_parts_of_the_wrong_type_are_mistakes_not_crashes(text):
    farm, mistakes = check_text(text)
    assert farm is None
    assert mistakes


def test_a_missing_file_and_a_wrong_encoding_are_told(tmp_path):
    with pytest.raises(DescriptionError, match="no readable file"):
        read_description(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b'[farm]\nname = "caf\xe9"\n')
    with pytest.raises(DescriptionError, match=r"line 2: file: found byte 0xe9.*UTF-8"):
        read_description(tmp_path / "latin.toml")


def test_the_hash_is_the_one_sha256sum_prints(tmp_path):
    file = tmp_path / "farm.toml"
    file.write_text(SMALL_FARM)
    assert read_description(file).sha256 == hashlib.sha256(file.read_bytes()).hexdigest()


def test_lines_are_found_through_every_form_of_toml():
    text = '''\
top = 1
[a."quoted key".b]
dotted.key = { inner = [1,
  2] }
[[list]]
x = """
multi
line"""
y = 2
[[list.sub]]
z = 3
[[list]]
[[list.sub]]
z = 4
'''
    lines = lines_by_location(text)
    assert lines["top",] == 1
    assert lines["a", "quoted key", "b"] == 2
    assert lines["a", "quoted key", "b", "dotted", "key", "inner", 1] == 4
    assert lines["list", 0, "y"] == 9
    assert lines["list", 0, "sub", 0, "z"] == 11
    assert lines["list", 1, "sub", 0, "z"] == 14


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('quantity = "ppfd"', 'quantity = "ppfd"\ncadence_s = inf', "series[3].cadence_s"),
        ("elevation_m = 120", "elevation_m = nan", "farm.elevation_m"),
        ("on_delay_s = 300", "on_delay_s = inf", "crops.cress.phases.growing.bands.air_temperature.on_delay_s"),
        ("[12, 17]", "[17, 12]", "crops.cress.phases.growing.daily_light_integral"),
        ("[12, 17]", "[nan, 12]", "crops.cress.phases.growing.daily_light_integral"),
        ("[zones.room]", '[wire]\ntopic = "a/#/b"\n[zones.room]', "wire.topic"),
        ("[zones.room]", "[wire]\noldest_days = inf\n[zones.room]", "wire.oldest_days"),
        ('topic = "plain/co2"', 'topic = "plain/#"', "series[2].topic"),
        ('wire = "yard-1"', 'wire = "room/air_temperature"', "series[5].wire"),
        (
            'wire = "yard-1"',
            '[[series]]\nzone = "room"\nquantity = "surface_temperature"\nsensor = "north-wall"',
            "surfaces[0].name",
        ),
        ("relative_humidity = { always", "daily_light_integral = { always",
         "crops.cress.phases.growing.bands.daily_light_integral"),
    ],
)  # fmt: skip
def test_what_could_not_work_is_a_mistake(old, new, key):
    assert old in SMALL_FARM
    farm, mistakes = check_text(SMALL_FARM.replace(old, new, 1))
    assert farm is None
    assert key in [mistake.key for mistake in mistakes], mistakes


def test_a_band_may_leave_a_side_open():
    farm, mistakes = check_text(SMALL_FARM.replace("always = [50, 75]", "always = [50, inf]"))
    assert mistakes == []
    assert farm is not None


def test_a_stay_that_ends_before_it_begins_is_a_mistake():
    stay = '[[batches]]\nname = "b"\ncrop = "cress"\nsown = 2026-01-01\n'
    stay += '[[batches.stays]]\nzone = "row"\nphase = "growing"\n'
    _, [mistake] = check_text(SMALL_FARM + stay + "entered = 2026-02-01\nleft = 2026-01-15\n")
    assert (mistake.key, mistake.allowed) == ("batches[0].stays[0].left", "a time after entered")


def told(text):
    return [str(one) for one in check_text(text)[1]]


def test_carbon_dioxide_and_mains_name_what_is_there():
    enrichment = '\n[equipment.carbon_dioxide]\nzone = "{zone}"\nair_volume_m3 = 50\n'
    assert told(SMALL_FARM + enrichment.format(zone="room")) == []
    [unknown] = told(SMALL_FARM + enrichment.format(zone="rom"))
    assert "equipment.carbon_dioxide.zone" in unknown
    assert "did you mean room?" in unknown
    [no_sensor] = told(SMALL_FARM + enrichment.format(zone="row"))
    assert "which is no zone with a co2_mole_fraction series" in no_sensor
    mains = '\n[equipment.mains]\nvoltage_v = 230\nbreaker_a = 20\nmeter = "room/co2_mole_fraction"\n'
    [no_meter] = told(SMALL_FARM + mains)
    assert "equipment.mains.meter" in no_meter
    assert "series of electrical_energy or electrical_power" in no_meter


def test_prices_need_a_currency_and_a_calibration_pressure_a_co2_sensor():
    priced = "\n[equipment.mains]\nvoltage_v = 230\nbreaker_a = 20\nprice_per_kwh = 0.2\n"
    [no_currency] = told(SMALL_FARM + priced)
    assert 'a price in no currency; allowed: currency in [farm], e.g. currency = "EUR"' in no_currency
    assert told(SMALL_FARM.replace("elevation_m", 'currency = "EUR"\nelevation_m') + priced) == []
    [odd] = told(SMALL_FARM.replace('quantity = "ppfd"', 'quantity = "ppfd"\ncalibrated_at_kpa = 101.325'))
    assert "calibrated_at_kpa" in odd
    assert "a series of the quantity co2_mole_fraction" in odd
