"""Flood and drain of a shelf, by hand."""

import math

import numpy as np
import pytest

from analytics.flood_and_drain import floods
from analytics.irrigation import irrigation_cycles
from tests.conftest import samples

MINUTE = 60_000_000


def switch(text):
    times, values = zip(*samples(text, start_us=0), strict=True)
    return irrigation_cycles(times, values, 0.5, times[-1] + MINUTE, 3 * MINUTE)


def table(found):
    return [
        (start // MINUTE, *(None if math.isnan(one) else one / 60 for one in times), drained)
        for start, *times, drained in zip(
            found.start_us.tolist(),
            found.fill_s.tolist(),
            found.wet_s.tolist(),
            found.drain_s.tolist(),
            found.drained.tolist(),
            strict=True,
        )
    ]


@pytest.mark.parametrize(
    ("pump", "water", "expected"),
    [
        # start, minutes to fill, wet, to drain after the pump stopped, drained
        ("0*2 1*5 0*13", "0*4 1*8 0*8", [(2, 2, 8, 5, True)]),
        ("0*2 1*5 0*13", "0*4 1*16", [(2, 2, 16, None, False)]),  # it stands
        ("0*2 1*5 0*13", "0*20", [(2, None, 0, None, True)]),  # the pump ran and no water came
        ("0*2 1*3 0*5 1*3 0*7", "0*3 1*3 0*5 1*3 0*6", [(2, 1, 3, 1, True), (10, 1, 3, 1, True)]),
        ("0*2 1*3 0*5 1*3 0*7", "0*3 1*9 0*8", [(2, 1, 9, 7, True), (10, None, None, None, False)]),  # still wet
        ("0*2 1*5 0*13", "0*4 1*2 0 1*3 0*10", [(2, 2, 6, 3, True)]),  # a switch that bobs
        ("0*9 1*2 0*9", "0*2 1*3 0*5 1*3 0*7", [(2, None, 3, None, True), (9, 1, 3, 2, True)]),  # water without a pump
        ("1*5 0*15", "0*4 1*8 0*8", [(0, None, 8, 7, True)]),  # nobody saw the pump start
        ("0*2 1*5 0*13", "0*4 1*3 _*6 0*7", [(2, 2, 5, None, False)]),  # a gap: nobody saw it drain
    ],
)
def test_pump_and_float(pump, water, expected):
    assert table(floods(switch(pump), switch(water))) == expected


def test_only_one_of_them():
    assert table(floods(None, switch("0*4 1*8 0*8"))) == [(4, None, 8, None, True)]
    assert table(floods(switch("0*2 1*5 0*13"), None)) == [(2, None, None, None, False)]
    assert len(floods(None, switch("0*9"))) == 0
    assert len(floods(switch("0*9"), switch("0*9"))) == 0
    with pytest.raises(ValueError, match="give at least one of them"):
        floods(None, None)


def test_a_made_up_day():
    """Pump 10 min every 6 h; water up 3 min after, down 6 min after the pump stops; the last flood does not drain."""
    pump, water = np.zeros(1440), np.zeros(1440)
    for start in range(60, 1440, 360):
        pump[start : start + 10] = 1
        water[start + 3 : start + 16] = 1
    water[60 + 3 * 360 + 3 :] = 1
    at = np.arange(1440) * MINUTE
    runs = [irrigation_cycles(at, one, 0.5, 1440 * MINUTE, 3 * MINUTE) for one in (pump, water)]
    found = floods(*runs)
    assert found.fill_s.tolist() == [180.0] * 4
    assert found.drain_s[:3].tolist() == [360.0] * 3
    assert found.drained.tolist() == [True, True, True, False]
    assert found.wet_s[3] == (1440 - 60 - 1080 - 3) * 60
