"""Which leave-outs and reductions of a dish restore its verdicts, the smallest first: a search on what each line adds.

A line is taken away in steps of its amount (``swap_steps`` in ``reference/rules.csv``), up to the whole, and at most
``swap_most_changes`` lines at once. Fewer changed lines go before more, then fewer grams taken away, then the
lower line numbers. The search scales what each line adds to a figure and to its interval, which is the total stage's own arithmetic
as long as no line is cooked or weighed otherwise for it; whether that is so a trial has to show (:mod:`pipeline.stages.trial`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
import pandas as pd

from pipeline.stages import conditions
from pipeline.stages.conditions import UPPER, Condition
from pipeline.stages.judge_scaling import Dish
from pipeline.swaps_form import RANK

# A change is tried in full when what it is predicted to give lies this near to keeping a limit: cooking may turn it.
NEAR = 0.01
AT_ONCE = 4096
Times = tuple[tuple[int, float], ...]  # line number, times as much


@dataclass(frozen=True)
class Way:
    """A line that may be changed: its number, its edible grams, and how many times as much of it may be left, the most first."""

    line_no: int
    grams: float
    left: tuple[float, ...]


@dataclass(frozen=True)
class Wanted:
    """One claim: its conditions, and the least verdict that it is to have."""

    claim: str
    conditions: tuple[Condition, ...]
    least: str


@dataclass(frozen=True)
class Scaled:
    """A dish whose lines can be scaled, with what its doubts hang on.

    Per counted line, in the order of ``dish.line_ids``: ``numbers``, edible grams and confidence; ``known`` by component whether
    the table has a value for the line. ``doubted``: components that stay in doubt whatever the lines are;
    ``least_confidence``: below it a figure is in doubt.
    """

    dish: Dish
    numbers: tuple[int, ...]
    grams: np.ndarray
    confidence: np.ndarray
    known: dict[str, np.ndarray]
    doubted: frozenset[str]
    portion_doubted: bool
    least_confidence: float

    def margins(self, condition: Condition, times: np.ndarray, least: str) -> np.ndarray:
        """How far each dish (a row of ``times``) is from giving the condition the verdict ``least``: 0 or more where it does,
        as a part of the limit; minus infinity where it never can."""
        asked = (condition.component, condition.unit, condition.basis)
        if not self.dish.has(asked):
            return np.full(len(times), -np.inf)
        _, low, high = self.dish.at(asked, times)
        coverage, confidence = self._standing(asked, times)
        upper = condition.comparator in UPPER
        gap = coverage < 1 - conditions.WHOLE_WITHIN
        holding = least == conditions.HOLDS
        # To hold, the near end has to keep the limit; not to fail, the far one.
        end = (np.where(gap, np.inf, high) if holding else low) if upper else (low if holding else np.where(gap, np.inf, high))
        margin = (condition.limit - end if upper else end - condition.limit) / condition.limit
        in_doubt = (confidence < self.least_confidence) | (condition.component in self.doubted) | (
            self.portion_doubted and condition.basis == "portion")
        return np.where(holding & in_doubt | np.isnan(margin), -np.inf, margin)

    def _standing(self, asked: tuple[str, str, str], times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Coverage and confidence of a figure, as the total stage gives them."""
        coverage, confidence = np.ones(len(times)), np.ones(len(times))
        grams = times @ self.grams
        for name in self.dish.factors[asked[:2]]:
            known = self.known.get(name, np.ones(len(self.grams), dtype=bool))
            covered = times @ (self.grams * known) / np.where(grams > 0, grams, np.nan)
            amounts = self.dish.parts[name].amounts
            whole = times @ amounts
            by_amount = times @ (amounts * self.confidence) / np.where(whole > 0, whole, np.nan)
            by_mass = times @ (self.grams * self.confidence) / np.where(grams > 0, grams, np.nan)
            sure = np.where(whole > 0, by_amount, by_mass)
            coverage = np.minimum(coverage, np.nan_to_num(covered))
            confidence = np.minimum(confidence, np.nan_to_num(sure * covered))
        return coverage, confidence


def scaled(dish: Dish, run: Mapping[str, pd.DataFrame], doubted: frozenset[str], portion_doubted: bool, least_confidence: float) -> Scaled:
    """``dish`` with its lines' standing; ``run`` has settled and contributions, of that variant at least."""
    lines = run["settled"].set_index("line_id").loc[list(dish.line_ids)]
    parts = run["contributions"]
    parts = parts[parts["line_id"].isin(dish.line_ids)].assign(known=lambda table: table["amount"].notna())
    known = parts.pivot(index="line_id", columns="component", values="known").reindex(list(dish.line_ids))
    return Scaled(dish, tuple(lines["line_no"]), lines["edible_g"].to_numpy(float), lines["confidence"].to_numpy(float),
                  {name: known[name].fillna(False).to_numpy(bool) for name in known}, doubted, portion_doubted, least_confidence)


@dataclass(frozen=True)
class Step:
    """One candidate: what to change, how many grams that takes away, and the least margin of all that is wanted."""

    times: Times
    grams: float
    margin: float

    @property
    def order(self) -> tuple:
        """Fewest changes, then least grams, then the lower lines and the smaller cuts."""
        return (len(self.times), round(self.grams, 6), [number for number, _ in self.times], [-left for _, left in self.times])


def candidates(dish: Scaled, ways: list[Way], wanted: list[Wanted], counts: range) -> tuple[list[Step], int, Step | None]:
    """The changes that give, or nearly give, every claim what is wanted, the smallest first; how many lines the
    largest of them change; and the one that comes nearest.

    ``counts``: how many lines may change. Changes of more lines are looked at only when fewer do not do.
    """
    nearest: Step | None = None
    found: list[Step] = []
    for count in counts:
        for steps, grams in _blocks(ways, count):
            margins = _margins(dish, steps, wanted)
            found += [Step(steps[place], float(grams[place]), float(margins[place])) for place in np.flatnonzero(margins >= -NEAR)]
            best = max(range(len(steps)), key=lambda place: (margins[place], -grams[place]))
            if nearest is None or margins[best] > nearest.margin:
                nearest = Step(steps[best], float(grams[best]), float(margins[best]))
        if any(step.margin >= 0 for step in found):
            return sorted(found, key=lambda step: step.order), count, nearest
    return sorted(found, key=lambda step: step.order), counts.stop - 1, nearest


def _blocks(ways: list[Way], count: int) -> Iterator[tuple[list[Times], np.ndarray]]:
    """Every change of ``count`` lines, some at a time, with the grams that it takes away."""
    steps: list[Times] = []
    for chosen in combinations(ways, count):
        steps += [tuple(zip((way.line_no for way in chosen), left, strict=True)) for left in product(*(way.left for way in chosen))]
        if len(steps) >= AT_ONCE:
            yield steps, _grams(ways, steps)
            steps = []
    if steps:
        yield steps, _grams(ways, steps)


def _grams(ways: list[Way], steps: list[Times]) -> np.ndarray:
    whole = {way.line_no: way.grams for way in ways}
    return np.array([sum((1 - left) * whole[number] for number, left in step) for step in steps])


def _margins(dish: Scaled, steps: list[Times], wanted: list[Wanted]) -> np.ndarray:
    place = {number: column for column, number in enumerate(dish.numbers)}
    times = np.ones((len(steps), len(dish.numbers)))
    for row, step in enumerate(steps):
        for number, left in step:
            times[row, place[number]] = left
    least = np.full(len(steps), np.inf)
    for one in wanted:
        if RANK[one.least] <= RANK[conditions.FAILS]:
            continue
        for condition in one.conditions:
            least = np.minimum(least, dish.margins(condition, times, one.least))
    return least
