"""From hour to hour: when something is found to be unusual, and when it is over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.alignment import Floats
from analytics.findings.deviation import DAY_H, Hours
from analytics.findings.scene import Mask
from analytics.findings.weighing import TOLD_AT, Hypothesis, Weighing
from farm.causes import BY_NAME, Family, Nature

# At 0.8 a rise of the acid dosed in the demonstration's month was told as a fault; 0.95 tells slow faults six hours
# later, and no other figure of bench/README.md differs. 0.97 was chosen on farms that likelihoods are counted on.
OPENS_AT, OPENS_FOR_H = TOLD_AT, 2  # probability that something is wrong, for so many hours in a row
AT_ONCE_AT = 0.97  # from this on the first hour is enough
CLOSES_AT, CLOSES_FOR_H = 0.5, 6  # below this for so many hours it is over; our choice, no source
ENOUGH_KNOWN = 0.25  # of the features that are known at best; our choice, no source
SEEN_FROM = math.log(20.0)  # log odds of an hour's own readings that show a cause; our choice, no source
LOOKS_BACK_H = 48  # that an episode can last after what it shows is over; our choice, no source
ANOTHER_H = 3  # hours that show another cause: fewer may be what the mend itself does; our choice, no source
SMOOTH_H = 1  # probabilities are taken from the mean evidence of so many hours


@dataclass(frozen=True)
class Episode:
    """Hours during which something was found unusual; ``end`` is None while it lasts.

    ``begin`` is the first hour that led to it, ``opened`` the one at which it was told.
    """

    begin: int
    opened: int
    end: int | None

    def last(self, hours: int) -> int:
        """Return its last hour."""
        return hours - 1 if self.end is None else self.end


def wrong(weighing: Weighing, probability: Floats, best_known: int = 0) -> Floats:
    """Return how likely the evidence makes it, by hour, that anything is wrong: all but "as usual" and normal causes.

    The table's prior is for the question what is behind an excursion: something is. Here nothing is known before the
    evidence, so that all causes at all places together begin as likely as that nothing is wrong. At the very beginning,
    when little can be held against earlier days yet, it is 0: of the features that are known at best, here or by
    ``best_known`` elsewhere.
    """
    normal = [index for index, one in enumerate(weighing.hypotheses) if BY_NAME[one.cause].nature is Nature.NORMAL]
    usual = probability[-1] + probability[normal].sum(axis=0)
    odds = np.maximum(1.0 - usual, 0.0) / np.maximum(usual, np.finfo(float).tiny)
    even = odds / max(sum(weighing.prior_of(one) for one in weighing.hypotheses), 1.0)
    known = weighing.known_counts
    begun = np.logical_or.accumulate(known >= max(ENOUGH_KNOWN * known.max(initial=best_known), 1))
    found: Floats = np.where(begun, even / (1.0 + even), 0.0)
    return found


def episodes(something_wrong: Floats, first: int = 0) -> list[Episode]:
    """Return the episodes from hour ``first`` on, in order.

    Examples
    --------
    >>> import numpy as np
    >>> episodes(np.array([0.0, 0.95, 0.95, 0.95, 0, 0, 0, 0, 0, 0]))
    [Episode(begin=1, opened=2, end=9)]
    """
    found: list[Episode] = []
    begin: int | None = None
    opened: int | None = None
    quiet = 0
    for hour in range(first, len(something_wrong)):
        now = float(something_wrong[hour])
        if opened is None:
            if now < OPENS_AT:
                begin = None
                continue
            begin = hour if begin is None else begin
            if now >= AT_ONCE_AT or hour - begin + 1 >= OPENS_FOR_H:
                opened, quiet = hour, 0
            continue
        quiet = quiet + 1 if now < CLOSES_AT else 0
        if quiet >= CLOSES_FOR_H and begin is not None:
            found.append(Episode(begin, opened, hour))
            begin = opened = None
    if opened is not None and begin is not None:
        found.append(Episode(begin, opened, None))
    return found


def told_at(one: Episode, something_wrong: Floats, weighing: Weighing, behind: Mask | None = None) -> int:
    """Return the hour that an episode is told by: a lasting one's last at which it was sure, else its clearest.

    After its end what looks back on a day still shows a fault, and no longer as what it was: a slow one that is named
    within a day of a clearer fast one is its echo. ``behind`` tells which hypotheses can lie behind it, where that is
    not all: an hour may be clearer for something else.
    """
    last = one.last(len(something_wrong))
    sure = one.begin + np.flatnonzero(something_wrong[one.begin : last + 1] >= OPENS_AT)
    if not len(sure):
        return last
    odds = weighing.log_odds[:-1] if behind is None else np.where(behind[:, None], weighing.log_odds[:-1], -np.inf)
    if one.end is None:
        newest = int(sure[-1])
        if not _is_slow(weighing, odds, newest):
            return newest
        clearest = _clearest(odds, sure[sure > newest - DAY_H])
        return newest if _is_slow(weighing, odds, clearest) else clearest
    return _clearest(odds, sure)


def led_since(one: Episode, hour: int, something: Floats, weighing: Weighing) -> int:
    """Return since which hour of an episode a cause of the family that leads at an hour was the likeliest.

    What began while something else was unusual began no sooner than that.
    """
    sure = one.begin + np.flatnonzero(something[one.begin : hour + 1] >= OPENS_AT)
    leading = weighing.log_odds[:-1, sure].argmax(axis=0)
    family = _family(weighing, int(weighing.log_odds[:-1, hour].argmax()))
    of_it = [int(at) for at, which in zip(sure, leading, strict=True) if _family(weighing, int(which)) is family]
    return min(of_it, default=hour)


def last_seen(
    one: Episode, since: int, told: Sequence[Hypothesis], something: Floats, weighing: Weighing
) -> int | None:
    """Return the last hour of an episode, from ``since`` on, whose own readings show one of the causes it is told by.

    What looks back on a day keeps an episode for up to `LOOKS_BACK_H` longer. None where no hour's own readings show
    it, or none as late: a slow cause shows over days. None too where they show another cause later.
    """
    last = one.last(weighing.hours)
    own = [weighing.evidence_of_hours(each)[since : last + 1] for each in told]
    shown = since + np.flatnonzero(np.max(own, axis=0, initial=-math.inf) >= SEEN_FROM)
    if not len(shown) or last - shown[-1] > LOOKS_BACK_H:
        return None
    later = int(shown[-1]) + 1 + np.flatnonzero(something[shown[-1] + 1 : last + 1] >= OPENS_AT)
    leading = weighing.log_odds[:-1, later].argmax(axis=0)
    led_h: dict[str, int] = {}
    for which in set(leading.tolist()):
        other = weighing.hypotheses[which]
        own_h = int((weighing.evidence_of_hours(other)[later[leading == which]] >= SEEN_FROM).sum())
        led_h[other.cause] = led_h.get(other.cause, 0) + own_h
    led_h.pop(told[0].cause, None)
    return None if max(led_h.values(), default=0) >= ANOTHER_H else int(shown[-1])


def _family(weighing: Weighing, which: int) -> Family:
    return BY_NAME[weighing.hypotheses[which].cause].family


def _clearest(odds: Floats, hours: Hours) -> int:
    return int(hours[odds[:, hours].max(axis=0).argmax()])


def _is_slow(weighing: Weighing, odds: Floats, hour: int) -> bool:
    """Whether the likeliest cause of an hour is one that grows slowly."""
    return BY_NAME[weighing.hypotheses[int(odds[:, hour].argmax())].cause].slow
