"""The service's memory goes back to the system once large arrays are gone."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

HOLES = """
import sys
import numpy as np
from leafweather.memory import give_memory_back

def resident_mb():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * 4096 / 1e6

if sys.argv[1] == "yes":
    assert give_memory_back()
np.ones(1_000_000)  # from now on the C library takes 8 MB for a size to keep, unless it is told
before, kept = resident_mb(), []
for _ in range(3):
    large = []
    for _ in range(50):
        large.append(np.ones(125_000))
        kept.append(np.ones(100))  # small ones that stay, between them
    del large
print(resident_mb() - before)
"""


def growth_mb(told):
    done = subprocess.run([sys.executable, "-c", HOLES, told], capture_output=True, text=True, check=True)
    return float(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="a setting of the GNU C library")
def test_holes_between_what_stays_are_given_back():
    assert growth_mb("yes") < 5
    assert growth_mb("no") > 20, "else the setting is not needed any more"
