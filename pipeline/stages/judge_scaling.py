"""What a figure and its interval become when one line of a dish is scaled.

A line's part of every component, of every uncertainty and of the cooked weight is taken in
proportion to its amount; effects of one input on several lines add up before they are
squared, as in ``pipeline.lineage``. At the amount as written this gives the figure and the
interval of the total stage.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline import lineage
from pipeline.stages import total_sums

MASS = total_sums.MASS
PER_100G, PORTION = "100g", "portion"
# Points between the amount as written and the furthest one tried; the turn is then sought between two of them.
STEPS, REFINEMENTS = 40, 2
Asked = tuple[str, str, str]  # component, unit, basis


@dataclass(frozen=True)
class Parts:
    """What the lines add to one quantity of the whole dish, and the products of their effects, summed over the inputs:
    ``effects`` is per line and input, ``whole`` the effects of all lines together."""

    amounts: np.ndarray
    effects: np.ndarray

    @property
    def whole(self) -> np.ndarray:
        return self.effects.sum(axis=0)


@dataclass(frozen=True)
class Product:
    """The sum over inputs of one quantity's effects times another's, as a polynomial in how much more of a line there is."""

    constant: float
    linear: np.ndarray
    square: np.ndarray

    @classmethod
    def of(cls, one: Parts, other: Parts) -> Product:
        return cls(float(one.whole @ other.whole), one.effects @ other.whole + other.effects @ one.whole,
                   (one.effects * other.effects).sum(axis=1))

    def at(self, more: np.ndarray, lines: np.ndarray) -> np.ndarray:
        """With ``more`` (rows by ``lines``) of each line."""
        return self.constant + more * self.linear[lines, None] + more ** 2 * self.square[lines, None]


@dataclass(frozen=True)
class Dish:
    """One variant. ``parts`` by component (and ``MASS``); ``factors`` by (component, unit) of a figure: the components
    that make it up. ``weighed``: its finished weight was."""

    line_ids: tuple[str, ...]
    portions: float
    weighed: bool
    parts: dict[str, Parts]
    factors: dict[tuple[str, str], dict[str, float]]
    seen: dict = field(default_factory=dict)

    def can_scale(self, asked: Asked) -> bool:
        """Whether the figure follows its lines: a finished weight that was weighed is that of this very dish."""
        return self.has(asked) and asked[2] in (PORTION, PER_100G) and not (self.weighed and asked[2] == PER_100G)

    def has(self, asked: Asked) -> bool:
        """Whether the lines give what the figure is made of."""
        return asked[:2] in self.factors and all(name in self.parts for name in self.factors[asked[:2]])

    def of_figure(self, asked: Asked) -> Parts:
        """What each line adds to the figure of the whole dish."""
        made_of = [(factor, self.parts[name]) for name, factor in self.factors[asked[:2]].items()]
        return Parts(sum(factor * part.amounts for factor, part in made_of), sum(factor * part.effects for factor, part in made_of))

    def at(self, asked: Asked, times: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The figure and the ends of its 90 % interval of dishes (a row of ``times`` each) with every line so many times as much."""
        figure = self.of_figure(asked)
        value, effects = times @ figure.amounts / self.portions, times @ figure.effects / self.portions
        if asked[2] == PER_100G:
            mass = self.parts[MASS]
            weight = times @ mass.amounts / self.portions
            weight = np.where(weight > 0, weight, np.nan)
            value, effects = 100 * value / weight, 100 * effects / weight[:, None]
            effects = effects - (value / weight)[:, None] * (times @ mass.effects / self.portions)
        value = np.maximum(value, 0.0)
        return value, *lineage.figure_interval(value, np.sqrt((effects ** 2).sum(axis=1)))

    def ends(self, lines: list[int], asked: Asked, upper: bool, times: np.ndarray) -> np.ndarray:
        """The upper (or lower) end of the figure's 90 % interval with each of ``lines`` (a row each) ``times`` as much."""
        lines = np.asarray(lines)
        more = np.atleast_2d(np.asarray(times, dtype=float) - 1)
        value, square = (self._per_100g if asked[2] == PER_100G else self._per_portion)(asked, lines, more)
        low, high = lineage.figure_interval(np.maximum(value, 0.0), np.sqrt(np.maximum(square, 0.0)))
        return high if upper else low

    def _per_portion(self, asked: Asked, lines: np.ndarray, more: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        amounts, own = self._once(asked)[:2]
        return _scaled(amounts, lines, more) / self.portions, own.at(more, lines) / self.portions ** 2

    def _per_100g(self, asked: Asked, lines: np.ndarray, more: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """A ratio: what the line does to the weight counts as well, and inputs that both share move both."""
        amounts, own, crossed, weights, of_weight = self._once(asked)
        weight = _scaled(weights, lines, more)
        weight = np.where(weight > 0, weight, np.nan)
        ratio = _scaled(amounts, lines, more) / weight
        square = own.at(more, lines) - 2 * ratio * crossed.at(more, lines) + ratio ** 2 * of_weight.at(more, lines)
        return 100 * ratio, square * (100 / weight) ** 2

    def _once(self, asked: Asked) -> tuple:
        """Amounts and products of a figure, and those of the weight; kept, because many limits are on one figure."""
        if asked[:2] not in self.seen:
            figure, mass = self.of_figure(asked), self.parts[MASS]
            self.seen[asked[:2]] = (figure.amounts, Product.of(figure, figure), Product.of(figure, mass), mass.amounts, Product.of(mass, mass))
        return self.seen[asked[:2]]

    def first_changes(self, asked: Asked, upper: bool, keeps: Callable[[np.ndarray], np.ndarray], holds: bool, towards: float) -> dict[int, float]:
        """By what part of its amount each line (by its place) has to change before the claim turns, going towards
        ``towards`` times as much; lines with which it never does are left out. ``keeps``: which ends keep the limit;
        ``holds``: whether it is kept as written."""
        lines = list(range(len(self.line_ids)))
        times = np.tile(np.linspace(1.0, towards, STEPS + 1), (len(lines), 1))
        for _ in range(1 + REFINEMENTS):
            turned = np.argmax(keeps(self.ends(lines, asked, upper, times)) != holds, axis=1)
            # Nowhere; or at once, which the amount as written does not do: rounding at the very edge.
            rows = np.flatnonzero(turned)
            if not len(rows):
                return {}
            lines = [lines[row] for row in rows]
            start, stop = times[rows, turned[rows] - 1], times[rows, turned[rows]]
            times = np.linspace(start, stop, STEPS + 1, axis=1)
        return {line: abs(end - 1) for line, end in zip(lines, start if holds else stop)}


def _scaled(amounts: np.ndarray, lines: np.ndarray, more: np.ndarray) -> np.ndarray:
    return amounts.sum() + more * amounts[lines, None]


def dishes(run: Mapping[str, pd.DataFrame], linear: pd.DataFrame) -> dict[tuple[str, str], Dish]:
    """Every variant that has a counted line, by (recipe_id, variant_id); ``run`` and ``linear`` as
    for :func:`pipeline.stages.judge_headroom.with_headroom`."""
    lines = run["lines"]
    counted = lines[lines["counted"] & (lines["outcome"] == "accepted")]
    # Each line as a variant of its own, so that its effects stay its own.
    alone = {name: frame.assign(variant_id=frame["line_id"]) for name, frame in (("parts", run["contributions"]), ("counted", counted))}
    uses = total_sums.uses(alone["parts"], alone["counted"], run["weighed"], run["cooked"], run["recipes"], run["inputs"], run["two_routes"])
    uses = uses.rename(columns={"variant_id": "line_id"})[["line_id", "component", "input_id", "effect"]]
    uses = uses.merge(_placed(counted), on="line_id")
    parts = run["contributions"].dropna(subset=["amount"])[["line_id", "component", "amount"]].merge(_placed(counted), on="line_id")
    factors: dict[tuple[str, str], dict[str, float]] = {}
    for row in linear.itertuples(index=False):
        factors.setdefault((row.figure, row.unit), {})[row.component] = row.factor
    weighed = run["recipes"].set_index("recipe_id")["finished_mass_g"].notna()
    portions = run["variants"].set_index(total_sums.KEY)["portions"]
    by_uses, by_parts = dict(iter(uses.groupby(total_sums.KEY))), dict(iter(parts.groupby(total_sums.KEY)))
    return {key: _dish(rows, by_parts[key], by_uses.get(key, uses.iloc[:0]), float(portions[key]),
                       bool(weighed[key[0]]) and key[1] == "base", factors)
            for key, rows in counted.groupby(total_sums.KEY) if key in by_parts}


def _placed(counted: pd.DataFrame) -> pd.DataFrame:
    """The place of each line among the counted lines of its variant."""
    frame = counted[["line_id", *total_sums.KEY]]
    return frame.assign(place=frame.groupby(total_sums.KEY).cumcount())


def _dish(lines: pd.DataFrame, parts: pd.DataFrame, uses: pd.DataFrame, portions: float, weighed: bool, factors: dict) -> Dish:
    names = [*sorted(parts["component"].unique()), MASS]
    inputs, column = np.unique(uses["input_id"].to_numpy(dtype=object).astype(str), return_inverse=True)
    amounts = np.zeros((len(names), len(lines)))
    effects = np.zeros((len(names), len(lines), len(inputs)))
    row_of = {name: number for number, name in enumerate(names)}
    np.add.at(amounts, ([row_of[name] for name in parts["component"]], parts["place"].to_numpy()), parts["amount"].to_numpy(float))
    amounts[-1] = lines["cooked_g"].fillna(0.0)
    np.add.at(effects, ([row_of[name] for name in uses["component"]], uses["place"].to_numpy(), column), uses["effect"].to_numpy(float))
    parts_of = {name: Parts(*both) for name, both in zip(names, zip(amounts, effects))}
    return Dish(tuple(lines["line_id"]), portions, weighed, parts_of, factors)
