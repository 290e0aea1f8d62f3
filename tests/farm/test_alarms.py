"""What [alarms] may not say."""

from __future__ import annotations

import pytest

from farm.check import check_text
from tests.conftest import SMALL_FARM


@pytest.mark.parametrize("key", ["off = true", 'priority = "low"', "on_delay_s = 3600"])
def test_dangerous_co2_cannot_be_weakened(key):
    _, found = check_text(SMALL_FARM + f"[alarms.kinds.co2_danger]\n{key}\n")
    [said] = map(str, found)
    name = key.split()[0]
    assert f"alarms.kinds.co2_danger.{name}: found a key for co2_danger; allowed: off_delay_s alone" in said


def test_how_long_dangerous_co2_must_be_over_is_the_farms_own():
    assert check_text(SMALL_FARM + "[alarms.kinds.co2_danger]\noff_delay_s = 1200\n")[1] == []
