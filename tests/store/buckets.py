"""The rule by which readings are summed up, written out in plain Python, and the comparison with it."""

from __future__ import annotations

import math

import numpy as np


def expected(rows, start_us, end_us, every_us):
    """Yield (time, count, mean, low, high, flag, first, last) of (time, value or None, flag) in order of time."""
    stretches = {}
    for time, value, flag in rows:
        if start_us <= time < end_us:
            stretches.setdefault(math.floor(time / every_us) * every_us, []).append((value, flag))
    for begin, members in sorted(stretches.items()):
        good = [(value, flag) for value, flag in members if value is not None and flag not in (4, 9)]
        if good:
            values = [value for value, _ in good]
            mean = math.fsum(values) / len(good)
            flag = max(flag for _, flag in good)
            yield begin, len(good), mean, min(values), max(values), flag, values[0], values[-1]
        else:
            yield begin, 0, None, None, None, max(flag if flag in (4, 9) else 9 for _, flag in members), None, None


def check_buckets(got, rows, start_us, end_us, every_us):
    wanted = list(expected(rows, start_us, end_us, every_us))
    assert got.time_us.tolist() == [row[0] for row in wanted]
    assert got.count.tolist() == [row[1] for row in wanted]
    assert got.flag.tolist() == [row[5] for row in wanted]
    # All but the mean are readings, so exact. The mean's tolerance is the bound on a plain sum of n terms,
    # n * unit round-off * sum(|x|) (Higham, Accuracy and Stability of Numerical Algorithms, 4.2).
    largest = max((abs(value) for _, value, _ in rows if value is not None), default=0)
    rounding = len(rows) * 2**-53 * largest
    columns = ((got.low, 3, 0), (got.high, 4, 0), (got.first, 6, 0), (got.last, 7, 0), (got.mean, 2, rounding))
    for column, place, tolerance in columns:
        wanted_column = np.array([row[place] for row in wanted], float)
        np.testing.assert_allclose(column, wanted_column, rtol=0, atol=tolerance, equal_nan=True)
    dtypes = [getattr(got, name).dtype for name in ("time_us", "count", "mean", "low", "high", "flag", "first", "last")]
    assert dtypes == [np.int64, np.int64, *3 * [np.float64], np.uint8, *2 * [np.float64]]
