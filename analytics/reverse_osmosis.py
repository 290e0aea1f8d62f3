"""Reverse osmosis: what a unit makes against its rating, at the temperature of its feed water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, Times
from analytics.saturation import broadcast
from analytics.water_volumes import SECONDS_PER_MINUTE, Litres

# Temperature constants of thin-film composite membranes, K; from memory.
K_WARM = 2640.0
K_COLD = 3020.0
CHANGES_AT_C = 25.0
RATED_AT_K = 298.0
ZERO_C_K = 273.0  # both as the formula has them
VALID_C = (0.0, 45.0)  # ice, and the usual limit of such membranes; our choice, no source
MINUTES_PER_DAY = 1440.0


def temperature_correction_factor(feed_temperature: ArrayLike) -> Floats:
    """Return by what factor a membrane passes less water than at 25 degC.

    Parameters
    ----------
    feed_temperature : array_like
        0..45. [degC]

    Returns
    -------
    factor : numpy.ndarray
        1 at 25 degC, more in colder water; NaN where the input is NaN or out of range. [1]

    Notes
    -----
    ``1/TCF = exp(k (1/298 - 1/(273 + T)))`` with k 2640 K from 25 degC up and 3020 K below (from memory), for
    thin-film composite membranes at constant pressure. It reproduces the published table, 10..29 degC, to 0.0005.
    Another published table has 1.47 instead of 1.42 at 15 degC: between membranes the factor differs by some 3 %.

    Examples
    --------
    >>> float(temperature_correction_factor(10.0).round(3))
    1.711
    """
    feed = np.asarray(feed_temperature, dtype=float)
    valid = np.where((feed >= VALID_C[0]) & (feed <= VALID_C[1]), feed, np.nan)
    k = np.where(valid >= CHANGES_AT_C, K_WARM, K_COLD)
    factor: Floats = np.exp(k * (1.0 / (ZERO_C_K + valid) - 1.0 / RATED_AT_K))
    return factor


def expected_output(rated_output: ArrayLike, feed_temperature: ArrayLike) -> Floats:
    """Return what a sound unit makes from feed water of some temperature.

    Parameters
    ----------
    rated_output : array_like
        At 25 degC feed. [any unit of flow]
    feed_temperature : array_like
        0..45. [degC]

    Returns
    -------
    output : numpy.ndarray
        [the unit of ``rated_output``]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``Q(T) = Q25 / TCF``. The rating also names a pressure and a salt content; this corrects for neither.

    See Also
    --------
    normalised_output_share : The same turned round.

    Examples
    --------
    >>> float(expected_output(1800.0, 15.0).round())
    1266.0
    """
    rated, feed = broadcast(rated_output, feed_temperature)
    expected: Floats = rated / temperature_correction_factor(feed)
    return expected


def normalised_output_share(output: ArrayLike, rated_output: ArrayLike, feed_temperature: ArrayLike) -> Floats:
    """Return what a unit makes as a share of its rating, at 25 degC: 1 is as new.

    Parameters
    ----------
    output : array_like
        While it runs. [the unit of ``rated_output``]
    rated_output : array_like
        At 25 degC feed, above 0. [any unit of flow]
    feed_temperature : array_like
        0..45. [degC]

    Returns
    -------
    share : numpy.ndarray
        NaN where an input is NaN or out of range. [1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    See Also
    --------
    normalised_output_share_uncertainty : Its give or take.

    Examples
    --------
    >>> float(normalised_output_share(1266.0, 1800.0, 15.0).round(2))
    1.0
    """
    made, rated, feed = broadcast(output, rated_output, feed_temperature)
    share: Floats = made * temperature_correction_factor(feed) / np.where(rated > 0, rated, np.nan)
    return share


def normalised_output_share_uncertainty(
    share: ArrayLike, feed_temperature: ArrayLike, output_accuracy: ArrayLike, feed_temperature_accuracy: ArrayLike
) -> Floats:
    """Return the give or take of a normalised output share from its meter's and thermometer's accuracies.

    Parameters
    ----------
    share : array_like
        As ``normalised_output_share`` returns it. [1]
    feed_temperature : array_like
        0..45. [degC]
    output_accuracy : array_like
        Plus or minus of the meter, as a share of what it reads. [1]
    feed_temperature_accuracy : array_like
        Plus or minus, at the same confidence. [K]

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence. [1]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    First-order propagation for independent errors, JCGM 100:2008, 5.1.2, with ``d ln TCF / dT = -k/(273 + T)^2``:
    about 3.5 % for a kelvin. What the factor itself may be wrong by between membranes is not in it.

    Examples
    --------
    >>> float(normalised_output_share_uncertainty(0.9, 15.0, 0.02, 0.5).round(3))
    0.024
    """
    made, feed, of_output, of_feed = broadcast(share, feed_temperature, output_accuracy, feed_temperature_accuracy)
    valid = np.where((feed >= VALID_C[0]) & (feed <= VALID_C[1]), feed, np.nan)
    slope = np.where(valid >= CHANGES_AT_C, K_WARM, K_COLD) / (ZERO_C_K + valid) ** 2
    uncertainty: Floats = np.abs(made) * np.hypot(of_output, slope * of_feed)
    return uncertainty


@dataclass(frozen=True, slots=True, eq=False)
class RunningOutput:
    """What a unit makes while it runs: the mean over ``blocks_us``, the starts of the stretches it ran through.

    NaN where it ran through none. [L/min].
    """

    output: float
    blocks_us: Times


def running_output(start_us: ArrayLike, blocks: Litres, least_output: float) -> RunningOutput:
    """Return what a unit makes while it runs, from litres in short stretches that follow each other.

    Parameters
    ----------
    start_us : array_like of int
        Starts of the stretches, ascending, each beginning where the one before ends. [µs since 1970 UTC]
    blocks : Litres
        What was made in each, from ``litres_from_meter`` or ``litres_from_flow``. Long enough that the meter's
        steps do not matter: ten or more of them at the rated output.
    least_output : float
        Below this a stretch counts as standing still, above 0. [L/min]

    Returns
    -------
    running : RunningOutput

    Raises
    ------
    ValueError
        If the starts and the litres are not of one shape, or ``least_output`` is not positive.

    Notes
    -----
    Only stretches count whose neighbours on both sides ran too: in the first and the last of a run the unit ran
    for an unknown part of the time. A run of one or two stretches therefore tells nothing. Stretches that data do
    not cover whole count as standing still.

    Examples
    --------
    >>> made = Litres(np.array([0.0, 2.0, 6.0, 6.0, 3.0, 0.0]), np.full(6, 600.0), np.full(6, 600.0))
    >>> running_output([0, 600, 1200, 1800, 2400, 3000], made, least_output=0.1).output
    0.6
    """
    starts = np.asarray(start_us, dtype=np.int64)
    if starts.shape != blocks.litres.shape or starts.ndim != 1:
        raise ValueError(
            f"{starts.shape} starts and {blocks.litres.shape} litres do not belong together: give one each"
        )
    if not least_output > 0:
        raise ValueError(f"least_output is {least_output}: give the output below which the unit stands still, above 0")
    whole = (blocks.covered_s >= blocks.span_s * (1 - 1e-9)) & (blocks.span_s > 0)
    minutes = blocks.span_s / SECONDS_PER_MINUTE
    ran = np.concatenate(([False], whole & (blocks.litres >= least_output * minutes), [False]))
    inner = ran[:-2] & ran[1:-1] & ran[2:]
    output = float(blocks.litres[inner].sum() / minutes[inner].sum()) if inner.any() else float("nan")
    return RunningOutput(output, starts[inner])
