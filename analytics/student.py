"""Student's t: how wide an interval is that rests on few samples."""

from __future__ import annotations

import math
from statistics import NormalDist

CONFIDENCE = 0.95  # of every interval, unless said otherwise


def student_quantile(degrees: float, confidence: float = CONFIDENCE) -> float:
    """Return how many standard errors an interval reaches to either side.

    Parameters
    ----------
    degrees : float
        Degrees of freedom; need not be whole, what is below 1 gives NaN. [1]
    confidence : float
        Probability that the interval holds the true value, above 0 and below 1. [1]

    Returns
    -------
    quantile : float
        Two-sided. [1]

    Raises
    ------
    ValueError
        If ``confidence`` is out of range.

    Notes
    -----
    Hill's expansion: within 0.001 % of the exact value from 3 degrees on, exact for 1 and 2; between 1 and 2
    that of 1, between 2 and 3 that of 2, which is wider.

    References
    ----------
    .. [1] G. W. Hill, "Algorithm 396: Student's t-quantiles," Communications of the ACM 13, 1970.

    Examples
    --------
    >>> round(student_quantile(10), 3)
    2.228
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}: give a probability above 0 and below 1, such as 0.95")
    outside = 1.0 - confidence
    if not degrees >= 1.0:
        return math.nan
    if degrees < 2.0:
        return math.cos(outside * math.pi / 2) / math.sin(outside * math.pi / 2)
    if degrees < 3.0:
        return math.sqrt(2.0 / (outside * (2.0 - outside)) - 2.0)
    return _hill(degrees, outside)


def _hill(n: float, outside: float) -> float:
    """Return the quantile for three degrees or more, by the names of the paper."""
    a = 1.0 / (n - 0.5)
    b = 48.0 / a**2
    c = ((20_700.0 * a / b - 98.0) * a - 16.0) * a + 96.36
    d = ((94.5 / (b + c) - 3.0) / b + 1.0) * math.sqrt(a * math.pi / 2.0) * n
    y = (d * outside) ** (2.0 / n)
    if y > 0.05 + a:
        x = NormalDist().inv_cdf(outside / 2.0)
        y = x * x
        if n < 5.0:
            c += 0.3 * (n - 4.5) * (x + 0.6)
        c = (((0.05 * d * x - 5.0) * x - 7.0) * x - 2.0) * x + b + c
        y = (((((0.4 * y + 6.3) * y + 36.0) * y + 94.5) / c - y - 3.0) / b + 1.0) * x
        y = math.expm1(a * y * y)
    else:
        y = ((1.0 / (((n + 6.0) / (n * y) - 0.089 * d - 0.822) * (n + 2.0) * 3.0) + 0.5 / (n + 4.0)) * y - 1.0) * (
            n + 1.0
        ) / (n + 2.0) + 1.0 / y
    return math.sqrt(n * y)
