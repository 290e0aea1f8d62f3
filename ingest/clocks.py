"""Devices whose clocks are wrong, recognised by what their times do against the times of arrival."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from farm.readings import MICROSECONDS_PER_SECOND, iso_time

MOST_DEVICES = 10_000  # watched at a time, those heard of last; our choice, no source
STEADY_MESSAGES = 5  # and ...
STEADY_US = 60 * MICROSECONDS_PER_SECOND  # ... this long, before "steadily" is said; our choices, no source
STEADY_SHARE = 0.1  # of the time that passed: more, and the lag changes, as it does while a backlog comes in
STEADY_LEAST_US = 5 * MICROSECONDS_PER_SECOND
WHOLE_HOUR_S, NEAR_WHOLE_HOUR_S = 3600, 60


class ClockTrouble(StrEnum):
    """What is wrong with a clock."""

    AHEAD = "ahead"
    BEHIND = "behind"  # steadily: a cut link catches up
    JUMPED = "jumped"  # back, without a pause in what arrived, and stayed there
    STANDS_STILL = "stands_still"


class WrongClock(NamedTuple):
    """Why a message's readings are suspect."""

    trouble: ClockTrouble
    detail: str
    behind_s: float


@dataclass(slots=True)
class _Watched:
    """What one device's times have done: since when they ran as evenly as ours, and since when they stand."""

    time_us: int
    arrived_us: int
    payload_hash: int
    run_arrived_us: int  # the first message of the steady run, and by how much it was behind
    run_behind_us: int
    run_messages: int = 1
    run_jumped: bool = False
    still_since_us: int = 0
    still_messages: int = 1


class DeviceClocks:
    """Judges each message's newest stated time. A device is what publishes on one topic.

    Where several devices share a topic, only what all their times do is seen: that may miss a wrong
    clock, it blames no right one. The judgement hangs on when and in what order a device's messages
    reached us, and on nothing else: on no other device, no value, and no clock but ours on arrival.
    """

    def __init__(self, tolerance_s: float) -> None:
        self._tolerance_us = int(tolerance_s * MICROSECONDS_PER_SECOND)
        self._devices: OrderedDict[str, _Watched] = OrderedDict()

    def judged(self, device: str, time_us: int, arrived_us: int, payload: bytes) -> WrongClock | None:
        """Return what is wrong with the clock by which a message says ``time_us``; None if nothing is known to be."""
        behind_us, content = arrived_us - time_us, hash(payload)
        known = self._devices.get(device)
        if known is None:
            known = self._devices[device] = _Watched(
                time_us, arrived_us, content, arrived_us, behind_us, still_since_us=arrived_us
            )
            if len(self._devices) > MOST_DEVICES:
                self._devices.popitem(last=False)
        elif content != known.payload_hash:  # else the same message again, which says nothing of the clock
            self._devices.move_to_end(device)
            self._follow(known, time_us, arrived_us, behind_us)
            known.time_us, known.arrived_us, known.payload_hash = time_us, arrived_us, content
        return self._judgement(known, behind_us)

    def _follow(self, known: _Watched, time_us: int, arrived_us: int, behind_us: int) -> None:
        if time_us == known.time_us:
            known.still_messages += 1
        else:
            known.still_messages, known.still_since_us = 1, arrived_us
        passed_us = arrived_us - known.run_arrived_us
        drift_us = abs(behind_us - known.run_behind_us)
        if drift_us <= STEADY_LEAST_US or drift_us <= STEADY_SHARE * passed_us:
            known.run_messages += 1
            return
        was_right = abs(known.arrived_us - known.time_us) <= self._tolerance_us
        no_pause = arrived_us - known.arrived_us <= self._tolerance_us
        known.run_jumped = was_right and no_pause and time_us < known.time_us - self._tolerance_us
        known.run_arrived_us, known.run_behind_us, known.run_messages = arrived_us, behind_us, 1

    def _judgement(self, known: _Watched, behind_us: int) -> WrongClock | None:
        behind_s = behind_us / MICROSECONDS_PER_SECOND
        if behind_us < -self._tolerance_us:
            return WrongClock(ClockTrouble.AHEAD, f"its times are {-behind_s:.0f} s ahead: set its clock", behind_s)
        still_us = known.arrived_us - known.still_since_us
        if known.still_messages >= STEADY_MESSAGES and still_us >= STEADY_US:
            detail = (
                f"{known.still_messages} messages in {still_us / MICROSECONDS_PER_SECOND:.0f} s all say "
                f"{iso_time(known.time_us)}: its clock stands still"
            )
            return WrongClock(ClockTrouble.STANDS_STILL, detail, behind_s)
        steady_us = known.arrived_us - known.run_arrived_us
        if behind_us > self._tolerance_us and known.run_messages >= STEADY_MESSAGES and steady_us >= STEADY_US:
            trouble = ClockTrouble.JUMPED if known.run_jumped else ClockTrouble.BEHIND
            how = "jumped back and have since been" if known.run_jumped else "are steadily"
            return WrongClock(trouble, f"its times {how} {behind_s:.0f} s behind: {_remedy(behind_s)}", behind_s)
        return None


def _remedy(behind_s: float) -> str:
    hours = round(behind_s / WHOLE_HOUR_S)
    if hours and abs(behind_s - hours * WHOLE_HOUR_S) <= NEAR_WHOLE_HOUR_S:
        return "whole hours; does it send local time for UTC? Else set its clock"
    return "set its clock, or raise clock_tolerance_s under [wire] if it sends late on purpose"
