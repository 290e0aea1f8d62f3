"""The water balance: what came in against what left and what the reservoir gained, with its give or take."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from analytics.amounts import Amount


@dataclass(frozen=True, slots=True)
class WaterBalance:
    """How a balance stands. None where it cannot be said.

    ``unknown`` names the terms without a figure. With none of them, ``closing_error`` is what came in less what
    left less what was gained, and ``closes`` whether that is within its give or take. With one, ``remainder`` is
    what that term must have been for the balance to close.
    """

    unknown: tuple[str, ...]
    closing_error: Amount | None
    closes: bool | None
    remainder: Amount | None


def water_balance(
    entered: Mapping[str, Amount], left: Mapping[str, Amount], gained: Mapping[str, Amount]
) -> WaterBalance:
    """Return whether water that came in, left and stayed adds up over a stretch of time.

    Parameters
    ----------
    entered : mapping of str to Amount
        Feed water, other top-up, condensate that is returned, doses. [L]
    left : mapping of str to Amount
        What plants drank, what was drained. [L]
    gained : mapping of str to Amount
        Change of what is stored; negative where it fell. [L]

    Returns
    -------
    balance : WaterBalance

    Raises
    ------
    ValueError
        If a term stands on two sides, or a give or take is negative.

    Notes
    -----
    ``entered = left + gained``. Give or take: the root of the sum of squares of the terms' own, for independent
    errors (JCGM 100:2008, 5.1.2). An unknown term is never taken as 0.

    Examples
    --------
    >>> balance = water_balance(
    ...     {"feed water": Amount(50.0, 1.0)}, {"drunk": Amount(math.nan), "drained": Amount(0.0, 0.0)},
    ...     {"reservoir": Amount(6.0, 2.4)})
    >>> balance.unknown, balance.remainder
    (('drunk',), Amount(value=44.0, give_or_take=2.6, coverage=1.0))
    """
    terms = [(name, amount, 1.0) for name, amount in entered.items()]
    terms += [(name, amount, -1.0) for side in (left, gained) for name, amount in side.items()]
    names = [name for name, _, _ in terms]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise ValueError(f"{', '.join(twice)} stands on more than one side of the balance: name each term once")
    if negative := [name for name, amount, _ in terms if amount.give_or_take < 0]:
        raise ValueError(f"the give or take of {', '.join(negative)} is negative: give 0 or more")
    unknown = [(name, sign) for name, amount, sign in terms if not math.isfinite(amount.value)]
    known = [(amount, sign) for _, amount, sign in terms if math.isfinite(amount.value)]
    rest = math.fsum(sign * amount.value for amount, sign in known)
    give_or_take = math.hypot(*(amount.give_or_take for amount, _ in known))
    coverage = min((amount.coverage for amount, _ in known), default=math.nan)
    missing = tuple(name for name, _ in unknown)
    if not unknown:
        closes = None if math.isnan(give_or_take) else abs(rest) <= give_or_take
        return WaterBalance(missing, Amount(rest, give_or_take, coverage), closes, None)
    if len(unknown) == 1:
        [(_, sign)] = unknown
        return WaterBalance(missing, None, None, Amount(-sign * rest, give_or_take, coverage))
    return WaterBalance(missing, None, None, None)
