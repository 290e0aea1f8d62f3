"""Published tables, read by name."""

from pathlib import Path

import numpy as np
import pytest

REFERENCE = Path(__file__).parent.parent / "reference"


@pytest.fixture
def reference():
    """Return a reader of ``tests/reference/<name>.csv``: columns by name, empty cells NaN."""

    def read(name):
        lines = (REFERENCE / f"{name}.csv").read_text().splitlines()
        assert lines[0].startswith("#"), f"{name}.csv does not begin with its source"
        return np.genfromtxt([line for line in lines if not line.startswith("#")], delimiter=",", names=True)

    return read
