"""Invented readings in the shape real ones have: the same for every engine, and the same each time.

Six kinds of sensor with the resolution they usually have (air temperature and pH 0.01, humidity 0.01 %, CO2 1, PPFD
0.1, EC 0.001), a daily course, slow wandering and noise of a few steps, one every 10 s, stamped to the millisecond
with a few milliseconds of jitter, one in a thousand flagged suspect.
"""

from __future__ import annotations

import numpy as np

DAY_US = 86_400_000_000
T0_US = 1_767_225_600_000_000  # 2026-01-01T00:00:00Z
CADENCE_US = 10_000_000
A_DAY = DAY_US // CADENCE_US
COLUMNS = np.dtype([("time", np.int64), ("value", np.float64), ("flag", np.uint8)])
KINDS = (
    # quantity, middle, daily swing, wandering, noise, decimals
    ("air_temperature", 22.0, 3.0, 0.03, 0.02, 2),
    ("relative_humidity", 65.0, -8.0, 0.15, 0.1, 2),
    ("co2_mole_fraction", 900.0, 200.0, 2.0, 5.0, 0),
    ("ppfd", 250.0, 10.0, 0.3, 0.5, 1),
    ("solution_ec", 1.8, 0.1, 0.0015, 0.002, 3),
    ("solution_ph", 5.9, 0.1, 0.003, 0.004, 2),
)


def a_day(number, day):
    """Return times, values and flags of one series on one day, counted from T0; days before it are negative."""
    draw = np.random.default_rng((number, day % 4096))
    _, middle, swing, wander, noise, decimals = KINDS[number % 6]
    jitter = draw.normal(0, 4, A_DAY).round().astype(np.int64).clip(-4000, 4000) * 1000
    time_us = T0_US + day * DAY_US + np.arange(A_DAY) * CADENCE_US + 5_000_000 + jitter
    course = np.sin(2 * np.pi * np.arange(A_DAY) / A_DAY)
    steps = draw.normal(0, wander, A_DAY)
    # Wandering that comes back: an average over some minutes of a random walk's steps.
    slow = np.convolve(steps, np.exp(-np.arange(600) / 100), "full")[:A_DAY]
    value = (middle + swing * course + slow + draw.normal(0, noise, A_DAY)).round(decimals)
    if KINDS[number % 6][0] == "ppfd":
        value[A_DAY * 2 // 3 :] = 0.0  # lights off
    return time_us, value, np.where(draw.random(A_DAY) < 0.001, 3, 1)


def a_series_day(number, day):
    """Return one series' day as rows (series, time, value, flag)."""
    columns = (column.tolist() for column in a_day(number, day))
    return [(number, *row) for row in zip(*columns, strict=True)]


def quarter_hours(day, count):
    """Yield a day of ``count`` series as it arrives: a quarter of an hour of all of them at a time."""
    columns = [a_day(number, day) for number in range(count)]
    for first in range(0, A_DAY, 90):
        part = slice(first, first + 90)
        yield [
            (number, *row)
            for number, (time_us, value, flag) in enumerate(columns)
            for row in zip(time_us[part].tolist(), value[part].tolist(), flag[part].tolist(), strict=True)
        ]


def batch(number, size, count, start_us):
    """Return the rows of one of several batches over ``count`` series, each of which follows on the one before."""
    per_series = -(-size // count)
    begin_us = start_us + number * per_series * CADENCE_US
    return [(k % count, begin_us + k // count * CADENCE_US, 20.0 + k % 7, 1) for k in range(size)]
