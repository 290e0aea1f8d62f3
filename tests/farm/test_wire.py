"""Topics, JSON paths, rules and former names in farm.toml: what they mean and how mistakes are told."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from farm.check import check_text
from farm.json_paths import steps_of
from farm.topics import covers, fewest, filter_of, matcher, overlap
from tests.conftest import SMALL_FARM

_LEVELS = st.lists(st.sampled_from(["a", "b", "+", ""]), min_size=1, max_size=3)
_FILTERS = st.tuples(_LEVELS, st.sampled_from(["", "/#"])).map(lambda both: "/".join(both[0]) + both[1])
_TOPICS = st.lists(st.sampled_from(["a", "b", "c", ""]), min_size=1, max_size=4).map("/".join)


@given(_FILTERS, _TOPICS)
def test_a_pattern_fits_what_the_client_library_says_its_filter_fits(one, topic):
    """MQTT 5, section 4.7, as paho-mqtt has it."""
    assert (matcher(one).fullmatch(topic) is not None) == topic_matches_sub(one, topic)


@given(_FILTERS, _FILTERS, st.lists(_TOPICS, min_size=20, max_size=40))
def test_covering_and_overlapping_are_true_to_the_topics(one, other, topics):
    for topic in topics:
        both = topic_matches_sub(one, topic), topic_matches_sub(other, topic)
        if covers(one, other):
            assert both[0] or not both[1]
        if all(both):
            assert overlap(one, other)


def test_filters_that_another_covers_are_left_out():
    assert fewest(["a/b", "leafweather/#", "leafweather/x", "a/+"]) == ["leafweather/#", "a/+"]
    assert filter_of("boxes/{device}/state") == "boxes/+/state"


def test_a_farm_subscribes_to_its_topic_and_to_those_its_series_and_rules_name():
    rule = '[[wire.rules]]\ntopic = "boxes/{box}"\nvalues = [{ path = "t", name = "room/air_temperature" }]\n'
    farm, mistakes = check_text(SMALL_FARM + rule)
    assert mistakes == []
    assert farm.topic_filters == ["leafweather/#", "boxes/+", "plain/co2"]


@pytest.mark.parametrize(
    ("path", "steps"),
    [
        ("a", ("a",)),
        ("a.b[2].c-d", ("a", "b", 2, "c-d")),
        ("[0].x", (0, "x")),
        ("$", ()),
        ("$.a", ("a",)),
        ("a[1][2]", ("a", 1, 2)),
    ],
)
def test_a_path_names_its_steps(path, steps):
    assert steps_of(path) == steps


@pytest.mark.parametrize("path", ["", ".", "a.", ".a.", "a..b", "a[x]", "a[-1]", "a[", "$x y", "a b", "[1]x"])
def test_what_is_no_path_says_what_is(path):
    with pytest.raises(ValueError, match="names joined by dots"):
        steps_of(path)


HEAD = "[[wire.rules]]\n"
GOOD_VALUES = 'values = [{ path = "t", name = "room/air_temperature" }]\n'


@pytest.mark.parametrize(
    ("rule", "line", "key", "words"),
    [
        ('topic = "a/{B}"\n' + GOOD_VALUES, 2, "wire.rules[0].topic", ["one {name} in lower-case letters"]),
        ('topic = "a/#/b"\n' + GOOD_VALUES, 2, "wire.rules[0].topic", ["# only as the last"]),
        ('topic = "{x}/{x}"\n' + GOOD_VALUES, 2, "wire.rules[0].topic", ["stands once"]),
        ('topic = "a"\nvalues = []\n', 3, "wire.rules[0].values", ["at least 1"]),
        ('topic = "a"\ntime = "a..b"\n' + GOOD_VALUES, 3, "wire.rules[0].time", ["names joined by dots"]),
        ('topic = "a"\ntime = "t"\ntime_format = "min"\n' + GOOD_VALUES, 4, "wire.rules[0].time_format", ["iso8601"]),
        ('topic = "a"\ntime_format = "ms"\n' + GOOD_VALUES, 3, "wire.rules[0].time_format", ["time and time_format"]),
        ('topic = "b/{box}"\nparts = { bx = {} }\n' + GOOD_VALUES, 3, "wire.rules[0].parts.bx", ["did you mean box"]),
        (
            'topic = "a"\n[[wire.rules.values]]\nname = "{box}/t"\n',
            4,
            "wire.rules[0].values[0].name",
            ["{box}", "no named"],
        ),
        (
            'topic = "a"\n[[wire.rules.values]]\nname = "room/air_temprature"\n',
            4,
            "wire.rules[0].values[0].name",
            ["no series has on the wire", "did you mean room/air_temperature"],
        ),
        (
            'topic = "b/{z}"\n[[wire.rules.values]]\nname = "{z}/air_temperature"\nunit = "%RH"\n',
            5,
            "wire.rules[0].values[0].unit",
            ["degF"],
        ),
        (
            'topic = "a"\n[[wire.rules.values]]\nname = "yard-1"\nscale = 0\n',
            5,
            "wire.rules[0].values[0].scale",
            ["other than 0"],
        ),
        (
            'topic = "a"\n[[wire.rules.values]]\nname = "yard-1"\npth = "x"\n',
            5,
            "wire.rules[0].values[0].pth",
            ["did you mean path"],
        ),
        (
            'topic = "b/+/state"\n' + GOOD_VALUES + '[[wire.rules]]\ntopic = "b/x/+"\n' + GOOD_VALUES,
            5,
            "wire.rules[1].topic",
            ["overlaps 'b/+/state' of wire.rules[0].topic"],
        ),
        (
            'topic = "b/{x}"\n' + GOOD_VALUES + '[[wire.rules]]\ntopic = "b/{y}"\n' + GOOD_VALUES,
            5,
            "wire.rules[1].topic",
            ["wire.rules[0].topic again"],
        ),
    ],
)
def test_a_mistake_in_a_rule_is_told_on_its_line(rule, line, key, words):
    farm, mistakes = check_text(HEAD + rule + SMALL_FARM)
    assert farm is None
    [mistake] = mistakes
    assert (mistake.line, mistake.key) == (line, key)
    assert all(word in str(mistake) for word in words), str(mistake)


FORMER = (
    SMALL_FARM
    + """
[[series]]
zone = "row"
quantity = "air_temperature"
wire = "probe-9"
"""
)


@pytest.mark.parametrize(
    ("was", "key", "words"),
    [
        ('wire = "probe-9"', "wire", ["this one it has now"]),
        ('wire = "old"\nsince = 2026-03-02\nuntil = 2026-03-01', "until", ["after since"]),
        ('wire = "yard-1"', "wire", ["without an end", "series[5]"]),
        ('wire = "old"\nunit = "%RH"', "unit", ["degF"]),
        (
            'wire = "old"\nuntil = 2026-03-01\n[[series.was]]\nwire = "old"\nsince = 2026-02-01',
            "wire",
            ["was[0] has it too"],
        ),
        ('wire = ""', "wire", ["at least 1"]),
    ],
)
def test_a_former_name_that_cannot_be_is_told(was, key, words):
    farm, [mistake] = check_text(f"{FORMER}[[series.was]]\n{was}\n")
    assert farm is None
    assert mistake.key.endswith(key)
    assert all(word in str(mistake) for word in words), str(mistake)


def test_former_names_that_follow_one_another_are_good():
    was = (
        '[[series.was]]\nwire = "old"\nuntil = 2026-03-01\n'
        '[[series.was]]\nwire = "old"\nsince = 2026-03-01T00:00:00\nuntil = 2026-03-05T00:00:00Z\n'
    )
    farm, mistakes = check_text(FORMER + was)
    assert mistakes == []
    assert len(farm.series[-1].was) == 2
