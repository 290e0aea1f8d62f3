"""Dew point against measured weather: typical-year files that pvlib carries, with dry bulb, dew point and RH.

In most archives one of RH and dew point was worked out from the other, and RH is in whole per cent. So this
proves formula, phase and unit handling, not the physics of a humidity sensor. Limits: those of the reference
study with PsychroLib over the same files (median 0.06, 95 % within 0.30, 97 % within 0.5 degC, above freezing).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from analytics.psychrometrics import dew_point_temperature

DATA = Path(pvlib.__file__).parent / "data"


def read(name):
    """Return dry bulb, dew point (degC) and relative humidity (%) of one file."""
    if name.endswith(".tm2"):  # TMY2, fixed columns: tenths of a degree, per cent
        lines = (DATA / name).read_text().splitlines()[1:]
        columns = [[int(line[first:last]) for line in lines] for first, last in ((67, 71), (73, 77), (79, 82))]
        air, dew_point, humidity = np.array(columns, dtype=float)
        return air / 10, dew_point / 10, humidity
    table = pd.read_csv(DATA / name, skiprows=1)
    return tuple(table[column].to_numpy(float) for column in ("Dry-bulb (C)", "Dew-point (C)", "RHum (%)"))


@pytest.mark.parametrize(("name", "hours"), [("723170TYA.CSV", 6522), ("703165TY.csv", 4901), ("12839.tm2", 8717)])
def test_above_freezing(name, hours):
    air, dew_point, humidity = read(name)
    warm = (air > 0) & (dew_point > 0)
    assert warm.sum() == hours  # of the reference study: the file is read as it was
    error = np.abs(dew_point_temperature(air, humidity) - dew_point)[warm]
    assert np.median(error) <= 0.06
    assert np.percentile(error, 95) <= 0.30
    assert (error <= 0.5).mean() >= 0.97


@pytest.mark.parametrize(
    ("name", "phase", "other", "median", "p95"),
    [
        ("703165TY.csv", "ice", "water", 0.06, 0.30),  # its RH is over ice: 0.046 and 0.086 in the study
        ("723170TYA.CSV", "water", "ice", 0.12, 1.1),  # its RH is over water: 0.103 and 1.011 by Magnus in the study
    ],
)
def test_below_freezing_by_the_phase_that_fits(name, phase, other, median, p95):
    air, dew_point, humidity = read(name)
    cold = (air <= 0) & (humidity > 0)
    air, dew_point, humidity = air[cold], dew_point[cold], humidity[cold]
    error = np.abs(dew_point_temperature(air, humidity, phase) - dew_point)
    assert np.median(error) <= median
    assert np.percentile(error, 95) <= p95
    assert np.median(error) < np.median(np.abs(dew_point_temperature(air, humidity, other) - dew_point)) / 2


@pytest.mark.parametrize(("air", "humidity", "recorded", "consistent"), [(11.6, 90, 6.6, 10.02), (7.5, 93, 0.2, 6.44)])
def test_hours_whose_fields_contradict_each_other(air, humidity, recorded, consistent):
    # Two of the file's faults, with the dew point PsychroLib gives for their dry bulb and RH (two decimals).
    ours = float(dew_point_temperature(air, humidity))
    assert ours == pytest.approx(consistent, abs=0.006)
    assert abs(ours - recorded) > 3
