"""Series keys, flags, units and time: the words everything else uses."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from farm.flags import Flag, worst_flag
from farm.quantities import QUANTITIES
from farm.readings import Series, instant, iso_time, microseconds
from farm.units import conversion_to
from tests.conftest import SMALL_FARM


@pytest.mark.parametrize("key", ["room/air_temperature", "row-1/ppfd/left"])
def test_a_key_survives_the_round_trip(key):
    assert Series.parse("f", key).key == key


@pytest.mark.parametrize("key", ["", "room", "a/b/c/d", "room/ppfd/", "Room/ppfd", "room/../ppfd", "room/no_such"])
def test_a_wrong_key_is_refused_with_its_text(key):
    with pytest.raises(ValueError, match=r"key|registry") as caught:
        Series.parse("f", key)
    assert repr(key) in str(caught.value)


@pytest.mark.parametrize(
    ("unit", "wire", "value", "inside", "source"),
    [
        ("degC", "degF", 212.0, 100.0, "definition of the Fahrenheit scale"),
        ("degC", "degF", -40.0, -40.0, "definition of the Fahrenheit scale"),
        ("degC", "K", 273.15, 0.0, "SI brochure, 9th edition"),
        ("kPa", "psi", 14.6959, 101.325, "NIST SP 811, appendix B.8, to six digits"),
        ("L", "gal", 1.0, 3.785412, "NIST SP 811, appendix B.8"),
        ("L/min", "gpm", 1.0, 3.785412, "NIST SP 811, appendix B.8"),
        ("mS/cm", "uS/cm", 1413.0, 1.413, "SI prefixes"),
        ("mS/cm", "S/m", 0.1413, 1.413, "SI prefixes"),
        ("kWh", "J", 3.6e6, 1.0, "definition of the watt hour"),
        ("%", "/", 0.655, 65.5, "definition of per cent"),
        ("umol mol-1", "%", 0.1, 1000.0, "definition of per cent"),
    ],
)
def test_wire_units_become_ours(unit, wire, value, inside, source):
    conversion = conversion_to(unit, wire)
    assert value * conversion.scale + conversion.offset == pytest.approx(inside, rel=1e-5, abs=1e-9), source


def test_no_unit_of_another_quantity_is_taken():
    assert conversion_to("degC", "%RH") is None
    assert conversion_to("mS/cm", "Cel") is None


def test_every_quantity_can_be_sent_in_its_own_wire_unit():
    for quantity in QUANTITIES.values():
        assert quantity.low < quantity.high
        if not quantity.derived:
            assert conversion_to(quantity.unit, quantity.senml_unit) is not None, quantity.name


def test_the_worst_flag_of_inputs():
    assert worst_flag([1, 1]) is Flag.GOOD
    assert worst_flag([1, 2]) is Flag.NOT_EVALUATED
    assert worst_flag([2, 3, 1]) is Flag.SUSPECT
    assert worst_flag([]) is Flag.MISSING
    with pytest.raises(ValueError, match="5"):
        worst_flag([5])


def test_time_keeps_its_microseconds_before_and_after_1970():
    for moment in (datetime(2026, 3, 1, 12, 0, 0, 123457, UTC), datetime(1969, 12, 31, 23, 59, 59, 999999, UTC)):
        assert instant(microseconds(moment)) == moment
    east = datetime(2026, 3, 1, 1, tzinfo=timezone(timedelta(hours=2)))
    assert iso_time(microseconds(east)) == "2026-02-28T23:00:00Z"
    with pytest.raises(ValueError, match="no time zone"):
        microseconds(datetime(2026, 3, 1))  # noqa: DTZ001  # that is the mistake


def test_a_batch_decides_the_phase_while_it_stands_in_a_zone():
    from farm.check import check_text

    text = (
        SMALL_FARM
        + """
[crops.cress.phases.finishing.bands]
air_temperature = { always = [10, 15] }
[[batches]]
name = "b1"
crop = "cress"
sown = 2026-01-01
[[batches.stays]]
zone = "row"
phase = "finishing"
entered = 2026-03-10
left = 2026-03-20
"""
    )
    farm, mistakes = check_text(text)
    assert not mistakes
    # local midnight in Oslo (UTC+1) begins and ends the stay
    at = datetime(2026, 3, 9, 23, 0, tzinfo=UTC)
    growing = farm.crops["cress"].phases["growing"]
    finishing = farm.crops["cress"].phases["finishing"]
    assert farm.phase_at("row", at - timedelta(seconds=1)) is growing
    assert farm.phase_at("row", at) is finishing
    assert farm.phase_at("row", datetime(2026, 3, 19, 23, 0, tzinfo=UTC)) is growing
    assert farm.phase_at("outdoors", at) is None
