"""How often one may ask: per token, and per address for those who are not signed in."""

from __future__ import annotations

import ipaddress
import math
import time
from collections.abc import Sequence

from fastapi import Request
from limits import RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import FixedWindowRateLimiter

from api.problems import Problem

Network = ipaddress.IPv4Network | ipaddress.IPv6Network

CLOCK_SET_S = 5.0  # by which a clock that was set differs from time that passed; our choice, no source


class RequestRate:
    """Counts requests minute by minute, from each one's first on; the counts of a minute are forgotten after it.

    Parameters
    ----------
    per_minute : int
        Requests that one may make in a minute.
    """

    def __init__(self, per_minute: int) -> None:
        self._storage = MemoryStorage()
        self._limiter, self._limit = FixedWindowRateLimiter(self._storage), RateLimitItemPerMinute(per_minute)
        self._set_s = _clock_s()

    def count(self, who: str) -> None:
        """Count one request.

        Raises
        ------
        Problem
            429 with Retry-After, if it is one too many.
        """
        if abs(_clock_s() - self._set_s) > CLOCK_SET_S:  # else a clock that was set back keeps everybody out
            self._storage.reset()
            self._set_s = _clock_s()
        if not self._limiter.hit(self._limit, who):
            ends_s = self._limiter.get_window_stats(self._limit, who).reset_time
            wait_s = min(60, max(1, math.ceil(ends_s - time.time())))
            raise Problem(
                429,
                f"More than {self._limit.amount} requests a minute. Ask again in {wait_s} s, and less often; "
                "/api/v1/events tells when something changed.",
                {"Retry-After": str(wait_s)},
            )


def _clock_s() -> float:
    return time.time() - time.monotonic()


def address_of(request: Request, trusted: Sequence[Network] = ()) -> str:
    """Return whom a request without a sign-in is counted for: its address; of IPv6 the network, which has one owner.

    What came from a trusted proxy is counted for whom X-Forwarded-For names last that is no trusted proxy: what stands
    before that name anybody may have written.
    """
    host = request.client.host if request.client else ""
    address = _address(host)
    names = ",".join(request.headers.getlist("x-forwarded-for")).split(",") if trusted else []
    while address is not None and any(address in one for one in trusted):
        named = _address(names.pop().strip()) if names else None
        if named is None:
            break
        address = named
    if address is None:
        return f"address {host}"
    return f"address {ipaddress.ip_network((address, 64), strict=False) if address.version == 6 else address}"


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """Return an address without its scope, and of one of IPv4 that is written as IPv6 (RFC 4291, 2.5.5.2) that one."""
    try:
        address = ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return None
    return (address.ipv4_mapped or address) if isinstance(address, ipaddress.IPv6Address) else address
