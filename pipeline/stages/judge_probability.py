"""How probable it is that a claim is true, given the distributions of its figures.

A figure's distribution is the lognormal one from which ``pipeline.lineage`` read its 90 %
interval, so the interval's ends give it back: its logarithm is normal, half-way between the
logarithms of the ends, with a deviation of their distance over 2 x 1.6449. A sum or a ratio
of figures has the widest interval that its parts allow; its lognormal is the one through
those ends, which pulls the probability towards a half.

Several conditions: how they hang together is not known, so the claim gets the least that
their probabilities allow: of those of which one is enough the largest; of those that must
all be true 1 less what each of them lacks (the lower bounds of Boole and Frechet).

Never more than ``MOST`` is said. The interval's ends hold 95 % on each side; how thin the
tail beyond them is, a first-order model does not know. So 0.95 reads "at least 0.95", and
more of a component never looks safer for having made the tail thinner.
"""

from __future__ import annotations

import math
from statistics import NormalDist

from pipeline.lineage import Z90
from pipeline.stages.conditions import FAILS, HOLDS, INGREDIENTS, NOT_ASSESSABLE, UNCERTAIN, UPPER, Outcome, needed

MOST = 0.95


def of_claim(outcomes: list[Outcome], verdict: str) -> float:
    """The probability (0 to ``MOST``) that the conditions of a claim are true; ``verdict`` is the claim's.

    Null where it cannot be told: nothing to assess, a figure of which a part is unknown or that
    is doubted for a reason outside its interval, an interval that begins at nothing. A claim
    that fails by another condition is at most as probable as that one.
    """
    if verdict == NOT_ASSESSABLE:
        return math.nan
    parts = [max((one for one in map(of_condition, group) if not math.isnan(one)), default=math.nan) for group in needed(outcomes)]
    known = [part for part in parts if not math.isnan(part)]
    if len(known) < len(parts):
        return min(known) if verdict == FAILS and known else math.nan
    return min(MOST, max(0.0, 1 - math.fsum(1 - part for part in parts)))


def of_condition(outcome: Outcome) -> float:
    """The probability (0 to 1) that one condition is true, null where it cannot be told; not cut at ``MOST``."""
    if outcome.verdict == NOT_ASSESSABLE:
        return math.nan
    if outcome.condition.basis == INGREDIENTS:
        return {HOLDS: 1.0, FAILS: 0.0}.get(outcome.verdict, math.nan)
    found = outcome.quantity
    open_ended = math.isinf(found.ceiling)
    if outcome.verdict != FAILS and found.doubted or outcome.verdict == UNCERTAIN and open_ended:
        return math.nan
    # What is known of a sum with a gap is the least that it can be, and the verdict stands on that alone.
    below = share_below(outcome.condition.limit, found.floor, found.high if open_ended else found.ceiling)
    if math.isnan(below):
        return {HOLDS: MOST, FAILS: 1 - MOST}.get(outcome.verdict, math.nan)
    if found.floor == found.ceiling:
        return float(outcome.verdict == HOLDS)
    return below if outcome.condition.comparator in UPPER else 1 - below


def share_below(limit: float, low: float, high: float) -> float:
    """The part of the lognormal distribution with the 90 % interval ``low`` to ``high`` that lies below ``limit``
    (same unit, above 0); 0 or 1 where the interval is a point, null where it begins at 0 or has no end."""
    if low == high:
        return float(low <= limit)
    if low <= 0 or math.isinf(high):
        return math.nan
    middle, distance = (math.log(low) + math.log(high)) / 2, math.log(high) - math.log(low)
    return NormalDist().cdf(2 * Z90 * (math.log(limit) - middle) / distance)
